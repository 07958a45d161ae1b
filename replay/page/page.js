// The page: lists, fields and tables around the port. Texts of the library only ever go in as text.
"use strict";

const MOST_ROWS = 200; // of the table of decisions
const SLICE_MS = 30; // of scoring between two looks at the user
const ONE_MOVE_MS = 600; // between two moves that are undone together
class Page {
    constructor(data, port) {
        Object.assign(this, { data, port, traces: data.traces, shownTrace: 0, cursor: null, due: false, past: [] });
        this.settings = new BenchSettings(data);
        this.plot = new Plot(byId("plot"), data);
    }

    async start() {
        for (const [number, trace] of this.traces.entries()) {
            trace.place = await this.port.unpack(trace.columns, trace.ticks, trace.hold_ms);
            delete trace.columns;
            if (number % 50 === 0) {
                byId("verdict").textContent = `reading trace ${number + 1} of ${this.traces.length}`;
            }
        }
        byId("port-digest").textContent = this.data.logic.port_digest.slice(0, 16);
        byId("sure").textContent = `at most, ${sure(this.data.acceptance.shown_confidence)}`;
        this.makeList();
        byId("settings").inert = true; // until the score of the file's settings is there to compare with
        this.fields = new Fields(this.settings, () => this.changed());
        this.listen();
        this.choose(0);
        this.changed();
    }

    // ---- computing ----

    // Why nothing is run, in words; null where the settings were taken.
    refused() {
        const { unreadable } = this.settings;
        const fault = unreadable === null ? this.port.check(this.settings.values) : ALL_RIGHT;
        const words = fault === ALL_RIGHT ? unreadable : this.settings.wordsOf(fault);
        this.fields.mark(fault === ALL_RIGHT ? [] : this.settings.placesOf(fault), words);
        return words;
    }

    judged(trace) {
        return judge(trace, this.port.run(trace.place), this.data);
    }

    // Settings have moved: the fields at once, everything else before the next frame.
    changed() {
        this.remember();
        byId("said").textContent = "";
        this.fields.show();
        if (!this.due) {
            this.due = true;
            document.body.dataset.ready = "no";
            requestAnimationFrame(() => {
                this.due = false;
                this.compute();
            });
        }
    }

    // What stood before a move can be had again; moves of one sweep of a slider are one.
    remember() {
        const now = this.settings.snapshot();
        if (this.present !== undefined && JSON.stringify(now) !== JSON.stringify(this.present)) {
            if (performance.now() - (this.movedAt ?? -Infinity) > ONE_MOVE_MS) {
                this.past.push(this.present);
            }
            this.movedAt = performance.now();
        }
        this.present = now;
        byId("undo").disabled = this.past.length === 0;
    }

    undo() {
        const before = this.past.pop();
        if (before !== undefined) {
            this.settings.restore(before);
            this.present = this.settings.snapshot();
            this.movedAt = undefined;
            this.changed();
        }
    }

    // The trace that is shown comes first, then all of them.
    compute() {
        this.why = this.refused();
        this.score = null;
        this.turn = (this.turn ?? 0) + 1;
        this.showRefusal();
        this.follow();
        if (this.why === null) {
            this.scoreOn(this.turn, [], 0);
        } else {
            this.showScore();
            this.done();
        }
    }

    // Replay and judge on until all traces are done, a slice of time at once; newer settings end it.
    scoreOn(turn, verdicts, spentMs) {
        const begin = performance.now();
        while (verdicts.length < this.traces.length && performance.now() - begin < SLICE_MS) {
            verdicts.push(this.judged(this.traces[verdicts.length]));
        }
        this.spentMs = spentMs + performance.now() - begin;
        if (verdicts.length < this.traces.length) {
            byId("summary").setAttribute("aria-busy", "true");
            setTimeout(() => turn === this.turn && !this.due && this.scoreOn(turn, verdicts, this.spentMs));
            return;
        }
        this.score = scoreOf(verdicts, this.data.acceptance);
        this.before ??= this.score;
        if (this.best === undefined || isBetter(this.score, this.best.score)) {
            this.best = { score: this.score, settings: this.settings.snapshot(), values: this.settings.values };
        }
        this.showScore();
        this.done();
    }

