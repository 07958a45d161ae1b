// The page on which traces are labelled: a queue, a curve, a window, a word. Its result is a file.
"use strict";

const KINDS = { must_trip: "must trip", ride_through: "ride through", undecided: "undecided" };
const NO_READING = -1000000000;
const NEAR_PX = { mouse: 7, touch: 18, pen: 12 }; // of an edge that is taken hold of
const DRAG_PX = 4;
const EDGES = ["earliest", "deadline", "likely", "latest"];
const EDGE_WORDS = { earliest: "earliest", deadline: "deadline", likely: "likely (optional)", latest: "latest (optional)" };
const WITHDRAWN = ["tripped", "locked_out"];
const UNPACKED = 8; // traces that are kept unpacked

const emptyWindow = () => ({ earliest: null, deadline: null, likely: null, latest: null });

// Sums of differences, as labelling.py packs a column; NaN for no reading.
function summed(steps) {
    let sum = 0;
    return Float64Array.from(steps, (step) => (sum += step));
}

function readings(steps) {
    return summed(steps).map((value) => (value === NO_READING ? NaN : value));
}

async function unpacked(trace) {
    const zipped = Uint8Array.from(atob(trace.packed), (letter) => letter.charCodeAt(0));
    const stream = new Blob([zipped]).stream().pipeThrough(new DecompressionStream("deflate"));
    const found = JSON.parse(await new Response(stream).text());
    const time = summed(found.time_ms).map((ms) => trace.start_s + ms / 1000);
    const steps = Array.from(time.subarray(1), (at, row) => at - time[row]).sort((one, other) => one - other);
    return {
        ...found,
        time,
        start_s: trace.start_s,
        end_s: trace.end_s,
        gap: GAP_ROWS * (steps[steps.length >> 1] ?? 1),
        net: readings(found.net),
        suction: readings(found.suction),
        running: Array.from(summed(found.running)),
        left: found.left.map(summed),
    };
}

class LabelPage {
    constructor(data) {
        Object.assign(this, { data, traces: data.traces, at: 0, cursor: null, ready: null, windows: [], active: 0, drag: null });
        this.given = new Map(); // id -> label as the file has it
        this.seen = new Set(); // ids whose decisions have been shown
        this.history = []; // [id, label before] of each word, for undo
        this.drafts = new Map(); // id -> { windows, note, inspection } of what is not said yet
        this.unsaved = false;
        this.cache = new Map();
        takeUnits(data.units);
        this.atmosphere = atmosphereAt(data.altitude_m);
        this.system = "psi";
        this.plot = new LabelPlot(byId("plot"), data.levels, this.atmosphere);
        this.store = `lubetrip labels ${data.library} ${data.queue} ${data.traces.map(({ sha256 }) => sha256.slice(0, 4)).join("").slice(0, 200)}`;
    }

    start() {
        byId("by").value = this.data.by;
        this.recall();
        document.querySelector(`[name=system][value=${this.system}]`).checked = true;
        this.entries = this.traces.map((trace, number) => {
            const radio = element("input", { type: "radio", name: "trace", value: number });
            const word = element("span", { class: "sub" });
            radio.addEventListener("change", () => this.choose(number));
            const entry = element("label", {}, radio, element("span", { class: "id", text: trace.id }), word);
            return { entry, radio, word };
        });
        byId("list").append(...this.entries.map(({ entry }) => entry));
        this.listen();
        this.entries.forEach((_, number) => this.showWord(number));
        const first = this.traces.findIndex(({ id }) => !this.given.has(id));
        return this.choose(Math.max(first, 0));
    }

    get trace() {
        return this.traces[this.at];
    }

    // ---- what has been said: kept in this browser until it is saved as a file ----

    recall() {
        try {
            const kept = JSON.parse(localStorage.getItem(this.store) ?? "null");
            if (kept !== null) {
                byId("by").value = kept.by;
                kept.labels.forEach((label) => this.given.set(label.id, label));
                this.seen = new Set(kept.seen);
                byId("kept").textContent = `${kept.labels.length} labels from before were kept in this browser.`;
            }
        } catch {
            byId("kept").textContent = "This browser keeps nothing: save before you close the page.";
        }
    }

