"""One candidate through a trace in pieces: its state and its integral on the way, at the pace of long ticks.

Only long ticks and steps are taken, as the head of `replay.sweep` has them. Within a long tick the state stays what it
is and the integral moves one way: its extremes stand at the ends, and every row at which the state changes is a step
of its own. No fast ticks: the integral may turn within them.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from protect import ranges, state
from replay.engine import Stop, compiled, obeying
from replay.engine.portable import stops_of, stuck_beyond
from replay.settings import Settings
from replay.sweep import blocks, lane, long_ticks, table_facts
from replay.sweep.blocks import Array, Columns, Rows, Words
from replay.sweep.lane import Lane, Room, View
from replay.sweep.long_ticks import long_tick_end, take
from replay.sweep.walk import BURST, WORTH
from replay.trace import Trace

NEVER = 2**62  # a tick beyond every trace: resets may come until then
ROW, STATE, INTEGRAL, FELT = range(4)  # of what is noted
NOTED = 4


class Noted(NamedTuple):
    """What was noted in a piece: rows int64[m], ascending, the last among them; state and integral (percent) there."""

    rows: Array
    states: Array
    integral_percent: NDArray[np.float64]


class Course:
    """One machine that obeys, from power-up at rest; `stops` are those so far, in ms since the first row of all."""

    def __init__(self, settings: Settings) -> None:
        self.stuck_after = settings.values[ranges.STUCK_AFTER]
        self.values: Any = np.array(settings.values, np.int64)
        self.memory: Any = np.zeros(state.STATE_SIZE, np.int64)
        self.carry: Any = np.zeros(obeying.CARRY_SIZE, np.int64)
        state.power_up(self.memory, self.values)  # type: ignore[arg-type]
        self.carry[obeying.PERMITTED] = 1
        self.seen = np.full(blocks.CHANNELS, ranges.NO_READING, np.int64)
        self.ages = np.zeros(blocks.CHANNELS, np.int64)
        self.before: list[Any] | None = None  # the row before
        self.tables = table_facts.tables()
        self.stops: list[Stop] = []

    def take(self, piece: Trace, marks: Array) -> Noted:
        """Take the next rows; each of marks (int64, ascending), rows among them, is a step of its own."""
        self.values[ranges.STUCK_AFTER] = stuck_beyond(self.stuck_after, piece.hold_ms)
        shared = piece.crankcase_pa is piece.suction_pa
        pressures = [piece.oil_pa, piece.suction_pa, piece.crankcase_pa]
        own: list[Any] = [piece.time_ms, *(pressures[:2] if shared else pressures), piece.running, piece.reset]
        begin = 0 if self.before is None else 1
        before = self.before or [column[:0] for column in own]
        given = [np.concatenate(pair) for pair in zip(before, own, strict=True)]
        self.before = [column[-1:] for column in own]
        time, oil, suction, *crankcase, running, reset = given
        columns = Columns(time, (oil, suction, *(crankcase or (suction,))), running, reset)
        summaries = np.zeros((-(-len(time) // blocks.BLOCK), blocks.SUMMARY_SIZE), np.int64)
        moves = np.zeros(blocks.CHANNELS, np.int64)
        compiled.native(blocks.summarise, blocks)(columns, len(time), shared, summaries, self.seen, self.ages, moves)
        edges = np.append(np.union1d(marks, marks + 1) + begin, NEVER)
        noted = np.zeros((len(piece), NOTED), np.int64)
        view = lane.view_of(columns, summaries, self.tables, NEVER)
        beside = (blocks, table_facts, lane, long_ticks)
        go = compiled.native(go_on, *beside)
        count = go(view, self.values, self.memory, self.carry, lane.room(), begin, edges, noted)
        noted = noted[:count]
        felt = noted[noted[:, FELT] != obeying.NOTHING]
        rows = zip(time[felt[:, ROW]].tolist(), felt[:, FELT].tolist(), strict=True)
        self.stops[-1:] = stops_of(rows, self.stops[-1:])
        percent = 100.0 * noted[:, INTEGRAL] / self.values[ranges.TRIP_DELAY]
        return Noted(noted[:, ROW] - begin, noted[:, STATE], percent)


def go_on(
    view: View, values: Words, memory: Words, carry: Words, room: Room, tick: int, edges: Words, noted: Rows
) -> int:
    """Go on from a tick to the end of the columns; fill noted int64[ticks, 4] and return how many are.

    edges: ticks, ascending and with NEVER at their end, that no long tick reaches over.
    """
    blocks.classify(view.summaries, values, view.kinds, view.low, view.low_spans)
    taking = Lane(memory, values, carry, room.patient, room.held, room.before, room.inputs, room.results)
    lane.begin(taking)
    retry, edge, count = 0, 0, 0
    while tick < view.ticks:
        to = tick + 1
        if tick >= retry:
            to = max(to, long_tick_end(view, taking, tick))
            if to - tick < WORTH:
                retry = to + BURST
        while edges[edge] <= tick:
            edge += 1
        to = min(to, edges[edge])
        take(view, taking, tick, to, 0)
        tick = to
        row = noted[count]
        row[ROW] = tick - 1
        row[STATE] = memory[state.STATE]
        row[INTEGRAL] = memory[state.INTEGRAL]
        row[FELT] = obeying.felt(memory, taking.results, view.columns.running[tick - 1], carry)
        count += 1
    return count
