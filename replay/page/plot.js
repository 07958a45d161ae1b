// One trace on a canvas: net oil pressure, suction pressure, integral and states over one time axis.
// Lines differ by dash and name as well as by colour, each state has a lane; nothing is written over the data.
"use strict";

const HOURS_FROM_S = 7200;
const PANELS = ["net", "suction", "integral", "states"];
const SHARES = { wide: [4, 3, 2.2, 2.4], narrow: [3.4, 2.8, 2, 3.2] };
const GREY_LINE = "#d8d8d8";
const INK = "#1a1a1a";
const STANDARD_ATMOSPHERE = 101325;
const CURVE_LINE = { colour: "#000000", width: 1.1, dash: [] };
const FILE_LINE = { colour: "#8a8a8a", width: 1.2, dash: [4, 3] }; // what the settings of the file do

function percentOf(integral, delay) {
    return Float64Array.from(integral, (ms) => (100 * ms) / delay);
}

class Plot {
    constructor(canvas, { looks, states }) {
        Object.assign(this, { canvas, looks, states, pen: canvas.getContext("2d") });
    }

    // trace: labels and start; readings: Port.readings; settings: BenchSettings; followed: Port.follow or null;
    // file: the same with the settings of the file, where others are tried, or null.
    draw(trace, readings, settings, followed, file, cursor) {
        Object.assign(this, { trace, readings, settings, followed, file });
        this.measure();
        this.net();
        this.suction();
        this.integral();
        this.lanes();
        this.marks();
        if (cursor !== null) {
            this.vertical(this.xs[cursor], "#555555", 1, []);
        }
    }

    measure() {
        const { canvas, pen, readings } = this;
        const scale = globalThis.devicePixelRatio || 1;
        const [width, height] = [canvas.clientWidth, canvas.clientHeight];
        canvas.width = Math.round(width * scale);
        canvas.height = Math.round(height * scale);
        pen.setTransform(scale, 0, 0, scale, 0, 0);
        pen.clearRect(0, 0, width, height);
        const narrow = width < 520;
        this.narrow = narrow;
        this.size = narrow ? 11 : 12;
        this.font();
        this.left = narrow ? 62 : 70;
        this.right = width - (narrow ? 84 : 106);
        this.second = narrow ? 26 : 34; // width of the numbers of the absolute axis
        const heading = this.size + 5;
        const top = KEY_ROWS * (this.size + 3) + 2;
        const bottom = height - (this.size + 20);
        const parts = SHARES[narrow ? "narrow" : "wide"];
        const share = (bottom - top - heading * PANELS.length) / parts.reduce((sum, part) => sum + part, 0);
        let y = top;
        this.panels = {};
        PANELS.forEach((name, number) => {
            const height = parts[number] * share;
            y += heading;
            this.panels[name] = { top: y + 2, bottom: y + height - 2 };
            y += height;
        });
        const { time } = readings;
        [this.begin, this.end] = [time[0], time[time.length - 1]];
        this.xs = time.map((ms) => this.x(ms));
        this.timeAxis();
    }

    x(ms) {
        return this.left + ((ms - this.begin) / (this.end - this.begin)) * (this.right - this.left);
    }

    font(weight = "") {
        this.pen.font = `${weight} ${this.size}px system-ui, sans-serif`;
    }

    text(text, x, y, { align = "left", colour = INK, base = "middle" } = {}) {
        Object.assign(this.pen, { fillStyle: colour, textAlign: align, textBaseline: base });
        this.pen.fillText(text, x, y);
    }

    line(points, colour, width, dash) {
        const { pen } = this;
        Object.assign(pen, { strokeStyle: colour, lineWidth: width });
        pen.setLineDash(dash);
        this.path(points);
        pen.stroke();
        pen.setLineDash([]);
    }

    path(points) {
        const { pen } = this;
        pen.beginPath();
        points.forEach(([x, y], index) => (index === 0 ? pen.moveTo(x, y) : pen.lineTo(x, y)));
    }

