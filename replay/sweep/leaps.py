"""Leaps: how far a candidate may go in one long tick, and the taking of a tick, long or single.

Why a long tick is exact is told in `replay.sweep.passage`.
"""

from typing import Any

from protect import ranges, state
from replay.sweep import blocks
from replay.sweep.calm import BETWEEN, HEALTHY
from replay.sweep.way import CHANNEL_SIZE, FAR, FELT, PERMITTED, SPELL, is_sound, put_ages, read_tick, step


def rest(way: Any, machine: Any, tick: int) -> int:
    """Return the tick behind the blocks in which a lubricated machine stays what it is."""
    memory, low = machine.memory, way.low
    level = machine.values[ranges.CUT_IN]
    if memory[state.INTEGRAL] == 0 and memory[state.INTEGRAL_FRACTION] == 0:
        level = machine.values[ranges.CUT_OUT]
    block = tick // blocks.BLOCK
    if low[block] < level:
        return tick
    while block < len(low) and low[block] >= level:
        if block % blocks.BRANCH == 0 and way.low_boughs[block // blocks.BRANCH] >= level:
            block += blocks.BRANCH
        else:
            block += 1
    return min(block * blocks.BLOCK, len(way.columns.time))


def standing_end(way: Any, machine: Any, tick: int) -> int:
    """Return the first tick from which on the machine may start, a stop is felt, or a restart or a reset may come."""
    held = machine.carry[PERMITTED] == 0 and machine.carry[FELT] != 0
    locked = machine.memory[state.STATE] == state.LOCKED_OUT
    wanted = blocks.INTACT | (0 if held else blocks.STANDS) | (blocks.NO_RESET if locked else 0)
    due = 2 * FAR
    if machine.memory[state.STATE] == state.TRIPPED:
        due = way.columns.time[tick - 1] + machine.memory[state.RESTART_LEFT]
    to, end = tick, tick
    while to == end and to < len(way.columns.time):
        block = to // blocks.BLOCK
        end = min(block * blocks.BLOCK + blocks.BLOCK, len(way.columns.time))
        if way.kinds[block] & wanted == wanted and way.columns.time[end - 1] < due:
            to = end
            continue
        intact = way.kinds[block] & blocks.INTACT
        while (
            to < end
            and (held or way.columns.running[to] == 0)
            and not (locked and way.columns.reset[to])
            and way.columns.time[to] < due
            and (intact or is_sound(way.columns, to, machine.values, machine.inputs))
        ):
            to += 1
    return to


def stand(way: Any, machine: Any, tick: int) -> int:
    """Return the tick behind those at which the machine stands and nothing comes of it."""
    memory = machine.memory
    place = memory[state.STATE]
    if way.tables.standing[place] == 0 or (place == state.STOPPED and memory[state.FLAGS] & state.FAULT_DECLARED):
        return tick
    for channel in range(3):
        if memory[state.OIL_SEEN + CHANNEL_SIZE * channel + 1] >= machine.values[ranges.STUCK_AFTER]:
            return tick
    return standing_end(way, machine, tick)


def reach(way: Any, machine: Any, tick: int) -> int:
    """Return the tick up to which all may be taken as one long tick, which is `tick` where nothing may."""
    memory = machine.memory
    place, flags = memory[state.STATE], memory[state.FLAGS]
    if flags & state.FRESH:
        return tick
    if place == state.STOPPED or place >= state.TRIPPED:
        return stand(way, machine, tick)
    full = memory[state.INTEGRAL] >= machine.values[ranges.TRIP_DELAY]
    if full or flags & (SPELL | state.FAULT_DECLARED):
        return tick
    if way.tables.running[place, BETWEEN] and way.tables.running[place, HEALTHY]:
        return rest(way, machine, tick)
    return tick


def take(way: Any, machine: Any, tick: int, to: int) -> int:
    """Take the ticks from `tick` to before `to` as one, with the readings of the last; return the ms it ran.

    A tick of its own is taken as it is; of more, it is known that none is late and nothing is stuck.
    """
    memory, inputs = machine.memory, machine.inputs
    read_tick(way.columns, to - 1, inputs)
    inputs[ranges.RUN_FEEDBACK] &= machine.carry[PERMITTED]
    left, most, limits = inputs[ranges.ELAPSED], FAR, machine.values
    oil, suction, crankcase = (
        memory[state.OIL_SEEN + 1],
        memory[state.SUCTION_SEEN + 1],
        memory[state.CRANKCASE_SEEN + 1],
    )
    if to > tick + 1:
        left, most, limits = way.columns.time[to - 1] - way.columns.time[tick - 1], ranges.ELAPSED_MOST, machine.patient
    ran_ms = left if inputs[ranges.RUN_FEEDBACK] and left <= limits[ranges.MAX_GAP] else 0
    while True:
        inputs[ranges.ELAPSED] = min(left, most)
        step(memory, limits, inputs, machine.results, way.tables.resting)
        left -= most
        if left <= 0:
            break
    if to > tick + 1:
        memory[state.OIL_SEEN + 1], memory[state.SUCTION_SEEN + 1], memory[state.CRANKCASE_SEEN + 1] = (
            oil,
            suction,
            crankcase,
        )
        put_ages(way.columns, way.summaries, memory, tick, to, inputs[ranges.RUN_FEEDBACK])
    return ran_ms
