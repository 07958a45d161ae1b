// What the port did against the labels: the counts and limits of `lubetrip score` (`windows`, `verdict`, `judgement` and `evidence` of replay/score).
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
    const words = doubts.join(", ").replace(/suction ([a-z ]+), crankcase \1\b/, "suction and crankcase $1");
    return [CAUSES[code & CAUSE_CODE], words].filter((part) => part !== "").join(": ");
}

const MET = "met";
const NOT_MET = "not met";
const NOT_ENOUGH = "not enough evidence";
const [UNDECIDED, TOLD] = ["undecided", "counted already"];
const [SENSOR, DOUBTED] = ["sensor", "traces in doubt"];

// A number rounded as Python's round() would.
function rounded(number, decimals) {
    return Number(fixed(number, decimals));
}

const SEVERITY = ["missed", "early", "hit", "stood"];
const lastBegun = (begins, atS) => begins.filter((begin) => begin <= atS).length - 1;

function lateOf({ likely_s: likely, latest_s: latest }, stopS) {
    if (stopS === null) {
        return "no stop";
    }
    return likely !== null && stopS <= likely ? "likely" : latest !== null && stopS <= latest ? "latest" : "too late";
}

// Each stop goes to a window, to the nuisance or to the repeats, and each window is judged; `gone`: those told elsewhere,
// as are the stops of which `isTold` says so.
function follow(windows, stops, againS, gone, isTold) {
    const stoodIn = (window) => stops.some(({ atS, untilS }) => atS < window.earliest_s && untilS > window.deadline_s);
    const endOf = (window) => Math.max(window.deadline_s, window.likely_s ?? -Infinity, window.latest_s ?? -Infinity);
    const [first, early] = [windows.map(() => null), windows.map(() => null)];
    let [nuisance, repeats, ofFault, before] = [0, 0, false, null];
    stops.forEach((stop) => {
        const last = lastBegun(windows.map((window) => window.earliest_s), stop.atS);
        const [begun, follows] = [windows[last], last + 1 < windows.length];
        const over = begun && before && before.atS < begun.earliest_s && before.untilS > begun.deadline_s;
        const again = before !== null && stop.atS - before.untilS <= againS && (ofFault || over);
        const own = begun && first[last] === null && !stoodIn(begun) && (!follows || stop.atS <= endOf(begun) + againS);
        const isNuisance = !own && follows && !again && !(begun && stop.atS <= endOf(begun));
        if (own) {
            first[last] = stop.atS;
        } else if (isNuisance && !isTold(stop)) {
            nuisance += gone[last + 1] ? 0 : 1;
            early[last + 1] ??= stop.atS;
        } else if (follows && !isNuisance) {
            repeats += gone[last] ? 0 : 1;
        }
        [ofFault, before] = [!isNuisance, stop];
    });
    const found = windows.map((window, place) => {
        const judged = (outcome, stopS, late = null) => ({
            outcome, stopS, late, cause: stops.find(({ atS }) => atS === stopS)?.cause ?? null, marginS: stopS === null ? null : rounded(window.deadline_s - stopS, 3),
        });
        if (early[place] !== null) {
            return judged("early", early[place]);
        }
        if (stoodIn(window)) {
            return judged("stood", null);
        }
        const stopS = first[place];
        return stopS !== null && stopS <= window.deadline_s ? judged("hit", stopS) : judged("missed", stopS, lateOf(window, stopS));
    });
    return { windows: found, nuisance, repeats };
}

const meet = ([begin, end], [since, until]) => begin <= until && since <= end;

// The hours of a run that another trace tells already: `ran` are stretches of the recording's own running, in s.
function toldHours(ran, stops) {
    const sum = (numbers) => numbers.reduce((one, other) => one + other, 0);
    const stood = ([begin, end]) =>
        sum(stops.map(({ atS, untilS }) => Math.max(0, Math.min(end, untilS) - Math.max(begin, atS))));
    return sum(ran.map((span) => span[1] - span[0] - stood(span))) / 3600;
}

// How many upsets a running machine met, and in how many of them it was stopped.
function met(upsets, stops, allStops, afterS) {
    const hit = new Set(stops.flatMap(({ atS }) => {
        const last = lastBegun(upsets.map(([begin]) => begin), atS);
        return last >= 0 && atS <= upsets[last][1] + afterS ? [last] : [];
    }));
    const stood = upsets.filter(([begin, end], place) =>
        !hit.has(place) && allStops.some(({ atS, untilS }) => atS < begin && untilS > end)).length;
    return { upsets: upsets.length - stood, stopped: hit.size };
}

