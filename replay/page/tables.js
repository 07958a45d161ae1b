// The words and the rows of the page's tables. Texts of the library only ever go in as text.
"use strict";

const OUTCOMES = {
    hit: ["✓ hit", "good"],
    missed: ["✗ missed", "bad"],
    early: ["! early", "bad"],
    rode_through: ["✓ rode through", "good"],
    nuisance: ["! nuisance", "bad"],
    undecided: ["? undecided", "open"],
    stood: ["? stood", "open"],
    [TOLD]: ["= counted already", "open"],
};
const VERDICT_CLASSES = { [MET]: "good", [NOT_MET]: "bad", [NOT_ENOUGH]: "open" };
const STOPPED = 0; // the state before the first tick

function cellsOf(texts) {
    return texts.map((text) => element("td", { text }));
}

function tableRow(name, ...cells) {
    return element("tr", {}, element("th", { scope: "row", text: name }), ...cells);
}

function labelWords(label) {
    if (label.kind === "must_trip") {
        const band = ({ likely_s: likely, latest_s: latest }) =>
            [["likely", likely], ["at the latest", latest]].filter(([, s]) => s !== null).map(([name, s]) => `${name} ${seconds(s)}`);
        const told = label.windows.map((window) => {
            const range = `from ${seconds(window.earliest_s)} to ${seconds(window.deadline_s)}`;
            return band(window).length > 0 ? `${range} (${band(window).join(", ")})` : range;
        });
        return `must trip ${told.join(", then ")}`;
    }
    return label.kind === "ride_through" ? "has to ride through" : "undecided, judged neither way";
}

function outcomeWords(verdict, { label }, late) {
    const { outcome, firstS, cause, marginS, trips, windows } = verdict;
    if (windows.length > 1) {
        const one = (window) => `${OUTCOMES[window.outcome][0]}${window.stopS === null ? "" : ` at ${seconds(window.stopS)}`}`;
        return `${windows.map((window, number) => `Fault ${number + 1}: ${one(window)}${window.late ? `, ${late[window.late]}` : ""}`).join("; ")}.`;
    }
    const stopped = firstS === null ? "no stop" : `stopped at ${seconds(firstS)} (${cause})`;
    const more = trips > 1 ? `, ${trips} stops in all` : "";
    const words = {
        hit: `Hit: ${stopped}, ${seconds(marginS)} before the deadline${more}.`,
        missed: `Missed: ${firstS === null ? "no stop at all" : `${stopped}, ${late[windows[0]?.late]}`}.`,
        early: `Early: ${stopped}, before ${seconds(label.windows[0]?.earliest_s ?? null)}. That counts as a nuisance trip, not as a hit${more}.`,
        rode_through: "Rode through: no stop.",
        nuisance: `Nuisance trip: ${stopped}${more}.`,
        undecided: `Undecided: ${stopped}${more}.`,
        stood: "Stood: an earlier stop held the machine still for the whole of the window.",
        [TOLD]: "Recorded in another trace too, and counted there.",
    };
    return words[outcome];
}

// What stands in the line over everything: [name, text of a score].
const FIGURES = [
    ["hit", ({ total }) => `${total.hit} of ${total.mustTrip}`],
    ["missed", ({ total }) => total.missed],
    ["early", ({ total }) => total.early],
    ["nuisance trips", ({ total }) => total.nuisance],
    ["worst margin of hits", ({ total }) => seconds(total.worstMarginS)],
];

function bestWords({ verdict, total }) {
    return `acceptance ${verdict}, missed ${total.missed}, nuisance ${total.nuisance}, worst margin ${seconds(total.worstMarginS)}`;
}

// Each figure, and what it was with the settings of the file where that differs.
function figureItems(score, before) {
    return FIGURES.map(([name, of]) => {
        const [now, was] = [of(score), of(before)];
        const old = element("span", { class: "before", text: now === was ? "" : ` (file: ${was})` });
        return element("li", { class: now === was ? "" : "changed" }, `${name} `, element("strong", { text: now }), old);
    });
}

