// The C port itself, compiled to WebAssembly: it checks settings and runs traces. Nothing of its logic stands here.
"use strict";

const [SETTING_WORDS, COLUMNS, RESULT_NUMBERS, SHOWN_WORDS] = [29, 7, 5, 3]; // as in page_port.c
const [TIME_COLUMN, OIL_COLUMN, SUCTION_COLUMN, CRANKCASE_COLUMN] = [0, 4, 5, 6];
const MOST_STOPS = 1000; // whose times are kept; all are counted
const NO_READING = -1000000000;
const ALL_RIGHT = -1;
const [STUCK_AFTER, STUCK_AFTER_MOST] = [20, 86400000]; // place in the settings, and the most that is admitted there
const MEMORY_PAGE = 65536;

class Port {
    static async load(bytes) {
        const { instance } = await WebAssembly.instantiate(bytes);
        return new Port(instance.exports);
    }

    constructor(exports) {
        this.exports = exports;
        this.end = exports.__heap_base.value;
        this.settings = this.reserve(4 * SETTING_WORDS);
        this.result = this.reserve(8 * RESULT_NUMBERS);
        this.stopRows = this.reserve(24 * MOST_STOPS);
    }

    // Take so many bytes of the module's memory for good; return their place.
    reserve(bytes) {
        const place = Math.ceil(this.end / 8) * 8;
        this.end = place + bytes;
        const missing = this.end - this.exports.memory.buffer.byteLength;
        if (missing > 0) {
            this.exports.memory.grow(Math.ceil(missing / MEMORY_PAGE));
        }
        return place;
    }

    // The settings check of the port: ALL_RIGHT, the place of a value outside its range, or their number + a broken relation.
    check(values) {
        const words = new Int32Array(this.exports.memory.buffer, this.settings, SETTING_WORDS);
        words.fill(0);
        words.set(values);
        this.stuckAfter = values[STUCK_AFTER];
        const fault = this.exports.lubetrip_first_fault(this.settings);
        if (fault === ALL_RIGHT) {
            this.exports.lubetrip_derive(this.settings);
        }
        return fault;
    }

    // Put a packed trace into the module's memory; return where it is.
    async unpack(packed, ticks, holdMs = 0) {
        const zipped = Uint8Array.from(atob(packed), (letter) => letter.charCodeAt(0));
        const stream = new Blob([zipped]).stream().pipeThrough(new DecompressionStream("deflate"));
        const planes = new Uint8Array(await new Response(stream).arrayBuffer());
        const columns = this.reserve(8 * COLUMNS * ticks);
        const before = this.end;
        const place = this.reserve(planes.length);
        new Uint8Array(this.exports.memory.buffer, place, planes.length).set(planes);
        this.exports.page_unpack(place, ticks, columns);
        this.end = before; // the planes are not needed any more
        return { columns, ticks, holdMs };
    }

    // Run a trace under the settings that were checked last; readings that were written on change may stand still.
    run({ columns, ticks, holdMs }, shown = 0) {
        const { page_run: run, memory } = this.exports;
        const settings = new Int32Array(memory.buffer, this.settings, SETTING_WORDS);
        settings[STUCK_AFTER] = Math.max(this.stuckAfter, Math.min(holdMs, STUCK_AFTER_MOST));
        run(columns, ticks, this.settings, this.result, shown, this.stopRows, MOST_STOPS);
        const [count, , , runMs, lockedOut] = new Float64Array(memory.buffer, this.result, RESULT_NUMBERS);
        const kept = Math.min(count, MOST_STOPS);
        const words = new Float64Array(memory.buffer, this.stopRows, 3 * kept);
        const stops = Array.from({ length: kept }, (_, place) => {
            const [ms, cause, untilMs] = words.subarray(3 * place, 3 * place + 3);
            return { ms, cause, untilMs: untilMs < 0 ? null : untilMs };
        });
        return { count, stops, runMs, lockedOut: lockedOut !== 0 };
    }

    // The same, with what a plot shows: state, integral in ms and credible net oil pressure in Pa of every tick.
    follow(trace) {
        const before = this.end;
        const place = this.reserve(4 * SHOWN_WORDS * trace.ticks);
        const result = this.run(trace, place);
        const { buffer } = this.exports.memory;
        const words = new Int32Array(buffer, place, SHOWN_WORDS * trace.ticks);
        const pick = (offset) => Int32Array.from({ length: trace.ticks }, (_, tick) => words[SHOWN_WORDS * tick + offset]);
        this.end = before;
        return {
            ...result,
            states: pick(0),
            integral: pick(1),
            net: pick(2),
            stopTimes: result.stops.map(({ ms }) => ms),
        };
    }

    // The readings of a trace: ms, and Pa or NaN where there was none.
    readings({ columns, ticks }) {
        const numbers = new BigInt64Array(this.exports.memory.buffer, columns, COLUMNS * ticks);
        const column = (at) => Float64Array.from(numbers.subarray(at * ticks, (at + 1) * ticks), Number);
        const pressure = (at) => column(at).map((value) => (value === NO_READING ? NaN : value));
        const crankcase = pressure(CRANKCASE_COLUMN);
        return {
            time: column(TIME_COLUMN),
            suction: pressure(SUCTION_COLUMN),
            net: pressure(OIL_COLUMN).map((value, tick) => value - crankcase[tick]),
        };
    }
}
