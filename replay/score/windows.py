"""The stops of a machine that obeys, against the windows and the upsets of its trace.

**Windows** of a must-trip label are judged one by one, in their order:

    hit      the first stop from earliest_s on lies by deadline_s
    missed   there is none by deadline_s; `late` says how the stop that came stands to the band of the deadline
    early    a stop came before earliest_s that belongs to no fault before it: a nuisance trip, and no hit
    stood    an earlier stop held the machine still for the whole of the window: neither hit nor missed

A stop belongs to the fault of a window from earliest_s on: the first, up to AGAIN_S behind the end of the band, or
however late where no window follows; all others up to the end of the band; and after that those of a machine that was
started into the same fault again. A recording does not know that the machine was stopped, so the fault goes on in it.
Who stops within AGAIN_S of being allowed to run again, after a stop that belongs to a fault or held over it, has met it
again: such stops (`repeats`) count neither way. Whoever ran longer than that has come through, and the next stop is a
nuisance.
After the stop in the last window nothing is judged.

**Told already** (`Entry.told`): a window that another trace of the library tells is left out, and so are the nuisance
stops before it and the repeats of its fault, and stops, upsets and run hours of a stretch that another one tells: each
moment counts once (`replay.score.once`).

**Upsets** of a trace that rides through are trials of its probability of a nuisance trip: each was either ridden
through, or stopped, or the machine stood over the whole of it, which is no trial. A stop belongs to the last upset that
had begun by then, and only up to AFTER_S behind its end: what the upset has filled of the integral has drained by then.
Several stops in one upset are one upset with a stop.
"""

import bisect
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from replay.engine import Replay, cause_of
from replay.library import MustTrip
from replay.library.library import Span, Upset
from replay.trace import AnyTrace

# Assumed: a trip delay in use is some minutes, a start grace less than one, and both are over in this time.
AGAIN_S = 600.0
# Assumed: a full integral of a trip delay of 5 min drains in this time at a recovery of 1, others in less.
AFTER_S = 300.0

# How a missed window stands to the band of its deadline.
IN_TIME_BY_LIKELY, IN_TIME_BY_LATEST, TOO_LATE, NO_STOP = "likely", "latest", "too late", "no stop"
LATE = {
    IN_TIME_BY_LIKELY: "late by the cautious figure, in time by the likely one",
    IN_TIME_BY_LATEST: "late by the cautious figure, in time only for the longest-lasting bearing",
    TOO_LATE: "too late by every figure of the label",
    NO_STOP: "not stopped at all",
}
STOOD = "stood"


@dataclass(frozen=True)
class Felt:
    """A stop in s of the trace's own time; until_s: when the machine may run again, infinite where that never comes.

    cause: in a word.
    """

    at_s: float
    until_s: float
    cause: str | None = None


@dataclass(frozen=True)
class Found:
    """One window and what became of it; stop_s: the stop that decides, margins in s before deadline_s and likely_s.

    cause: of that stop, None without one.
    """

    earliest_s: float
    deadline_s: float
    likely_s: float | None
    latest_s: float | None
    outcome: str
    stop_s: float | None
    margin_s: float | None
    likely_margin_s: float | None
    late: str | None
    cause: str | None = None


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
        Felt(
            trace.seconds(stop.time_ms),
            math.inf if stop.until_ms is None else trace.seconds(stop.until_ms),
            cause_of(stop.cause),
        )
        for stop in replay.stops
    ]


def follow(windows: Sequence[MustTrip], stops: Sequence[Felt], told: Sequence[Span] = ()) -> Course:
    """Give each stop to a window, to the nuisance or to the repeats, and judge each window.

    told: stretches that count elsewhere. A trace that tells a fault again began while the other one was recording, so
    that what came before that fault is told there too. A stop for nothing in such a stretch makes no window early.
    """
    first: list[float | None] = [None] * len(windows)  # stop that belongs to each window
    early: list[float | None] = [None] * len(windows)
    nuisance = repeats = 0
    stood = [_stood(window, stops) for window in windows]
    begins = [window.earliest_s for window in windows]
    gone = [_meets((window.earliest_s, window.deadline_s), told) for window in windows]
    causes = {stop.at_s: stop.cause for stop in stops}
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
            repeats += not gone[last]
        elif follows:
            of_fault = False
            if not _meets((stop.at_s, stop.at_s), told):
                nuisance += not gone[last + 1]
                early[last + 1] = stop.at_s if early[last + 1] is None else early[last + 1]
        before = stop
    found = [
        _found(window, in_it, too_early, causes, stood=still)
        for window, in_it, too_early, still in zip(windows, first, early, stood, strict=True)
    ]
    return Course(tuple(found), nuisance, repeats)


def _is_its_own(window: MustTrip, stop: Felt, follows: bool) -> bool:  # noqa: FBT001 - a fact of the label
    """Say whether the first stop since a window began can be told as its own, be it late."""
    return not follows or stop.at_s <= window.end_s + AGAIN_S


def _stood(window: MustTrip, stops: Iterable[Felt]) -> bool:
    """Say whether one stop held the machine still for the whole of a window."""
    return any(stop.at_s < window.earliest_s and stop.until_s > window.deadline_s for stop in stops)


