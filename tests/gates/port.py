"""The C port under a gate: built with a driver that runs cases natively, and the cases as its words."""

import functools
import itertools
import re
import shutil
import subprocess
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from replay.port.vectors import Case, Vectors
from tests.gates import holding
from tests.support.toolchain import built, vector_set

C_FOLDER = Path(__file__).parents[2] / "firmware_ref" / "c"
DRIVER = Path(__file__).with_name("vector_run.c")
PORT = ("lubetrip.c", "lubetrip_saved.c", "lubetrip_seal.c")
HEADERS = ("lubetrip.h", "lubetrip_generated.h", "lubetrip_saved.h", "lubetrip_seal.h")
END_OF_CASES = -1
FUNCTION = re.compile(r"^[\w ]+?\**(\w+)\([^;{]*\)\n\{\n(?:.*?)^\}", re.DOTALL | re.MULTILINE)


@dataclass(frozen=True)
class Verdict:
    """What a gate found: whether it is open, and the lines that say why."""

    good: bool
    lines: tuple[str, ...]


def tool(name: str, package: str = "") -> str:
    """Return the path of a tool. Raises SystemExit that names it: a gate that cannot look does not open."""
    path = shutil.which(name)
    if path is None:
        raise SystemExit(f"{name} is not installed (Debian package {package or name})")
    return path


def run(command: Sequence[str | Path], stdin: bytes = b"", **more: object) -> subprocess.CompletedProcess[bytes]:
    """Run a tool to its end and return what it said."""
    return subprocess.run([str(part) for part in command], input=stdin, capture_output=True, check=False, **more)


def case_words(cases: Iterable[Case]) -> list[np.ndarray]:
    """Return cases as the driver reads them."""
    words = []
    for case in cases:
        ticks = [(*tick.inputs, *tick.state, *tick.outputs) for tick in case.ticks]
        words.append(np.array([len(ticks), *case.settings, *case.start, *itertools.chain(*ticks)], np.int32))
    return words


def section(rows: Iterable[Sequence[int] | np.ndarray]) -> list[np.ndarray]:
    """Return rows of one kind as the driver reads them: their number, then the words of each."""
    words = [np.asarray(row, np.int64).astype(np.int32) for row in rows]
    return [np.array([len(words)], np.int32), *words]


def packed(record: Sequence[int]) -> list[int]:
    """Return the bytes of a record as words."""
    return np.array(record, np.uint8).view(np.int32).tolist()


def held_words(vectors: Vectors) -> list[np.ndarray]:
    """Return what is held of saved records and seals (holding.py) as the driver reads it."""
    fills = [(n, *values, *memory, *packed(record)) for n, values, memory, record in holding.fills(vectors)]
    recalls = [
        (*values, *packed(first), *packed(second), answer, *after)
        for values, first, second, answer, after in holding.recalls(vectors)
    ]
    steps = [
        list(itertools.chain(*row["before"], row["inputs"], [row["hold"]], *row["after"], row["results"]))
        for row in holding.sealed_steps(vectors)
    ]
    return [part for rows in (fills, holding.numbers(), recalls, steps) for part in section(rows)]


def driver_input(vectors: Vectors) -> bytes:
    """Return a whole vector set as the driver reads it, records and seals behind it; of the ticks those on 32 bits."""
    words = [*case_words(vectors.cases), np.array([END_OF_CASES, len(vectors.checks)], np.int32)]
    words += [np.array([*check.values, check.fault, *check.derived], np.int32) for check in vectors.checks]
    ticks = [(d.now, d.before, d.elapsed) for d in vectors.differences if d.bits == 32]
    words += [np.array([len(ticks)], np.int32), np.array(ticks, np.uint32).view(np.int32).ravel()]
    words += held_words(vectors)
    return b"".join(part.tobytes() for part in words)


@functools.cache
def vector_input() -> bytes:
    """Return the conformance vectors as the driver reads them."""
    return driver_input(vector_set())


def build_driver(work: Path, source: Path, compiler: str = "gcc", flags: Sequence[str] = ("-O2",)) -> Path:
    """Build the driver with this file of the port and its others; headers beside it win over those of the port."""
    program = work / "vector_run"
    sources = [DRIVER, source, *(C_FOLDER / name for name in PORT if name != source.name)]
    said = built(program, sources, (source.parent, C_FOLDER), compiler, ("-std=gnu99", *flags))
    if said.returncode:
        raise SystemExit(f"{source} does not build: {said.stderr[:2000]}")
    return program


def planted(folder: Path, good: str, bad: str, origin: Path = C_FOLDER, *, file: str = "lubetrip.c") -> Path:
    """Return a file of the port in a copy of the port in which one place of it is changed."""
    for name in (*PORT, *HEADERS):
        shutil.copy(origin / name, folder / name)
    source = folder / file
    text = source.read_text()
    if text.count(good) != 1:
        raise SystemExit(f"the seeded defect does not fit in one place: {good!r}")
    source.write_text(text.replace(good, bad))
    return source
