"""The stops of a machine that obeys, against the windows and the upsets of its trace.

**Windows** of a must-trip label are judged one by one, in their order:

    hit      the first stop from earliest_s on lies by deadline_s
    missed   there is none by deadline_s; `late` says how the stop that came stands to the band of the deadline
    early    a stop came before earliest_s that belongs to no fault before it: a nuisance stop, and no hit
    stood    an earlier stop held the machine still for the whole of the window: neither found nor missed

A stop belongs to the fault of a window from earliest_s on: the first, up to AGAIN_S behind the end of the band, or
however late where no window follows; all others up to the end of the band; and after that those of a machine that was
started into the same fault again. A recording does not know that the machine was stopped, so the fault goes on in it.
Who stops within AGAIN_S of being allowed to run again, after a stop that belongs to a fault or held over it, has met it
again: such stops (`repeats`) count neither way. Whoever ran longer than that has come through, and the next stop is a
nuisance.
After the stop in the last window nothing is judged.

**Upsets** of a trace that rides through are trials of its probability of a nuisance stop: each was either ridden
through, or stopped, or the machine stood over the whole of it, which is no trial. A stop belongs to the last upset that
had begun by then, and only up to AFTER_S behind its end: what the upset has filled of the integral has drained by then.
Several stops in one upset are one upset with a stop.
"""

import bisect
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from replay.engine import Replay
from replay.library import MustTrip
from replay.library.library import Upset
from replay.trace import AnyTrace

# Assumed: a trip delay in use is some minutes, a start grace less than one, and both are over in this time.
AGAIN_S = 600.0
# Assumed: a full integral of a trip delay of 5 min drains in this time at a recovery of 1, others in less.
AFTER_S = 300.0

# How a missed window stands to the band of its deadline.
IN_TIME_BY_LIKELY, IN_TIME_BY_LATEST, TOO_LATE, NO_STOP = "likely", "latest", "too late", "no stop"
LATE = {
    IN_TIME_BY_LIKELY: "late by the careful figure, in time by the likely one",
    IN_TIME_BY_LATEST: "late by the careful figure, in time for the most lasting bearing alone",
    TOO_LATE: "stopped too late by every figure of the label",
    NO_STOP: "not stopped at all",
}
STOOD = "stood"


@dataclass(frozen=True)
class Felt:
    """A stop in s of the trace's own time; until_s: when the machine may run again, infinite where that never comes."""

    at_s: float
    until_s: float


@dataclass(frozen=True)
class Found:
    """One window and what became of it; stop_s: the stop that decides, margins in s before deadline_s and likely_s."""

    earliest_s: float
    deadline_s: float
    likely_s: float | None
    latest_s: float | None
    outcome: str
    stop_s: float | None
    margin_s: float | None
    likely_margin_s: float | None
    late: str | None


@dataclass(frozen=True)
class Course:
    """The windows of a trace, the stops before and between them that are a nuisance, and the repeats."""

    windows: tuple[Found, ...]
    nuisance: int
    repeats: int


@dataclass(frozen=True)
class Upsets:
    """Upsets of a trace that were ridden through, stopped or stood over; stops and run hours outside of any."""

    rode_through: int
    stopped: int
    stood: int
    stops_outside: int
    hours_outside: float


def felt(trace: AnyTrace, replay: Replay) -> list[Felt]:
    """Return the stops of a replay in the trace's own time."""
    return [
        Felt(trace.seconds(stop.time_ms), math.inf if stop.until_ms is None else trace.seconds(stop.until_ms))
        for stop in replay.stops
    ]


def follow(windows: Sequence[MustTrip], stops: Sequence[Felt]) -> Course:
    """Give each stop to a window, to the nuisance or to the repeats, and judge each window."""
    first: list[float | None] = [None] * len(windows)  # stop that belongs to each window
    early: list[float | None] = [None] * len(windows)
    nuisance = repeats = 0
    stood = [_stood(window, stops) for window in windows]
    begins = [window.earliest_s for window in windows]
    before: Felt | None = None
    of_fault = False  # whether the stop before belongs to a fault
    for stop in stops:
        last = bisect.bisect_right(begins, stop.at_s) - 1
        follows = last + 1 < len(windows)
        begun = windows[last] if last >= 0 else None
        again = before is not None and stop.at_s - before.until_s <= AGAIN_S
        again = again and (of_fault or (begun is not None and _stood(begun, [before] if before else [])))
        of_fault = True
        if begun is not None and first[last] is None and not stood[last] and _is_its_own(begun, stop, follows):
            first[last] = stop.at_s
        elif follows and (again or (begun is not None and stop.at_s <= begun.end_s)):
            repeats += 1
        elif follows:
            nuisance += 1
            early[last + 1] = stop.at_s if early[last + 1] is None else early[last + 1]
            of_fault = False
        before = stop
    found = [
        _found(window, in_it, too_early, stood=still)
        for window, in_it, too_early, still in zip(windows, first, early, stood, strict=True)
    ]
    return Course(tuple(found), nuisance, repeats)