def _found(
    window: MustTrip, first_s: float | None, early_s: float | None, causes: Mapping[float, str | None], *, stood: bool
) -> Found:
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
    cause = None if stop_s is None else causes[stop_s]
    return Found(
        window.earliest_s, window.deadline_s, window.likely_s, window.latest_s, outcome, stop_s, *margins, late, cause
    )


def _before(limit_s: float | None, stop_s: float | None) -> float | None:
    return None if limit_s is None or stop_s is None else round(limit_s - stop_s, 3)


def _late(window: MustTrip, stop_s: float | None) -> str:
    if stop_s is None:
        return NO_STOP
    if window.likely_s is not None and stop_s <= window.likely_s:
        return IN_TIME_BY_LIKELY
    return IN_TIME_BY_LATEST if window.latest_s is not None and stop_s <= window.latest_s else TOO_LATE


def met(upsets: Sequence[Upset], trace: AnyTrace, replay: Replay, told: Sequence[Span] = ()) -> Upsets:
    """Count what became of the upsets of a trace that rides through; told: stretches that count elsewhere."""
    all_stops = felt(trace, replay)
    stops = apart(told, all_stops)
    upsets = [upset for upset in upsets if not _meets(upset, told)]
    begins = [begin_s for begin_s, _ in upsets]
    hit: set[int] = set()
    outside = 0
    for stop in stops:
        last = bisect.bisect_right(begins, stop.at_s) - 1
        if last >= 0 and stop.at_s <= upsets[last][1] + AFTER_S:
            hit.add(last)
        else:
            outside += 1
    at = [stop.at_s for stop in all_stops]
    stood = 0
    for number, (begin_s, end_s) in enumerate(upsets):
        last = bisect.bisect_left(at, begin_s) - 1  # of the stops before it only the last may go on over it
        stood += number not in hit and last >= 0 and all_stops[last].until_s > end_s
    spans = joined([*((begin_s, end_s + AFTER_S) for begin_s, end_s in upsets), *told])
    hours = max(0.0, replay.run_ms - run_ms_in(spans, trace, all_stops)) / 3.6e6
    return Upsets(len(upsets) - len(hit) - stood, len(hit), stood, outside, round(hours, 6))


def apart(told: Sequence[Span], stops: Sequence[Felt]) -> list[Felt]:
    """Return the stops outside of the stretches that another trace tells already."""
    return [stop for stop in stops if not _meets((stop.at_s, stop.at_s), told)]


def not_told(told: Sequence[Span], windows: Sequence[Found]) -> tuple[Found, ...]:
    """Return the windows that no other trace tells already."""
    return tuple(window for window in windows if not _meets((window.earliest_s, window.deadline_s), told))


def _meets(one: Span, spans: Sequence[Span]) -> bool:
    """Say whether a stretch meets one of those that lie apart, in their order."""
    last = bisect.bisect_right(spans, one[1], key=lambda span: span[0]) - 1  # that begins before it ends
    return last >= 0 and one[0] <= spans[last][1]


def joined(spans: Iterable[Span]) -> list[Span]:
    """Return stretches in their order, those that meet as one."""
    found: list[Span] = []
    for begin, end in sorted(spans):
        if found and begin <= found[-1][1]:
            found[-1] = found[-1][0], max(end, found[-1][1])
        else:
            found.append((begin, end))
    return found


def run_ms_in(spans: Sequence[Span], trace: AnyTrace, stops: Sequence[Felt]) -> float:
    """Return the time the machine ran in stretches that lie apart, in their order."""
    run_s, untils = 0.0, [stop.until_s for stop in stops]
    for since, to, at, ran in _rows_in(spans, trace):
        for stop in stops[bisect.bisect_left(untils, float(at[0])) :]:
            if stop.at_s >= at[-1]:
                break
            begin, end = np.searchsorted(at, (stop.at_s, stop.until_s), side="right")
            ran[begin:end] = False
        run_s += float((to - since)[ran].sum())
    return 1000.0 * run_s


def recorded_in(spans: Sequence[Span], trace: AnyTrace) -> list[Span]:
    """Return when the machine ran in stretches that lie apart, in their order, as it was recorded."""
    parts = ((since[ran].tolist(), to[ran].tolist()) for since, to, _, ran in _rows_in(spans, trace))
    return joined(part for ends in parts for part in zip(*ends, strict=True))


def _rows_in(
    spans: Sequence[Span], trace: AnyTrace
) -> Iterator[tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]]:
    """Yield the times up to the rows of each stretch, from and to in s, cut off at its ends; rows; which were run.

    A stretch that a piece of the trace ends in comes in parts.
    """
    ends = [end for _, end in spans]
    before = np.empty(0)  # the last row of the piece before
    for piece in trace.pieces() if spans else ():
        seconds = np.concatenate((before, piece.start_s + piece.time_ms / 1000.0))
        shift = len(before)
        for begin, end in spans[bisect.bisect_left(ends, float(seconds[0])) :]:
            if begin > seconds[-1]:
                break
            rows = slice(max(int(np.searchsorted(seconds, begin)), 1), int(np.searchsorted(seconds, end)) + 1)
            to, since = seconds[rows], seconds[rows.start - 1 : rows.stop - 1][: len(seconds[rows])]
            if len(to):
                cut = np.maximum(since, begin), np.minimum(to, end)
                yield cut[0], np.maximum(*cut), to, piece.running[rows.start - shift : rows.stop - shift] != 0
        before = seconds[-1:]
