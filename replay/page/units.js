// Texts of a settings file <-> the integers of the port: absolute Pa, ms, weights in 1/2048, counts.
// The same rules as replay/settings/file.py and replay/ground/units.py: a value is converted, then rounded half to even.
// What units there are, and what each holds, comes with the data: see `unit_factors` of replay/page/bench.py.
"use strict";

const ONE = 2048;
const PRESSURES = {};
const TIMES = {};
const LENGTHS = {};
const MARKS = {
    g: "gauge", "(g)": "gauge", gauge: "gauge", a: "abs", "(a)": "abs", abs: "abs", absolute: "abs",
    vac: "vac", vacuum: "vac", d: "diff", diff: "diff",
};
const MOST_DECIMALS = 7;
const NUMBER = String.raw`^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*`;
const MARK = String.raw`\s*(\([ga]\)|gauge|absolute|abs|vacuum|vac|diff|\b[ga]|(?<=psi|bar|Pa)[gad])?\s*$`;
const LOOSE = new RegExp(NUMBER + String.raw`(\S.*?)\s*$`);
let QUANTITY = null; // made when the units are known

// Take the units that there are: { pressure: { name: Pa }, time: { name: ms }, length: { name: m } }.
function takeUnits({ pressure, time, length }) {
    Object.assign(PRESSURES, pressure);
    Object.assign(TIMES, time);
    Object.assign(LENGTHS, length);
    const longestFirst = Object.keys({ ...pressure, ...time, ...length }).sort((one, other) => other.length - one.length);
    QUANTITY = new RegExp(`${NUMBER}(${longestFirst.join("|")})?${MARK}`);
}

// What a text that is not understood may have been meant as: the same with a unit that differs in its capitals alone.
function meant(text, units) {
    const [, number, unit] = LOOSE.exec(text) ?? [];
    const near = unit && [...Object.keys(units), "psig", "psia"].find((name) => name.toLowerCase() === unit.toLowerCase() && name !== unit);
    return near ? ` Did you mean "${number} ${near}"?` : "";
}

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
    const marks = { absolute: ["gauge", "abs", "vac"], difference: ["", "diff"], time: [""] }[kind];
    if (factor === undefined || !Number.isFinite(number) || !marks.includes(mark)) {
        return null; // a suction pressure has to say what it counts from
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
    const joined = { "psi gauge": "psig", "psi abs": "psia" }[`${unit} ${mark}`] ?? `${unit} ${mark}`.trim();
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
    if (kind === "difference") {
        return { unit: system, mark: "" };
    }
    if (before.mark === "abs") {
        return { unit: system, mark: "abs" };
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
        const mark = kind === "difference" ? "" : present.mark === "abs" ? "abs" : "gauge";
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
