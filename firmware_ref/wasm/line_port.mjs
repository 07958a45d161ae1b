#!/usr/bin/env node
// The C port as WebAssembly behind the line protocol, under node: `node line_port.mjs [MODULE.wasm]`.
import { readFileSync, writeSync } from "node:fs";
import { createInterface } from "node:readline";

const file = process.argv[2] ?? new URL("lubetrip.wasm", import.meta.url);
const { instance } = await WebAssembly.instantiate(readFileSync(file));
const port = instance.exports;
port.memory.grow(1); // room behind the module's own memory, whatever is left of its last page

// Sizes of the arrays, as in lubetrip_generated.h; they lie behind one another.
const [SETTINGS, CHECKED, STATE, INPUTS, OUTPUTS] = [29, 26, 16, 6, 9];
let end = port.__heap_base.value;
const [settings, state, inputs, outputs, checked] = [SETTINGS, STATE, INPUTS, OUTPUTS, SETTINGS].map((size) => {
    end += 4 * size;
    return new Int32Array(port.memory.buffer, end - 4 * size, size);
});

const answers = {
    hello: () => "port 32 lubetrip C99 as WebAssembly",
    check(numbers) {
        checked.fill(0);
        checked.set(numbers);
        const fault = port.lubetrip_first_fault(checked.byteOffset);
        if (fault === -1) {
            port.lubetrip_derive(checked.byteOffset);
        }
        return `checked ${fault} ${checked.subarray(CHECKED).join(" ")}`;
    },
    ticks: ([now, before]) => `elapsed ${port.lubetrip_elapsed_ms(now, before)}`,
    set(numbers) {
        settings.set(numbers);
        port.lubetrip_power_up(state.byteOffset, settings.byteOffset);
        return `state ${state.join(" ")}`;
    },
    step(numbers) {
        inputs.set(numbers);
        port.lubetrip_step(...[state, settings, inputs, outputs].map(({ byteOffset }) => byteOffset));
        return `done ${state.join(" ")} ${outputs.join(" ")}`;
    },
    bye: () => "bye",
};
// The module of the page has no saved records, no seals, and says nothing of what it was made of.
const none = ["save", "recall", "next", "seal", "flip", "sealed", "logic", "settings", "build"];
const counts = { hello: 0, check: CHECKED, ticks: 2, set: SETTINGS, step: INPUTS, bye: 0 };

function answer(line) {
    const [word, ...numbers] = line.trim().split(" ");
    if (none.includes(word)) {
        return "none";
    }
    if (!Object.hasOwn(answers, word) || numbers.length !== counts[word] || !numbers.every((n) => /^-?\d+$/.test(n))) {
        return "error not a line of the protocol";
    }
    return answers[word](numbers.map(Number));
}

for await (const line of createInterface({ input: process.stdin })) {
    const said = answer(line);
    writeSync(1, said + "\n");
    if (said === "bye") {
        break;
    }
}
process.exit(0);
