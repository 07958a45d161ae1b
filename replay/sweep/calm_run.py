"""Calm runs: ticks of a running machine that move the integral, the spell and the timers and nothing else.

Why they are exact is told in `replay.sweep.passage`.
"""

from typing import Any

from protect import conditions, integral, outputs, ranges, state, timers
from replay.sweep import blocks, calm
from replay.sweep.way import RUN_MS, is_sound, put_ages, read_tick

RUNNING = conditions.RUNNING | conditions.SENSOR_OK
LOW, BETWEEN, HEALTHY = RUNNING | conditions.LOW, RUNNING, RUNNING | conditions.HEALTHY


def may_run_calmly(way: Any, machine: Any, tick: int) -> bool:
    """Say whether this tick may be one of those that only move the integral and the timers."""
    memory = machine.memory
    place, flags = memory[state.STATE], memory[state.FLAGS]
    running = place != state.STOPPED and place < state.TRIPPED
    quiet = not flags & (state.FRESH | state.FAULT_DECLARED) and memory[state.GRACE_LEFT] == 0
    return running and quiet and way.kinds[tick // blocks.BLOCK] & blocks.MOVING != 0


def run_calmly(way: Any, machine: Any, tick: int, full: int, level: int) -> int:
    """Run over ticks of this block that only move the integral and the timers; return the tick behind them.

    full, level: the integral, in 1/2048 ms, and its whole ms that must not be reached.
    """
    columns, memory, values = way.columns, machine.memory, machine.values
    place, flags = memory[state.STATE], memory[state.FLAGS]
    amount = (memory[state.INTEGRAL] << ranges.WEIGHT_BITS) + memory[state.INTEGRAL_FRACTION]
    to, bits = tick, RUNNING
    end = min((tick // blocks.BLOCK + 1) * blocks.BLOCK, len(columns.time))
    while bits != 0 and to < end:
        to, place, amount, bits = run_in_spell(way, machine, to, end, place, flags, amount, full, level)
        if bits != 0:
            conditions.follow_spell(memory, values, columns.suction[to - 1], bits)
            flags = memory[state.FLAGS]
    if to > tick:
        memory[state.STATE] = place
        memory[state.INTEGRAL] = amount >> ranges.WEIGHT_BITS
        memory[state.INTEGRAL_FRACTION] = amount & (ranges.ONE - 1)
        end_calm_run(way, machine, tick, to)
    return to


def run_in_spell(
    way: Any, machine: Any, tick: int, end: int, place: int, flags: int, amount: int, full: int, level: int
) -> Any:
    """Run calmly until a tick is met that is not calm, or is taken and changes what is known of the spell.

    Return the tick behind, the state and the integral there, and the conditions of a tick that changes the spell or 0.
    Nothing is written here, so that all levels stay in registers.
    """
    columns, values = way.columns, machine.values
    intact = way.kinds[tick // blocks.BLOCK] & blocks.INTACT
    in_spell, vacuum_seen = flags & state.IN_SPELL != 0, flags & state.VACUUM_SEEN != 0
    for to in range(tick, end):
        if not columns.running[to] or not (intact or is_sound(columns, to, values, machine.inputs)):
            return to, place, amount, 0
        net, suction = columns.oil[to] - columns.crankcase[to], columns.suction[to]
        in_vacuum = suction < values[ranges.VACUUM]
        if net >= values[ranges.CUT_IN]:
            number, bits, spell = calm.HEALTHY, HEALTHY, in_spell or vacuum_seen
        elif net >= values[ranges.CUT_OUT]:
            number, bits, spell = calm.BETWEEN, BETWEEN, in_spell and in_vacuum and not vacuum_seen
        else:
            number, bits, spell = calm.LOW, LOW, not in_spell or (in_vacuum and not vacuum_seen)
        following = way.tables.moves[place, number]
        moved = amount + integral.weight(values, net, suction) * (columns.time[to] - columns.time[to - 1])
        moved = max(moved, 0)
        guarded = vacuum_seen and suction >= values[ranges.RELOAD] and net < values[ranges.FLOOR]
        if following < 0 or moved >= full or (guarded and moved >> ranges.WEIGHT_BITS >= level):
            return to, place, amount, 0
        place, amount = following, moved
        if spell:
            return to + 1, place, amount, bits
    return end, place, amount, 0


def end_calm_run(way: Any, machine: Any, tick: int, to: int) -> None:
    """Run timers, ages, reset input and run time on over ticks whose integral is done."""
    columns, memory = way.columns, machine.memory
    total = columns.time[to - 1] - columns.time[tick - 1]
    read_tick(columns, to - 1, machine.inputs)
    machine.results[outputs.SEEN] = total
    machine.results[outputs.DOUBTED] = 0
    timers.update(memory, machine.patient, machine.inputs, machine.results)
    conditions.follow_reset(memory, machine.inputs)
    put_ages(columns, way.summaries, memory, tick, to, 1)
    machine.carry[RUN_MS] += total
