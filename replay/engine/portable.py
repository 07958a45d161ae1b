"""The interpreted engine: the logic of `protect` as it stands, over a machine that obeys.

`Machine` is what every engine hands a trace to: the same loop around another kernel.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from protect import outputs, ranges, state
from replay.engine import obeying
from replay.engine.obeying import CARRY_SIZE, CHANGE_SIZE, FIRST_INPUT, STOP_SIZE, TRAIL_SIZE, obey
from replay.settings import Settings
from replay.trace import AnyTrace, Trace

STATES = ("stopped", "priming", "lubricated", "starved", "tripped", "locked_out")
BLOCK = 65536  # rows that are taken at a time
ROOM = 128  # changes and stops of one call of the kernel, which returns early when either is full

Array = NDArray[np.int64]


@dataclass(frozen=True)
class Change:
    """A change of state at one tick. Pressures in Pa; net is None when not credible; cause as in `causes`."""

    time_ms: int
    before: int
    after: int
    cause: int
    net_pa: int | None
    suction_pa: int | None
    integral_percent: int


@dataclass(frozen=True)
class Stop:
    """A withdrawal of run permission that the machine feels: it would run and may not. Its cause is a code of `causes`.

    Counted once for each withdrawal, at the first tick at which the trace runs. until_ms: the tick at which it may
    run again; None where that does not come in the trace.
    """

    time_ms: int
    cause: int
    until_ms: int | None = None


def stops_of(rows: Iterable[tuple[int, int]], before: Iterable[Stop] = ()) -> list[Stop]:
    """Return the stops before, and those that rows (time in ms, cause or MAY_RUN) tell of after them."""
    stops = list(before)
    for time_ms, cause in rows:
        if cause != obeying.MAY_RUN:
            stops.append(Stop(time_ms, cause))
        elif stops:  # else the stop itself was told of and put away before
            stops[-1] = replace(stops[-1], until_ms=time_ms)
    return stops


@dataclass(frozen=True)
class Replay:
    """What the logic did over one trace.

    run_ms: time the machine ran under it; late: ticks more than max_gap after the one before.
    """

    changes: tuple[Change, ...]
    stops: tuple[Stop, ...]
    run_ms: int
    late: int
    locked_out: bool


def stuck_beyond(stuck_after: int, hold_ms: int) -> int:
    """Return after how long (ms) a reading is stuck that may stand still for hold_ms."""
    return max(stuck_after, min(hold_ms, ranges.SETTINGS[ranges.STUCK_AFTER][3]))


class Machine:
    """One machine that obeys, from power-up at rest: it takes ticks on and on, as many at a time as one likes."""

    def __init__(
        self, settings: Settings, kernel: Callable[..., None] = obey, words: Callable[[Array], Any] = np.ndarray.tolist
    ) -> None:
        """Power up. words(array) makes of an array what the kernel works on, lists of integers or an array."""
        self._kernel, self.words = kernel, words
        self._stuck_after = settings.values[ranges.STUCK_AFTER]
        self.values = words(np.array(settings.values, np.int64))
        sizes = (state.STATE_SIZE, ranges.INPUTS_SIZE, outputs.OUTPUTS_SIZE, CARRY_SIZE)
        self.memory, self.inputs, self.results, self.carry = (words(np.zeros(size, np.int64)) for size in sizes)
        tables = ((ROOM, CHANGE_SIZE), (ROOM, STOP_SIZE), (0, TRAIL_SIZE))
        self._changes, self._stops, self._no_trail = (words(np.zeros(shape, np.int64)) for shape in tables)
        state.power_up(self.memory, self.values)
        self.carry[obeying.PERMITTED] = 1
        self.changes: list[Change] = []
        self.stops: list[Stop] = []

    @property
    def permitted(self) -> bool:
        """Say whether the machine may run."""
        return bool(self.carry[obeying.PERMITTED])

    @property
    def run_ms(self) -> int:
        """Return for how long the machine ran."""
        return int(self.carry[obeying.RUN_MS])

    @property
    def locked_out(self) -> bool:
        """Say whether it was locked out at some time."""
        return bool(self.carry[obeying.LOCKED])

    def take(self, columns: Array, trail: Any = None) -> None:
        """Take the next ticks, columns int64[7, n]; a trail[n][25] is filled with state and outputs of each."""
        given = self.words(columns)
        noted = self._no_trail if trail is None else trail
        self.carry[obeying.POSITION] = 0
        while self.carry[obeying.POSITION] < columns.shape[1]:
            arrays = (self.values, self.memory, self.inputs, self.results, self._changes, self._stops, self.carry)
            self._kernel(given, *arrays, noted)
            self.changes += [_change(*map(int, row)) for row in self._changes[: self.carry[obeying.CHANGES]]]
            rows = [(int(time_ms), int(cause)) for time_ms, cause in self._stops[: self.carry[obeying.STOPS]]]
            self.stops[-1:] = stops_of(rows, self.stops[-1:])

    def believe(self, hold_ms: int) -> None:
        """Take readings that stand still for so long as held, not stuck: of a logger that writes on change.

        The settings are for a machine that reads its sensors itself. What stands still longer than either is stuck.
        """
        stuck_after = stuck_beyond(self._stuck_after, hold_ms)
        self.values[ranges.STUCK_AFTER] = stuck_after
        for seen in (state.OIL_SEEN, state.SUCTION_SEEN, state.CRANKCASE_SEEN):
            self.memory[seen + 1] = min(self.memory[seen + 1], stuck_after)

    def tick(self, *words: int) -> None:
        """Take one tick: its time and its inputs in their order."""
        self.take(np.array(words, np.int64)[:, None])

    def replay(self, trace: AnyTrace) -> Replay:
        """Take a whole trace and return what the logic did; times are ms since its first row."""
        late = 0
        self.believe(trace.hold_ms)
        for columns in blocks_of(trace):
            self.take(columns)
            late += int(np.count_nonzero(columns[FIRST_INPUT + ranges.ELAPSED] > self.values[ranges.MAX_GAP]))
        return Replay(tuple(self.changes), tuple(self.stops), self.run_ms, late, self.locked_out)

    def follow(self, trace: Trace) -> "Trail":
        """Take a whole trace and return state and integral of every row."""
        states, integral = [], []
        self.believe(trace.hold_ms)
        for columns in blocks_of(trace):
            rows = self.words(np.zeros((columns.shape[1], TRAIL_SIZE), np.int64))
            self.take(columns, rows)
            noted = np.asarray(rows)
            states.append(noted[:, state.STATE].copy())
            integral.append(100.0 * noted[:, state.INTEGRAL] / self.values[ranges.TRIP_DELAY])
        return Trail(np.concatenate(states), np.concatenate(integral), tuple(self.stops))


@dataclass(frozen=True)
class Trail:
    """What the logic did at every row: states int64[n], integral float64[n] in percent of trip delay; the stops."""

    states: Array
    integral_percent: NDArray[np.float64]
    stops: tuple[Stop, ...]


def _change(time_ms: int, before: int, after: int, cause: int, net: int, suction: int, percent: int) -> Change:
    net_pa = None if net == ranges.NO_READING else net
    suction_pa = None if suction == ranges.NO_READING else suction
    return Change(time_ms, before, after, cause, net_pa, suction_pa, percent)


def elapsed_ms(piece: Trace, before_ms: int | None = None) -> Array:
    """Return ms since the previous row, int64[n], the first since before_ms or 0, cut to the admitted range."""
    times = piece.time_ms
    elapsed = np.empty(len(times), np.int64)
    elapsed[:1] = 0 if before_ms is None else times[:1] - before_ms
    np.subtract(times[1:], times[:-1], out=elapsed[1:])
    return np.minimum(elapsed, ranges.INPUTS[ranges.ELAPSED][3], out=elapsed)


def pieces_of(trace: AnyTrace) -> Iterator[tuple[Trace, Array]]:
    """Yield the pieces of a trace, each with the ms since the row before, int64[n], the very first 0."""
    before_ms: int | None = None
    for piece in trace.pieces():
        yield piece, elapsed_ms(piece, before_ms)
        before_ms = int(piece.time_ms[-1])


def blocks_of(trace: AnyTrace, rows: int | None = None) -> Iterator[Array]:
    """Yield time and inputs of a trace as int64[7, n], so many rows at a time that memory stays bounded."""
    size = rows or BLOCK
    for piece, elapsed in pieces_of(trace):
        pressures = (piece.oil_pa, piece.suction_pa, piece.crankcase_pa)
        columns: tuple[NDArray[Any], ...] = (piece.time_ms, elapsed, piece.running, piece.reset, *pressures)
        for begin in range(0, len(piece), size):
            block = np.empty((len(columns), min(size, len(piece) - begin)), np.int64)
            for row, column in zip(block, columns, strict=True):
                row[:] = column[begin : begin + size]
            yield block


def columns_of(trace: Trace) -> Array:
    """Return time and inputs of a whole trace as int64[7, n]."""
    return next(blocks_of(trace, len(trace)))


def replay_trace(trace: AnyTrace, settings: Settings) -> Replay:
    """Run the interpreted logic over a trace, from power-up of a machine at rest."""
    return Machine(settings).replay(trace)
