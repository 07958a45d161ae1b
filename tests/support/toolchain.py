"""Compilers and port programs for the tests; a tool that is not there is a loud skip with its name."""

import functools
import hashlib
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

from replay.port.vectors import Vectors, build, line
from tests.support.shared import once

ROOT = Path(__file__).parents[2]
C_FOLDER = ROOT / "firmware_ref" / "c"
C_SOURCE = C_FOLDER / "lubetrip.c"
HOST_PORT = ROOT / "firmware_ref" / "host" / "host_port.c"
WARNINGS = ("-std=c99", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-pedantic")
# Vectors, the ports that are held against them, and the wrong ones: what a hunt hangs on (`settled`).
HUNTED = (
    *("protect", "firmware_ref", "replay/engine", "replay/port", "replay/settings", "replay/ground"),
    *("tests/gates", "tests/wrong_ports"),
)
REFERENCE_PORT = f"{sys.executable} -m firmware_ref.python_port"
INSTALLER = ROOT / "tests" / "tools.sh"


def need(tool: str) -> str:
    """Return the path of a system tool, or skip the test and say which one is missing; one that nothing installs fails."""
    assert f"\nneed {tool} " in INSTALLER.read_text(), (
        f"{INSTALLER} does not install {tool}: a bare machine would skip this"
    )
    path = shutil.which(tool)
    if path is None:
        pytest.skip(f"{tool} is not installed: run tests/tools.sh")
    return path


def compiled(tool: str, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """Run a compiler and return what it said."""
    return subprocess.run([need(tool), *map(str, arguments)], capture_output=True, text=True, check=False, timeout=120)


def built(
    program: Path, sources: Sequence[Path], folders: Sequence[Path], tool: str, flags: Sequence[str]
) -> subprocess.CompletedProcess[str]:
    """Build a program, each file of it that reads the same once a run; return what the compiler said last.

    folders: where headers are looked for.
    """
    headers = {path.name: path.read_text() for folder in reversed(folders) for path in folder.glob("*.h")}
    include = [f"-I{folder}" for folder in folders]
    objects = []
    for number, source in enumerate(sources):
        objects.append(program.with_name(f"{program.name}-{number}.o"))

        def made(source: Path = source, target: Path = objects[-1]) -> tuple[subprocess.CompletedProcess[str], bytes]:
            said = compiled(tool, *flags, *include, "-c", source, "-o", target)
            return said, b"" if said.returncode else target.read_bytes()

        seen = repr((tool, *flags, sorted(headers.items()), source.read_text()))
        said, content = once(f"object-{hashlib.sha256(seen.encode()).hexdigest()}", made)
        if said.returncode:
            return said
        objects[-1].write_bytes(content)
    return compiled(tool, *flags, *objects, "-o", program)


def build_port(folder: Path, source: Path = C_SOURCE, tool: str = "gcc", flags: tuple[str, ...] = ("-O2",)) -> Path:
    """Build the C port behind the line protocol from this source; files of it beside it win over the checked-in ones."""
    port = folder / "port"
    others = []
    for name in ("lubetrip_saved.c", "lubetrip_seal.c"):
        beside = source.parent / name
        others.append(beside if beside.exists() else C_FOLDER / name)
    said = built(port, [HOST_PORT, source, *others], (source.parent, C_FOLDER), tool, (*WARNINGS, *flags))
    assert said.returncode == 0, said.stderr
    return port


@functools.cache
def vector_set() -> Vectors:
    """Return the vectors of the logic as it is, built once a run of the tests: that takes seconds."""
    vectors: Vectors = once("vectors", build)
    return vectors


def dialogue(vectors: Vectors) -> list[tuple[str, str]]:
    """Return all (line to a 32-bit port, its answer) of a set, restated here from the protocol."""
    lines = [(line("check", c.values), line("checked", (c.fault, *c.derived))) for c in vectors.checks]
    lines += [
        (line("ticks", (d.now, d.before)), line("elapsed", (d.elapsed,))) for d in vectors.differences if d.bits == 32
    ]
    for case in vectors.cases:
        lines.append((line("set", case.settings), line("state", case.start)))
        lines += [(line("step", t.inputs), line("done", (*t.state, *t.outputs))) for t in case.ticks]
    return lines


def first_difference(port: Path, vectors: Vectors) -> int | None:
    """Give a port program all lines at once; return the number of the first wrong answer, or None."""
    lines = dialogue(vectors)
    asked = "".join(f"{ask}\n" for ask, _ in lines)
    done = subprocess.run([port], input=asked, capture_output=True, text=True, check=False, timeout=30)
    answers = done.stdout.splitlines()
    for number, (_, wanted) in enumerate(lines):
        if number >= len(answers) or answers[number] != wanted:
            return number
    assert done.returncode == 0, done.stderr
    return None