    // Go back to the settings with the best score of this session, in the units shown now.
    takeBest() {
        const { system } = this.settings;
        this.settings.restore(this.best.settings);
        if (this.settings.system !== system) {
            this.settings.useSystem(system);
        }
        this.movedAt = undefined; // a move of its own, however soon
        this.changed();
    }

    showBest() {
        const { best, before, settings } = this;
        byId("best").disabled = best === undefined || (this.why === null && sameValues(best.values, settings.values));
        const whose = best?.score === before ? "the settings of the file" : sameValues(best?.values, settings.values) ? "these settings" : "settings tried before";
        byId("best-told").textContent = best === undefined ? "" : `Best so far, ${whose}: ${bestWords(best.score)}.`;
    }

    done() {
        this.showBest();
        byId("summary").setAttribute("aria-busy", "false");
        byId("settings").inert = false;
        this.settings.digest().then((digest) => {
            const shown = digest !== null && this.why === null;
            byId("digest").textContent = shown ? `Digest of the settings: ${digest.slice(0, 12)}` : "";
            document.body.dataset.digest = digest ?? "";
            document.body.dataset.ready = this.due ? "no" : "yes";
        });
    }

    showRefusal() {
        const { why } = this;
        byId("message").hidden = why === null;
        byId("figures").hidden = why !== null;
        if (byId("message").textContent !== (why ?? "")) {
            byId("message").textContent = why ?? "";
        }
        byId("copy").disabled = why !== null;
        byId("toml").value = why === null ? this.settings.toml() : "";
    }

    follow() {
        this.followed = this.why === null ? this.port.follow(this.trace.place) : null;
        this.file = this.followed === null ? null : this.ofFile();
        this.showTrace();
    }

    // What the settings of the file do with the trace that is shown; null where they are the ones that are tried.
    ofFile() {
        const values = this.data.settings.map(({ value }) => value);
        if (sameValues(values, this.settings.values)) {
            return null;
        }
        if (this.fileOf !== this.shownTrace) {
            this.port.check(values);
            const tripDelay = this.data.settings.find(({ name }) => name === "trip_delay").value;
            [this.fileOf, this.fileRun] = [this.shownTrace, { ...this.port.follow(this.trace.place), tripDelay }];
            this.port.check(this.settings.values);
        }
        return this.fileRun;
    }

    get trace() {
        return this.traces[this.shownTrace];
    }

    // ---- the list of traces ----

    makeList() {
        const families = [...new Set(this.traces.map(({ family }) => family))].sort();
        const options = [["all", "all traces"], ["wrong", "missed, early, nuisance"], ...families.map((name, at) => [`family ${at}`, name])];
        byId("show").append(...options.map(([value, text]) => element("option", { value, text })));
        this.families = families;
        this.entries = this.traces.map((trace, number) => {
            const radio = element("input", { type: "radio", name: "trace", value: number });
            const outcome = element("span");
            const sub = element("span", { class: "sub" }, element("span", { text: trace.label.kind.replace("_", " ") }), outcome);
            const entry = element("label", { title: trace.family }, radio, element("span", { class: "id", text: trace.id }), sub);
            radio.addEventListener("change", () => this.choose(number));
            return { entry, radio, outcome };
        });
        byId("list").append(...this.entries.map(({ entry }) => entry));
    }

    filterList() {
        const wanted = byId("show").value;
        const part = byId("find").value.trim().toLowerCase();
        this.entries.forEach(({ entry }, number) => {
            const outcome = this.score?.verdicts[number].outcome;
            const wrong = outcome === "missed" || outcome === "early" || outcome === "nuisance";
            const family = this.families[Number(wanted.slice("family ".length))];
            const shown = wanted === "all" || (wanted === "wrong" ? wrong : this.traces[number].family === family);
            entry.hidden = !shown || !this.traces[number].id.toLowerCase().includes(part);
        });
        byId("none").hidden = this.entries.some(({ entry }) => !entry.hidden);
    }