    // Through every panel, but not through the words between them.
    vertical(x, colour, width, dash) {
        Object.values(this.panels).forEach(({ top, bottom }) => this.line([[x, top], [x, bottom]], colour, width, dash));
    }

    timeAxis() {
        const first = this.trace.start_s;
        const [unit, size] = this.end - this.begin >= 1000 * HOURS_FROM_S ? ["h", 3600] : ["s", 1];
        const [low, high] = [first / size, (first + (this.end - this.begin) / 1000) / size];
        const y = this.panels.states.bottom;
        roundTicks(low, high, (this.right - this.left) / 75).forEach(({ value, text }) => {
            const x = this.x(this.begin + 1000 * (value * size - first));
            this.vertical(x, GREY_LINE, 0.6, []);
            this.text(text, x, y + 5, { align: "center", base: "top" });
        });
        this.text(`time ${unit}`, this.right + 6, y + 5, { base: "top" });
    }

    // Frame, heading and left axis of a panel; ticks: (y, room) -> their values and texts. Returns Pa (or percent) -> y.
    panel(name, title, low, high, ticks) {
        const { top, bottom } = this.panels[name];
        const y = (value) => bottom - ((value - low) / (high - low)) * (bottom - top);
        ticks(y, bottom - top).forEach(({ value, text }) => {
            this.line([[this.left, y(value)], [this.right, y(value)]], GREY_LINE, 0.6, []);
            this.text(text, this.left - 6, y(value), { align: "right" });
        });
        this.heading(name, title);
        return y;
    }

    // Round numbers of a unit from low to high, both in Pa (or percent).
    evenly(low, high, size) {
        return (_, room) => roundTicks(low / size, high / size, room / 30).map(({ value, text }) => ({ value: value * size, text }));
    }

    heading(name, title) {
        const { top, bottom } = this.panels[name];
        this.line([[this.left, top], [this.left, bottom], [this.right, bottom], [this.right, top], [this.left, top]],
            "#8a8a8a", 0.8, []);
        this.text(title, this.left, top - 4, { base: "bottom" });
    }

    // Named levels: a line each, and the names beside the plot with a leader to their line; room is left under them.
    levels(name, y, levels, offset = 0, room = 0) {
        const { top, bottom } = this.panels[name];
        const inside = levels.map(([title, value]) => [title, y(value)]).filter(([, at]) => at >= top - 1 && at <= bottom + 1);
        const half = this.size / 2;
        const places = spread(inside.map(([, at]) => at), this.size + 1, top + half - 3, bottom - room - half + 3);
        inside.forEach(([title, at], index) => {
            const { colour, width, dash } = this.looks.lines[title];
            this.line([[this.left, at], [this.right, at]], colour, width, dash);
            this.line([[this.right + offset + 1, offset > 0 ? places[index] : at], [this.right + offset + 6, places[index]]],
                colour, 1, []);
            this.text(title, this.right + offset + 8, places[index], { colour });
        });
    }

    gapBefore() {
        const { time } = this.readings;
        const most = this.settings.value("max_gap");
        return (tick) => tick > 0 && time[tick] - time[tick - 1] > most;
    }

    curve(name, values, y, { colour, width, dash } = CURVE_LINE) {
        const { top, bottom } = this.panels[name];
        const { pen } = this;
        pen.save();
        pen.beginPath();
        pen.rect(this.left, top, this.right - this.left, bottom - top);
        pen.clip();
        pieces(this.xs, (tick) => y(values[tick]), this.gapBefore()).forEach((points) => {
            const only = points.length === 1 ? [...points, [points[0][0] + 1, points[0][1]]] : points;
            this.line(only, colour, width, dash);
        });
        pen.restore();
    }