    keep() {
        try {
            localStorage.setItem(this.store, JSON.stringify({ ...this.file(), seen: [...this.seen] }));
        } catch {
            byId("kept").textContent = "This browser keeps nothing: save before you close the page.";
        }
    }

    file() {
        return { schema: this.data.schema, by: byId("by").value.trim(), labels: [...this.given.values()] };
    }

    save() {
        if (!this.named()) {
            return;
        }
        const text = `${JSON.stringify(this.file(), null, 1)}\n`;
        const link = element("a", { href: URL.createObjectURL(new Blob([text], { type: "application/json" })), download: this.fileName() });
        link.click();
        setTimeout(() => URL.revokeObjectURL(link.href), 10000);
        this.unsaved = false;
        byId("kept").textContent = `${this.given.size} labels saved as ${this.fileName()}. To use them: lubetrip label LIBRARY --from ${this.fileName()}`;
    }

    fileName() {
        const by = byId("by").value.trim().toLowerCase().replace(/[^\p{L}\p{N}]+/gu, "-");
        return `labels-${by}-${today()}.json`;
    }

    named() {
        const named = byId("by").value.trim() !== "";
        this.say(named ? "" : "Enter your name first: every label carries one.");
        if (!named) {
            byId("by").focus();
        }
        return named;
    }

    say(text) {
        byId("message").textContent = text;
    }

    // ---- one trace ----

    async choose(number) {
        this.leave();
        this.at = number;
        document.body.dataset.ready = "no";
        this.entries[number].radio.checked = true;
        const loaded = await this.load(number);
        if (this.at !== number) {
            return; // another was chosen meanwhile
        }
        const { trace } = this;
        this.ready = loaded;
        this.view = { from: trace.start_s, to: trace.end_s };
        this.clock = new WallClock(trace);
        this.cursor = null;
        const label = this.given.get(trace.id);
        const draft = this.drafts.get(trace.id);
        this.windows = draft?.windows ?? (label?.must_trip ?? []).map((window) => ({
            earliest: window.earliest_s, deadline: window.deadline_s, likely: window.likely_s ?? null, latest: window.latest_s ?? null,
        }));
        this.active = Math.max(this.windows.length - 1, 0);
        byId("note").value = draft?.note ?? label?.note ?? "";
        byId("inspection").value = draft?.inspection ?? label?.inspection ?? "";
        byId("view-title").textContent = trace.id;
        const began = this.clock.known ? `began ${this.clock.parts(trace.start_s).date} ${this.clock.parts(trace.start_s).time} (${this.clock.named})` : "no date known";
        const thinned = loaded.time.length < trace.rows ? `, ${loaded.time.length} shown` : "";
        byId("about").textContent = [trace.machine, began, `${trace.rows} rows${thinned}`, trace.source].filter(Boolean).join("; ");
        byId("plot").setAttribute("aria-valuemax", loaded.time.length - 1);
        this.say("");
        this.readout();
        this.showWindows();
        this.showGiven();
        this.redraw();
        this.entries[number].entry.scrollIntoView?.({ block: "nearest" });
        document.body.dataset.ready = "yes";
        this.load((number + 1) % this.traces.length); // what comes next is there when it is asked for
    }

    // Keep what is typed and marked for a trace and not said yet.
    leave() {
        if (this.ready !== null) {
            this.drafts.set(this.trace.id, { windows: this.windows, note: byId("note").value, inspection: byId("inspection").value });
        }
    }

    load(number) {
        const known = this.cache.get(number) ?? unpacked(this.traces[number]);
        this.cache.delete(number);
        this.cache.set(number, known);
        if (this.cache.size > UNPACKED) {
            this.cache.delete(this.cache.keys().next().value);
        }
        return known;
    }

