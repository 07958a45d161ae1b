// Texts of a settings file <-> the integers of the port: absolute Pa, ms, weights in 1/2048, counts.
// The same rules as replay/settings/file.py and replay/ground/units.py: a value is converted, then rounded half to even.
"use strict";

const ONE = 2048;
const PRESSURES = { Pa: 1, mbar: 100, kPa: 1000, bar: 100000, MPa: 1000000, psi: NaN, inHg: NaN }; // the last two come with the data
const TIMES = { ms: 1, s: 1000, min: 60000, h: 3600000, d: 86400000 };
const MARKS = { g: "gauge", gauge: "gauge", a: "", abs: "", absolute: "", vac: "vac", vacuum: "vac" };
const MOST_DECIMALS = 7;
const QUANTITY = new RegExp(
    String.raw`^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)` +
        String.raw`\s*(Pa|mbar|kPa|bar|MPa|psi|inHg|ms|s|min|h|d)?` +
        String.raw`\s*(gauge|absolute|abs|vacuum|vac|g|a)?\s*$`,
);

function roundHalfEven(number) {
    const up = Math.round(number);
    return up - number === 0.5 && up % 2 !== 0 ? up - 1 : up;
}

// Standard atmosphere (Pa) at a geometric altitude (m): ISO 2533:1975, as in replay/ground/units.py.
function atmosphereAt(altitude) {
    const geopotential = (6356766.0 * altitude) / (6356766.0 + altitude);
    const exponent = (9.80665 * 28.9644) / (8314.32 * 0.0065);
    return 101325.0 * Math.pow(1.0 - (0.0065 * geopotential) / 288.15, exponent);
}

// What a text says: { number, unit, mark }, or null. A bare number takes unit and mark of the text before it.
function parse(text, before) {
    const found = QUANTITY.exec(text.replace("−", "-"));
    if (found === null) {
        return null;
    }
    const [, number, unit, mark] = found;
    if (unit === undefined && mark === undefined && before) {
        return { ...before, number: Number(number) };
    }
    return { number: Number(number), unit: unit ?? "", mark: mark === undefined ? "" : MARKS[mark] };
}

// The integer that a parsed text stands for, or null where it says nothing of this kind.
function integerOf(kind, { number, unit, mark }, atmosphere) {
    if (kind === "weight" || kind === "count") {
        if (unit !== "" || mark !== "" || (kind === "count" && !Number.isInteger(number))) {
            return null;
        }
        return kind === "weight" ? roundHalfEven(number * ONE) : number;
    }
    const factor = (kind === "time" ? TIMES : PRESSURES)[unit];
    if (factor === undefined || !Number.isFinite(number) || (mark !== "" && kind !== "absolute")) {
        return null;
    }
    const counted = number * factor;
    if (mark === "vac") {
        return number < 0 || counted > atmosphere ? null : roundHalfEven(atmosphere - counted);
    }
    return roundHalfEven(mark === "gauge" ? counted + atmosphere : counted);
}

function spelled(number, { unit, mark }) {
    const shown = number.replace(/^-(0(?:\.0*)?)$/, "$1");
    if (unit === "") {
        return shown;
    }
    const joined = unit === "psi" && mark === "gauge" ? "psig" : `${unit} ${mark}`.trim();
    return `${shown} ${joined}`;
}

// The shortest text in this unit and mark that stands for exactly this integer; null where none does.
function textOf(kind, value, { unit, mark }, atmosphere) {
    const factor = kind === "weight" ? ONE : kind === "count" ? 1 : (kind === "time" ? TIMES : PRESSURES)[unit];
    const counted = mark === "gauge" ? value - atmosphere : mark === "vac" ? atmosphere - value : value;
    for (let decimals = 0; decimals <= MOST_DECIMALS; decimals++) {
        const number = (counted / factor).toFixed(decimals);
        if (integerOf(kind, { number: Number(number), unit, mark }, atmosphere) === value) {
            return spelled(number, { unit, mark });
        }
    }
    return null;
}

// The unit in which a value is written after a move: the system's for pressures, by length for times.
function unitFor(kind, value, before, system, atmosphere) {
    if (kind === "weight" || kind === "count") {
        return { unit: "", mark: "" };
    }
    if (kind === "time") {
        const [unit] = [["ms", 1000], ["s", 600000], ["min", 7200000], ["h", 259200000], ["d", Infinity]].find(
            ([, below]) => value < below,
        );
        return { unit, mark: "" };
    }
    if (kind === "difference" || before.mark === "") {
        return { unit: system, mark: "" };
    }
    // Gauge stays gauge. Below the atmosphere the inch trade counts vacuum downwards.
    if (system === "psi" && value >= 0 && roundHalfEven(atmosphere) > value) {
        return { unit: "inHg", mark: "vac" };
    }
    return { unit: system, mark: "gauge" };
}

// Numbers from `least` to `most` a hand would choose, some 1 % apart.
function handyNumbers(least, most) {
    const found = [];
    for (let power = Math.floor(Math.log10(least)); power <= Math.log10(most); power++) {
        for (let digits = 100; digits < 1000; digits += digits < 200 ? 1 : digits < 500 ? 2 : 5) {
            const number = power >= 2 ? digits * 10 ** (power - 2) : digits / 10 ** (2 - power);
            if (number >= least && number <= most) {
                found.push(number);
            }
        }
    }
    return found;
}

function times(numbers, unit, mark = "") {
    return numbers.map((number) => ({ number, unit, mark }));
}

// Where a slider stops: the integers of handy numbers in the user's unit, and both ends of the admitted range.
function stopsOf(setting, present, system, atmosphere) {
    const { kind, least, most } = setting;
    let handy = [];
    if (kind === "count") {
        handy = times(Array.from({ length: most - least + 1 }, (_, step) => least + step), "");
    } else if (kind === "weight") {
        handy = times(Array.from({ length: 101 }, (_, step) => step / 100), "");
        handy = handy.concat(times(Array.from({ length: 141 }, (_, step) => 1 + step / 20), ""));
    } else if (kind === "time") {
        const spans = [["ms", 1, 1000], ["s", 1, 600], ["min", 10, 120], ["h", 2, 72], ["d", 3, 10]];
        handy = spans.flatMap(([unit, from, to]) => times(handyNumbers(from, to), unit));
    } else {
        const mark = kind === "absolute" && present.mark !== "" ? "gauge" : "";
        const smallest = { psi: 0.01, kPa: 0.1, bar: 0.001 }[system];
        const positive = handyNumbers(smallest, most / PRESSURES[system]);
        handy = times([0, ...positive], system, mark);
        if (mark === "gauge" && system === "psi") {
            handy = handy.concat(times(Array.from({ length: 300 }, (_, step) => step / 10), "inHg", "vac"));
        } else if (mark === "gauge") {
            const step = { kPa: 0.5, bar: 0.005 }[system];
            handy = handy.concat(times(Array.from({ length: 203 }, (_, count) => -count * step), system, mark));
        } else if (least < 0) {
            handy = handy.concat(times(positive.map((number) => -number), system));
        }
    }
    const values = handy.map((quantity) => integerOf(kind, quantity, atmosphere));
    const inside = values.filter((value) => value !== null && value >= least && value <= most);
    return [...new Set([least, ...inside, most])].sort((one, other) => one - other);
}
