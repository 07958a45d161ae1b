"""The exact outcome of many candidate settings over one trace.

    trace = prepare(read_trace(path))          # once for each trace
    candidates = arrange(settings_of_a_grid)   # once for each batch
    replays = sweep(trace, candidates)

What a replay of `replay.engine.portable` gives, stops, run time, late ticks and lockout, comes
out the same in every bit; why leaps are exact is told in `replay.sweep.passage`.
"""

import functools
import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from protect import ranges, state
from replay.engine import Replay, Stop, compiled
from replay.settings import Settings
from replay.sweep import blocks, calm, calm_run, leaps, passage, way
from replay.trace import Trace

Array = NDArray[np.int64]

# Candidates that agree on these see the same blocks as fit to leap over.
SENSORS = (
    ranges.OIL_LEAST,
    ranges.OIL_MOST,
    ranges.SUCTION_LEAST,
    ranges.SUCTION_MOST,
    ranges.MAX_GAP,
    ranges.STUCK_AFTER,
)
# Candidates that differ in nothing else go in company: the trip delay, and what is derived from it.
OF_TRIP_DELAY = (ranges.TRIP_DELAY, ranges.PERCENT_SCALE, ranges.RELOAD_LEVEL)
COMMON = tuple(place for place in range(ranges.SETTINGS_SIZE) if place not in (*SENSORS, *OF_TRIP_DELAY))


@dataclass(frozen=True)
class Prepared:
    """A trace with all that is worked out once for every candidate."""

    trace: Trace
    columns: blocks.Columns
    summaries: Array
    last_reset: int


@dataclass(frozen=True)
class Batch:
    """Candidates with the same sensor settings, those in company side by side in rising order of trip delay.

    places int64[n]: where each stands among all; values int64[n, 25]; groups int64[companies + 1]: where each begins.
    """

    places: Array
    values: Array
    groups: Array


@dataclass(frozen=True)
class Candidates:
    """Candidate settings in the order in which a sweep takes them."""

    count: int
    batches: tuple[Batch, ...]


def prepare(trace: Trace) -> Prepared:
    """Sum up a trace for all candidates: one pass over its columns, some 2 bytes a row kept."""
    columns = blocks.Columns(
        _plain(trace.time_ms),
        _plain(trace.oil_pa),
        _plain(trace.suction_pa),
        _plain(trace.crankcase_pa),
        _plain(trace.running),
        _plain(trace.reset),
    )
    summaries = np.zeros((-(-len(trace) // blocks.BLOCK), blocks.SUMMARY_SIZE), np.int64)
    _summarise()(columns, trace.crankcase_pa is trace.suction_pa, summaries)
    last_reset = int(np.flatnonzero(columns.reset)[-1]) if summaries[:, blocks.RESETS].any() else -1
    return Prepared(trace, columns, summaries, last_reset)


def _plain(column: NDArray[Any]) -> NDArray[Any]:
    """Return a column as compiled code wants it, which it mostly is: in one piece and writable."""
    whole = column.flags.c_contiguous and column.flags.writeable
    return column if whole else column.copy()


def arrange(candidates: Sequence[Settings]) -> Candidates:
    """Put candidates into batches and companies."""
    values = np.array([candidate.values for candidate in candidates], np.int64).reshape(-1, ranges.SETTINGS_SIZE)
    # lexsort takes the last key first.
    order = np.lexsort(values[:, [ranges.TRIP_DELAY, *reversed(COMMON), *reversed(SENSORS)]].T)
    values = values[order]
    batches = []
    for begin, end in _stretches(values[:, SENSORS]):
        part = values[begin:end]
        groups = [0, *(stop for _, stop in _stretches(part[:, COMMON]))]
        batches.append(Batch(order[begin:end], part, np.array(groups, np.int64)))
    return Candidates(len(candidates), tuple(batches))


def _stretches(rows: Array) -> list[tuple[int, int]]:
    """Return (begin, end) of each stretch of equal rows."""
    if not len(rows):
        return []
    changes = np.flatnonzero((rows[1:] != rows[:-1]).any(axis=1)) + 1
    return list(itertools.pairwise([0, *changes.tolist(), len(rows)]))


def sweep(trace: Trace | Prepared, candidates: Sequence[Settings] | Candidates) -> list[Replay]:
    """Return what each candidate does over a trace: `replay.engine.portable.replay_trace` without the changes of state.

    Stops, run time, late ticks and lockout are those of a replay, bit for bit; `changes` is empty. A caller with
    more than one batch of candidates prepares the trace once, one with more than one trace arranges them once.
    """
    prepared = trace if isinstance(trace, Prepared) else prepare(trace)
    arranged = candidates if isinstance(candidates, Candidates) else arrange(candidates)
    replays: list[Any] = [None] * arranged.count
    for batch in arranged.batches:
        for place, replay in zip(batch.places.tolist(), _pass(prepared, batch), strict=True):
            replays[place] = replay
    return replays


def _pass(prepared: Prepared, batch: Batch) -> list[Replay]:
    """Return the replays of a batch in its own order."""
    carry = np.zeros((len(batch.values), way.CARRY_SIZE), np.int64)
    log, late = _pass_all()(
        prepared.columns,
        prepared.summaries,
        batch.groups,
        batch.values,
        carry,
        _tables(),
        prepared.last_reset,
    )
    return _replays(prepared.trace, batch.groups, carry, log, late)


def _replays(trace: Trace, groups: Array, carry: Array, log: Array, late: int) -> list[Replay]:
    """Put outcomes together; who stayed with the leader to the end has its replay."""
    stops: list[list[tuple[int, Stop]]] = [[] for _ in carry]
    for who, tick, cause in log.tolist():
        stops[who].append((tick, Stop(int(trace.time_ms[tick]), cause)))
    rows = carry[:, (way.RUN_MS, way.LOCKED, way.LEFT)].tolist()
    replays = []
    for first, end in zip(groups[:-1].tolist(), groups[1:].tolist(), strict=True):
        shared = stops[end - 1]
        run_ms, locked, _ = rows[end - 1]
        leading = Replay((), tuple(stop for _, stop in shared), run_ms, late, bool(locked))
        for who in range(first, end - 1):
            run_ms, locked, left = rows[who]
            if left == len(trace):
                replays.append(leading)
            else:
                before = [stop for tick, stop in shared if tick < left]
                own = (*before, *(stop for _, stop in stops[who]))
                replays.append(Replay((), own, run_ms, late, bool(locked)))
        replays.append(leading)
    return replays


@functools.cache
def _tables() -> calm.Tables:
    return calm.tables()


@functools.cache
def _summarise() -> Callable[..., Any]:
    return compiled.compiled(blocks.summarise, blocks)


@functools.cache
def _pass_all() -> Callable[..., Any]:
    return compiled.compiled(passage.pass_all, blocks, way, leaps, calm_run, passage, state)
