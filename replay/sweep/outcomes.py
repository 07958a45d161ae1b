"""The exact outcome of many candidate settings over one trace: prepare the trace, arrange the candidates, sweep."""

import functools
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from protect import ranges, state
from replay.engine import Replay, compiled, logic_digest, obeying
from replay.engine.portable import stops_of, stuck_beyond
from replay.settings import Settings
from replay.sweep import blocks, fast_ticks, lane, long_ticks, table_facts, walk
from replay.sweep.blocks import Array
from replay.trace import Trace

Word = TypeVar("Word", np.int64, np.uint8)

# Candidates that agree on these see the same blocks as fit to leap over.
SENSORS = (
    ranges.OIL_LEAST,
    ranges.OIL_MOST,
    ranges.SUCTION_LEAST,
    ranges.SUCTION_MOST,
    ranges.MAX_GAP,
    ranges.STUCK_AFTER,
)
# Candidates that differ in nothing else are a group: the trip delay, and what is derived from it.
OF_TRIP_DELAY = (ranges.TRIP_DELAY, ranges.PERCENT_SCALE, ranges.RELOAD_LEVEL)
COMMON = tuple(place for place in range(ranges.SETTINGS_SIZE) if place not in (*SENSORS, *OF_TRIP_DELAY))


@dataclass(frozen=True)
class Prepared:
    """A trace with all that is worked out once for every candidate."""

    columns: blocks.Columns
    summaries: Array
    last_reset: int
    hold_ms: int


@dataclass(frozen=True)
class Batch:
    """Candidates with the same sensor settings, those of a group side by side in rising order of trip delay.

    places int64[n]: where each stands among all; values int64[n, 29]; groups int64[groups + 1]: where each begins.
    """

    places: Array
    values: Array
    groups: Array


ROOM = 64  # stops of a candidate, in the middle of all; where there are more, all is done once more

Candidates = tuple[Batch, ...]  # all of them, in the order in which a sweep takes them


def prepare(trace: Trace) -> Prepared:
    """Sum up a trace for all candidates: one pass over its columns, some 2 bytes a row kept."""
    readings = _plain(trace.oil_pa), _plain(trace.suction_pa), _plain(trace.crankcase_pa)
    columns = blocks.Columns(_plain(trace.time_ms), readings, _plain(trace.running), _plain(trace.reset))
    summaries = np.zeros((-(-len(trace) // blocks.BLOCK), blocks.SUMMARY_SIZE), np.int64)
    shared, seen = trace.crankcase_pa is trace.suction_pa, np.full(blocks.CHANNELS, ranges.NO_READING, np.int64)
    ages, moves = np.zeros((2, blocks.CHANNELS), np.int64)
    compiled.native(blocks.summarise, blocks)(columns, len(trace), shared, summaries, seen, ages, moves)
    last_reset = int(np.flatnonzero(columns.reset)[-1]) if summaries[:, blocks.RESETS].any() else -1
    return Prepared(columns, summaries, last_reset, trace.hold_ms)


def _plain(column: NDArray[Word]) -> NDArray[Word]:
    """Return a column as compiled code wants it, which it mostly is: in one piece and writable."""
    whole = column.flags.c_contiguous and column.flags.writeable
    return column if whole else column.copy()


def arrange(candidates: Sequence[Settings]) -> Candidates:
    """Put candidates into batches and groups."""
    values = np.array([candidate.values for candidate in candidates], np.int64).reshape(-1, ranges.SETTINGS_SIZE)
    # lexsort takes the last key first.
    order = np.lexsort(values[:, [ranges.TRIP_DELAY, *reversed(COMMON), *reversed(SENSORS)]].T)
    values = values[order]
    batches = []
    for begin, end in itertools.pairwise(_edges(values[:, SENSORS])):
        part = values[begin:end]
        batches.append(Batch(order[begin:end], part, np.array(_edges(part[:, COMMON]), np.int64)))
    return tuple(batches)


def _edges(rows: Array) -> list[int]:
    """Return where each stretch of equal rows begins, and the end of the last."""
    changes = np.flatnonzero((rows[1:] != rows[:-1]).any(axis=1)) + 1
    return [0, *changes.tolist(), len(rows)] if len(rows) else [0]


def sweep(prepared: Prepared, candidates: Candidates) -> list[Replay]:
    """Return what each candidate does over a trace: `replay.engine.replay_trace` without the changes of state.

    Stops, run time, late ticks and lockout are those of a replay, bit for bit; `changes` is empty.
    """
    replays: dict[int, Replay] = {}
    for batch in candidates:
        replays.update(zip(batch.places.tolist(), _replays(prepared, batch), strict=True))
    return [replays[place] for place in range(len(replays))]


def _replays(prepared: Prepared, batch: Batch) -> list[Replay]:
    """Return the replays of a batch in its own order; who stayed in the lane to the end has its leader's."""
    times, values = prepared.columns.time, batch.values.copy()
    stuck_after = values[:, ranges.STUCK_AFTER]
    stuck_after[:] = [stuck_beyond(own, prepared.hold_ms) for own in stuck_after.tolist()]
    follow_all = compiled.native(walk.follow_all, blocks, table_facts, lane, long_ticks, fast_ticks, walk)
    groups, size = np.append(batch.groups, -1), ROOM * (1 + len(values))
    while True:
        view = lane.view_of(prepared.columns, prepared.summaries, _tables(), prepared.last_reset)
        memory, carry = (np.zeros((len(values), n), np.int64) for n in (state.STATE_SIZE, obeying.CARRY_SIZE))
        stops: Any = np.zeros((size, 3), np.int64), np.zeros(1, np.int64)
        late = follow_all(view, groups, values, memory, carry, lane.room(), walk.Stops(*stops))
        rows, (count,) = stops
        if count <= size:
            break
        size = int(count)
    found = rows[:count].tolist()
    felt: list[list[tuple[int, int]]] = [[] for _ in carry]
    for who, tick, cause in found:
        felt[who].append((tick, cause))
    ends = carry[:, (obeying.RUN_MS, obeying.LOCKED, obeying.POSITION)].tolist()

    def own(who: int, leader: int) -> Replay:
        run_ms, locked, branched = ends[who]
        told = [*(row for row in felt[leader] if row[0] < branched), *felt[who]]
        stops = stops_of((int(times[tick]), cause) for tick, cause in told)
        return Replay((), tuple(stops), run_ms, late, bool(locked))

    replays = []
    for first, end in itertools.pairwise(batch.groups.tolist()):
        leading = own(end - 1, end - 1)
        replays += [leading if ends[who][-1] == len(times) else own(who, end - 1) for who in range(first, end - 1)]
        replays.append(leading)
    return replays


def account() -> dict[str, str]:
    """Return what stands in a JSON report about the logic that a sweep ran."""
    return {"engine": "sweep", "digest": logic_digest()}


_tables = functools.cache(table_facts.tables)