    go(steps) {
        const to = this.at + steps;
        if (to < 0 || to >= this.traces.length) {
            this.say(to < 0 ? "This is the first trace." : "This is the last trace. Save your labels as a file.");
            return;
        }
        this.choose(to);
    }

    // ---- windows ----

    get window() {
        if (this.windows.length === 0) {
            this.windows = [emptyWindow()];
            this.active = 0;
        }
        return this.windows[this.active];
    }

    moveEdge(edge, seconds) {
        const { start_s: start, end_s: end } = this.trace;
        const digits = this.view.to - this.view.from < 60 ? 10 : 1;
        const inside = Math.min(Math.max(Math.round(seconds * digits) / digits, start), end);
        this.window[edge] = inside;
        this.changed();
    }

    changed() {
        this.say("");
        this.showWindows();
        this.redraw();
    }

    showWindows() {
        const focus = document.activeElement?.id ?? "";
        const rows = this.windows.map((window, number) => {
            const fields = EDGES.map((edge) => {
                const field = element("input", { type: "text", id: `${edge}-${number}`, inputmode: "text", spellcheck: "false" });
                field.value = window[edge] === null ? "" : String(window[edge]);
                field.addEventListener("focus", () => this.activate(number));
                field.addEventListener("change", () => this.typed(number, edge, field));
                const unit = edge === "earliest" || edge === "deadline" ? ", s" : "";
                return element("label", { text: `${EDGE_WORDS[edge]}${unit}` }, field);
            });
            const clock = element("span", { class: "clock", text: this.clockWords(window) });
            return element("div", { class: `window${number === this.active ? " active" : ""}` }, ...fields, ...(clock.textContent ? [clock] : []));
        });
        byId("windows").replaceChildren(...rows);
        if (focus !== "" && byId(focus) !== null && byId("windows").contains(byId(focus))) {
            byId(focus).focus();
        }
    }

    clockWords({ earliest, deadline }) {
        if (!this.clock?.known || (earliest === null && deadline === null)) {
            return "";
        }
        const shown = (at) => (at === null ? "?" : this.clock.shown(at));
        return `by the clock ${shown(earliest)} to ${shown(deadline)}`;
    }

    activate(number) {
        if (this.active !== number) {
            this.active = number;
            document.querySelectorAll(".window").forEach((row, place) => row.classList.toggle("active", place === number));
            this.redraw();
        }
    }

    typed(number, edge, field) {
        const seconds = field.value.trim() === "" ? null : this.clock.secondsOf(field.value);
        const unclear = field.value.trim() !== "" && seconds === null;
        field.setAttribute("aria-invalid", unclear);
        if (unclear) {
            const clock = ', or by the clock "10:05:30", not one that it shows twice or never';
            this.say(`"${field.value}" is not a time: write seconds, "5 min"${this.clock.known ? clock : ""}.`);
            return;
        }
        this.windows[number][edge] = seconds;
        this.active = number;
        this.changed();
    }

    // The moments at which the assumed journals are spoilt in the spell of the cursor or of the window.
    fill() {
        const at = this.cursor ?? this.windows[this.active]?.earliest ?? null;
        const spells = this.ready.spells.filter(({ spoilt }) => spoilt.some((moment) => moment !== null));
        const last = (spell) => Math.max(...spell.spoilt.filter((moment) => moment !== null));
        const spell = at === null ? spells[0] : spells.find((one) => last(one) >= at);
        if (spell === undefined) {
            this.say("No starved spell from here on spoils the film of the assumed journals.");
            return;
        }
        const [pessimistic, likely, lasting] = spell.spoilt;
        const inside = (seconds) => (seconds === null ? null : Math.max(seconds, this.trace.start_s));
        const { window } = this;
        window.earliest ??= inside(spell.from ?? this.trace.start_s);
        [window.deadline, window.likely, window.latest] = [pessimistic, likely, lasting].map(inside);
        this.changed();
        if (window.deadline > this.trace.end_s) {
            this.say("The pessimistic journal would be spoilt only after the trace ends.");
        }
    }