    choose(number) {
        this.shownTrace = number;
        this.cursor = null;
        this.readings = this.port.readings(this.trace.place);
        this.entries[number].radio.checked = true;
        const { family, machine, oil, origin, note, label, id, ticks } = this.trace;
        byId("view-title").textContent = id;
        byId("label").textContent = `${family}: ${labelWords(label)}`;
        const about = { family, machine, oil, origin, readings: String(ticks), note };
        const shown = Object.entries(about).filter(([, text]) => text !== "");
        byId("about").replaceChildren(...shown.flatMap(([name, text]) => [element("dt", { text: name }), element("dd", { text })]));
        byId("plot").setAttribute("aria-valuemax", ticks - 1);
        if (this.turn !== undefined) {
            this.follow();
        }
    }

    // ---- the trace that is shown ----

    showTrace() {
        const verdict = this.followed && judge(this.trace, this.followed, this.data);
        byId("outcome").textContent = verdict ? outcomeWords(verdict, this.trace, this.data.late) : `Not run: ${this.why}`;
        byId("outcome").className = `outcome ${verdict ? OUTCOMES[verdict.outcome][1] : "open"}`;
        const file = this.file && outcomeWords(judge(this.trace, this.file, this.data), this.trace, this.data.late);
        byId("of-file").textContent = `With the settings of the file: ${file === byId("outcome").textContent ? "the same." : file}`;
        byId("of-file").hidden = !file;
        this.showDecisions();
        this.redraw();
    }

    redraw() {
        this.plot.draw(this.trace, this.readings, this.settings, this.followed, this.file, this.cursor);
        const plot = byId("plot");
        if (this.cursor === null) {
            plot.setAttribute("aria-valuetext", `${this.trace.id}. ${byId("outcome").textContent}`);
            return;
        }
        const words = this.wordsAt(this.cursor);
        byId("readout").textContent = words;
        plot.setAttribute("aria-valuenow", this.cursor);
        plot.setAttribute("aria-valuetext", words);
    }

    pressure(pascals, mark = "") {
        const unit = this.settings.system;
        const decimals = { kPa: 1, bar: 3, psi: 2 }[unit];
        return Number.isNaN(pascals) ? "not read" : `${fixed(pascals / PRESSURES[unit], decimals)} ${unit}${mark}`;
    }

    // As `lubetrip score` writes it.
    cutOut(pascals) {
        const unit = this.settings.system;
        return `${fixed(pascals / PRESSURES[unit], unit === "bar" ? 2 : 1)} ${unit}`;
    }

    // A suction pressure from the site's atmosphere, as the unit's users write it.
    gauge(pascals) {
        const { atmosphere, system } = this.settings;
        const above = pascals - atmosphere;
        if (system === "psi" && above < 0) {
            return `${tenths(-above / PRESSURES.inHg)} inHg vac`;
        }
        return this.pressure(above, " gauge").replace("psi gauge", "psig");
    }

    timeS(tick) {
        return tenths(this.trace.start_s + this.readings.time[tick] / 1000);
    }

    percentAt(tick) {
        return tenths((100 * this.followed.integral[tick]) / this.settings.value("trip_delay"));
    }

    wordsAt(tick) {
        const { net, suction } = this.readings;
        const parts = [`${this.timeS(tick)} s`, `net oil pressure ${this.pressure(net[tick])}`];
        const absolute = Number.isNaN(suction[tick]) ? "" : ` (${this.pressure(suction[tick], " absolute")})`;
        parts.push(`suction ${this.gauge(suction[tick])}${absolute}`);
        if (this.followed !== null) {
            parts.push(`integral ${this.percentAt(tick)} %`, this.data.states[this.followed.states[tick]].replace("_", " "));
            if (this.followed.net[tick] === NO_READING) {
                parts.push("readings not credible");
            }
        }
        return parts.join(", ");
    }

    showDecisions() {
        const { followed } = this;
        const begins = followed === null ? [] : changesOf(followed.states);
        const rows = begins.slice(0, MOST_ROWS).map((tick) => {
            const states = [followed.states[tick - 1] ?? STOPPED, followed.states[tick]];
            const net = followed.net[tick] === NO_READING ? "not credible" : this.pressure(followed.net[tick]);
            const names = states.map((state) => this.data.states[state].replace("_", " "));
            return element("tr", {}, ...cellsOf([this.timeS(tick), ...names, this.percentAt(tick), net]));
        });
        if (begins.length > MOST_ROWS) {
            rows.push(element("tr", {}, element("td", { colspan: 5, text: "and more: see lubetrip explain" })));
        }
        byId("decisions").tBodies[0].replaceChildren(...rows);
    }

