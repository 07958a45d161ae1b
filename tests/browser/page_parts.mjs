// The scripts of the bench page under node, without a browser: `node page_parts.mjs PAGE_FOLDER DATA.json WORK.json`.
// DATA is what the page embeds, with the module in base64 under "port"; the answer is JSON on standard output.
import { readFileSync } from "node:fs";
import { join } from "node:path";
import vm from "node:vm";

const [folder, dataFile, workFile] = process.argv.slice(2);
const data = JSON.parse(readFileSync(dataFile, "utf8"));
const work = JSON.parse(readFileSync(workFile, "utf8"));
const scripts = ["units.js", "wording.js", "port.js", "judge.js", "settings.js"];
vm.runInThisContext(scripts.map((name) => readFileSync(join(folder, name), "utf8")).join("\n"));
vm.runInThisContext("globalThis.parts = { BenchSettings, Port, judge, scoreOf, probabilityLimit, countLimit, atmosphereAt, wording: { percent, sure, rate, tenths, seconds } }");
const { BenchSettings, Port, judge, scoreOf, probabilityLimit, countLimit, atmosphereAt, wording } = globalThis.parts;

// Move sliders and type texts as a user does; say what the page then holds, and what the port says of it.
async function tried(settings, port, moves) {
    settings.reset();
    for (const [what, where, share] of moves) {
        if (what === "slide") {
            const stops = settings.stops(where);
            settings.write(where, stops[Math.round(share * (stops.length - 1))]);
        } else if (what === "type") {
            settings.type(where, share);
        } else if (what === "system") {
            settings.useSystem(where);
        } else {
            settings.moveTo(where, `${where} m`);
        }
    }
    const fault = settings.unreadable === null ? port.check(settings.values) : null;
    return {
        values: settings.values,
        unreadable: settings.unreadable,
        fault,
        words: fault === null || fault === -1 ? null : settings.wordsOf(fault),
        toml: settings.toml(),
        digest: await settings.digest(),
    };
}

async function traced(port, settings, traces) {
    port.check(settings.values);
    const verdicts = [];
    const trails = [];
    for (const trace of traces) {
        trace.place ??= await port.unpack(trace.columns, trace.ticks, trace.hold_ms);
        const followed = port.follow(trace.place);
        const readings = port.readings(trace.place);
        verdicts.push(judge(trace, port.run(trace.place), data));
        trails.push({
            states: Array.from(followed.states),
            integral: Array.from(followed.integral),
            net: Array.from(followed.net),
            time: Array.from(readings.time),
            suction: Array.from(readings.suction, (value) => (Number.isNaN(value) ? null : value)),
            stopTimes: followed.stopTimes,
        });
    }
    return { score: scoreOf(verdicts, data.acceptance), trails: work.trails ? trails : [], memory: port.end };
}

const port = await Port.load(Uint8Array.from(atob(data.port), (letter) => letter.charCodeAt(0)));
const settings = new BenchSettings(data);
const answers = [];
for (const moves of work.tries ?? []) {
    const answer = await tried(settings, port, moves);
    if (work.run && answer.fault === -1) {
        Object.assign(answer, await traced(port, settings, data.traces));
    }
    answers.push(answer);
}
const limits = {
    probability: (work.probability ?? []).map((numbers) => probabilityLimit(...numbers)),
    count: (work.count ?? []).map((numbers) => countLimit(...numbers)),
    atmosphere: (work.altitudes ?? []).map(atmosphereAt),
};
const judged = (work.judged ?? []).map(([trace, run]) => judge(trace, run, data));
const scored = (work.scored ?? []).map(([verdicts, acceptance]) => scoreOf(verdicts, acceptance));
const worded = (work.worded ?? []).map(([name, number]) => wording[name](number));
process.stdout.write(JSON.stringify({ answers, limits, worded, judged, scored }));