    another() {
        if (this.windows.length === 0 || this.windows.at(-1).deadline !== null) {
            this.windows = [...this.windows, emptyWindow()];
        }
        this.active = this.windows.length - 1;
        this.changed();
    }

    clear() {
        this.windows = [];
        this.active = 0;
        this.changed();
    }

    // ---- the word ----

    // Why the windows are no label, in words; null where they are one.
    fault(windows) {
        const { start_s: start, end_s: end } = this.trace;
        if (windows.length === 0) {
            return "Mark a window first: drag over the curve, type it, or press [ and ] at the cursor.";
        }
        for (const [number, window] of windows.entries()) {
            const { earliest, deadline } = window;
            if (earliest === null || deadline === null) {
                return "A window has an earliest time and a deadline.";
            }
            if (earliest < start || earliest > end || deadline < start || deadline > end) {
                return `Outside the trace, which lasts from ${start} s to ${end} s.`;
            }
            const stated = EDGES.map((edge) => window[edge]).filter((at) => at !== null);
            if (stated.some((at, place) => place > 0 && at < stated[place - 1])) {
                return "Earliest, deadline, likely and latest come in this order.";
            }
            const before = number > 0 ? Math.max(...Object.values(windows[number - 1]).filter((at) => at !== null)) : -Infinity;
            if (earliest <= before) {
                return "Windows must not overlap, bands included.";
            }
        }
        return null;
    }

    give(kind) {
        if (this.ready === null || !this.named()) {
            return;
        }
        const windows = this.windows.filter((window) => Object.values(window).some((at) => at !== null)).sort((one, other) => one.earliest - other.earliest);
        const why = kind === "must_trip" ? this.fault(windows) : null;
        if (why !== null) {
            this.say(why);
            return;
        }
        const { id, sha256 } = this.trace;
        const asTable = ({ earliest, deadline, likely, latest }) => ({
            earliest_s: earliest, deadline_s: deadline, ...(likely === null ? {} : { likely_s: likely }), ...(latest === null ? {} : { latest_s: latest }),
        });
        const label = { id, sha256, on: today(), [kind]: kind === "must_trip" ? windows.map(asTable) : true };
        const more = { note: byId("note").value.trim(), inspection: byId("inspection").value.trim().replace(/\s+/g, " ") };
        this.history.push([id, this.given.get(id)]);
        this.put(id, { ...label, ...more, settles: this.data.queue === "differ", seen: this.seen.has(id) });
        this.seen.add(id);
        this.keep();
    }

    put(id, label) {
        if (label === undefined) {
            this.given.delete(id);
        } else {
            this.given.set(id, label);
        }
        this.unsaved = this.given.size > 0;
        this.keep();
        this.showWord(this.traces.findIndex((trace) => trace.id === id));
        this.showGiven();
        this.redraw();
    }

    // A word that was typed after the label was given belongs to it.
    amend(field) {
        const label = this.given.get(this.trace.id);
        if (label !== undefined) {
            this.put(this.trace.id, { ...label, [field]: byId(field).value.trim().replace(/\s+/g, " ") });
        }
    }

    async undo() {
        const last = this.history.pop();
        if (last === undefined) {
            this.say("Nothing to undo.");
            return;
        }
        const [id, before] = last;
        this.put(id, before);
        const number = this.traces.findIndex((trace) => trace.id === id);
        if (number !== this.at) {
            await this.choose(number);
        }
        this.say(before === undefined ? "Undone: no label." : `Undone: ${wordsOf(before)} again.`);
    }

    showWord(number) {
        const label = this.given.get(this.traces[number].id);
        const { word } = this.entries[number];
        word.textContent = label === undefined ? "no label" : `✓ ${KINDS[kindOf(label)]}`;
        word.className = `sub${label === undefined ? "" : " good"}`;
        byId("progress").textContent = `${this.given.size} of ${this.traces.length} labelled`;
    }