    moveCursor(tick) {
        this.cursor = Math.max(0, Math.min(this.trace.ticks - 1, tick));
        this.redraw();
    }

    tickAt(x) {
        const { xs } = this.plot;
        let [low, high] = [0, xs.length - 1];
        while (high - low > 1) {
            const middle = (low + high) >> 1;
            [low, high] = xs[middle] <= x ? [middle, high] : [low, middle];
        }
        return x - xs[low] <= xs[high] - x ? low : high;
    }

    async copy() {
        const area = byId("toml");
        try {
            await navigator.clipboard.writeText(area.value);
            byId("said").textContent = "Copied. Save it as a file and score it: lubetrip score LIBRARY --settings FILE";
        } catch {
            byId("as-file").open = true;
            area.focus();
            area.select();
            byId("said").textContent = "The browser allows no copying: the text is selected, copy it with Ctrl+C.";
        }
    }

    // ---- the score ----

    showScore() {
        const { score } = this;
        const verdict = byId("verdict");
        verdict.textContent = score === null ? "not run, settings refused" : score.verdict;
        verdict.className = `verdict ${score === null ? "" : VERDICT_CLASSES[score.verdict]}`;
        byId("figures").replaceChildren(...(score === null ? [] : figureItems(score, this.before)));
        const counts = score && `; hit ${score.total.hit} of ${score.total.mustTrip}, nuisance ${score.total.nuisance}`;
        byId("brief").textContent = `Library: ${verdict.textContent}${counts ?? ""}`;
        this.entries.forEach(({ outcome }, number) => {
            const [words, kind] = score === null ? ["not run", "open"] : OUTCOMES[score.verdicts[number].outcome];
            outcome.textContent = words;
            outcome.className = kind;
        });
        this.filterList();
        byId("rules").tBodies[0].replaceChildren(...(score === null ? [] : ruleRows(score, this.data.acceptance)));
        byId("plain").tBodies[0].replaceChildren(...(score === null ? [] : plainRows(score, this.data.laws, (pa) => this.cutOut(pa))));
        byId("families").tBodies[0].replaceChildren(...(score?.families ?? []).map(familyRow));
        byId("families").tFoot.replaceChildren(...(score === null ? [] : [familyRow(["all", score.total])]));
    }

    // ---- events ----

    listen() {
        byId("show").addEventListener("change", () => this.filterList());
        byId("find").addEventListener("input", () => this.filterList());
        byId("undo").addEventListener("click", () => this.undo());
        byId("best").addEventListener("click", () => this.takeBest());
        document.addEventListener("keydown", (event) => {
            if ((event.ctrlKey || event.metaKey) && event.key === "z" && event.target.type !== "text" && event.target.type !== "search") {
                event.preventDefault();
                this.undo();
            }
        });
        byId("copy").addEventListener("click", () => this.copy());
        byId("reset").addEventListener("click", () => {
            this.settings.reset();
            this.movedAt = undefined;
            this.changed();
        });
        document.querySelectorAll("[name=system]").forEach((radio) => {
            radio.addEventListener("change", () => {
                this.settings.useSystem(radio.value);
                this.changed();
            });
        });
        const plot = byId("plot");
        plot.addEventListener("pointermove", ({ offsetX }) => this.moveCursor(this.tickAt(offsetX)));
        plot.addEventListener("pointerdown", ({ offsetX }) => this.moveCursor(this.tickAt(offsetX)));
        plot.addEventListener("keydown", (event) => {
            const at = this.cursor ?? 0;
            const wide = Math.max(1, Math.round(this.trace.ticks / 50));
            const to = { ArrowLeft: at - 1, ArrowRight: at + 1, PageDown: at - wide, PageUp: at + wide, Home: 0, End: Infinity }[event.key];
            if (to !== undefined) {
                event.preventDefault();
                this.moveCursor(to);
            }
        });
        new ResizeObserver(() => this.redraw()).observe(plot);
    }
}

startPage(["WebAssembly", "DecompressionStream"], async (data) => {
    const bytes = Uint8Array.from(atob(byId("port").textContent), (letter) => letter.charCodeAt(0));
    return new Page(data, await Port.load(bytes));
});
