// What the port did against the labels: the counts and limits of `lubetrip score` (replay/score/scoring.py, replay/score/evidence.py).
"use strict";

// As replay/engine/causes.py words them.
const CAUSES = ["", "oil", "reload", "sensor", "resets"];
const CAUSE_CODE = 7;
const FIRST_DOUBT = 16;
const DOUBTS = [
    ...["oil", "suction", "crankcase"].flatMap((channel) => ["missing", "out of range", "stuck"].map((kind) => `${channel} ${kind}`)),
    "late tick",
    "oil and crankcase differ at standstill",
];

function causeWords(code) {
    const doubts = DOUBTS.filter((_, number) => (code >> (FIRST_DOUBT + number)) & 1);
    return [CAUSES[code & CAUSE_CODE], doubts.join(", ")].filter((part) => part !== "").join(": ");
}

const MET = "met";
const NOT_MET = "not met";
const NOT_ENOUGH = "not enough evidence";

// A number rounded as Python's round() would.
function rounded(number, decimals) {
    return Number(fixed(number, decimals));
}

function outcomeOf({ kind, earliest_s: earliest, deadline_s: deadline }, firstS) {
    if (kind === "must_trip") {
        return firstS === null || firstS > deadline ? "missed" : firstS < earliest ? "early" : "hit";
    }
    if (kind === "ride_through") {
        return firstS === null ? "rode_through" : "nuisance";
    }
    return "undecided";
}

// One trace against its label; `run` is what Port.run says.
function judge(trace, run) {
    const firstS = run.firstMs === null ? null : rounded(trace.start_s + run.firstMs / 1000, 3);
    const deadline = trace.label.deadline_s ?? null;
    return {
        id: trace.id,
        family: trace.family,
        outcome: outcomeOf(trace.label, firstS),
        firstS,
        cause: causeWords(run.firstCause),
        marginS: firstS === null || deadline === null ? null : rounded(deadline - firstS, 3),
        runHours: rounded(run.runMs / 3.6e6, 6),
        trips: run.stops,
    };
}

function totalOf(verdicts) {
    const count = (...outcomes) => verdicts.filter(({ outcome }) => outcomes.includes(outcome)).length;
    const rides = verdicts.filter(({ outcome }) => outcome === "rode_through" || outcome === "nuisance");
    const margins = verdicts.filter(({ outcome }) => outcome === "hit").map(({ marginS }) => marginS);
    const hours = rounded(rides.reduce((sum, { runHours }) => sum + runHours, 0), 6);
    const nuisance = rides.reduce((sum, { trips }) => sum + trips, 0) + count("early");
    return {
        mustTrip: count("hit", "missed", "early"),
        hit: count("hit"),
        missed: count("missed"),
        early: count("early"),
        rides: rides.length,
        hours,
        nuisance,
        rate: nuisance === 0 ? 0 : (1000 * nuisance) / hours,
        worstMarginS: margins.length > 0 ? Math.min(...margins) : null,
        margins,
    };
}

// P(at most `events`): the sum of terms, given by the logarithms of the first and of each one's part of the one before.
function tail(events, first, part) {
    let [term, sum] = [first, 0];
    for (let k = 0; k <= events; k++) {
        sum += Math.exp(term);
        term += part(k);
    }
    return sum;
}

// Where a falling function crosses `level`, between 0 and `most`.
function crossing(falling, level, most) {
    let [low, high] = [0, most];
    for (let halving = 0; halving < 200 && high - low > 1e-15 * high; halving++) {
        const middle = (low + high) / 2;
        [low, high] = falling(middle) > level ? [middle, high] : [low, middle];
    }
    return high;
}

// One-sided upper limits: Clopper-Pearson of a probability, Garwood of an expected count.
function probabilityLimit(events, trials, confidence) {
    const odds = (p) => Math.log(p) - Math.log1p(-p);
    const binomial = (p) => tail(events, trials * Math.log1p(-p), (k) => Math.log((trials - k) / (k + 1)) + odds(p));
    return events >= trials ? 1 : crossing(binomial, 1 - confidence, 1);
}

function countLimit(events, confidence) {
    const poisson = (expected) => tail(events, -expected, (k) => Math.log(expected / (k + 1)));
    return crossing(poisson, 1 - confidence, 10 * events + 50);
}

function claim(rule, events, of, point, upper, wanted) {
    let verdict = null;
    if (wanted !== null) {
        verdict = upper <= wanted ? MET : point !== null && point > wanted ? NOT_MET : NOT_ENOUGH;
    }
    return { rule, events, of, point, upper, wanted, verdict };
}

// What the counts show, with one-sided limits; judged where [acceptance] gives a confidence.
function claimsOf(total, acceptance) {
    const sure = acceptance.shown_confidence;
    const wanted = (limit) => (acceptance.confidence === null ? null : limit);
    const trials = total.hit + total.missed;
    const thin = total.missed + total.margins.filter((margin) => margin < acceptance.min_margin_s).length;
    const share = (events) => (trials > 0 ? events / trials : null);
    const rateLimit = total.hours > 0 ? (1000 * countLimit(total.nuisance, sure)) / total.hours : Infinity;
    const rate = total.hours > 0 ? (1000 * total.nuisance) / total.hours : null;
    const [missedLimit, thinLimit] = [total.missed, thin].map((events) => probabilityLimit(events, trials, sure));
    const spare = 1 - acceptance.min_margin_coverage;
    return [
        claim("max_missed_probability", total.missed, trials, share(total.missed), missedLimit,
            wanted(acceptance.max_missed_probability)),
        claim("max_nuisance_per_1000h", total.nuisance, total.hours, rate, rateLimit,
            wanted(acceptance.max_nuisance_per_1000h)),
        claim("min_margin_coverage", thin, trials, share(thin), thinLimit, wanted(spare)),
    ];
}

// The names of the rules that are broken, by the counts or by a value seen beyond what its limit may be.
function brokenRules(total, claims, acceptance) {
    const broken = [
        ["max_missed", total.missed > acceptance.max_missed],
        ["max_nuisance_per_1000h", total.rate > acceptance.max_nuisance_per_1000h],
        ["min_margin", total.worstMarginS !== null && total.worstMarginS < acceptance.min_margin_s],
        ...claims.map(({ rule, verdict }) => [rule, verdict === NOT_MET]),
    ];
    return [...new Set(broken.filter(([, is]) => is).map(([rule]) => rule))];
}

// The whole score: verdicts, totals of all and of each family, claims and the verdict in one word.
function scoreOf(verdicts, acceptance) {
    const judged = verdicts.filter(({ outcome }) => outcome !== "undecided");
    const total = totalOf(judged);
    const claims = claimsOf(total, acceptance);
    const broken = brokenRules(total, claims, acceptance);
    const lacking = claims.filter(({ verdict }) => verdict === NOT_ENOUGH).map(({ rule }) => rule);
    const names = [...new Set(judged.map(({ family }) => family))].sort();
    return {
        verdicts,
        total,
        families: names.map((name) => [name, totalOf(judged.filter(({ family }) => family === name))]),
        claims,
        broken,
        lacking,
        verdict: broken.length > 0 ? NOT_MET : lacking.length > 0 ? NOT_ENOUGH : MET,
    };
}
