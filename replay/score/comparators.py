"""The settings beside the best that plain laws can do on the same traces, cut-out and delay scanned over a grid.

Beside the plain timer and "vacuum and low" (`replay.engine.scan`) stands the logic itself without its weights: an
unweighted integrator with the sensor checks, the sequence and the guard of the settings. It alone tells what the
weights are worth, since a plain timer believes every sensor.

The best of a grid is chosen on these very traces, which the settings were perhaps not: that flatters the plain law, and
settings that are better all the same earn their keep. A law is held against them twice: with no more faults missed, how
few nuisance trips can it have; and with no more nuisance trips, how few misses. Of equal counts the larger worst margin
of the hits is the better; and a law with the counts of the settings and a thinner margin is not as good as they are.
"""

import functools
import math
import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

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


class CameTo(NamedTuple):
    """What a replay comes to on a trace: windows missed, nuisance trips, margin (s) of each window, NaN of no hit."""

    missed: int
    nuisance_trips: int
    margins_s: tuple[float, ...] = ()


@dataclass(frozen=True, eq=False)
class Counts:
    """What every point of the grid comes to over a trace, in the order of ALL.

    Counts int64[law, cut-out, delay]; margins_s float64[law, cut-out, delay, window], NaN where one was not hit.
    """

    missed: Array
    nuisance_trips: Array
    margins_s: NDArray[np.float64]

    def __eq__(self, other: object) -> bool:
        """Compare the figures."""
        return isinstance(other, Counts) and all(
            np.array_equal(mine, its, equal_nan=True)
            for mine, its in zip(vars(self).values(), vars(other).values(), strict=True)
        )

    __hash__ = None  # type: ignore[assignment]


def counts(trace: AnyTrace, settings: Settings, judged: Callable[[Replay], CameTo]) -> Counts:
    """Return the counts of one trace; judged says what a replay comes to, with as many windows each time."""
    scanned = scan(trace, settings)
    seen: dict[Replay, CameTo] = {}
    replays = _replays(trace, unweighted(settings))
    for replay in replays:
        if replay not in seen:
            seen[replay] = judged(replay)
    told = [*map(judged, scanned.replays), *(seen[replay] for replay in replays)]
    own = len(scanned.replays) + np.arange(len(replays)).reshape(1, *scanned.which.shape[1:])
    which = np.concatenate([scanned.which, own])
    missed, trips = (np.array([one[place] for one in told], np.int64)[which] for place in range(2))
    return Counts(missed, trips, np.array([one.margins_s for one in told], np.float64)[which])


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
    """A law with a cut-out (Pa) and a delay (ms), and what it comes to; margins of the hits in s, None without one."""

    cut_out_pa: int
    delay_ms: int
    missed: int
    nuisance_trips: int
    worst_margin_s: float | None = None
    median_margin_s: float | None = None

    @property
    def thinness(self) -> tuple[float, float]:
        """Return what is smaller the larger the margins are."""
        return _turned(self.worst_margin_s), _turned(self.median_margin_s)


def _turned(margin_s: float | None) -> float:
    return math.inf if margin_s is None else -margin_s


class Own(NamedTuple):
    """What the settings come to, which a law is held against."""

    missed: int
    nuisance_trips: int
    worst_margin_s: float | None


@dataclass(frozen=True)
class Comparator:
    """One law: the best points of its grid.

    curve: the trade-off, from the fewest missed to the fewest nuisance trips. no_more_missed, no_more_nuisance: the
    best with no more of one than the settings have; as_good: one with no more of either and, where it misses as many,
    no smaller worst margin; thinner: one that would be but for its margin. None where there is none.
    """

    law: str
    curve: tuple[Point, ...]
    no_more_missed: Point | None
    no_more_nuisance: Point | None
    as_good: Point | None
    thinner: Point | None = None

    def as_json(self) -> dict[str, Any]:
        """Return it as it stands in a report."""
        best = {name: getattr(self, name) for name in ("no_more_missed", "no_more_nuisance", "as_good", "thinner")}
        told = {name: vars(point) if point else None for name, point in best.items()}
        return {"law": self.law, "curve": [vars(point) for point in self.curve], **told}


NOTHING_OWN = Own(-1, -1, None)  # better than which no law is


def comparators(grid: Grid, traces: Sequence[Counts], own: Own = NOTHING_OWN) -> tuple[Comparator, ...]:
    """Return each law over all traces, beside what the settings come to; without that, only its curve tells."""
    if not traces:
        return ()
    misses = np.sum([one.missed for one in traces], axis=0)
    trips = np.sum([one.nuisance_trips for one in traces], axis=0)
    margins = np.concatenate([one.margins_s for one in traces], axis=-1)
    found = []
    for law, name in enumerate(ALL):
        points = [
            Point(cut_out, delay, int(misses[at]), int(trips[at]), *_margins(margins[at]))
            for row, cut_out in enumerate(grid.cut_outs)
            for column, delay in enumerate(grid.delays)
            for at in [(law, row, column)]
        ]
        quiet = sorted(points, key=lambda point: (point.nuisance_trips, point.missed, point.thinness))
        sure = sorted(points, key=lambda point: (point.missed, point.nuisance_trips, point.thinness))
        equals = [p for p in sure if p.missed <= own.missed and p.nuisance_trips <= own.nuisance_trips]
        as_good = next((point for point in equals if not _is_thinner(point, own)), None)
        found.append(
            Comparator(
                name,
                _front(sure),
                next((point for point in quiet if point.missed <= own.missed), None),
                next((point for point in sure if point.nuisance_trips <= own.nuisance_trips), None),
                as_good,
                None if as_good or not equals else min(equals, key=lambda point: point.thinness),
            )
        )
    return tuple(found)


def _margins(margins_s: NDArray[np.float64]) -> tuple[float | None, float | None]:
    """Return the worst and the median margin of the hits among all windows."""
    hits = sorted(margins_s[~np.isnan(margins_s)].tolist())  # few: numpy's median takes longer than all of this
    return (hits[0], round(statistics.median(hits), 3)) if hits else (None, None)


def _is_thinner(point: Point, own: Own) -> bool:
    """Say whether a point misses as many as the settings and leaves its nearest hit less time."""
    if point.missed < own.missed or own.worst_margin_s is None:
        return False
    return point.worst_margin_s is None or point.worst_margin_s < own.worst_margin_s


def _front(points: Sequence[Point]) -> tuple[Point, ...]:
    """Return the points that no other beats in both, from the fewest missed on; of equal ones the first."""
    front: list[Point] = []
    for point in points:
        if not front or point.nuisance_trips < front[-1].nuisance_trips:
            front.append(point)
    return tuple(front)
