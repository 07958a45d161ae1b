"""Build the WebAssembly module of the C port: `python -m replay.page.build_wasm`.

Compiles the port, the trace runner and page_port.c with clang and lld, with no
library, and writes lubetrip.wasm and built.json: digests of sources and module,
and the compiler. With --check nothing is written; exit status 1 says that the
checked-in module is not current, 2 that there is no compiler.
"""

import hashlib
import json
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from replay.engine.c_port import sources
from replay.page import wasm_module

COMPILER, LINKER = "clang", "wasm-ld"
FUNCTIONS = (
    "lubetrip_first_fault",
    "lubetrip_derive",
    "lubetrip_power_up",
    "lubetrip_elapsed_ms",
    "lubetrip_step",
    "page_unpack",
    "page_run",
)
WARNINGS = ("-std=c99", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-pedantic")
# -mbulk-memory: what the compiler makes of a loop is an instruction, never a call of memset.
FLAGS = (*WARNINGS, "--target=wasm32", "-O3", "-mbulk-memory", "-ffreestanding", "-nostdlib")
LINKING = ("--no-entry", "--strip-all", "-z,stack-size=16384", "--export=__heap_base")


def build(target: Path, folder: Path | None = None) -> None:
    """Build the module into a file, from the C port in another folder if one is given.

    Raises FileNotFoundError without clang or lld, CalledProcessError for a source that does not compile.
    """
    for tool in (COMPILER, LINKER):
        if shutil.which(tool) is None:
            raise FileNotFoundError(f"{tool} is not installed")
    port, runner = sources(folder)
    files = [port, runner, wasm_module.folder() / wasm_module.SOURCE]
    exports = ",".join((*LINKING, *(f"--export={name}" for name in FUNCTIONS)))
    command = [COMPILER, *FLAGS, f"-I{port.parent}", *map(str, files), f"-Wl,{exports}", "-o", str(target)]
    subprocess.run(command, check=True)


def compiler() -> str:
    """Return the versions of compiler and linker, which decide about every byte of the module."""
    tools = [[tool, "--version"] for tool in (COMPILER, LINKER)]
    said = [subprocess.run(tool, check=True, capture_output=True, text=True).stdout for tool in tools]
    return ", ".join(text.splitlines()[0] for text in said)


def described(module: bytes) -> dict[str, str]:
    """Return what stands in built.json beside a module made from the sources as they are."""
    return {
        "sources": wasm_module.sources_digest(),
        "module": hashlib.sha256(module).hexdigest(),
        "compiler": compiler(),
    }


def main(arguments: list[str]) -> int:
    """Write module and description, or with --check compare them; return the exit status."""
    if arguments not in ([], ["--check"]):
        print("usage: python -m replay.page.build_wasm [--check]", file=sys.stderr)
        return 2
    kept, told = wasm_module.folder() / wasm_module.MODULE, wasm_module.folder() / wasm_module.BUILT
    with tempfile.TemporaryDirectory() as work:
        made = Path(work) / wasm_module.MODULE
        try:
            build(made)
        except FileNotFoundError as missing:
            print(f"{missing}: run tests/tools.sh", file=sys.stderr)
            return 2
        module = made.read_bytes()
    if arguments:
        before = json.loads(told.read_text(encoding="utf-8"))
        current = before == described(module) and kept.read_bytes() == module
        print(f"{kept.name}: {'current' if current else 'NOT current, run python -m replay.page.build_wasm'}")
        return 0 if current else 1
    kept.write_bytes(module)
    told.write_text(json.dumps(described(module), indent=1) + "\n", encoding="utf-8")
    print(f"{kept.name}: {len(module)} bytes")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
