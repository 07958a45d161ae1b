"""Long ticks: how far a candidate may go in one, and the taking of a tick, long or single.

Why a long tick is exact is told at the head of `replay.sweep`.
"""

from protect import ranges, state
from replay.engine.obeying import FELT, PERMITTED
from replay.sweep import blocks
from replay.sweep.lane import CHANNEL_SIZE, FAR, Lane, View, copy, is_sound, put_ages, read_tick, step


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
    block = tick // blocks.BLOCK
    if low[block] < level:
        return tick
    while block < len(low) and low[block] >= level:
        whole_span = block % blocks.SPAN == 0 and view.low_spans[block // blocks.SPAN] >= level
        block += blocks.SPAN if whole_span else 1
    return min(block * blocks.BLOCK, len(view.columns.time))


def standing_end(view: View, lane: Lane, tick: int) -> int:
    """Return the tick behind those at which the machine stands and nothing comes of it.

    That is the first at which it may start, a stop is felt, or a restart or a reset may come.
    """
    memory, times = lane.memory, view.columns.time
    if memory[state.STATE] == state.STOPPED and memory[state.FLAGS] & state.FAULT_DECLARED:
        return tick
    for channel in range(blocks.CHANNELS):
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
    while to < len(times):
        block = to // blocks.BLOCK
        end = min(block * blocks.BLOCK + blocks.BLOCK, len(times))
        kind, summary = view.kinds[block], view.summaries[block]
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
    oil, _, crankcase = view.columns.readings
    return bool(abs(oil[tick] - crankcase[tick]) <= most)


def take(view: View, lane: Lane, tick: int, to: int) -> int:
    """Take the ticks from `tick` to before `to` as one, with the readings of the last; return the ms it ran.

    A tick of its own is taken as it is; of more, it is known that none is late and nothing is stuck.
    """
    memory, inputs, is_long = lane.memory, lane.inputs, to > tick + 1
    copy(lane.before, memory)
    read_tick(view.columns, to - 1, inputs)
    left, most, limits = inputs[ranges.ELAPSED], FAR, lane.values
    if inputs[ranges.RUN_FEEDBACK] and not lane.carry[PERMITTED]:
        inputs[ranges.RUN_FEEDBACK] = 0
        limits = lane.held
    if is_long:
        left, most, limits = view.columns.time[to - 1] - view.columns.time[tick - 1], ranges.ELAPSED_MOST, lane.patient
    ran_ms = left if inputs[ranges.RUN_FEEDBACK] and left <= limits[ranges.MAX_GAP] else 0
    while True:
        inputs[ranges.ELAPSED] = min(left, most)
        step(memory, limits, inputs, lane.results, view.tables.settled)
        left -= most
        if left <= 0:
            break
    if is_long:
        put_ages(view, memory, lane.before, tick, to, inputs[ranges.RUN_FEEDBACK])
    return ran_ms