def _is_its_own(window: MustTrip, stop: Felt, follows: bool) -> bool:  # noqa: FBT001 - a fact of the label
    """Say whether the first stop since a window began can be told as its own, be it late."""
    return not follows or stop.at_s <= window.end_s + AGAIN_S


def _stood(window: MustTrip, stops: Iterable[Felt]) -> bool:
    """Say whether one stop held the machine still for the whole of a window."""
    return any(stop.at_s < window.earliest_s and stop.until_s > window.deadline_s for stop in stops)


def _found(window: MustTrip, first_s: float | None, early_s: float | None, *, stood: bool) -> Found:
    stop_s = first_s if early_s is None else early_s
    late = None
    if early_s is not None:
        outcome = "early"
    elif stood:
        outcome, stop_s = STOOD, None
    elif stop_s is not None and stop_s <= window.deadline_s:
        outcome = "hit"
    else:
        outcome, late = "missed", _late(window, stop_s)
    margins = (_before(window.deadline_s, stop_s), _before(window.likely_s, stop_s))
    return Found(
        window.earliest_s, window.deadline_s, window.likely_s, window.latest_s, outcome, stop_s, *margins, late
    )


def _before(limit_s: float | None, stop_s: float | None) -> float | None:
    return None if limit_s is None or stop_s is None else round(limit_s - stop_s, 3)


def _late(window: MustTrip, stop_s: float | None) -> str:
    if stop_s is None:
        return NO_STOP
    if window.likely_s is not None and stop_s <= window.likely_s:
        return IN_TIME_BY_LIKELY
    return IN_TIME_BY_LATEST if window.latest_s is not None and stop_s <= window.latest_s else TOO_LATE


def met(upsets: Sequence[Upset], trace: AnyTrace, replay: Replay) -> Upsets:
    """Count what became of the upsets of a trace that rides through."""
    stops = felt(trace, replay)
    begins = [begin_s for begin_s, _ in upsets]
    hit: set[int] = set()
    outside = 0
    for stop in stops:
        last = bisect.bisect_right(begins, stop.at_s) - 1
        if last >= 0 and stop.at_s <= upsets[last][1] + AFTER_S:
            hit.add(last)
        else:
            outside += 1
    at = [stop.at_s for stop in stops]
    stood = 0
    for number, (begin_s, end_s) in enumerate(upsets):
        last = bisect.bisect_left(at, begin_s) - 1  # of the stops before it only the last may go on over it
        stood += number not in hit and last >= 0 and stops[last].until_s > end_s
    hours = max(0.0, replay.run_ms - _run_ms_in(upsets, trace, stops)) / 3.6e6
    return Upsets(len(upsets) - len(hit) - stood, len(hit), stood, outside, round(hours, 6))


def _run_ms_in(upsets: Sequence[Upset], trace: AnyTrace, stops: Sequence[Felt]) -> float:
    """Return the time the machine ran in upsets and up to AFTER_S behind each, every moment once."""
    spans = [(begin_s, end_s + AFTER_S) for begin_s, end_s in upsets]
    spans = [(begin, min(end, after)) for (begin, end), (after, _) in pairwise([*spans, (math.inf, math.inf)])]
    ends, untils = [end for _, end in spans], [stop.until_s for stop in stops]
    run_s, before_s = 0.0, math.nan
    for piece in trace.pieces():
        seconds = piece.start_s + piece.time_ms / 1000.0
        since_s = np.concatenate(([seconds[0] if math.isnan(before_s) else before_s], seconds[:-1]))
        before_s = float(seconds[-1])
        for begin, end in spans[bisect.bisect_left(ends, float(since_s[0])) :]:
            if begin > before_s:
                break
            rows = slice(int(np.searchsorted(seconds, begin)), int(np.searchsorted(seconds, end)) + 1)
            to, since = seconds[rows], since_s[rows]
            ran = piece.running[rows] != 0
            for stop in stops[bisect.bisect_left(untils, begin) :]:
                if stop.at_s > to[-1]:
                    break
                ran &= ~((stop.at_s < to) & (to <= stop.until_s))
            run_s += float(np.maximum(np.minimum(to, end) - np.maximum(since, begin), 0.0)[ran].sum())
    return 1000.0 * run_s
