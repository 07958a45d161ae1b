"""The C port and its vectors on an emulated Cortex-M0 and Cortex-M3: `python -m replay.port.cortex_m`.

The image compares every word itself; what it got is compared here once more,
byte by byte. Instructions per step come from the core's own timer: the
emulator advances its clock by a fixed time per instruction, and the timer is
calibrated in the same run with known numbers of instructions. They are
instructions, not cycles: a real core adds its wait states and branch costs.

Exit status 0 identical on both, 1 different, 2 a tool is missing.
"""

import dataclasses
import itertools
import shutil
import statistics
import struct
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from replay.port.vectors import Case, Vectors, build

FIRMWARE = Path(__file__).parents[2] / "firmware_ref"
C_FOLDER, EMULATED = FIRMWARE / "c", FIRMWARE / "emulator"
COMPILER = "arm-none-eabi-gcc"
EMULATOR = "qemu-system-arm"
MACHINES = {"cortex-m0": "microbit", "cortex-m3": "mps2-an385"}
# One instruction takes 2**8 ns of the emulated clock: several ticks of either machine's timer.
INSTRUCTION_SHIFT = 8
TIMEOUT_S = 60
MOST_STEPS = 1800  # of an image: some 75 bytes each
KNOWN = (1001, 3001)  # instructions of the calibration, with their return


@dataclass(frozen=True)
class Run:
    """What an emulated core did: its own verdict, ours, and instructions of each step."""

    said: str
    identical: bool
    first_difference: int | None
    instructions: list[int]


def expected_bytes(vectors: Vectors) -> bytes:
    """Return what results.bin has to hold: the answers to all of the vectors in their order, as 32-bit words."""
    words: list[int] = []
    for case in vectors.cases:
        words += case.start
        for tick in case.ticks:
            words += (*tick.state, *tick.outputs)
    for check in vectors.checks:
        words += (check.fault, *check.derived)
    words += [difference.elapsed for difference in vectors.differences if difference.bits == 32]  # noqa: PLR2004
    return struct.pack(f"<{len(words)}i", *words)


def parts(vectors: Vectors) -> list[Vectors]:
    """Return the vectors in parts of which each goes into the flash of the smallest machine, the checks in the last."""
    pieces: list[list[Case]] = [[]]
    for case in vectors.cases:
        if sum(len(other.ticks) for other in pieces[-1]) + len(case.ticks) > MOST_STEPS:
            pieces.append([])
        pieces[-1].append(case)
    whole = [dataclasses.replace(vectors, cases=tuple(piece), checks=(), differences=()) for piece in pieces]
    return [*whole[:-1], dataclasses.replace(vectors, cases=tuple(pieces[-1]))]


def build_image(
    core: str, vectors: Vectors, folder: Path, source: Path = C_FOLDER / "lubetrip.c", *, sealed: bool = False
) -> Path:
    """Link port, runner and vectors for a core, the bare step or the sealed one; return the image.

    Raises CalledProcessError.
    """
    binary, image = folder / "vectors.bin", folder / "image.elf"
    binary.write_bytes(vectors.binary())
    warnings = ("-std=gnu99", "-Wall", "-Wextra", "-Wno-unused-parameter")
    flags = (*warnings, "-Os", f"-mcpu={core}", "-mthumb", "-ffreestanding", "-nostartfiles", *["-DSEALED"] * sealed)
    files = [EMULATED / "cortex_m_runner.c", source]
    if sealed:
        files.append(C_FOLDER / "lubetrip_seal.c")
    link = ("-nostdlib", "-T", str(EMULATED / "cortex_m.ld"), "-lgcc")
    names = (f'-DVECTORS="{binary}"', f"-I{source.parent}", f"-I{C_FOLDER}")
    subprocess.run([COMPILER, *flags, *names, *map(str, files), *link, "-o", str(image)], check=True)
    return image


def run_image(core: str, image: Path, vectors: Vectors) -> Run:
    """Run an image and compare what it wrote. Raises CalledProcessError when the emulator breaks off."""
    folder = image.parent
    machine = ("-M", MACHINES[core], "-nographic", "-monitor", "none", "-serial", "none")
    counting = ("-icount", f"shift={INSTRUCTION_SHIFT}", "-semihosting-config", "enable=on,target=native")
    done = subprocess.run(
        [EMULATOR, *machine, *counting, "-kernel", str(image)],
        cwd=folder,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=TIMEOUT_S,
    )
    said = (done.stdout + done.stderr).strip()
    if said not in ("identical", "different"):
        raise subprocess.CalledProcessError(done.returncode, EMULATOR, done.stdout, done.stderr)
    got, wanted = (folder / "results.bin").read_bytes(), expected_bytes(vectors)
    first = next((n for n, (a, b) in enumerate(itertools.zip_longest(got, wanted)) if a != b), None)
    times = (folder / "times.bin").read_bytes()
    counts = instructions(struct.unpack(f"<{len(times) // 4}I", times))
    return Run(said, first is None and said == "identical" and done.returncode == 0, first, counts)


def instructions(times: tuple[int, ...]) -> list[int]:
    """Return instructions of each step from the times of an empty step, of the two known ones, and of the steps.

    Raises ValueError when the timer does not count instructions evenly.
    """
    empty, short, long, *steps = times
    per_instruction = (long - short) / (KNOWN[1] - KNOWN[0])
    if per_instruction <= 1 or round((short - empty) / per_instruction) + 1 != KNOWN[0]:
        raise ValueError(f"the timer cannot be calibrated: {empty}, {short}, {long}")
    return [round((step - empty) / per_instruction) + 1 for step in steps]


def main() -> int:
    """Run all machines, print what came of it, return the exit status."""
    for tool in (COMPILER, EMULATOR):
        if shutil.which(tool) is None:
            print(f"{tool} is not installed; tests/tools.sh installs it", file=sys.stderr)
            return 2
    vectors = build()
    print(f"vectors {vectors.digest}, {vectors.steps} steps")
    identical = True
    for (core, machine), sealed in itertools.product(MACHINES.items(), (False, True)):
        verdict, counts = "identical", []
        for number, part in enumerate(parts(vectors), start=1):
            with tempfile.TemporaryDirectory() as folder:
                run = run_image(core, build_image(core, part, Path(folder), sealed=sealed), part)
            counts += run.instructions
            if not run.identical:
                identical = False
                verdict = f"DIFFERENT from byte {run.first_difference} of the answers of part {number}"
        median, worst = statistics.median_low(counts), max(counts)
        print(
            f"{core} ({machine}): {len(counts)} {'sealed ' * sealed}steps {verdict};"
            f" instructions per step: median {median}, worst {worst}"
        )
    return 0 if identical else 1


if __name__ == "__main__":
    raise SystemExit(main())
