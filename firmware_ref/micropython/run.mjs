// MicroPython (WebAssembly) under node: `node run.mjs` answers the line protocol on its standard
// input and output; `node run.mjs SCRIPT.py [FILE ...]` runs a script, with FILEs beside it.
// The files of protect/ and of this folder go in as they are.
import { readdirSync, readFileSync, writeSync } from "node:fs";
import { basename, dirname, join } from "node:path";
import { createInterface } from "node:readline";
import { fileURLToPath } from "node:url";
import { loadMicroPython } from "@micropython/micropython-webassembly-pyscript/micropython.mjs";

const here = dirname(fileURLToPath(import.meta.url));
const [script, ...files] = process.argv.slice(2);

const micropython = await loadMicroPython({
    heapsize: 1024 * 1024,
    linebuffer: true,
    stdout: (line) => writeSync(1, line + "\n"),
});

function putFolder(from, to) {
    micropython.FS.mkdirTree(to);
    for (const name of readdirSync(from).filter((name) => name.endsWith(".py"))) {
        micropython.FS.writeFile(join(to, name), readFileSync(join(from, name)));
    }
}

putFolder(join(here, "..", "..", "protect"), "/lib/protect");
putFolder(here, "/lib");
for (const file of files) {
    micropython.FS.writeFile("/" + basename(file), readFileSync(file));
}
micropython.runPython("import sys; sys.path[:] = ['/', '/lib']");

if (script) {
    micropython.runPython(readFileSync(script, "utf8"));
} else {
    micropython.runPython("import line_port; answer = line_port.Port().answer");
    const answer = micropython.globals.get("answer");
    for await (const line of createInterface({ input: process.stdin })) {
        const said = answer(line);
        writeSync(1, said + "\n");
        if (said === "bye") {
            break;
        }
    }
    process.exit(0);
}
