"""Lanes on their way through a trace: long ticks, fast ticks and steps, and candidates that branch off."""

import numpy as np

from protect import conditions, outputs, ranges, state
from replay.engine.obeying import CARRY_SIZE, FELT, NOTHING, PERMITTED, POSITION, RUN_MS, felt
from replay.sweep import blocks
from replay.sweep.blocks import Array, Columns
from replay.sweep.fast_ticks import take_fast_ticks
from replay.sweep.lane import Lane, View, Words, copy, lane_of
from replay.sweep.long_ticks import long_tick_end, take
from replay.sweep.table_facts import Tables

Stops = list[tuple[int, int, int]]  # who, tick, cause of a stop or MAY_RUN after one

WORTH = 4  # ticks a leap has to take to be tried again at once
BURST = 8  # ticks that are stepped after one that did not


def has_to_branch_off(lane: Lane, values: Words) -> bool:
    """Say whether what was just taken might have gone otherwise with these values, whose trip delay is less."""
    full = lane.memory[state.INTEGRAL] >= values[ranges.TRIP_DELAY]
    bits = lane.results[outputs.CONDITIONS]
    return full or conditions.reload_guard(lane.memory, values, lane.inputs[ranges.SUCTION_PRESSURE], bits)


def branch_off(lane: Lane, memory: Words, carry: Words, tick: int) -> None:
    """Leave a candidate at a tick with the state before it, and put the lane back there too."""
    copy(lane.memory, lane.before)
    copy(memory, lane.before)
    copy(carry, lane.carry)
    carry[POSITION] = tick  # its stops before are those of the leader


def is_over(view: View, lane: Lane, tick: int) -> bool:
    """Say that nothing can follow: locked out, the stop felt, and no reset to come."""
    locked = lane.memory[state.STATE] == state.LOCKED_OUT and view.tables.final != 0
    return locked and lane.carry[FELT] != 0 and tick > view.last_reset


def follow(view: View, values: Array, memory: Array, carry: Array, first: int, leader: int, stops: Stops) -> None:
    """Take candidates `first` to `leader` through the trace in one lane, from where the leader stands; add its stops.

    Who branches off is left at that tick, with all that it needs to go on alone.
    """
    lane = lane_of(memory[leader], values[leader], carry[leader])
    tick, ticks, retry = carry[leader, POSITION], len(view.columns.time), 0
    while tick < ticks and not is_over(view, lane, tick):
        to = tick + 1
        if tick >= retry:
            to = long_tick_end(view, lane, tick)
            fast = take_fast_ticks(view, lane, tick, values[first]) if to == tick else tick
            if max(to, fast) - tick < WORTH:
                retry = max(to, fast) + BURST
            if fast > tick:
                tick = fast
                continue
            to = max(to, tick + 1)
        ran_ms = take(view, lane, tick, to)
        if first < leader and has_to_branch_off(lane, values[first]):
            branch_off(lane, memory[first], carry[first], tick)
            first += 1
            continue
        lane.carry[RUN_MS] += ran_ms
        tick = to
        what = felt(lane.memory, lane.results, view.columns.running[tick - 1], lane.carry)
        if what != NOTHING:
            stops.append((leader, tick - 1, what))
    carry[first:leader, POSITION] = ticks


def follow_all(
    columns: Columns, summaries: Array, groups: Array, values: Array, tables: Tables, last_reset: int
) -> tuple[Stops, Array, int]:
    """Take all candidates of a batch through a trace; return their stops, carry and the count of late ticks.

    groups int64[groups + 1]: where each group begins among the candidates, which stand in
    rising order of trip delay in it; values int64[candidates, 29]; carry int64[candidates, CARRY_SIZE].
    """
    count = summaries.shape[0]
    kinds, low = np.zeros(count, np.uint8), np.zeros(count, np.int64)
    low_spans = np.zeros((count + blocks.SPAN - 1) // blocks.SPAN, np.int64)
    blocks.classify(summaries, values[0], kinds, low, low_spans)
    view = View(columns, summaries, kinds, low, low_spans, tables, last_reset)
    memory = np.zeros((len(values), state.STATE_SIZE), np.int64)
    carry = np.zeros((len(values), CARRY_SIZE), np.int64)
    stops = [(0, 0, 0) for _ in range(0)]  # tells the compiler what it will hold
    for group in range(len(groups) - 1):
        first, leader = groups[group], groups[group + 1] - 1
        state.power_up(memory[leader], values[leader])
        carry[leader, PERMITTED] = 1
        for who in range(leader, first - 1, -1):  # the group, then each who branched off
            follow(view, values, memory, carry, first if who == leader else who, who, stops)
    return stops, carry, blocks.count_late(columns, summaries, values[0, ranges.MAX_GAP])
