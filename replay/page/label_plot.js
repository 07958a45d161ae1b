// A trace to be labelled, on a canvas: net oil pressure with its levels, suction as gauge, running status, film left.
"use strict";

const HOURS_FROM_S = 7200;
const GAP_ROWS = 20; // a silence of so many usual steps, and more, ends a curve
const LEFT_NAMES = ["pessimistic", "likely", "lasting"];
const DASHES = { "cut-in": [7, 3], "cut-out": [8, 2, 2, 2], floor: [1.5, 2], pessimistic: [], likely: [6, 3], lasting: [1.5, 2.5] };
const COLOURS = { "cut-in": "--green", "cut-out": "--red", floor: "--purple", pessimistic: "--red", likely: "--ink", lasting: "--green" };
const SHARES = { net: 4, suction: 2.4, running: 0.5, film: 2.2, logic: 0.5 };
const LEAST_SPAN_S = 2;

class LabelPlot {
    constructor(canvas, levels, atmosphere) {
        Object.assign(this, { canvas, levels, atmosphere, pen: canvas.getContext("2d") });
    }

    // trace: arrays and times; view: { from, to } in s; shown: { system, windows, active, cursor, clock, decisions }.
    draw(trace, view, shown) {
        Object.assign(this, { trace, view, shown, colours: getComputedStyle(document.documentElement) });
        this.measure();
        this.timeAxis();
        this.windows();
        this.net();
        this.suction();
        this.running();
        this.film();
        this.logic();
        if (shown.cursor !== null) {
            this.vertical(this.x(shown.cursor), "--soft", 1, []);
        }
    }

    colour(name) {
        return this.colours.getPropertyValue(name).trim();
    }

    measure() {
        const { canvas, pen } = this;
        const scale = globalThis.devicePixelRatio || 1;
        const [width, height] = [canvas.clientWidth, canvas.clientHeight];
        canvas.width = Math.round(width * scale);
        canvas.height = Math.round(height * scale);
        pen.setTransform(scale, 0, 0, scale, 0, 0);
        pen.fillStyle = this.colour("--paper");
        pen.fillRect(0, 0, width, height);
        const narrow = width < 520;
        Object.assign(this, { narrow, size: narrow ? 11 : 12, left: narrow ? 46 : 56, right: width - (narrow ? 70 : 84) });
        pen.font = `${this.size}px system-ui, sans-serif`;
        const heading = this.size + 5;
        const rows = this.shown.clock.known ? 2 : 1;
        const bottom = height - rows * (this.size + 4) - 4;
        const names = Object.keys(SHARES).filter((name) => name !== "logic" || this.shown.decisions !== null);
        const share = (bottom - heading * names.length) / names.reduce((sum, name) => sum + SHARES[name], 0);
        let y = 0;
        this.panels = {};
        names.forEach((name) => {
            y += heading;
            this.panels[name] = { top: y + 1, bottom: y + SHARES[name] * share - 2 };
            y += SHARES[name] * share;
        });
        this.xs = this.trace.time.map((s) => this.x(s));
    }

    x(seconds) {
        const { from, to } = this.view;
        return this.left + ((seconds - from) / (to - from)) * (this.right - this.left);
    }

    secondsAt(x) {
        const { from, to } = this.view;
        return from + ((x - this.left) / (this.right - this.left)) * (to - from);
    }

    text(text, x, y, { align = "left", colour = "--ink", base = "middle" } = {}) {
        Object.assign(this.pen, { fillStyle: this.colour(colour), textAlign: align, textBaseline: base });
        this.pen.fillText(text, x, y);
    }

    line(points, colour, width, dash) {
        const { pen } = this;
        Object.assign(pen, { strokeStyle: this.colour(colour), lineWidth: width });
        pen.setLineDash(dash);
        pen.beginPath();
        points.forEach(([x, y], index) => (index === 0 ? pen.moveTo(x, y) : pen.lineTo(x, y)));
        pen.stroke();
        pen.setLineDash([]);
    }

    vertical(x, colour, width, dash) {
        if (x >= this.left && x <= this.right) {
            Object.values(this.panels).forEach(({ top, bottom }) => this.line([[x, top], [x, bottom]], colour, width, dash));
        }
    }

    box(begin, end, { top, bottom }, colour) {
        const [x, to] = [Math.max(this.x(begin), this.left), Math.min(this.x(end), this.right)];
        if (to > x) {
            this.pen.fillStyle = this.colour(colour);
            this.pen.fillRect(x, top, Math.max(to - x, 1), bottom - top);
        }
    }

