// What a plot is laid out from: ticks, the pieces of a curve, places for names.
"use strict";

const KEY_ROWS = 3; // rows of names above the plot

// Round numbers about `count` apart from low to high.
function roundTicks(low, high, count) {
    const rough = (high - low) / Math.max(count, 1);
    const power = 10 ** Math.floor(Math.log10(rough));
    const step = [1, 2, 5, 10].map((digit) => digit * power).find((size) => size >= rough * 0.999);
    const decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    const ticks = [];
    for (let number = Math.ceil(low / step - 1e-9); number * step <= high + step * 1e-9; number++) {
        ticks.push({ value: number * step, text: (number * step).toFixed(decimals).replace(/^-(0(?:\.0*)?)$/, "$1") });
    }
    return ticks;
}

// Points of a curve, in pieces that end at NaN and at gaps; of each column of pixels first, least, most and last.
function pieces(xs, ys, gapBefore) {
    const found = [];
    let piece = null; // its columns
    for (let tick = 0; tick < xs.length; tick++) {
        const [x, y] = [xs[tick], ys(tick)];
        if (Number.isNaN(y) || gapBefore(tick)) {
            piece = null;
        }
        if (Number.isNaN(y)) {
            continue;
        }
        if (piece === null) {
            piece = [];
            found.push(piece);
        }
        const column = piece.at(-1);
        if (column === undefined || Math.floor(x) !== Math.floor(column[0][0])) {
            piece.push([[x, y]]);
            continue;
        }
        if (column.length === 1) {
            column.push([...column[0]], [...column[0]], []);
        }
        const [, least, most, last] = column;
        least[1] = Math.min(least[1], y);
        most[1] = Math.max(most[1], y);
        [last[0], last[1]] = [x, y];
    }
    return found.map((columns) => columns.flat());
}

// Places near those wanted, at least `gap` apart, within low .. high; in the order of the places wanted.
function spread(wanted, gap, low, high) {
    const order = wanted.map((_, index) => index).sort((one, other) => wanted[one] - wanted[other]);
    const places = [...wanted];
    order.forEach((index, rank) => {
        const above = rank > 0 ? places[order[rank - 1]] + gap : low;
        places[index] = Math.max(places[index], above);
    });
    order.reverse().forEach((index, rank) => {
        const below = rank > 0 ? places[order[rank - 1]] - gap : high;
        places[index] = Math.min(places[index], below);
    });
    return places;
}

// The row of each name that begins at x, from the left; its line goes down through the rows below and
// crosses no name there. Null where there is no room for it.
function rowsFor(spans) {
    const ends = new Array(KEY_ROWS).fill(-Infinity);
    return spans.map(([begin, end]) => {
        const row = ends.findIndex((_, at) => ends.slice(at).every((taken) => taken <= begin));
        if (row < 0) {
            return null;
        }
        ends[row] = end;
        return row;
    });
}