    showGiven() {
        const { trace, ready } = this;
        const label = this.given.get(trace.id);
        byId("given").textContent = label === undefined ? "Not labelled yet." : `Yours: ${wordsOf(label)}.`;
        Object.keys(KINDS).forEach((kind) => byId(kind).setAttribute("aria-pressed", label !== undefined && kind in label));
        byId("undo").disabled = this.history.length === 0;
        byId("said").hidden = trace.said.length === 0;
        byId("said").replaceChildren(element("strong", { text: "Reviewers differ; your label settles it." }), ...trace.said.map((text) => element("p", { text })));
        byId("hidden").hidden = label !== undefined;
        byId("decisions").hidden = label === undefined;
        byId("decisions").replaceChildren(...(label === undefined ? [] : this.decisionParts(ready)));
    }

    decisionParts({ stops, told, said }) {
        const shown = stops.map(([at, cause]) => `stop at ${seconds(at)} (${cause})`);
        const rows = { "with settings": this.data.settings, stops: shown.join("\n") || "no stop", family: told.family, "label so far": told.label, "others say": said.join("\n"), origin: told.origin, note: told.note };
        const listed = Object.entries(rows).filter(([, text]) => text !== "");
        return [element("dl", {}, ...listed.flatMap(([name, text]) => [element("dt", { text: name }), element("dd", { text })]))];
    }

    // ---- the curve ----

    redraw() {
        if (this.ready === null) {
            return;
        }
        const label = this.given.get(this.trace.id);
        const { states, stops } = this.ready;
        const withdrawn = WITHDRAWN.map((name) => this.data.states.indexOf(name));
        const decisions = label === undefined ? null : { states, stops, withdrawn };
        const { system, windows, active, cursor, clock } = this;
        this.plot.draw(this.ready, this.view, { system, windows, active, cursor, clock, decisions });
    }

    pressure(pascals) {
        const decimals = { kPa: 1, bar: 3, psi: 2 }[this.system];
        return Number.isNaN(pascals) ? "not read" : `${fixed(pascals / PRESSURES[this.system], decimals)} ${this.system}`;
    }

    gauge(pascals) {
        const above = pascals - this.atmosphere;
        if (Number.isNaN(above)) {
            return "not read";
        }
        if (this.system === "psi") {
            return above < 0 ? `${tenths(-above / PRESSURES.inHg)} inHg vac` : `${tenths(above / PRESSURES.psi)} psig`;
        }
        return this.system === "bar" ? `${fixed(above / PRESSURES.bar, 2)} bar(g)` : `${this.pressure(above)} gauge`;
    }

    rowAt(second) {
        const { time } = this.ready;
        let [low, high] = [0, time.length - 1];
        while (high - low > 1) {
            const middle = (low + high) >> 1;
            [low, high] = time[middle] <= second ? [middle, high] : [low, middle];
        }
        return second - time[low] <= time[high] - second ? low : high;
    }

    readout() {
        const film = byId("film");
        const assumed = element("span", { class: "assumed", text: ` ${this.trace.journal}` });
        if (this.cursor === null) {
            byId("readout").textContent = "Drag over the curve to mark a window. Point, or press the arrow keys, to read values.";
            film.replaceChildren(this.spellWords(), assumed);
            return;
        }
        const row = this.rowAt(this.cursor);
        const { net, suction, running, left, below } = this.ready;
        const clock = this.clock.known ? ` (${this.clock.shown(this.cursor)})` : "";
        const words = [
            `${tenths(this.cursor)} s${clock}`, `net oil pressure ${this.pressure(net[row])}`, `suction ${this.gauge(suction[row])}`,
            running[row] === 1 ? "running" : "standing",
        ];
        byId("readout").textContent = words.join(", ");
        const spell = below.find(([from, to]) => from <= this.cursor && this.cursor <= to);
        const since = spell === undefined ? "Not below the floor pressure." : `Below the floor pressure for ${seconds(this.cursor - spell[0])}.`;
        const percents = left.map((values, column) => `${Math.round(values[row])} % ${LEFT_NAMES[column]}`);
        film.replaceChildren(`${since} Film left: ${percents.join(", ")}. `, this.spellWords(), assumed);
        const plot = byId("plot");
        plot.setAttribute("aria-valuenow", row);
        plot.setAttribute("aria-valuetext", `${words.join(", ")}. ${film.textContent}`);
    }

