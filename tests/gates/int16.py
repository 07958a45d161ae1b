"""The C port where `int` has 16 bits: every vector, saved record and sealed step on an emulated AVR, no warning of its compiler.

The driver is that of the other gates (vector_run.c), on an ATmega328P with 2 KiB of RAM; avr_host.c is the machine around it.
Its lines tell the worst cycles and the deepest stack of each call.
"""

import re
import tempfile
from pathlib import Path

from tests.gates.port import C_FOLDER, DRIVER, PORT, Verdict, run, tool, vector_input

HOST = Path(__file__).with_name("avr_host.c")
MACHINE = "-mmcu=atmega328p"
STRICT = ("-std=c99", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-pedantic")
# What the emulator itself says, and what the other of the two images, bare and sealed, tells better.
LEFT_OUT = (("Loaded", "sealed step"), ("Loaded", "step", "write record", "recall"))


def build_host(folder: Path) -> Path:
    """Build the emulated machine. Raises SystemExit that names what is missing."""
    program = folder / "avr_host"
    done = run([tool("gcc"), "-O2", "-Wall", "-Wextra", "-Werror", HOST, "-lsimavr", "-o", program])
    if done.returncode:
        raise SystemExit(f"the emulator does not build (Debian package libsimavr-dev): {done.stderr.decode()[:500]}")
    return program


def build_image(folder: Path, source: Path, *, sealed: bool) -> Path:
    """Build driver and port for the AVR, with bare or sealed steps. Raises SystemExit with what the compiler says."""
    image = folder / f"vector_run_{'sealed' if sealed else 'bare'}.elf"
    flags = ("-std=gnu99", "-Os", MACHINE, f"-I{source}", *["-DSEALED_STEPS"] * sealed)
    done = run([tool("avr-gcc", "gcc-avr avr-libc"), *flags, DRIVER, *(source / name for name in PORT), "-o", image])
    if done.returncode:
        raise SystemExit(f"the port does not build for the AVR: {done.stderr.decode()[:2000]}")
    return image


def warnings(source: Path) -> list[str]:
    """Return what the AVR's compiler says of each file of a port, at its strictest."""
    lines: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        for name in PORT:
            command = [tool("avr-gcc", "gcc-avr avr-libc"), *STRICT, MACHINE, f"-I{source}", "-Os", "-c", source / name]
            said = run([*command, "-o", Path(folder) / "port.o"]).stderr.decode()
            lines += [f"avr-gcc: {line}" for line in re.findall(rf"({name}:.*(?:error|warning): .*)", said)]
    return lines


def judge(source: Path = C_FOLDER) -> Verdict:
    """Judge the port of a folder by what the AVR's compiler and an emulated AVR make of it."""
    lines = warnings(source)
    good = not lines
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        host = build_host(folder)
        for sealed in (False, True):
            done = run([host, build_image(folder, source, sealed=sealed)], vector_input())
            said = (done.stdout + done.stderr).decode().splitlines()
            lines += [line for line in said if not line.startswith(LEFT_OUT[sealed])]
            good = good and done.returncode == 0
    return Verdict(good, (*lines, f"{'identical' if good else 'not identical'} where int has 16 bits"))
