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
    let piece = null;
    let column = null;
    const flush = () => {
        if (column !== null) {
            piece.push([column.x, column.first]);
            if (column.count > 1) {
                piece.push([column.x, column.least], [column.x, column.most], [column.lastX, column.last]);
            }
        }
        column = null;
    };
    for (let tick = 0; tick < xs.length; tick++) {
        const y = ys(tick);
        if (Number.isNaN(y) || gapBefore(tick)) {
            flush();
            piece = null;
        }
        if (Number.isNaN(y)) {
            continue;
        }
        if (piece === null) {
            piece = [];
            found.push(piece);
        }
        const x = xs[tick];
        if (column !== null && Math.floor(x) !== Math.floor(column.x)) {
            flush();
        }
        if (column === null) {
            column = { x, first: y, least: y, most: y, last: y, lastX: x, count: 1 };
        } else {
            column.least = Math.min(column.least, y);
            column.most = Math.max(column.most, y);
            [column.last, column.lastX, column.count] = [y, x, column.count + 1];
        }
    }
    flush();
    return found;
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
