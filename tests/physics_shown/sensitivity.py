"""How much hangs on each assumed value: every one of `behaviour` 30 % down and up, on drawn cases of all families.

Three values of one name (the three journals) move together. A share that would pass 1 goes half way there. What is done
is kept in a folder that the sources name, and an interrupted run goes on from there.
"""

import json
import statistics
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import Any

import click

from replay.fitting.sensitivity import FACTORS, moved_behaviour
from replay.physics.behaviour import TABLE, USUAL
from replay.physics.kernel import _DIGEST
from tests.physics_shown.cases import SEED, UNDECIDED, Outcome, outcomes
from tests.results import close, record_option

ASSUMED = tuple(name for name, told in TABLE.items() if told.status == "assumed")
Task = tuple[str, float]  # a value's name, and what it is multiplied by


def variant(work: Path, count: int, seed: int, task: Task) -> list[Outcome] | str:
    """Return what the cases come to with one value moved, or what forbids it; from the work folder if it stands there."""
    name, factor = task
    kept = work / f"{name}-{factor}.json"
    if not kept.exists():
        try:
            told: Any = [
                asdict(one)
                for one in outcomes(count, seed, behaviour=moved_behaviour(USUAL, name, factor) if name else USUAL)
            ]
        except ValueError as error:
            told = str(error)
        beside = kept.with_suffix(".part")
        beside.write_text(json.dumps(told), encoding="utf-8")
        beside.replace(kept)
    told = json.loads(kept.read_text(encoding="utf-8"))
    return told if isinstance(told, str) else [Outcome(**one) for one in told]


@dataclass(frozen=True)
class Effect:
    """What one value, moved by a factor, changes: counts of cases, seconds."""

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


HEAD = ("value", "times", "verdicts", "missed", "nuisance", "labels", "undecided", "deadline, median s", "worst s")


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
    """Move each assumed value (or only those named) down and up; returns what changes, worst first."""
    work = work or Path(tempfile.gettempdir()) / f"lubetrip-sensitivity-{_DIGEST:x}-{count}-{seed}"
    work.mkdir(parents=True, exist_ok=True)
    tasks = [("", 1.0), *((name, factor) for name in ASSUMED if not only or name in only for factor in FACTORS)]
    with ProcessPoolExecutor(jobs) as pool:
        base, *found = pool.map(partial(variant, work, count, seed), tasks)
    if isinstance(base, str):
        raise click.ClickException(base)
    pairs = zip(tasks[1:], found, strict=True)
    return sorted((effect(*task, base, told) for task, told in pairs), key=lambda one: one.weight, reverse=True)


def table(effects: list[Effect]) -> str:
    """Return the effects as a table of Markdown."""
    rows = [HEAD, tuple("---" for _ in HEAD), *(tuple(one.cells) for one in effects)]
    return "\n".join("| " + " | ".join(row) + " |" for row in rows)


@click.command()
@click.option("--cases", "count", default=150, show_default=True, help="Drawn cases, the families in turn.")
@click.option("--seed", default=SEED, show_default=True)
@click.option("--jobs", default=1, show_default=True, help="Processes at a time.")
@click.option("--only", multiple=True, metavar="NAME", help="This value only; may be given again.")
@click.option("--table", "path", type=click.Path(path_type=Path), help="Write the whole table into a file.")
@record_option
def sensitivity(count: int, seed: int, jobs: int, only: tuple[str, ...], path: Path | None, record: bool) -> None:
    """Move each assumed value 30 % down and up: labels that flip, deadlines that move, verdicts that change."""
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
    line = f"{len(effects)} changes of assumed values on {count} cases: {still} change no label and no verdict; worst: {worst}"
    close(f"{line}; physics {_DIGEST:012x}", record=record)