// One trace against its label; `run` is what Port.run says, `rules` how long a stop belongs to a fault or an upset.
function judge(trace, run, { again_s: againS, after_s: afterS }) {
    const { kind, windows, upsets, told, ran, told_whole: toldWhole } = trace.label;
    const inTrace = (ms) => rounded(trace.start_s + ms / 1000, 3);
    const stops = run.stops.map(({ ms, untilMs, cause }) => (
        { atS: inTrace(ms), untilS: untilMs === null ? Infinity : inTrace(untilMs), cause: CAUSES[cause & CAUSE_CODE] }
    ));
    // What another trace of the library tells already is counted there.
    const toldAlready = windows.map((window) => told.some((span) => meet([window.earliest_s, window.deadline_s], span)));
    const isTold = ({ atS }) => told.some((span) => meet([atS, atS], span));
    const course = follow(windows, stops, againS, toldAlready, isTold);
    const own = course.windows.filter((_, place) => !toldAlready[place]);
    const apart = stops.filter((stop) => !isTold(stop));
    const gone = toldWhole || (windows.length > 0 && own.length === 0);
    const rides = kind === "ride_through" && !gone;
    const stopped = told.length > 0 ? apart.length : run.count;
    const worst = gone ? undefined : SEVERITY.map((outcome) => own.find((window) => window.outcome === outcome)).find(Boolean);
    const hours = run.runMs / 3.6e6 - (told.length > 0 ? toldHours(ran, stops) : 0);
    const left = upsets.filter((upset) => !told.some((span) => meet(upset, span)));
    return {
        id: trace.id,
        family: trace.family,
        outcome: gone ? TOLD : worst?.outcome ?? (rides ? (stopped > 0 ? "nuisance" : "rode_through") : kind),
        windows: gone ? [] : own,
        doubt: trace.doubt,
        sensorFails: trace.sensor_fails,
        firstS: stops[0]?.atS ?? null,
        cause: causeWords(run.stops[0]?.cause ?? 0),
        marginS: worst?.marginS ?? null,
        runHours: rounded(Math.max(0, hours), 6),
        trips: run.count,
        nuisance: gone ? 0 : rides ? stopped : course.nuisance,
        marked: rides ? left.length : 0,
        met: rides ? met(left, apart, stops, afterS) : { upsets: 0, stopped: 0 },
    };
}

function totalOf(verdicts) {
    const windows = verdicts.flatMap((verdict) => verdict.windows);
    const count = (outcome) => windows.filter((window) => window.outcome === outcome).length;
    const rides = verdicts.filter(({ outcome }) => outcome === "rode_through" || outcome === "nuisance");
    const sum = (numbers) => numbers.reduce((one, other) => one + other, 0);
    const margins = windows.filter(({ outcome }) => outcome === "hit").map(({ marginS }) => marginS);
    const hours = rounded(sum(rides.map(({ runHours }) => runHours)), 6);
    const nuisance = sum(verdicts.map((verdict) => verdict.nuisance));
    return {
        mustTrip: windows.length,
        hit: count("hit"),
        sensorHits: verdicts.filter(({ sensorFails }) => !sensorFails)
            .flatMap((verdict) => verdict.windows).filter(({ outcome, cause }) => outcome === "hit" && cause === SENSOR).length,
        doubted: verdicts.filter(({ outcome, doubt }) => doubt !== "" && outcome !== TOLD).length,
        missed: count("missed"),
        early: count("early"),
        stood: count("stood"),
        rides: rides.length,
        hours,
        nuisance,
        rate: nuisance === 0 ? 0 : (1000 * nuisance) / hours,
        worstMarginS: margins.length > 0 ? Math.min(...margins) : null,
        margins,
        marked: rides.some(({ marked }) => marked > 0),
        upsets: sum(rides.map((verdict) => verdict.met.upsets)),
        upsetsStopped: sum(rides.map((verdict) => verdict.met.stopped)),
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
    const share = (events, of = trials) => (of > 0 ? events / of : null);
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
        claim("max_nuisance_probability", total.upsetsStopped, total.upsets, share(total.upsetsStopped, total.upsets),
            probabilityLimit(total.upsetsStopped, total.upsets, sure), wanted(acceptance.max_nuisance_probability)),
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

// The rules that nothing was judged on, and whether traces are in doubt: a verdict cannot rest on those.
function unjudgedOf(total) {
    const missing = [
        ["max_missed", total.hit - total.sensorHits + total.missed === 0],
        ["max_nuisance_per_1000h", total.hours === 0],
        ["min_margin", total.hit === 0],
        [DOUBTED, total.doubted > 0],
    ];
    return missing.filter(([, is]) => is).map(([name]) => name);
}

// The whole score: verdicts, totals of all and of each family, claims and the verdict in one word.
function scoreOf(verdicts, acceptance) {
    const judged = verdicts.filter(({ outcome }) => outcome !== UNDECIDED);
    const total = totalOf(judged);
    const claims = claimsOf(total, acceptance);
    const broken = brokenRules(total, claims, acceptance);
    const lacking = claims.filter(({ verdict }) => verdict === NOT_ENOUGH).map(({ rule }) => rule);
    const unjudged = unjudgedOf(total);
    const names = [...new Set(judged.map(({ family }) => family))].sort();
    return {
        verdicts,
        total,
        families: names.map((name) => [name, totalOf(judged.filter(({ family }) => family === name))]),
        claims,
        broken,
        lacking,
        unjudged,
        verdict: broken.length > 0 ? NOT_MET : lacking.length + unjudged.length > 0 ? NOT_ENOUGH : MET,
    };
}

// Whether one score is better than another: by verdict, then missed, nuisance trips, worst margin.
function isBetter(one, other) {
    const marks = ({ verdict, total }) => [
        [MET, NOT_ENOUGH, NOT_MET].indexOf(verdict), total.missed, total.nuisance, -(total.worstMarginS ?? -Infinity),
    ];
    const [ours, theirs] = [marks(one), marks(other)];
    const first = ours.findIndex((mark, at) => mark !== theirs[at]);
    return first >= 0 && ours[first] < theirs[first];
}
