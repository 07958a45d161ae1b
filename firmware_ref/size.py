"""Flash, RAM and stack of what a target links: `python -m firmware_ref.size`.

A program that does what the pass of a controller does is linked for each target at -Os, without what it never calls,
and the linker's map is added up: step, table, seal, saved record, exported settings, and the helpers that the compiler
brings (multiplication where a core has none). The stack is that of the deepest path of calls. The budget holds on a
Cortex-M0. Exit status 0 inside the budget, 1 over it, 2 no compiler. --document writes SIZES.md anew.
"""

import re
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from protect.outputs import OUTPUTS_SIZE
from protect.ranges import INPUTS_SIZE, SETTINGS_SIZE
from protect.saved import RECORD_SIZE
from protect.seal import SEALS_SIZE
from protect.state import STATE_SIZE

C_FOLDER = Path(__file__).parent / "c"
DOCUMENT = Path(__file__).with_name("SIZES.md")
PARTS = {
    "lubetrip": "step",
    "lubetrip_seal": "seal",
    "lubetrip_saved": "saved record",
    "libgcc": "compiler helpers",
}
PORT = ("lubetrip", "lubetrip_saved", "lubetrip_seal")
WARNINGS = ("-std=c99", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-pedantic")
FLAGS = ("-Os", "-ffunction-sections", "-fdata-sections", "-fstack-usage", "-Wl,--gc-sections")
FLASH_BUDGET = 3 * 1024
STATE_BUDGET = 64
CALLS = ("lubetrip_sealed_step", "lubetrip_step", "lubetrip_recall", "lubetrip_write_record")

# What a pass calls. The settings are those of the host: neither checked nor derived on the target.
PROGRAM = """\
#include "lubetrip.h"
#include "lubetrip_saved.h"
#include "lubetrip_seal.h"
extern const int32_t settings[LT_SET_SIZE];
extern volatile uint32_t ticks;
int main(void);
const int32_t settings[LT_SET_SIZE] = {1};
volatile uint32_t ticks;
static int32_t state[LT_ST_SIZE];
static int32_t inputs[LT_IN_SIZE];
static int32_t outputs[LT_OUT_SIZE];
static uint32_t seals[LUBETRIP_SEALS_SIZE];
static uint8_t records[2][LUBETRIP_RECORD_SIZE];
int main(void)
{
    int32_t number = lubetrip_recall(state, settings, records[0], records[1]);
    uint32_t before = ticks;
    lubetrip_seal_settings(settings, seals);
    lubetrip_seal_state(state, seals);
    for (;;) {
        inputs[LT_IN_ELAPSED] = lubetrip_elapsed_ms(ticks, before);
        lubetrip_sealed_step(state, settings, inputs, outputs, seals);
        if (lubetrip_seals_hold(state, settings, seals) != 0) {
            number = lubetrip_next_number(number);
            lubetrip_write_record(records[0], number, settings, state);
        }
        ticks = (uint32_t)outputs[LT_OUT_RUN_PERMISSION];
    }
}
"""

# What no pass calls; only settings that a user changes on the target need it.
CHECK = ("lubetrip_first_fault", "lubetrip_derive", "setting_ranges", "relations")
SECTION = re.compile(r"^ \.(text|rodata|data|bss)([\w.]*)\s+0x[0-9a-f]+\s+0x([0-9a-f]+)\s+(\S+)$", re.MULTILINE)
LONG_NAME = re.compile(r"^( \.\S+)\n\s+", re.MULTILINE)  # of a section, which stands on a line of its own
CALLED = re.compile(r"\b(?:bl|b|b\.n|b\.w|call|rcall|jmp|rjmp)\b[^<\n]*<(\w+)>")


@dataclass(frozen=True)
class Target:
    """A core and its compiler."""

    name: str
    prefix: str
    flags: tuple[str, ...]


TARGETS = (
    Target("Cortex-M0", "arm-none-eabi-", ("-mcpu=cortex-m0", "-mthumb", "-nostartfiles", "-Wl,--entry=main")),
    Target("Cortex-M3", "arm-none-eabi-", ("-mcpu=cortex-m3", "-mthumb", "-nostartfiles", "-Wl,--entry=main")),
    Target("ATmega328P", "avr-", ("-mmcu=atmega328p",)),
)


@dataclass(frozen=True)
class Sizes:
    """What a target links, bytes: flash by part and of all; settings check; constants in RAM; stack by call."""

    compiler: str
    flash: dict[str, int]
    linked: int
    check: int
    constants_in_ram: int
    stack: dict[str, int]

    @property
    def step(self) -> int:
        """Return flash of the step with its table."""
        return self.flash["step"] + self.flash["table"]


def _run(*command: str | Path) -> str:
    return subprocess.run([*map(str, command)], check=True, capture_output=True, text=True).stdout


def _parts(linked: str) -> tuple[dict[str, int], int]:
    """Return flash by part, and how much of it is constants, from a linker's map."""
    flash = dict.fromkeys(("step", "table", "seal", "saved record", "settings", "compiler helpers"), 0)
    in_ram = 0
    kept = LONG_NAME.sub(r"\1 ", linked[linked.index("Linker script and memory map") :])
    for kind, name, size, file in SECTION.findall(kept):
        of = Path(file.partition("(")[0]).stem
        part = {
            "lubetrip": "step",
            "lubetrip_seal": "seal",
            "lubetrip_saved": "saved record",
            "libgcc": "compiler helpers",
        }
        if kind == "bss" or (of not in part and name != ".settings"):
            continue
        flash["settings" if name == ".settings" else "table" if name == ".table" else part[of]] += int(size, 16)
        if kind == "rodata":
            in_ram += int(size, 16)
    return flash, in_ram


def _frames(folder: Path, listing: dict[str, str]) -> dict[str, int]:
    """Return the bytes of stack of each function; of the compiler's helpers what they push."""
    frames = {name: 2 + text.count("\tpush\t") for name, text in listing.items()}  # AVR: the return address, and bytes
    for name, text in listing.items():
        if pushed := re.search(r"\bpush\s+\{([^}]*)\}", text):
            frames[name] = 4 * len(pushed[1].split(","))
        elif "\tbx\tlr" in text:
            frames[name] = 0
    for usage in folder.glob("*.su"):
        for row in usage.read_text(encoding="utf-8").splitlines():
            place, size, _ = row.split("\t")
            frames[place.rsplit(":", 1)[1]] = int(size)
    return frames


def _stack(folder: Path, disassembled: str) -> dict[str, int]:
    """Return the stack of the deepest path from each of CALLS. The port has no recursion and no function pointer."""
    parts = re.split(r"^[0-9a-f]+ <(\w+)>:$", disassembled, flags=re.MULTILINE)
    listing = dict(zip(parts[1::2], parts[2::2], strict=True))
    frames = _frames(folder, listing)

    def deepest(name: str) -> int:
        called = {other for other in CALLED.findall(listing[name]) if other != name and other in listing}
        return frames[name] + max(map(deepest, called), default=0)

    return {name: deepest(name) for name in CALLS}


def measure(target: Target = TARGETS[0], source: Path = C_FOLDER) -> Sizes:
    """Link program and port (of another folder) for a target; add up what is in it.

    Raises FileNotFoundError without a compiler.
    """
    compiler = f"{target.prefix}gcc"
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "program.c").write_text(PROGRAM)
        sources = {"program": folder / "program.c"} | {one: source / f"{one}.c" for one in PORT}
        for one, path in sources.items():
            flags = (*WARNINGS, *FLAGS, *target.flags, f"-I{source}")
            _run(compiler, *flags, "-c", path, "-o", folder / f"{one}.o")
        objects = [folder / f"{one}.o" for one in sources]
        _run(compiler, *FLAGS, *target.flags, *objects, f"-Wl,-Map={folder / 'map'}", "-o", folder / "linked")
        flash, in_ram = _parts((folder / "map").read_text(encoding="utf-8"))
        rows = _run(f"{target.prefix}nm", "--print-size", "--defined-only", folder / "lubetrip.o").splitlines()
        check = sum(int(row.split()[1], 16) for row in rows if row.split()[-1] in CHECK)
        text, data = _run(f"{target.prefix}size", folder / "linked").splitlines()[1].split()[:2]
        stack = _stack(folder, _run(f"{target.prefix}objdump", "-d", folder / "linked"))
    said = _run(compiler, "--version").splitlines()[0]
    return Sizes(said, flash, int(text) + int(data), check, in_ram if target.prefix == "avr-" else 0, stack)


