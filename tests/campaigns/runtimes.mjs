// The logic under node behind 32-bit words (runtimes.py): `node runtimes.mjs wasm` or `node runtimes.mjs micropython`.
// Asked: the question, how many words, the words. Answered: how many words, the words.
import { readdirSync, readFileSync, readSync, writeSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const here = dirname(fileURLToPath(import.meta.url));
const firmware = join(here, "..", "..", "firmware_ref");
const [SETTINGS, STATE, INPUTS, OUTPUTS] = [29, 16, 6, 9]; // sizes of the arrays, as in lubetrip_generated.h
const [FIRST_FAULT, DERIVE, POWER_UP, RUN_STEPS] = [0, 1, 2, 3];

async function wasm() {
    const { instance } = await WebAssembly.instantiate(readFileSync(join(firmware, "wasm", "lubetrip.wasm")));
    const port = instance.exports;
    port.memory.grow(1);
    let end = port.__heap_base.value;
    const [settings, state, inputs, outputs] = [SETTINGS, STATE, INPUTS, OUTPUTS].map((size) => {
        end += 4 * size;
        return new Int32Array(port.memory.buffer, end - 4 * size, size);
    });
    const places = [state, settings, inputs, outputs].map(({ byteOffset }) => byteOffset);
    return (asked, words) => {
        settings.set(words.subarray(0, SETTINGS));
        if (asked === FIRST_FAULT) {
            return Int32Array.of(port.lubetrip_first_fault(settings.byteOffset));
        }
        if (asked === DERIVE) {
            port.lubetrip_derive(settings.byteOffset);
            return settings;
        }
        if (asked === POWER_UP) {
            port.lubetrip_power_up(state.byteOffset, settings.byteOffset);
            return state;
        }
        state.set(words.subarray(SETTINGS, SETTINGS + STATE));
        const steps = (words.length - SETTINGS - STATE) / INPUTS;
        const trail = new Int32Array(steps * (STATE + OUTPUTS));
        for (let step = 0; step < steps; step++) {
            const from = SETTINGS + STATE + step * INPUTS;
            inputs.set(words.subarray(from, from + INPUTS));
            port.lubetrip_step(...places);
            trail.set(state, step * (STATE + OUTPUTS));
            trail.set(outputs, step * (STATE + OUTPUTS) + STATE);
        }
        return trail;
    };
}

async function micropython() {
    const folder = join(firmware, "micropython", "node_modules", "@micropython", "micropython-webassembly-pyscript");
    const { loadMicroPython } = await import(join(folder, "micropython.mjs"));
    const python = await loadMicroPython({ heapsize: 16 * 1024 * 1024, linebuffer: true });
    python.FS.mkdirTree("/lib/protect");
    for (const name of readdirSync(join(firmware, "..", "protect")).filter((name) => name.endsWith(".py"))) {
        python.FS.writeFile(join("/lib/protect", name), readFileSync(join(firmware, "..", "protect", name)));
    }
    python.FS.writeFile("/lib/micropython_steps.py", readFileSync(join(here, "micropython_steps.py")));
    python.runPython("import sys; sys.path[:] = ['/lib']; from micropython_steps import answer");
    const answer = python.globals.get("answer");
    return (asked, words) => {
        python.FS.writeFile("/asked", new Uint8Array(words.buffer, words.byteOffset, words.byteLength));
        answer(asked);
        return new Int32Array(new Uint8Array(python.FS.readFile("/answered")).buffer);
    };
}

function received(count) {
    const words = new Int32Array(count);
    const bytes = new Uint8Array(words.buffer);
    for (let at = 0; at < bytes.length;) {
        const got = readSync(0, bytes, at, bytes.length - at);
        if (got === 0) {
            process.exit(0);
        }
        at += got;
    }
    return words;
}

function send(words) {
    const bytes = new Uint8Array(words.buffer, words.byteOffset, words.byteLength);
    for (let at = 0; at < bytes.length;) {
        at += writeSync(1, bytes, at);
    }
}

const answer = await { wasm, micropython }[process.argv[2]]();
for (;;) {
    const [asked, count] = received(2);
    const words = answer(asked, received(count));
    send(Int32Array.of(words.length));
    send(words);
}
