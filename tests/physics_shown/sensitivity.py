"""How much hangs on each assumed constant: every one of `constants.py` 30 % down and up, on drawn cases of all families.

A constant is one of the assumed when the comment beside it says so; they are found in the text, so that a new one cannot
be forgotten. Three values of one constant (the three journals) move together. A share that would pass 1 goes half way
there. The constants are frozen into machine code, so each change is run in a copy of the sources, with a cache of its
own, by another process. What is done is kept in a folder that the sources name, and an interrupted run goes on from there.
"""

import ast
import io
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import tokenize
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from replay.physics.kernel import _DIGEST
from tests.physics_shown.cases import SEED, UNDECIDED, Outcome
from tests.results import close, record_option

ROOT = Path(__file__).parents[2]
CONSTANTS = Path("replay/physics/constants.py")
COPIED = ("replay", "protect", "firmware_ref", "fixtures", "tests/__init__.py", "tests/support", "tests/physics_shown")
FACTORS = (0.7, 1.3)
MARK = "assumed"


@dataclass(frozen=True)
class Constant:
    """One assumed constant: where its value stands in the text, and what it is."""

    name: str
    value: Any  # a number, or a tuple of them
    first: tuple[int, int]  # line and column, as `ast` counts them
    last: tuple[int, int]

    def moved(self, factor: float) -> Any:
        """Return the value times factor; a share stays below 1."""
        if isinstance(self.value, tuple):
            return tuple(_moved(one, factor) for one in self.value)
        return _moved(self.value, factor)


def _moved(value: float, factor: float) -> float:
    moved = value * factor
    return (1.0 + value) / 2.0 if value < 1.0 <= moved else moved


def assumed(text: str) -> list[Constant]:
    """Return the constants of a source text whose comment, on their lines or alone just above, says assumed."""
    lines = text.splitlines()
    comments: dict[int, str] = {}
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type == tokenize.COMMENT:
            comments[token.start[0]] = token.string
    found = []
    for node in ast.parse(text).body:
        if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None or node.end_lineno is None:
            continue
        target = node.target if isinstance(node, ast.AnnAssign) else node.targets[0]
        said = " ".join(comments.get(line, "") for line in range(node.lineno, node.end_lineno + 1))
        above = node.lineno - 1
        while not said.strip() and above in comments and lines[above - 1].startswith("#"):
            said, above = comments[above] + said, above - 1
        if MARK in said and isinstance(target, ast.Name):
            value = eval(compile(ast.Expression(node.value), "constant", "eval"), {})  # noqa: S307 - our own source
            end = (node.value.end_lineno or 0, node.value.end_col_offset or 0)
            found.append(Constant(target.id, value, (node.value.lineno, node.value.col_offset), end))
    return found


def changed(text: str, constant: Constant, factor: float) -> str:
    """Return the source text with one constant moved."""
    lines = text.splitlines(keepends=True)
    (first, start), (last, end) = constant.first, constant.last
    new = lines[first - 1][:start] + repr(constant.moved(factor)) + lines[last - 1][end:]
    return "".join([*lines[: first - 1], new, *lines[last:]])


def run_in(folder: Path, count: int, seed: int) -> list[Outcome] | str:
    """Run the cases on the sources of a folder; returns what they came to, or the last line of what went wrong."""
    environment = {**os.environ, "PYTHONPATH": str(folder), "XDG_CACHE_HOME": str(folder / ".cache")}
    command = [sys.executable, "-m", "tests.physics_shown.cases", str(count), str(seed)]
    done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False)
    if done.returncode:
        return done.stderr.strip().splitlines()[-1]
    return [Outcome(**one) for one in json.loads(done.stdout)]


def variant(name: str, text: str, work: Path, count: int, seed: int) -> list[Outcome] | str:
    """Return what the cases come to with this text of the constants, from the work folder if it stands there."""
    kept = work / f"{name}.json"
    if not kept.exists():
        with tempfile.TemporaryDirectory() as temporary:
            folder = Path(temporary)
            for part in COPIED:
                source, target = ROOT / part, folder / part
                target.parent.mkdir(parents=True, exist_ok=True)
                if source.is_dir():
                    shutil.copytree(source, target, ignore=shutil.ignore_patterns("__pycache__", "traces"))
                else:
                    shutil.copy(source, target)
            (folder / CONSTANTS).write_text(text, encoding="utf-8")
            found = run_in(folder, count, seed)
        told = found if isinstance(found, str) else [vars(one) for one in found]
        beside = kept.with_suffix(".part")
        beside.write_text(json.dumps(told), encoding="utf-8")
        beside.replace(kept)
    told = json.loads(kept.read_text(encoding="utf-8"))
    return told if isinstance(told, str) else [Outcome(**one) for one in told]


