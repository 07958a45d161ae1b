// One trace on a canvas: net oil pressure, suction pressure, integral and states over one time axis.
// Lines differ by dash and name as well as by colour, each state has a lane; nothing is written over the data.
"use strict";

const HOURS_FROM_S = 7200;
const PANELS = ["net", "suction", "integral", "states"];
const SHARES = { wide: [4, 3, 2.2, 2.4], narrow: [3.4, 2.8, 2, 3.2] };
const GREY_LINE = "#d8d8d8";
const INK = "#1a1a1a";
const STANDARD_ATMOSPHERE = 101325;

class Plot {
    constructor(canvas, { looks, states }) {
        Object.assign(this, { canvas, looks, states, pen: canvas.getContext("2d") });
    }

    // trace: labels and start; readings: Port.readings; settings: BenchSettings; followed: Port.follow or null.
    draw(trace, readings, settings, followed, cursor) {
        Object.assign(this, { trace, readings, settings, followed });
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
        this.gauge = narrow ? 26 : 34; // width of the numbers of the gauge axis
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

    // Frame, heading and left axis of a panel; returns Pa (or percent) -> y.
    panel(name, title, low, high, unit, unitSize) {
        const { top, bottom } = this.panels[name];
        const y = (value) => bottom - ((value - low) / (high - low)) * (bottom - top);
        roundTicks(low / unitSize, high / unitSize, (bottom - top) / 30).forEach(({ value, text }) => {
            const place = y(value * unitSize);
            this.line([[this.left, place], [this.right, place]], GREY_LINE, 0.6, []);
            this.text(text, this.left - 6, place, { align: "right" });
        });
        this.heading(name, unit === "" ? title : `${title}, ${unit}`);
        return y;
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

    curve(name, values, y) {
        const { top, bottom } = this.panels[name];
        const { pen } = this;
        pen.save();
        pen.beginPath();
        pen.rect(this.left, top, this.right - this.left, bottom - top);
        pen.clip();
        pieces(this.xs, (tick) => y(values[tick]), this.gapBefore()).forEach((points) => {
            const only = points.length === 1 ? [...points, [points[0][0] + 1, points[0][1]]] : points;
            this.line(only, "#000000", 1.1, []);
        });
        pen.restore();
    }

    net() {
        const { net } = this.readings;
        const least = net.reduce((one, other) => (other < one ? other : one), 0);
        const most = net.reduce((one, other) => (other > one ? other : one), this.settings.value("cut_in"));
        const unit = this.settings.system;
        const y = this.panel("net", "net oil pressure", Math.max(least, -50000) - 5000, most * 1.08, unit, PRESSURES[unit]);
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

    suction() {
        const { suction } = this.readings;
        const { atmosphere, system } = this.settings;
        const most = suction.reduce((one, other) => (other > one ? other : one), atmosphere);
        const size = PRESSURES[system];
        const y = this.panel("suction", this.narrow ? "suction" : "suction pressure", 0, most * 1.05, `${system} absolute`, size);
        this.gaugeAxis(y, most * 1.05, atmosphere, system, size);
        this.curve("suction", suction, y);
        const reload = this.settings.value("reload");
        const levels = [["vacuum", this.settings.value("vacuum")]];
        if (reload <= 3 * STANDARD_ATMOSPHERE) {
            levels.unshift(["reload", reload]);
        }
        this.levels("suction", y, levels, this.gauge);
    }

    // Beside the plot: gauge pressure at the site, with vacuum counted downwards in inHg where psi are used.
    gaugeAxis(y, most, atmosphere, system, size) {
        const { top, bottom } = this.panels.suction;
        const inch = system === "psi";
        const count = (bottom - top) / 26;
        let ticks = roundTicks(inch ? 0 : -atmosphere / size, (most - atmosphere) / size, inch ? count / 2 : count);
        ticks = ticks.map(({ value, text }) => ({ pascal: value * size, text }));
        const apart = (inches) => y(atmosphere - inches * PRESSURES.inHg) - y(atmosphere) > this.size;
        const deep = [[10, 20], [15], []].find(([first]) => first === undefined || apart(first));
        if (inch) {
            ticks.push(...deep.map((inches) => ({ pascal: -inches * PRESSURES.inHg, text: `${inches}″` })));
        }
        const least = y(atmosphere + Math.min(0, ...ticks.map(({ pascal }) => pascal)));
        this.line([[this.right + this.gauge, top], [this.right + this.gauge, Math.max(least, bottom)]], "#8a8a8a", 0.8, []);
        ticks.forEach(({ pascal, text }) => {
            const place = y(atmosphere + pascal);
            this.line([[this.right + this.gauge - 4, place], [this.right + this.gauge, place]], "#8a8a8a", 0.8, []);
            this.text(text, this.right + this.gauge - 6, place, { align: "right", colour: "#444444" });
        });
        const words = `gauge ${system}${inch && deep.length > 0 ? " and ″Hg vac" : ""}`;
        const end = this.right + this.gauge;
        this.text(this.narrow ? words : `${words}, at ${this.settings.altitudeText}`, end, top - 4, { align: "right", base: "bottom", colour: "#444444" });
    }

    integral() {
        const y = this.panel("integral", "time-delay integral, % of trip delay", 0, 108, "", 1);
        if (this.followed !== null) {
            const delay = this.settings.value("trip_delay");
            const percent = Float64Array.from(this.followed.integral, (ms) => (100 * ms) / delay);
            const foot = y(0);
            this.pen.fillStyle = "#f3d9a4";
            pieces(this.xs, (tick) => y(percent[tick]), this.gapBefore()).forEach((points) => {
                this.path([[points[0][0], foot], ...points, [points.at(-1)[0], foot]]);
                this.pen.fill();
            });
            this.curve("integral", percent, y);
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
        if (this.followed === null) {
            return;
        }
        const { states } = this.followed;
        for (let begin = 0, tick = 1; tick <= states.length; tick++) {
            if (tick === states.length || states[tick] !== states[begin]) {
                const lane = this.looks.lanes.indexOf(states[begin]);
                this.pen.fillStyle = this.looks.shades[states[begin]];
                const width = this.xs[Math.min(tick, states.length - 1)] - this.xs[begin];
                this.pen.fillRect(this.xs[begin], top + height * lane + 1, Math.max(width, 1), height - 2);
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