    net() {
        const { net } = this.readings;
        const least = net.reduce((one, other) => (other < one ? other : one), 0);
        const most = net.reduce((one, other) => (other > one ? other : one), this.settings.value("cut_in"));
        const unit = this.settings.system;
        const [low, high] = [Math.max(least, -50000) - 5000, most * 1.08];
        const y = this.panel("net", `net oil pressure, ${unit}`, low, high, this.evenly(low, high, PRESSURES[unit]));
        const band = [y(this.settings.value("cut_in")), y(this.settings.value("cut_out"))];
        this.pen.fillStyle = this.looks.lines.hold.colour;
        if (band[1] > band[0]) {
            this.pen.fillRect(this.left, band[0], this.right - this.left, band[1] - band[0]);
        }
        this.curve("net", net, y);
        const levels = ["cut_in", "cut_out", "floor"].map((name) => [name.replace("_", "-"), this.settings.value(name)]);
        this.levels("net", y, levels, 0, this.doubted() ? this.size + 4 : 0);
    }

    // A strip at the foot of the panel while the logic had no credible readings; says whether it has a name there.
    doubted() {
        if (this.followed === null) {
            return false;
        }
        const { bottom } = this.panels.net;
        const { colour } = this.looks.lines.unread;
        let any = false;
        this.pen.fillStyle = colour;
        this.followed.net.forEach((value, tick) => {
            if (value === NO_READING) {
                const x = this.xs[Math.max(tick - 1, 0)];
                this.pen.fillRect(x, bottom - 5, Math.max(this.xs[tick] - x, 1), 5);
                any = true;
            }
        });
        if (any) {
            this.text("not credible", this.right + 4, bottom - 3, { colour });
        }
        return any;
    }

    // As a gauge on the machine shows it; the same absolute beside the plot.
    suction() {
        const { suction } = this.readings;
        const { atmosphere, system, altitudeText } = this.settings;
        const high = 1.05 * suction.reduce((one, other) => (other > one ? other : one), atmosphere);
        const [mark, absolute] = { psi: ["psig", "psia"], bar: ["bar(g)", "bar abs"], kPa: ["kPa gauge", "kPa abs"] }[system];
        const named = system === "psi" ? "psig and inHg vac" : mark;
        const title = this.narrow ? `suction, ${named}` : `suction, ${named}, site at ${altitudeText}`;
        const y = this.panel("suction", title, 0, high, (at, room) => this.gaugeTicks(at, room, high));
        this.absoluteAxis(y, high, absolute);
        this.line([[this.left, y(atmosphere)], [this.right, y(atmosphere)]], "#8a8a8a", 0.8, []);
        this.curve("suction", suction, y);
        const reload = this.settings.value("reload");
        const levels = [["vacuum", this.settings.value("vacuum")]];
        if (reload <= 3 * STANDARD_ATMOSPHERE) {
            levels.unshift(["reload", reload]);
        }
        this.levels("suction", y, levels, this.second);
    }

    // Gauge pressure at the site; where psi are used, vacuum is counted downwards in inHg.
    gaugeTicks(y, room, high) {
        const { atmosphere, system } = this.settings;
        const [inch, size] = [system === "psi", PRESSURES[system]];
        const above = roundTicks(inch ? 0 : -atmosphere / size, (high - atmosphere) / size, room / (inch ? 52 : 30));
        const ticks = above.map(({ value, text }) => ({ value: atmosphere + value * size, text }));
        if (!inch) {
            return ticks;
        }
        const apart = (inches) => y(atmosphere - inches * PRESSURES.inHg) - y(atmosphere) > this.size;
        const deep = [[10, 20], [15], []].find(([first]) => first === undefined || apart(first));
        return [...ticks, ...deep.map((inches) => ({ value: atmosphere - inches * PRESSURES.inHg, text: `${inches} inHg` }))];
    }

    absoluteAxis(y, high, unit) {
        const { top, bottom } = this.panels.suction;
        const grey = { align: "right", colour: "#444444" };
        const end = this.right + this.second;
        this.line([[end, top], [end, bottom]], "#8a8a8a", 0.8, []);
        this.evenly(0, high, PRESSURES[this.settings.system])(y, bottom - top).forEach(({ value, text }) => {
            this.line([[end - 4, y(value)], [end, y(value)]], "#8a8a8a", 0.8, []);
            this.text(text, end - 6, y(value), grey);
        });
        this.text(unit, end, top - 4, { ...grey, base: "bottom" });
    }

