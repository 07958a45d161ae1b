"""The settings beside the best that plain laws can do on the same traces, cut-out and delay scanned over a grid.

Beside the plain timer and "vacuum and low" (`replay.engine.scan`) stands the logic itself without its weights: an
unweighted integrator with the sensor checks, the sequence and the guard of the settings. It alone tells what the
weights are worth, since a plain timer believes every sensor.

The best of a grid is chosen on these very traces, which the settings were perhaps not: that flatters the plain law, and
settings that are better all the same earn their keep. A law is held against them twice: with no more faults missed, how
few nuisance trips can it have; and with no more nuisance trips, how few misses.
"""

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from protect import ranges
from protect import settings as rules
from replay.engine import compiled
from replay.engine.portable import Replay, blocks_of
from replay.engine.scan import LAWS, Grid, grid_of, scan
from replay.settings import Settings
from replay.sweep import arrange, prepare, sweep
from replay.trace import AnyTrace, Trace

UNWEIGHTED = "unweighted integrator"
ALL = (*LAWS, UNWEIGHTED)

Array = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Counts:
    """What every point of the grid comes to over a trace, int64[law, cut-out, delay] each, in the order of ALL."""

    missed: Array
    nuisance_trips: Array

    def __eq__(self, other: object) -> bool:
        """Compare the figures."""
        return isinstance(other, Counts) and all(map(np.array_equal, vars(self).values(), vars(other).values()))

    __hash__ = None  # type: ignore[assignment]


def counts(trace: AnyTrace, settings: Settings, judged: Callable[[Replay], tuple[int, int]]) -> Counts:
    """Return the counts of one trace; judged tells of a replay windows missed and nuisance trips."""
    scanned = scan(trace, settings)
    told = np.array([judged(replay) for replay in scanned.replays], np.int64)[scanned.which]
    seen: dict[Replay, tuple[int, int]] = {}
    for replay in (replays := _replays(trace, unweighted(settings))):
        if replay not in seen:
            seen[replay] = judged(replay)
    own = np.array([seen[replay] for replay in replays], np.int64)
    told = np.concatenate([told, own.reshape(1, *told.shape[1:])])
    return Counts(told[..., 0], told[..., 1])


def _replays(trace: AnyTrace, candidates: Sequence[Settings]) -> list[Replay]:
    """Return what each candidate does over a trace; one that is left in its file is read once for all of them."""
    if isinstance(trace, Trace):
        return sweep(prepare(trace), arrange(candidates))
    machines = [compiled.machine(candidate) for candidate in candidates]
    for machine in machines:
        machine.believe(trace.hold_ms)
    for columns in blocks_of(trace):
        for machine in machines:
            machine.take(columns)
    return [Replay((), tuple(m.stops), m.run_ms, late=0, locked_out=m.locked_out) for m in machines]


@functools.lru_cache(maxsize=2)  # the same for every trace of a library
def unweighted(settings: Settings) -> tuple[Settings, ...]:
    """Return the settings without weights, one for each point of the grid; cut-in and floor go with the cut-out."""
    grid = grid_of(settings)
    return tuple(_without_weights(settings, cut_out, delay) for cut_out in grid.cut_outs for delay in grid.delays)


def _without_weights(settings: Settings, cut_out: int, delay: int) -> Settings:
    values = list(settings.values)
    ahead = values[ranges.CUT_IN] - values[ranges.CUT_OUT]
    values[ranges.CUT_OUT], values[ranges.CUT_IN], values[ranges.TRIP_DELAY] = cut_out, cut_out + ahead, delay
    values[ranges.FLOOR] = min(values[ranges.FLOOR], cut_out - 1)
    values[ranges.FLOOR_WEIGHT] = values[ranges.VACUUM_WEIGHT] = ranges.ONE
    if rules.first_fault(values) != rules.ALL_RIGHT:
        return settings  # outside of what is admitted: the settings themselves stand there
    rules.derive(values)
    return replace(settings, values=tuple(values))


@dataclass(frozen=True)
class Point:
    """A law with a cut-out (Pa) and a delay (ms), and what it comes to."""

    cut_out_pa: int
    delay_ms: int
    missed: int
    nuisance_trips: int


@dataclass(frozen=True)
class Comparator:
    """One law: the best points of its grid.

    curve: the trade-off, from the fewest missed to the fewest nuisance trips. no_more_missed, no_more_nuisance: the
    best with no more of one than the settings have; as_good: one with no more of either; None where there is none.
    """

    law: str
    curve: tuple[Point, ...]
    no_more_missed: Point | None
    no_more_nuisance: Point | None
    as_good: Point | None

    def as_json(self) -> dict[str, Any]:
        """Return it as it stands in a report."""
        best = {name: getattr(self, name) for name in ("no_more_missed", "no_more_nuisance", "as_good")}
        told = {name: vars(point) if point else None for name, point in best.items()}
        return {"law": self.law, "curve": [vars(point) for point in self.curve], **told}


def comparators(grid: Grid, traces: Sequence[Counts], missed: int, nuisance_trips: int) -> tuple[Comparator, ...]:
    """Return each law over all traces, beside settings with so many misses and nuisance trips."""
    if not traces:
        return ()
    misses = np.sum([one.missed for one in traces], axis=0)
    trips = np.sum([one.nuisance_trips for one in traces], axis=0)
    found = []
    for law, (lost, stopped) in enumerate(zip(misses, trips, strict=True)):
        points = [
            Point(cut_out, delay, int(lost[row, column]), int(stopped[row, column]))
            for row, cut_out in enumerate(grid.cut_outs)
            for column, delay in enumerate(grid.delays)
        ]
        quiet = sorted(points, key=lambda point: (point.nuisance_trips, point.missed))
        sure = sorted(points, key=lambda point: (point.missed, point.nuisance_trips))
        found.append(
            Comparator(
                ALL[law],
                _front(sure),
                next((point for point in quiet if point.missed <= missed), None),
                next((point for point in sure if point.nuisance_trips <= nuisance_trips), None),
                next((p for p in sure if p.missed <= missed and p.nuisance_trips <= nuisance_trips), None),
            )
        )
    return tuple(found)


def _front(points: Sequence[Point]) -> tuple[Point, ...]:
    """Return the points that no other beats in both, from the fewest missed on; of equal ones the first."""
    front: list[Point] = []
    for point in points:
        if not front or point.nuisance_trips < front[-1].nuisance_trips:
            front.append(point)
    return tuple(front)
