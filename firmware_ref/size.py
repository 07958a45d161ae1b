"""Flash and RAM of the C port on a Cortex-M0: `python -m firmware_ref.size`.

Compiles with arm-none-eabi-gcc at -Os and reads the symbols. The budget holds
for what a step needs: its code and the constants it reads. The settings check
and the derivation, which a controller with exported settings leaves out, are
counted apart, and so is the seal. Exit status 0 inside the budget, 1 over it, 2 no compiler.
"""

import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from protect.seal import SEALS_SIZE
from protect.state import STATE_SIZE

SOURCE = Path(__file__).parent / "c" / "lubetrip.c"
SEAL_SOURCE = SOURCE.with_name("lubetrip_seal.c")
COMPILER = "arm-none-eabi-gcc"
WARNINGS = ("-std=c99", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-pedantic")
FLASH_BUDGET = 3 * 1024
STATE_BUDGET = 64

# What no step calls or reads.
BESIDE_THE_STEP = frozenset({"lubetrip_first_fault", "lubetrip_derive", "setting_ranges", "relations"})


@dataclass(frozen=True)
class Sizes:
    """Bytes: flash of the step, of the settings check and of the seal, state, seals, stack of a step at most."""

    step_flash: int
    settings_flash: int
    seal_flash: int
    state: int
    seals: int
    stack: int
    symbols: dict[str, int]


def built(source: Path) -> tuple[dict[str, int], str]:
    """Compile a file of the port; return its symbols with their sizes, and the stack of its functions."""
    with tempfile.TemporaryDirectory() as folder:
        object_file = Path(folder) / "port.o"
        target = ("-Os", "-mcpu=cortex-m0", "-mthumb", "-fstack-usage")
        subprocess.run([COMPILER, *WARNINGS, *target, "-c", str(source), "-o", str(object_file)], check=True)
        listing = subprocess.run(
            ["arm-none-eabi-nm", "--print-size", "--defined-only", str(object_file)],
            check=True,
            capture_output=True,
            text=True,
        ).stdout
        usage = object_file.with_suffix(".su").read_text(encoding="utf-8")
    # "address size kind name"; code and constants are of kind t and r, shared or not.
    symbols = {
        name: int(size, 16) for _, size, kind, name in map(str.split, listing.splitlines()) if kind.lower() in "tr"
    }
    return symbols, usage


def measure() -> Sizes:
    """Compile the port and add up its symbols. Raises FileNotFoundError without a compiler."""
    symbols, usage = built(SOURCE)
    seal = sum(built(SEAL_SOURCE)[0].values())
    # No recursion, so all frames together are more than any path through them.
    frames = [line.split("\t") for line in usage.splitlines()]
    stack = sum(int(frame[1]) for frame in frames if frame[0].split(":")[-1] not in BESIDE_THE_STEP)
    beside = sum(size for name, size in symbols.items() if name in BESIDE_THE_STEP)
    return Sizes(sum(symbols.values()) - beside, beside, seal, STATE_SIZE * 4, SEALS_SIZE * 4, stack, symbols)


def main() -> int:
    """Print the sizes and return the exit status."""
    try:
        sizes = measure()
    except FileNotFoundError:
        print(f"{COMPILER} is not installed; tests/tools.sh installs it", file=sys.stderr)
        return 2
    for name, size in sorted(sizes.symbols.items(), key=lambda item: -item[1]):
        print(f"{size:6d}  {name}{'  (beside the step)' if name in BESIDE_THE_STEP else ''}")
    print(f"Cortex-M0, {COMPILER} -Os, bytes:")
    print(f"{sizes.step_flash:6d}  flash of the step, code and table (budget {FLASH_BUDGET})")
    print(f"{sizes.settings_flash:6d}  flash of settings check and derivation")
    print(f"{sizes.seal_flash:6d}  flash of the seal")
    print(f"{sizes.state:6d}  state (budget {STATE_BUDGET})")
    print(f"{sizes.seals:6d}  seals of state and settings")
    print(f"{sizes.stack:6d}  stack of a step at most")
    return 0 if sizes.step_flash <= FLASH_BUDGET and sizes.state <= STATE_BUDGET else 1


if __name__ == "__main__":
    raise SystemExit(main())