    spellWords() {
        const at = this.cursor ?? this.trace.start_s;
        const spoils = ({ spoilt }) => spoilt.some((moment) => moment !== null && moment >= at);
        const spell = this.ready.spells.find(spoils);
        if (spell === undefined) {
            return `No film is spoilt ${this.cursor === null ? "in this trace" : "from here on"}.`;
        }
        const moments = spell.spoilt.map((moment, column) => `${moment === null ? "never" : seconds(moment)} ${LEFT_NAMES[column]}`);
        return `A stop is too late from ${moments.join(", ")}.`;
    }

    moveCursor(second) {
        this.cursor = Math.min(Math.max(second, this.trace.start_s), this.trace.end_s);
        this.readout();
        this.redraw();
    }

    stepCursor(rows) {
        const { time } = this.ready;
        const row = this.cursor === null ? 0 : this.rowAt(this.cursor) + rows;
        this.moveCursor(time[Math.min(Math.max(row, 0), time.length - 1)]);
        if (this.cursor < this.view.from || this.cursor > this.view.to) {
            const half = (this.view.to - this.view.from) / 2;
            this.look(this.cursor - half, this.cursor + half);
        }
    }

    look(from, to) {
        const { start_s: start, end_s: end } = this.trace;
        const span = Math.min(Math.max(to - from, LEAST_SPAN_S), end - start);
        const begin = Math.min(Math.max(from, start), end - span);
        this.view = { from: begin, to: begin + span };
        this.redraw();
    }

    zoom(factor, around = null) {
        const { from, to } = this.view;
        const at = around ?? (this.cursor !== null && this.cursor >= from && this.cursor <= to ? this.cursor : (from + to) / 2);
        this.look(at - (at - from) * factor, at + (to - at) * factor);
    }

    pan(share) {
        const { from, to } = this.view;
        this.look(from + share * (to - from), to + share * (to - from));
    }

    // ---- events ----

    // The edge of a window within reach of a pointer: { number, edge }, or null.
    edgeAt(x, kind) {
        const found = this.windows.flatMap((window, number) =>
            EDGES.filter((edge) => window[edge] !== null).map((edge) => ({ number, edge, far: Math.abs(this.plot.x(window[edge]) - x) })));
        return found.filter(({ far }) => far <= (NEAR_PX[kind] ?? NEAR_PX.mouse)).sort((one, other) => one.far - other.far)[0] ?? null;
    }

    press(event) {
        if (event.button !== 0 || this.ready === null) {
            return;
        }
        byId("plot").setPointerCapture(event.pointerId);
        const x = event.offsetX;
        const edge = event.shiftKey ? null : this.edgeAt(x, event.pointerType);
        if (edge !== null) {
            this.active = edge.number;
        }
        this.drag = { x, from: this.plot.secondsAt(x), edge, pans: event.shiftKey, view: this.view, moved: false };
        this.moveCursor(this.drag.from);
    }

    move(event) {
        if (this.ready === null) {
            return;
        }
        const { drag } = this;
        const second = this.plot.secondsAt(event.offsetX);
        if (drag === null || (!drag.moved && Math.abs(event.offsetX - drag.x) < DRAG_PX)) {
            this.moveCursor(second);
            return;
        }
        drag.moved = true;
        if (drag.pans) {
            const { from, to } = drag.view;
            const by = ((drag.x - event.offsetX) / (this.plot.right - this.plot.left)) * (to - from);
            this.look(from + by, to + by);
            return;
        }
        if (drag.edge === null) {
            const { window } = this;
            Object.assign(window, emptyWindow());
            this.moveEdge("earliest", Math.min(drag.from, second));
            this.moveEdge("deadline", Math.max(drag.from, second));
        } else {
            this.moveEdge(drag.edge.edge, second);
        }
        this.moveCursor(second);
    }