// The rules of [acceptance]: verdict, what was seen, its limit, what is wanted.
function ruleRows({ total, claims, broken, unjudged }, limits) {
    const byCount = (rule) => (broken.includes(rule) ? NOT_MET : unjudged.includes(rule) ? NOT_ENOUGH : MET);
    const [missed, nuisance, thin, upset] = claims;
    const hours = `(${total.nuisance} in ${fixed(total.hours, 2)} h)`;
    const seen = total.nuisance > 0 && total.hours === 0 ? "always" : `${rate(total.rate)} ${hours}`;
    const chance = (title, claim) =>
        [title, claim.verdict, `${claim.events} of ${claim.of}`, percent(claim.upper), percent(claim.wanted)];
    const rows = [
        ["missed trips", byCount("max_missed"), total.missed, "", limits.max_missed],
        chance("missed-trip probability", missed),
        ["nuisance trips per 1000 h", nuisance.verdict === NOT_ENOUGH ? NOT_ENOUGH : byCount(nuisance.rule), seen,
            rate(nuisance.upper), rate(limits.max_nuisance_per_1000h)],
        ["worst margin of hits", byCount("min_margin"), seconds(total.worstMarginS), "", `${limits.min_margin_s} s or more`],
        chance(`share with less than ${limits.min_margin_s} s`, thin),
        chance("nuisance trip in an upset", upset),
    ];
    if (!total.marked) {
        rows.at(-1)[2] = "no upset is marked";
    }
    if (total.doubted > 0) {
        rows.push([DOUBTED, NOT_ENOUGH, total.doubted, "", "none"]);
    }
    if (total.sensorHits > 0) {
        rows.push(["hits by a sensor, where none is said to fail", null, `${total.sensorHits} of ${total.hit}`, "", ""]);
    }
    return rows.map(([name, verdict, ...cells]) => {
        const judged = element("td", { class: VERDICT_CLASSES[verdict] ?? "", text: verdict ?? "not judged" });
        return tableRow(name, judged, ...cellsOf(cells));
    });
}

// Plain laws at their best beside a score: with no more missed than it has, and with no more stops for nothing.
// A curve goes from the fewest missed to the fewest nuisance trips; `pressure` words a cut-out.
function plainRows({ total }, laws, pressure) {
    const row = (name, said, shown) => tableRow(name, ...cellsOf([said, ...shown]));
    const figures = (point) => (point === undefined ? Array(6).fill(NOTHING) : [
        pressure(point.cut_out_pa), `${point.delay_ms / 1000} s`, point.missed, point.nuisance_trips,
        tenths(point.worst_margin_s), tenths(point.median_margin_s),
    ]);
    const own = ["", "", total.missed, total.nuisance, tenths(total.worstMarginS), tenths(medianOf(total.margins))];
    const best = laws.flatMap(({ law, curve }) => [
        row(law, "no more missed", figures(curve.findLast(({ missed }) => missed <= total.missed))),
        row(law, "no more trips", figures(curve.find((point) => point.nuisance_trips <= total.nuisance))),
    ]);
    return [row("these settings", "", own), ...best];
}

function medianOf(numbers) {
    const [sorted, half] = [[...numbers].sort((one, other) => one - other), numbers.length / 2];
    return numbers.length === 0 ? null : (sorted[Math.ceil(half) - 1] + sorted[Math.floor(half)]) / 2;
}

function familyRow([name, total]) {
    const counts = [total.mustTrip, total.hit, total.missed, total.early];
    const trip = counts.map((count) => (total.mustTrip > 0 ? count : NOTHING));
    const ride = total.rides > 0 ? fixed(total.hours, 2) : NOTHING;
    const nuisance = total.rides > 0 || total.nuisance > 0 ? total.nuisance : NOTHING;
    return tableRow(name, ...cellsOf([...trip, tenths(total.worstMarginS), ride, nuisance]));
}

// The ticks at which the state is another than before.
function changesOf(states) {
    return Array.from(states.keys()).filter((tick) => states[tick] !== (states[tick - 1] ?? STOPPED));
}
