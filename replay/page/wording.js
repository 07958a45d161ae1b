// How numbers read, as replay/ground/wording.py words them, to the digit.
"use strict";

const NOTHING = "-";
const MANY = 1000; // per 1000 h, from which fractions are left out

// So many decimals as Python writes them: a tie goes to the even digit, where toFixed goes away from zero.
function fixed(number, decimals) {
    const tie = Math.abs(number * 2 ** (decimals + 1)) % 2 === 1;
    return (tie ? roundHalfEven(number * 10 ** decimals) / 10 ** decimals : number).toFixed(decimals);
}

// So many digits, without zeros behind them.
function digits(number, count) {
    const exponent = Number(number.toExponential().split("e")[1]);
    return String(Number(fixed(number, Math.max(count - 1 - exponent, 0))));
}

function percent(share) {
    return share === null ? NOTHING : `${digits(100 * share, 3)} %`;
}

function sure(confidence) {
    return `${digits(100 * confidence, 6)} % sure`;
}

function rate(per1000h) {
    if (per1000h === null) {
        return NOTHING;
    }
    if (!Number.isFinite(per1000h)) {
        return "no limit";
    }
    return per1000h >= MANY ? fixed(per1000h, 0) : digits(per1000h, 4);
}

function tenths(value) {
    return value === null ? NOTHING : fixed(value, 1);
}

function seconds(value) {
    return value === null ? NOTHING : `${tenths(value)} s`;
}
