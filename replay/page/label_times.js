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

    // A moment as it is shown: with month and day where the trace lasts longer than a day; short: without its seconds then.
    shown(seconds, short = false) {
        const { date, time } = this.parts(seconds);
        const long = this.endS - this.startS > DAY_S;
        return long ? `${date.slice(5)} ${short ? time.slice(0, 5) : time}` : time;
    }

    // Seconds of the trace that a text stands for, or null: "312.5", "5 min", "10:05:30", "2026-03-01 10:05:30".
    secondsOf(text) {
        const plain = text.trim();
        const quantity = parse(plain, { unit: "s", mark: "" });
        if (quantity !== null && quantity.mark === "" && TIMES[quantity.unit] !== undefined) {
            return (quantity.number * TIMES[quantity.unit]) / 1000;
        }
        const clock = /^(?:(\d{4}-\d{2}-\d{2})[ T])?(\d{2}):(\d{2})(?::(\d{2}(?:\.\d+)?))?$/.exec(plain);
        return clock === null || !this.known ? null : this.ofClock(clock);
    }

    // Without a date it is the first time that the clock shows this in the trace.
    ofClock([, date, hour, minute, second = "0"]) {
        if (date !== undefined) {
            return this.only(date, hour, minute, second);
        }
        const begins = this.parts(this.startS).date;
        const first = this.only(begins, hour, minute, second);
        const next = new Date(Date.parse(`${begins}T00:00:00Z`) + 1000 * DAY_S).toISOString().slice(0, 10);
        return first !== null && first < this.startS ? this.only(next, hour, minute, second) : first;
    }

    // The one moment at which the clock shows this, in the trace if it lies there; null where it shows it twice or never,
    // as when it is set back or forward.
    only(date, hour, minute, second) {
        const shownMs = Date.parse(`${date}T${hour}:${minute}:00Z`) + 1000 * Number(second);
        if (Number.isNaN(shownMs) || Number(second) >= 60 || Number(hour) > 23) {
            return null;
        }
        const around = [-DAY_S, DAY_S].map((s) => this.aheadMs(shownMs - this.offsetMs + 1000 * s));
        const moments = [...new Set(around)].map((aheadMs) => shownMs - aheadMs);
        const right = moments.filter((ms) => ms + this.aheadMs(ms) === shownMs)
            .map((ms) => Math.round(ms - this.beginMs + 1000 * this.startS) / 1000);
        const inside = right.filter((seconds) => this.startS <= seconds && seconds <= this.endS);
        const found = inside.length > 0 ? inside : right;
        return found.length === 1 ? found[0] : null;
    }

    // By how many ms the clock is ahead of UTC at a moment.
    aheadMs(ms) {
        const second = 1000 * Math.floor(ms / 1000);
        const { date, time } = this.parts((second - this.beginMs) / 1000 + this.startS);
        return Date.parse(`${date}T${time}Z`) - second;
    }
}