    integral() {
        const grey = this.file === null ? "" : `; ${this.narrow ? "grey" : "dashed grey"}: the file's settings`;
        const title = this.narrow && grey !== "" ? "integral, %" : "time-delay integral, % of trip delay";
        const y = this.panel("integral", title + grey, 0, 108, this.evenly(0, 108, 1));
        if (this.followed !== null) {
            const percent = percentOf(this.followed.integral, this.settings.value("trip_delay"));
            const foot = y(0);
            this.pen.fillStyle = "#f3d9a4";
            pieces(this.xs, (tick) => y(percent[tick]), this.gapBefore()).forEach((points) => {
                this.path([[points[0][0], foot], ...points, [points.at(-1)[0], foot]]);
                this.pen.fill();
            });
            this.curve("integral", percent, y);
        }
        if (this.file !== null) {
            this.curve("integral", percentOf(this.file.integral, this.file.tripDelay), y, FILE_LINE);
        }
        this.levels("integral", y, [
            ["trip delay", 100],
            ["reload guard", (100 * this.settings.value("reload_fraction")) / ONE],
        ]);
    }

    lanes() {
        const { top, bottom } = this.panels.states;
        const height = (bottom - top) / this.looks.lanes.length;
        this.heading("states", "state");
        const size = this.size;
        this.size = Math.min(this.size, Math.max(9, height));
        this.font();
        this.looks.lanes.forEach((state, lane) => {
            const y = top + height * (lane + 0.5);
            this.text(this.states[state].replace("_", " "), this.left - 6, y, { align: "right" });
            this.line([[this.left, y], [this.right, y]], GREY_LINE, 0.6, []);
        });
        this.size = size;
        this.font();
        if (this.followed !== null) {
            this.spells(this.followed.states, top + 1, height, height - 2, (state) => this.looks.shades[state]);
        }
        if (this.file !== null) { // along the foot of each lane
            this.spells(this.file.states, top + height - 3, height, 2, () => FILE_LINE.colour);
        }
    }

    // A bar in the lane of each state for as long as it lasts.
    spells(states, top, lane, height, colour) {
        for (let begin = 0, tick = 1; tick <= states.length; tick++) {
            if (tick === states.length || states[tick] !== states[begin]) {
                this.pen.fillStyle = colour(states[begin]);
                const width = this.xs[Math.min(tick, states.length - 1)] - this.xs[begin];
                this.pen.fillRect(this.xs[begin], top + lane * this.looks.lanes.indexOf(states[begin]), Math.max(width, 1), height);
                begin = tick;
            }
        }
    }

    // Window of the label and stops, named above the plot.
    marks() {
        const { label, start_s: start } = this.trace;
        const at = (seconds) => this.x(this.begin + 1000 * (seconds - start));
        let marks = [];
        if (label.kind === "must_trip") {
            const which = (number) => (label.windows.length > 1 ? ` ${number + 1}` : "");
            const ends = (window) => Object.entries(window).filter(([, seconds]) => seconds !== null);
            marks = label.windows.flatMap((window, number) =>
                ends(window).map(([key, seconds]) => [key.slice(0, -"_s".length), at(seconds), which(number)]));
        }
        const stops = this.followed?.stopTimes ?? [];
        marks.push(...stops.map((ms, number) => ["stop", this.x(ms), stops.length > 1 ? ` ${number + 1}` : ""]));
        marks = marks.filter(([, x]) => x >= this.left && x <= this.right).sort((one, other) => one[1] - other[1]);
        const width = ([title, , number]) => this.pen.measureText(title + number).width + 12;
        const rows = rowsFor(marks.map((mark) => [mark[1], mark[1] + width(mark)]));
        marks.forEach(([title, x, number], index) => {
            const { colour, width: thick, dash } = this.looks.lines[title];
            this.vertical(x, colour, thick, dash);
            if (rows[index] !== null) {
                const y = rows[index] * (this.size + 3) + this.size / 2 + 2;
                this.line([[x, y - this.size / 2], [x, this.panels.net.top - this.size - 4]], colour, thick, []);
                this.text(title + number, x + 4, y, { colour });
            }
        });
    }
}