    keys() {
        const here = () => this.cursor ?? (this.view.from + this.view.to) / 2;
        return {
            m: () => this.give("must_trip"),
            r: () => this.give("ride_through"),
            u: () => this.give("undecided"),
            n: () => this.go(1),
            b: () => this.go(-1),
            z: () => this.undo(),
            s: () => this.save(),
            f: () => this.fill(),
            a: () => this.another(),
            x: () => this.clear(),
            "[": () => this.moveEdge("earliest", here()),
            "]": () => this.moveEdge("deadline", here()),
            "+": () => this.zoom(0.5),
            "=": () => this.zoom(0.5),
            "-": () => this.zoom(2),
            "<": () => this.pan(-0.4),
            ">": () => this.pan(0.4),
            0: () => this.look(this.trace.start_s, this.trace.end_s),
        };
    }

    listen() {
        const keys = this.keys();
        const buttons = {
            must_trip: "m", ride_through: "r", undecided: "u", next: "n", back: "b", undo: "z", save: "s", fill: "f", another: "a", clear: "x",
            begin: "[", end: "]", closer: "+", wider: "-", left: "<", right: ">", whole: "0",
        };
        Object.entries(buttons).forEach(([id, key]) => byId(id).addEventListener("click", keys[key]));
        document.addEventListener("keydown", (event) => {
            const typing = event.target.matches("input[type=text], textarea");
            if (typing && event.key === "Escape") {
                event.target.blur();
            }
            if (typing || event.ctrlKey || event.metaKey || event.altKey || keys[event.key] === undefined) {
                return;
            }
            event.preventDefault();
            keys[event.key]();
        });
        ["note", "inspection"].forEach((field) => byId(field).addEventListener("change", () => this.amend(field)));
        document.querySelectorAll("[name=system]").forEach((radio) => {
            radio.addEventListener("change", () => {
                this.system = radio.value;
                this.readout();
                this.redraw();
            });
        });
        const plot = byId("plot");
        plot.addEventListener("pointerdown", (event) => this.press(event));
        plot.addEventListener("pointermove", (event) => this.move(event));
        ["pointerup", "pointercancel"].forEach((name) => plot.addEventListener(name, () => {
            this.drag = null;
        }));
        plot.addEventListener("wheel", (event) => {
            event.preventDefault();
            this.zoom(event.deltaY > 0 ? 1.25 : 0.8, this.plot.secondsAt(event.offsetX));
        }, { passive: false });
        plot.addEventListener("keydown", (event) => {
            const wide = Math.max(1, Math.round(this.ready.time.length / 50));
            const steps = { ArrowLeft: -1, ArrowRight: 1, PageDown: -wide, PageUp: wide, Home: -Infinity, End: Infinity }[event.key];
            if (steps !== undefined) {
                event.preventDefault();
                this.stepCursor(steps);
            }
        });
        new ResizeObserver(() => this.redraw()).observe(plot);
        matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.redraw());
        addEventListener("beforeunload", (event) => this.unsaved && event.preventDefault());
    }
}

function today() {
    const now = new Date();
    return [now.getFullYear(), now.getMonth() + 1, now.getDate()].map((part) => String(part).padStart(2, "0")).join("-");
}

function kindOf(label) {
    return Object.keys(KINDS).find((kind) => kind in label);
}

function wordsOf(label) {
    const windows = (label.must_trip ?? []).map(({ earliest_s: earliest, deadline_s: deadline }) => `from ${seconds(earliest)} to ${seconds(deadline)}`);
    return [KINDS[kindOf(label)], windows.join(", then ")].filter(Boolean).join(" ");
}

startPage(["DecompressionStream"], (data) => new LabelPage(data));