def report(found: dict[str, Sizes]) -> str:
    """Return the sizes of all targets as a table of Markdown."""
    arrays = {
        f"state (budget {STATE_BUDGET})": 4 * STATE_SIZE,
        "inputs and outputs": 4 * (INPUTS_SIZE + OUTPUTS_SIZE),
        "seals": 4 * SEALS_SIZE,
        "a record while it is written or read": RECORD_SIZE,
    }
    table = [
        ("flash: " + part, [one.flash[part] for one in found.values()]) for part in next(iter(found.values())).flash
    ]
    table[0] = (f"flash: step, without its table (budget with it {FLASH_BUDGET})", table[0][1])
    table.append(("flash: all of these", [sum(one.flash.values()) for one in found.values()]))
    table.append(
        (
            "flash: the program around them, start-up included",
            [one.linked - sum(one.flash.values()) for one in found.values()],
        )
    )
    table.append(("flash: settings check and derivation, if they are wanted", [one.check for one in found.values()]))
    table += [(f"RAM: {name}", [size] * len(found)) for name, size in arrays.items()]
    table.append(
        ("RAM: constants and settings that are copied there", [one.constants_in_ram for one in found.values()])
    )
    names = {"lubetrip_sealed_step": "sealed step", "lubetrip_step": "bare step"}
    for call in CALLS:
        told = names.get(call, call.removeprefix("lubetrip_").replace("_", " "))
        table.append((f"stack: {told}", [one.stack[call] for one in found.values()]))
    lines = [f"| bytes | {' | '.join(found)} |", f"| --- |{' ---: |' * len(found)}"]
    lines += [f"| {name} | {' | '.join(map(str, sizes))} |" for name, sizes in table]
    compilers = "; ".join(sorted({one.compiler for one in found.values()}))
    return "\n".join(lines) + f"\n\nAt -Os, {compilers}; settings of {SETTINGS_SIZE} words in flash.\n"


DOCUMENT_HEAD = """\
# What the port takes on a target

Written by `python -m firmware_ref.size --document`, which links a program that does what a pass does and adds up the
linker's map; what it never calls is left out. Not counted: sensors, service line and the rest of the application. The
stack is that of the deepest path of calls, return addresses included. An AVR copies constants to RAM.

"""


def main(arguments: list[str]) -> int:
    """Print the sizes, or write them into the document; return the exit status."""
    if arguments not in ([], ["--document"]):
        print("usage: python -m firmware_ref.size [--document]", file=sys.stderr)
        return 2
    try:
        found = {target.name: measure(target) for target in TARGETS}
    except FileNotFoundError as error:
        print(f"{error.filename} is not installed; tests/tools.sh installs it", file=sys.stderr)
        return 2
    print(report(found), end="")
    if arguments:
        DOCUMENT.write_text(DOCUMENT_HEAD + report(found), encoding="utf-8")
    return 0 if found["Cortex-M0"].step <= FLASH_BUDGET and STATE_SIZE * 4 <= STATE_BUDGET else 1


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
