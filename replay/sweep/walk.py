"""Lanes on their way through a trace: long ticks, fast ticks and steps, and candidates that branch off."""

from typing import NamedTuple

from protect import conditions, outputs, ranges, state
from replay.engine.obeying import CARRY_SIZE, FELT, NOTHING, PERMITTED, POSITION, RUN_MS, felt
from replay.sweep import blocks
from replay.sweep.blocks import Rows, Words
from replay.sweep.fast_ticks import take_fast_ticks
from replay.sweep.lane import Lane, Room, View, begin, copy
from replay.sweep.long_ticks import long_tick_end, take

WORTH = 4  # ticks a leap has to take to be tried again at once
BURST = 16  # ticks that are stepped after one that did not
WHO, TICK, WHAT = range(3)  # of a stop


def has_to_branch_off(lane: Lane, values: Words) -> bool:
    """Say whether what was just taken might have gone otherwise with these values, whose trip delay is less."""
    full = lane.memory[state.INTEGRAL] >= values[ranges.TRIP_DELAY]
    bits = lane.results[outputs.CONDITIONS]
    return full or conditions.reload_guard(lane.memory, values, lane.inputs[ranges.SUCTION_PRESSURE], bits)


def branch_off(lane: Lane, memory: Words, carry: Words, tick: int) -> None:
    """Leave a candidate at a tick with the state before it, and put the lane back there too."""
    copy(lane.memory, lane.before, state.STATE_SIZE)
    copy(memory, lane.before, state.STATE_SIZE)
    copy(carry, lane.carry, CARRY_SIZE)
    carry[POSITION] = tick  # its stops before are those of the leader


def is_over(view: View, lane: Lane, tick: int) -> bool:
    """Say that nothing can follow: locked out, the stop felt, and no reset to come."""
    locked = lane.memory[state.STATE] == state.LOCKED_OUT and view.tables.final != 0
    return locked and lane.carry[FELT] != 0 and tick > view.last_reset


class Stops(NamedTuple):
    """Stops as they are found: rows int64[room, 3] of who, tick, and cause or MAY_RUN; found int64[1], how many."""

    rows: Rows
    found: Words


def note(stops: Stops, who: int, tick: int, what: int) -> None:
    """Write down a stop; one for which there is no room any more is counted only."""
    if stops.found[0] < len(stops.rows):
        row = stops.rows[stops.found[0]]
        row[WHO] = who
        row[TICK] = tick
        row[WHAT] = what
    stops.found[0] += 1


def follow(
    view: View, values: Rows, memory: Rows, carry: Rows, room: Room, first: int, leader: int, stops: Stops
) -> None:
    """Take candidates `first` to `leader` through the trace in one lane, from where the leader stands; add its stops.

    Who branches off is left at that tick, with all that it needs to go on alone.
    """
    lane = Lane(
        memory[leader], values[leader], carry[leader], room.patient, room.held, room.before, room.inputs, room.results
    )
    begin(lane)
    tick, retry = lane.carry[POSITION], 0
    while tick < view.ticks and not is_over(view, lane, tick):
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
        ran_ms = take(view, lane, tick, to, first < leader)
        if first < leader and has_to_branch_off(lane, values[first]):
            branch_off(lane, memory[first], carry[first], tick)
            first += 1
            continue
        lane.carry[RUN_MS] += ran_ms
        tick = to
        what = felt(lane.memory, lane.results, view.columns.running[tick - 1], lane.carry)
        if what != NOTHING:
            note(stops, leader, tick - 1, what)
    for who in range(first, leader):
        carry[who][POSITION] = view.ticks


def follow_all(view: View, groups: Words, values: Rows, memory: Rows, carry: Rows, room: Room, stops: Stops) -> int:
    """Take all candidates of a batch through a trace, each from power-up; return the count of late ticks.

    groups int64[groups + 2]: where each group begins among the candidates, which stand in rising order of trip delay in
    it, their number, and -1; values int64[candidates, 29], memory int64[candidates, 16] and carry int64[candidates,
    CARRY_SIZE], both 0 to begin with.
    """
    blocks.classify(view.summaries, values[0], view.kinds, view.low, view.low_spans)
    group = 0
    while groups[group + 1] >= 0:
        first = groups[group]
        leader = groups[group + 1] - 1
        state.power_up(memory[leader], values[leader])
        carry[leader][PERMITTED] = 1
        for who in range(leader, first - 1, -1):  # the group, then each who branched off
            follow(view, values, memory, carry, room, first if who == leader else who, who, stops)
        group += 1
    return blocks.count_late(view.columns, view.ticks, view.summaries, values[0][ranges.MAX_GAP])
