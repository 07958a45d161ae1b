"""Long ticks: how far a candidate may go in one, and the taking of a tick, long or single.

Why a long tick is exact is told at the head of `replay.sweep`.
"""

from protect import ranges, signals, state
from protect.protection import step
from replay.engine.obeying import FELT, PERMITTED
from replay.sweep import blocks
from replay.sweep.lane import CHANNEL_SIZE, FAR, Lane, View, copy, is_sound, put_ages, read_tick


def long_tick_end(view: View, lane: Lane, tick: int) -> int:
    """Return the tick up to which all may be taken as one long tick, which is `tick` where nothing may."""
    memory = lane.memory
    place, flags = memory[state.STATE], memory[state.FLAGS]
    if flags & state.FRESH or view.tables.stays[place] == 0:
        return tick
    if place == state.STOPPED or place >= state.TRIPPED:
        return standing_end(view, lane, tick)
    full = memory[state.INTEGRAL] >= lane.values[ranges.TRIP_DELAY]
    if full or flags & (state.IN_SPELL | state.VACUUM_SEEN | state.FAULT_DECLARED):
        return tick
    return healthy_end(view, lane, tick)


def healthy_end(view: View, lane: Lane, tick: int) -> int:
    """Return the tick behind the blocks in which a lubricated machine stays what it is."""
    low = view.low
    level = lane.values[ranges.CUT_IN]
    if lane.memory[state.INTEGRAL] == 0 and lane.memory[state.INTEGRAL_FRACTION] == 0:
        level = lane.values[ranges.CUT_OUT]
    block = tick >> blocks.BLOCK_BITS
    if low[block] < level:
        return tick
    while block < len(view.summaries) and low[block] >= level:
        whole_span = block & (blocks.SPAN - 1) == 0 and view.low_spans[block >> blocks.SPAN_BITS] >= level
        block += blocks.SPAN if whole_span else 1
    return min(block * blocks.BLOCK, view.ticks)


def standing_end(view: View, lane: Lane, tick: int) -> int:
    """Return the tick behind those at which the machine stands and nothing comes of it.

    That is the first at which it may start, a stop is felt, or a restart or a reset may come.
    """
    memory, times = lane.memory, view.columns.time
    if memory[state.STATE] == state.STOPPED and memory[state.FLAGS] & state.FAULT_DECLARED:
        return tick
    for channel in blocks.EACH:
        if memory[state.OIL_SEEN + CHANNEL_SIZE * channel + 1] >= lane.values[ranges.STUCK_AFTER]:
            return tick
    held = lane.carry[PERMITTED] == 0 and lane.carry[FELT] != 0
    locked = memory[state.STATE] == state.LOCKED_OUT
    wanted = blocks.INTACT | (0 if held else blocks.STANDS) | (blocks.NO_RESET if locked else 0)
    most = lane.values[ranges.REST_MOST]
    due = 2 * FAR
    if memory[state.STATE] == state.TRIPPED:
        due = times[tick - 1] + memory[state.RESTART_LEFT]
    to = tick
    while to < view.ticks:
        block = to >> blocks.BLOCK_BITS
        end = min(block * blocks.BLOCK + blocks.BLOCK, view.ticks)
        kind = view.kinds[block]
        summary = view.summaries[block]
        zero = -most <= summary[blocks.NET_LEAST] and summary[blocks.NET_MOST] <= most
        if kind & wanted == wanted and times[end - 1] < due and (zero or (held and kind & blocks.RUNS)):
            to = end
        elif (
            ((held and view.columns.running[to]) or (view.columns.running[to] == 0 and is_zero(view, to, most)))
            and not (locked and view.columns.reset[to])
            and times[to] < due
            and (view.kinds[block] & blocks.INTACT or is_sound(view.columns, to, lane))
        ):
            to += 1
        else:
            break
    return to


def is_zero(view: View, tick: int, most: int) -> bool:
    """Say whether net oil pressure reads nothing at a tick."""
    net = view.columns.readings[blocks.OIL][tick] - view.columns.readings[blocks.CRANKCASE][tick]
    return signals.within(net, -most, most)


def take(view: View, lane: Lane, tick: int, to: int, in_company: int) -> int:
    """Take the ticks from `tick` to before `to` as one, with the readings of the last; return the ms it ran.

    in_company: the state before is kept too, to which a lane of several may have to go back.

    A tick of its own is taken as it is; of more, it is known that none is late and nothing is stuck.
    """
    memory, inputs = lane.memory, lane.inputs
    if in_company or to > tick + 1:
        copy(lane.before, memory, state.STATE_SIZE)
    read_tick(view.columns, to - 1, inputs)
    held = inputs[ranges.RUN_FEEDBACK] and not lane.carry[PERMITTED]
    if held:
        inputs[ranges.RUN_FEEDBACK] = 0
    if to == tick + 1:
        if held:
            step(memory, lane.held, inputs, lane.results)
            return 0
        step(memory, lane.values, inputs, lane.results)
        return (
            inputs[ranges.ELAPSED]
            if inputs[ranges.RUN_FEEDBACK] and inputs[ranges.ELAPSED] <= lane.values[ranges.MAX_GAP]
            else 0
        )
    total = view.columns.time[to - 1] - view.columns.time[tick - 1]
    left = total
    while left > 0:
        inputs[ranges.ELAPSED] = min(left, ranges.ELAPSED_MOST)
        step(memory, lane.patient, inputs, lane.results)
        left -= ranges.ELAPSED_MOST
    put_ages(view, memory, lane.before, tick, to, inputs[ranges.RUN_FEEDBACK])
    return total if inputs[ranges.RUN_FEEDBACK] else 0
