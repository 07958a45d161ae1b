"""Fast ticks: ticks of a running machine that move the integral, the spell and the timers and nothing else.

Why they are exact is told at the head of `replay.sweep`.
"""

from protect import conditions, integral, outputs, ranges, state, timers
from replay.engine.obeying import RUN_MS
from replay.sweep import blocks
from replay.sweep import table_facts as facts
from replay.sweep.lane import Lane, View, is_sound, put_ages, read_tick

RUNNING = conditions.RUNNING | conditions.SENSOR_OK
LOW, BETWEEN, HEALTHY = RUNNING | conditions.LOW, RUNNING, RUNNING | conditions.HEALTHY


def take_fast_ticks(view: View, lane: Lane, tick: int, least: blocks.Words) -> int:
    """Take what there is of fast ticks in this block and return the tick behind them.

    least: the settings of the group with the least trip delay; where its integral
    would be full or the reload guard would act on it, no tick is fast.
    """
    memory, times = lane.memory, view.columns.time
    place, flags = memory[state.STATE], memory[state.FLAGS]
    running = place != state.STOPPED and place < state.TRIPPED
    quiet = not flags & (state.FRESH | state.FAULT_DECLARED) and memory[state.GRACE_LEFT] == 0
    if not (running and quiet and view.kinds[tick >> blocks.BLOCK_BITS] & blocks.MOVING):
        return tick
    amount = (memory[state.INTEGRAL] << ranges.WEIGHT_BITS) + memory[state.INTEGRAL_FRACTION]
    to, bits = tick, RUNNING
    end = min(((tick >> blocks.BLOCK_BITS) + 1) * blocks.BLOCK, view.ticks)
    while bits != 0 and to < end:
        to, place, amount, bits = run_in_spell(view, lane, to, end, place, amount, least)
        if bits != 0:
            memory[state.INTEGRAL] = amount >> ranges.WEIGHT_BITS
            conditions.follow_spell(memory, lane.values, view.columns.readings[blocks.SUCTION][to - 1], bits)
    if to == tick:
        return tick
    memory[state.STATE] = place
    memory[state.INTEGRAL] = amount >> ranges.WEIGHT_BITS
    memory[state.INTEGRAL_FRACTION] = amount & (ranges.ONE - 1)
    total = times[to - 1] - times[tick - 1]
    read_tick(view.columns, to - 1, lane.inputs)
    lane.results[outputs.SEEN] = total
    lane.results[outputs.DOUBTED] = 0
    timers.update(memory, lane.patient, lane.inputs, lane.results)
    conditions.follow_reset(memory, lane.values, lane.inputs)
    for word in range(state.OIL_SEEN, state.STATE_SIZE):
        lane.before[word] = memory[word]
    put_ages(view, memory, lane.before, tick, to, 1)
    lane.carry[RUN_MS] += total
    return to


def run_in_spell(
    view: View, lane: Lane, tick: int, end: int, place: int, amount: int, least: blocks.Words
) -> tuple[int, int, int, int]:
    """Run until a tick is met that is not fast, or is taken and changes what is known of the spell.

    amount: the integral in 1/2048 ms. Return the tick behind, the state and the integral there, and the
    conditions of a tick that changes the spell or 0. Nothing is written here, so that all levels stay in registers.
    """
    columns, values, flags = view.columns, lane.values, lane.memory[state.FLAGS]
    oil, suctions, crankcase = columns.readings
    intact = view.kinds[tick >> blocks.BLOCK_BITS] & blocks.INTACT
    in_spell, vacuum_seen = flags & state.IN_SPELL != 0, flags & state.VACUUM_SEEN != 0
    full = least[ranges.TRIP_DELAY] << ranges.WEIGHT_BITS
    for to in range(tick, end):
        if not columns.running[to] or not (intact or is_sound(columns, to, lane)):
            return to, place, amount, 0
        net, suction = oil[to] - crankcase[to], suctions[to]
        in_vacuum = suction < values[ranges.VACUUM]
        if net >= values[ranges.CUT_IN]:
            number, bits, spell = facts.HEALTHY, HEALTHY, in_spell
        elif net >= values[ranges.CUT_OUT]:
            number, bits, spell = facts.BETWEEN, BETWEEN, in_spell and in_vacuum and not vacuum_seen
        else:
            number, bits, spell = facts.LOW, LOW, not in_spell or (in_vacuum and not vacuum_seen)
        following = view.tables.moves[place * len(facts.CLASSES) + number]
        moved = amount + integral.weight(values, net, suction) * (columns.time[to] - columns.time[to - 1])
        moved = max(moved, 0)
        drained = number == facts.HEALTHY and moved >> ranges.WEIGHT_BITS == 0
        spell = spell or (vacuum_seen and drained)
        guarded = vacuum_seen and not drained and suction >= values[ranges.RELOAD]
        too_much = guarded and moved >> ranges.WEIGHT_BITS >= least[ranges.RELOAD_LEVEL]
        if following < 0 or moved >= full or too_much:
            return to, place, amount, 0
        place, amount = following, moved
        if spell:
            return to + 1, place, amount, bits
    return end, place, amount, 0
