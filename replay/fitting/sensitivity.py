"""How many labels hang on what was assumed: every assumed value of a machine 30 % down and up, on drawn cases.

Values that journals have three of move together. A share that would pass 1 goes half way there. What was fitted or
stated does not move. What a measurement would settle of that is reckoned beside it (`measuring`).
"""

import functools
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from replay.engine.workers import Progress, quiet, workers
from replay.fitting.measuring import Forecast, forecast
from replay.fitting.unknowns import OF_MACHINE, OF_OIL, Unknown
from replay.machine import MachineFile, read_machine
from replay.machine.file import ASSUMED
from replay.physics.behaviour import TABLE, Behaviour
from replay.physics.drawing import Draw, Site
from replay.physics.families import FAMILIES, case_of, label_of
from replay.physics.simulate import simulate

FACTORS = (0.7, 1.3)
SEED = 20261130


class Moved(NamedTuple):
    """One value moved: part ("oil", "machine", "behaviour") and name in the model, times factor."""

    part: str
    name: str
    factor: float

    @property
    def path(self) -> str:
        """Its key of a machine file."""
        return Unknown(self.part, self.name, 0.0, 0.0, 0.0).path


class Outcome(NamedTuple):
    """What a case comes to: kind of label, and the first deadline in s."""

    kind: str
    deadline_s: float | None


@dataclass(frozen=True)
class Effect:
    """What a value does when it is moved: counts of cases, and s by which deadlines move.

    flips: from must trip to ride through or back; undecided: into it or out of it; failed: why it could not move.
    """

    moved: Moved
    flips: int
    undecided: int
    median_s: float
    failed: str = ""

    @property
    def changed(self) -> int:
        """Labels that are others."""
        return self.flips + self.undecided


@dataclass(frozen=True)
class Sensitivity:
    """Effects, largest first; undecided: cases as they are; measuring: what one more measurement would settle."""

    machine: MachineFile
    cases: int
    undecided: int
    effects: tuple[Effect, ...]
    measuring: Forecast

    def as_json(self) -> dict[str, Any]:
        """Return the report in the form of its schema."""
        rows = [
            {"key": one.moved.path, "times": one.moved.factor, "flips": one.flips, "undecided": one.undecided,
             "deadline_median_s": round(one.median_s, 1), "failed": one.failed}
            for one in self.effects
        ]  # fmt: skip
        return {
            "schema": "lubetrip-sensitivity/2", "machine": self.machine.digest, "cases": self.cases,
            "undecided": self.undecided, "effects": rows, "open": self.measuring.open,
            "settled_at_most": round(self.measuring.most, 3),
            "measurements": [{"name": one.name, "settles": round(one.settles, 3), "standard_error": round(one.error, 3)}
                             for one in self.measuring.told],
        }  # fmt: skip


def moved_value(value: Any, factor: float) -> Any:
    """Return a value, or each of several, times factor; a share stays below 1."""
    each = tuple(_moved(float(one), factor) for one in np.atleast_1d(value))
    return each if isinstance(value, tuple) else each[0]


def _moved(value: float, factor: float) -> float:
    moved = value * factor
    return (1.0 + value) / 2.0 if value < 1.0 <= moved else moved


def moved_behaviour(behaviour: Behaviour, name: str, factor: float) -> Behaviour:
    """Return a behaviour with one value moved. Raises ValueError for nonsense."""
    return replace(behaviour, **{name: moved_value(getattr(behaviour, name), factor)})


def moved_site(site: Site, task: Moved) -> Site:
    """Return a site with one value moved. Raises ValueError for nonsense."""
    if task.part == "behaviour":
        return replace(site, behaviour=moved_behaviour(site.behaviour, task.name, task.factor))
    part = getattr(site, task.part)
    changes: dict[str, Any] = {task.name: moved_value(getattr(part, task.name), task.factor)}
    fields: dict[str, Any] = {task.part: replace(part, **changes)}
    return replace(site, **fields)


def moves_of(machine: MachineFile) -> list[Moved]:
    """Return what there is to move: values that the machine file leaves to an assumption, and no fit has found."""
    names = [("oil", name) for name in OF_OIL[False]] + [("machine", name) for name in OF_MACHINE]
    names += [("behaviour", name) for name in TABLE]
    found = machine.members[0] if machine.members else {}
    moves = [Moved(*one, factor) for one in names for factor in FACTORS]
    return [one for one in moves if machine.status(one.path) == ASSUMED and one.path not in found]


def find_sensitivity(
    machine: MachineFile | Path | str,
    cases: int = 46,
    *,
    seed: int = SEED,
    jobs: int = 1,
    cluster: str | None = None,
    progress: Progress = quiet,
) -> Sensitivity:
    """Move every assumed value of a machine down and up, and tell which labels of drawn cases hang on it.

    cases: drawn, the families in turn; jobs, cluster: as in `score_library`. Raises Refusal.
    """
    described = machine if isinstance(machine, MachineFile) else read_machine(machine)
    moves = moves_of(described)
    unfit = described.left_out()
    names = [name for name in FAMILIES if name not in unfit]
    drawn = [(names[i % len(names)], i // len(names)) for i in range(cases)]
    with workers(jobs, cluster) as each, progress(2 * cases, "moving what is assumed") as stage:
        rows = each(functools.partial(_outcomes, described, tuple(moves), seed), drawn, stage.advance)
        measuring = forecast(described, drawn, seed, each, stage.advance)
    base = [row[0] for row in rows]
    effects = [_effect(move, base, [row[1 + at] for row in rows]) for at, move in enumerate(moves)]
    ranked = sorted(effects, key=lambda one: (-one.changed, -one.median_s))
    return Sensitivity(
        described,
        cases,
        sum(isinstance(one, Outcome) and one.kind == "undecided" for one in base),
        tuple(ranked),
        measuring,
    )


def _outcomes(machine: MachineFile, moves: Sequence[Moved], seed: int, which: tuple[str, int]) -> list[Outcome | str]:
    """Return what a case comes to as it is, and with each value moved; in words where it cannot."""
    return [_outcome(machine, move, seed, which) for move in (None, *moves)]


def _outcome(machine: MachineFile, move: Moved | None, seed: int, which: tuple[str, int]) -> Outcome | str:
    def sites(draw: Draw, oils: Sequence[str]) -> Site:
        site = machine.site(draw, oils)
        return site if move is None else moved_site(site, move)

    try:
        case = case_of(*which, seed, sites=sites)
        label = label_of(simulate(case), case.chain.fault_s)
    except ValueError as error:
        return str(error)
    (kind,) = label
    windows = label.get("must_trip", {})
    first = windows[0] if isinstance(windows, list) else windows
    return Outcome(kind, first.get("deadline_s"))


def _differs(one: Outcome | str, other: Outcome | str) -> bool:
    return isinstance(one, Outcome) and isinstance(other, Outcome) and one.kind != other.kind


def _effect(move: Moved, base: Sequence[Outcome | str], found: Sequence[Outcome | str]) -> Effect:
    pairs = [(a, b) for a, b in zip(base, found, strict=True) if isinstance(a, Outcome) and isinstance(b, Outcome)]
    undecided = sum(_differs(a, b) and "undecided" in (a.kind, b.kind) for a, b in pairs)
    shifts = [
        abs(b.deadline_s - a.deadline_s) for a, b in pairs if a.deadline_s is not None and b.deadline_s is not None
    ]
    failed = next((one for one in found if isinstance(one, str)), "")
    return Effect(
        move,
        sum(_differs(a, b) for a, b in pairs) - undecided,
        undecided,
        statistics.median(shifts) if shifts else 0.0,
        failed,
    )