    timeAxis() {
        const { from, to } = this.view;
        const { clock } = this.shown;
        const [unit, size] = to - from >= HOURS_FROM_S ? ["h", 3600] : ["s", 1];
        const { bottom } = Object.values(this.panels).at(-1);
        roundTicks(from / size, to / size, (this.right - this.left) / 75).forEach(({ value, text }) => {
            const x = this.x(value * size);
            this.vertical(x, "--line", 0.6, []);
            this.text(text, x, bottom + 4, { align: "center", base: "top", colour: "--soft" });
            if (clock.known) {
                this.text(clock.shown(value * size, to - from > 3600), x, bottom + this.size + 8, { align: "center", base: "top", colour: "--soft" });
            }
        });
        this.text(`time ${unit}`, this.right + 6, bottom + 4, { base: "top", colour: "--soft" });
        if (clock.known) {
            this.text(this.narrow ? "clock" : "by the clock", this.right + 6, bottom + this.size + 8, { base: "top", colour: "--soft" });
        }
    }

    // Frame and heading of a panel.
    frame(name, title) {
        const { top, bottom } = this.panels[name];
        this.line([[this.left, top], [this.left, bottom], [this.right, bottom], [this.right, top], [this.left, top]], "--edge", 0.8, []);
        this.text(title, this.left, top - 3, { base: "bottom" });
    }

    // Scale of a panel with ticks in units of `size` Pa; returns value -> y.
    scale(name, low, high, size) {
        const { top, bottom } = this.panels[name];
        const y = (value) => bottom - ((value - low) / (high - low)) * (bottom - top);
        roundTicks(low / size, high / size, (bottom - top) / 30).forEach(({ value, text }) => this.tick(y(value * size), text));
        return y;
    }

    tick(place, text) {
        this.line([[this.left, place], [this.right, place]], "--line", 0.6, []);
        this.text(text, this.left - 5, place, { align: "right", colour: "--soft" });
    }

    curve(name, values, y, colour, dash = []) {
        const { top, bottom } = this.panels[name];
        const { pen, trace, xs } = this;
        pen.save();
        pen.beginPath();
        pen.rect(this.left, top, this.right - this.left, bottom - top);
        pen.clip();
        pieces(xs, (row) => y(values[row]), (row) => row > 0 && trace.time[row] - trace.time[row - 1] > trace.gap).forEach((points) => {
            this.line(points.length === 1 ? [...points, [points[0][0] + 1, points[0][1]]] : points, colour, 1.2, dash);
        });
        pen.restore();
    }

    // Names beside the plot, each with a leader to where it belongs.
    names(name, named) {
        const { top, bottom } = this.panels[name];
        const inside = named.filter(([, at]) => at >= top - 1 && at <= bottom + 1);
        const half = this.size / 2;
        const places = spread(inside.map(([, at]) => at), this.size + 1, top + half - 3, bottom - half + 3);
        inside.forEach(([title, at], index) => {
            this.line([[this.right + 1, at], [this.right + 6, places[index]]], COLOURS[title], 1, []);
            this.text(title, this.right + 8, places[index], { colour: COLOURS[title] });
        });
    }

    windows() {
        this.shown.windows.forEach(({ earliest, deadline, likely, latest }, number) => {
            const width = number === this.shown.active ? 1.8 : 1.1;
            if (earliest !== null && deadline !== null) {
                Object.values(this.panels).forEach((panel) => this.box(earliest, deadline, panel, "--window"));
            }
            [[earliest, [4, 2]], [deadline, [9, 2, 2, 2]]].filter(([at]) => at !== null).forEach(([at, dash]) => this.vertical(this.x(at), "--blue", width, dash));
            [likely, latest].filter((at) => at !== null).forEach((at) => this.vertical(this.x(at), "--blue", 0.8, [1.5, 3]));
        });
    }

