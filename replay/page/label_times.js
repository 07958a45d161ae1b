// Seconds of a trace's own time <-> what the clock on the machine's wall shows, where the trace says when it began.
"use strict";

const DAY_S = 86400;
const FIXED_OFFSET = /^([+-])(\d{2}):?(\d{2})?$/;

class WallClock {
    // trace: start_utc (ISO text or null), zone (a name, an offset, or null: UTC is shown), start_s, end_s.
    constructor({ start_utc: start, zone, start_s: startS, end_s: endS }) {
        this.beginMs = start === null ? null : Date.parse(start);
        [this.startS, this.endS] = [startS, endS];
        const fixed = FIXED_OFFSET.exec(zone ?? "");
        this.offsetMs = fixed === null ? 0 : (fixed[1] === "-" ? -60000 : 60000) * (60 * Number(fixed[2]) + Number(fixed[3] ?? 0));
        this.zone = zone === null || fixed !== null ? "UTC" : zone;
        this.named = zone ?? "UTC";
        const parts = { year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit", second: "2-digit" };
        this.format = new Intl.DateTimeFormat("en-GB", { ...parts, hourCycle: "h23", timeZone: this.zone });
    }

    get known() {
        return this.beginMs !== null;
    }

    // { date: "2026-03-01", time: "10:05:30" } of a moment, in s of the trace's time.
    parts(seconds) {
        const ms = this.beginMs + 1000 * (seconds - this.startS) + this.offsetMs;
        const found = Object.fromEntries(this.format.formatToParts(new Date(Math.round(ms))).map(({ type, value }) => [type, value]));
        const { year, month, day, hour, minute, second } = found;
        return { date: `${year}-${month}-${day}`, time: `${hour}:${minute}:${second}` };
    }

    // Seconds of the trace that a text stands for, or null: "312.5", "5 min", "10:05:30", "2026-03-01 10:05:30".
    secondsOf(text) {
        const plain = text.trim();
        const quantity = parse(plain, { unit: "s", mark: "" });
        if (quantity !== null && quantity.mark === "" && TIMES[quantity.unit] !== undefined) {
            return (quantity.number * TIMES[quantity.unit]) / 1000;
        }
        const clock = /^(?:(\d{4}-\d{2}-\d{2})[ T])?(\d{1,2}):(\d{2})(?::(\d{2}(?:\.\d+)?))?$/.exec(plain);
        return clock === null || !this.known ? null : this.ofClock(clock);
    }

    ofClock([, date, hour, minute, second = "0"]) {
        const wanted = 3600 * Number(hour) + 60 * Number(minute) + Number(second);
        for (let from = this.startS; from <= this.endS + DAY_S; from += DAY_S) {
            const shown = this.parts(from);
            const [h, m, s] = shown.time.split(":").map(Number);
            const fraction = (this.beginMs / 1000 + (from - this.startS)) % 1;
            const at = from + ((wanted - (3600 * h + 60 * m + s + fraction) + DAY_S) % DAY_S);
            const told = this.parts(at + 1e-6);
            const same = told.time === [hour.padStart(2, "0"), minute, String(Math.floor(Number(second))).padStart(2, "0")].join(":");
            if (same && (date === undefined || told.date === date)) {
                return Math.round(at * 1000) / 1000;
            }
            if (date === undefined) {
                return null;
            }
        }
        return null;
    }
}