@dataclass(frozen=True)
class Effect:
    """What one constant, moved by a factor, changes: counts of cases, seconds."""

    name: str
    factor: float
    verdicts: int = 0  # of those decided both before and after
    missed: int = 0  # more faults missed than before
    nuisance: int = 0  # more harmless traces stopped
    flips: int = 0  # must_trip to ride_through or back
    undecided: int = 0  # into undecided or out of it
    median_s: float = 0.0  # of the moves of a deadline, without sign
    worst_s: float = 0.0  # with sign
    failed: str = ""

    @property
    def weight(self) -> tuple[float, ...]:
        """What the table is sorted by."""
        return (self.failed != "", self.verdicts, self.flips, self.undecided, abs(self.worst_s))

    @property
    def cells(self) -> list[str]:
        """Return the row of the table."""
        if self.failed:
            return [self.name, f"{self.factor:.1f}", self.failed]
        counts = (self.verdicts, self.missed, self.nuisance, self.flips, self.undecided)
        told = (f"{self.missed:+d}", f"{self.nuisance:+d}")
        return [
            self.name,
            f"{self.factor:.1f}",
            str(counts[0]),
            *told,
            str(counts[3]),
            str(counts[4]),
            f"{self.median_s:.1f}",
            f"{self.worst_s:+.1f}",
        ]


HEAD = ("constant", "times", "verdicts", "missed", "nuisance", "labels", "undecided", "deadline, median s", "worst s")


def effect(name: str, factor: float, base: list[Outcome], found: list[Outcome] | str) -> Effect:
    """Compare what the cases came to with what they came to before."""
    if isinstance(found, str):
        return Effect(name, factor, failed=found)
    pairs = list(zip(base, found, strict=True))
    decided = [(a, b) for a, b in pairs if UNDECIDED not in {a.label, b.label}]
    moves = [b.deadline_s - a.deadline_s for a, b in decided if a.deadline_s is not None and b.deadline_s is not None]
    return Effect(
        name,
        factor,
        sum(a.verdict != b.verdict for a, b in decided),
        sum(b.verdict == "missed" for b in found) - sum(a.verdict == "missed" for a in base),
        sum(b.verdict == "nuisance" for b in found) - sum(a.verdict == "nuisance" for a in base),
        sum(a.label != b.label for a, b in decided),
        sum((a.label == UNDECIDED) != (b.label == UNDECIDED) for a, b in pairs),
        statistics.median(abs(move) for move in moves) if moves else 0.0,
        max(moves, key=abs, default=0.0),
    )


def run(count: int, seed: int, jobs: int, only: tuple[str, ...] = (), work: Path | None = None) -> list[Effect]:
    """Move each assumed constant (or only those named) down and up; returns what changes, worst first."""
    text = (ROOT / CONSTANTS).read_text(encoding="utf-8")
    work = work or Path(tempfile.gettempdir()) / f"lubetrip-sensitivity-{_DIGEST:x}-{count}-{seed}"
    work.mkdir(parents=True, exist_ok=True)
    base = variant("as-it-is", text, work, count, seed)
    if isinstance(base, str):
        raise click.ClickException(base)
    tasks = [(one, factor) for one in assumed(text) if not only or one.name in only for factor in FACTORS]

    def moved(task: tuple[Constant, float]) -> Effect:
        constant, factor = task
        name = f"{constant.name}-{factor}"
        return effect(constant.name, factor, base, variant(name, changed(text, *task), work, count, seed))

    with ThreadPoolExecutor(jobs) as pool:
        return sorted(pool.map(moved, tasks), key=lambda one: one.weight, reverse=True)


def table(effects: list[Effect]) -> str:
    """Return the effects as a table of Markdown."""
    rows = [HEAD, tuple("---" for _ in HEAD), *(tuple(one.cells) for one in effects)]
    return "\n".join("| " + " | ".join(row) + " |" for row in rows)


@click.command()
@click.option("--cases", "count", default=150, show_default=True, help="Drawn cases, the families in turn.")
@click.option("--seed", default=SEED, show_default=True)
@click.option("--jobs", default=1, show_default=True, help="Processes at a time.")
@click.option("--only", multiple=True, metavar="NAME", help="This constant only; may be given again.")
@click.option("--table", "path", type=click.Path(path_type=Path), help="Write the whole table into a file.")
@record_option
def sensitivity(count: int, seed: int, jobs: int, only: tuple[str, ...], path: Path | None, record: bool) -> None:
    """Move each assumed constant 30 % down and up: labels that flip, deadlines that move, verdicts that change."""
    effects = run(count, seed, jobs, only)
    text = table(effects)
    click.echo(text)
    if path:
        path.write_text(text + "\n", encoding="utf-8")
    worst = ", ".join(
        f"{one.name} x{one.factor:.1f} ({one.verdicts} verdicts, {one.flips} labels, {one.worst_s:+.0f} s)"
        for one in effects[:10]
    )
    still = sum(one.verdicts + one.flips == 0 and not one.failed for one in effects)
    line = f"{len(effects)} changes of assumed constants on {count} cases: {still} change no label and no verdict; worst: {worst}"
    close(f"{line}; physics {_DIGEST:012x}", record=record)