    net() {
        const { net } = this.trace;
        const least = net.reduce((one, other) => (other < one ? other : one), 0);
        const most = net.reduce((one, other) => (other > one ? other : one), this.levels["cut-in"]);
        const { system } = this.shown;
        const [low, high] = [Math.max(least, -50000) - 5000, most * 1.08];
        const { top, bottom } = this.panels.net;
        const y = (value) => bottom - ((value - low) / (high - low)) * (bottom - top);
        const [upper, lower] = [y(this.levels["cut-in"]), y(this.levels["cut-out"])];
        this.pen.globalAlpha = 0.7;
        this.pen.fillStyle = this.colour("--hold");
        this.pen.fillRect(this.left, upper, this.right - this.left, Math.max(lower - upper, 0));
        this.pen.globalAlpha = 1;
        this.scale("net", low, high, PRESSURES[system]);
        this.frame("net", `net oil pressure, ${system}`);
        Object.entries(this.levels).forEach(([name, value]) => this.line([[this.left, y(value)], [this.right, y(value)]], COLOURS[name], 1.2, DASHES[name]));
        this.curve("net", net, y, "--ink");
        this.names("net", Object.entries(this.levels).map(([name, value]) => [name, y(value)]));
    }

    // As gauges of the trade show it: above the site's atmosphere, and below it as vacuum, in inHg where psi are used.
    suction() {
        const { suction } = this.trace;
        const { system } = this.shown;
        const most = suction.reduce((one, other) => (other > one ? other : one), this.atmosphere * 1.2);
        const { top, bottom } = this.panels.suction;
        const y = (value) => bottom - (value / (most * 1.05)) * (bottom - top);
        const size = PRESSURES[system];
        const low = system === "psi" ? 0 : -this.atmosphere;
        const ticks = roundTicks(low / size, (most * 1.05 - this.atmosphere) / size, (bottom - top) / 26);
        ticks.forEach(({ value, text }) => this.tick(y(this.atmosphere + value * size), text));
        if (system === "psi" && y(this.atmosphere - 20 * PRESSURES.inHg) - y(this.atmosphere) > this.size) {
            this.tick(y(this.atmosphere - 20 * PRESSURES.inHg), "20″");
        }
        const below = { psi: ["psig", ", ″Hg vac below 0"], bar: ["bar(g)", ""], kPa: ["kPa gauge", ""] }[system];
        this.frame("suction", `suction, ${below.join("")}`);
        this.line([[this.left, y(this.atmosphere)], [this.right, y(this.atmosphere)]], "--edge", 1, [2, 2]);
        this.text(this.narrow ? "atm." : "atmosphere", this.right + 8, y(this.atmosphere), { colour: "--soft" });
        this.curve("suction", suction, y, "--blue");
    }

    running() {
        this.frame("running", "running, as logged");
        this.strip("running", this.trace.running.map((on, row) => [this.trace.time[row], on === 1]));
    }

    // A bar while something is so, from rows of [seconds, whether].
    strip(name, rows) {
        const panel = this.panels[name];
        for (let begin = 0, row = 1; row <= rows.length; row++) {
            if (row === rows.length || rows[row][1] !== rows[begin][1]) {
                if (rows[begin][1]) {
                    this.box(rows[begin][0], row === rows.length ? this.trace.end_s : rows[row][0], { top: panel.top + 2, bottom: panel.bottom - 2 }, "--run");
                }
                begin = row;
            }
        }
    }

    film() {
        const y = this.scale("film", 0, 105, 1);
        this.frame("film", this.narrow ? "film left, % (assumed journals)" : "film left in %, of assumed journals under these pressures");
        this.trace.left.forEach((values, column) => {
            const name = LEFT_NAMES[column];
            this.curve("film", values, y, COLOURS[name], DASHES[name]);
        });
        this.trace.spells.forEach(({ spoilt }) => spoilt.forEach((at, column) => {
            if (at !== null && at >= this.view.from && at <= this.view.to) {
                const { top, bottom } = this.panels.film;
                this.line([[this.x(at), top], [this.x(at), bottom]], COLOURS[LEFT_NAMES[column]], 1.6, DASHES[LEFT_NAMES[column]]);
            }
        }));
        const { top, bottom } = this.panels.film;
        this.names("film", LEFT_NAMES.map((name, place) => [name, top + ((place + 0.5) / 3) * (bottom - top)]));
    }

    // Stops of the logic, once they may be seen.
    logic() {
        const { decisions } = this.shown;
        if (decisions === null) {
            return;
        }
        this.frame("logic", "no run permission");
        const withdrawn = decisions.states.map(([at, state]) => [at, decisions.withdrawn.includes(state)]);
        this.strip("logic", [[this.trace.start_s, false], ...withdrawn]);
        decisions.stops.forEach(([at]) => this.vertical(this.x(at), "--red", 1.6, []));
    }
}
