"""Candidates on their way through a trace: leaps over what changes nothing, steps where anything may happen.

A candidate is always at some tick, with the very state that stepping to that tick
gives. From there it does one of four things, tried in this order.

**It rests** (`leaps.rest`). No fault is declared, no starved spell is open, the integral is not full, the state
is one that no row of the table leaves while net oil pressure is not low (LUBRICATED: `calm` asks the table itself),
and the blocks ahead are intact (all plausible, none late), moving (nothing stuck) and running, with net oil
pressure at or above cut-in; where the integral is nothing, cut-out will do. Then every tick is credible, counts
in full as seen, and is not low. The integral drains or stays at nothing, no spell opens, the guard has nothing to
act on. What is left are amounts that run up or down by time alone and end at a limit. For these one step over 2 t
equals two steps over t (`tests/protect/test_split_step.py`), so the whole stretch is one long tick of the step, with
the readings of its end. Two rules would take that tick for what it is not, one for a late tick and one for stuck
readings: their limits, max_gap and stuck_after, are put out of reach in `patient` settings, and the ages of the
channels are put right behind it (`way.put_ages`).

**It stands** (`leaps.stand`). The state is STOPPED, TRIPPED or LOCKED_OUT and the machine stands, be it that the
trace stands or that the stop is felt already; all ticks ahead are plausible and in time, no channel is stuck,
the restart delay does not run out and no reset comes. A channel that is not stuck does not become so at standstill,
so there is no doubt; spells are closed; no row applies. One long tick again.

**It runs calmly** (`calm_run.run_calmly`): ticks of a moving block that run, are plausible and in time, with the
grace used up and no fault declared. While the integral does not become full and the reload guard does not act,
the class of net oil pressure (low, between, healthy) is all that the table asks for, and where it leads is looked up
(`calm.running_moves`). Such a tick adds `integral.weight` times its elapsed time to the integral, which is one
number in 1/2048 ms that does not go below nothing, follows the spell (`conditions.follow_spell`), and runs timers
down, which is done for all these ticks at once by `timers.update`. A tick that may do more is not taken.

**It steps** (`leaps.take` of one tick): signals, integral, timers, conditions and table of `protect`, as they are.

After a lockout whose stop is felt, with no reset to come in the trace, nothing can follow (`is_over`).

**Company.** Candidates that differ in nothing but the trip delay have the same state until one of them finds its
integral full or the reload guard acts on it. Both compare the integral with a level that rises with the trip delay,
so this happens first to the least trip delay. They walk as one, led by the greatest; before the tick at which the
least would be full or meet the guard, that candidate is left there with a copy of the state, and walks on alone
later. To leave early would be no error: from the same state each does alone what its own settings say.
"""

from typing import Any

import numpy as np

from protect import conditions, outputs, ranges, state
from replay.sweep import blocks
from replay.sweep.calm_run import may_run_calmly, run_calmly
from replay.sweep.leaps import reach, take
from replay.sweep.way import FELT, LEFT, LOCKED, PERMITTED, POSITION, RUN_MS, Machine, Way, copy, patient_of

# Places of a stop.
WHO, TICK, CAUSE = 0, 1, 2
STOP_SIZE = 3
FIRST_ROOM = 256  # stops that the log takes before it grows

WORTH = 4  # ticks a leap has to take to be tried again at once
BURST = 8  # ticks that are stepped after one that did not


def grown(log: Any) -> Any:
    """Return a log with twice the room."""
    bigger = np.zeros((2 * len(log), STOP_SIZE), np.int64)
    for row in range(len(log)):
        copy(bigger[row], log[row])
    return bigger


def note(columns: Any, machine: Any, tick: int) -> bool:
    """Note permission and lockout after a tick; return True for a stop that is felt."""
    carry = machine.carry
    if machine.memory[state.STATE] == state.LOCKED_OUT:
        carry[LOCKED] = 1
    carry[PERMITTED] = machine.results[outputs.RUN_PERMISSION]
    if carry[PERMITTED]:
        carry[FELT] = 0
    elif columns.running[tick] and not carry[FELT]:
        carry[FELT] = 1
        return True
    return False


def has_to_leave(machine: Any, values: Any) -> bool:
    """Say whether what was just taken might have gone otherwise with these values, whose trip delay is less."""
    if machine.memory[state.INTEGRAL] >= values[ranges.TRIP_DELAY]:
        return True
    net, bits = machine.results[outputs.NET_OIL_PRESSURE], machine.results[outputs.CONDITIONS]
    return conditions.reload_guard(machine.memory, values, net, machine.inputs[ranges.SUCTION_PRESSURE], bits)


def is_over(way: Any, machine: Any, tick: int) -> bool:
    """Say that nothing can follow: locked out, the stop felt, and no reset to come."""
    locked = machine.memory[state.STATE] == state.LOCKED_OUT
    return locked and way.tables.final and machine.carry[FELT] and tick > way.last_reset  # type: ignore[no-any-return]


def advance(way: Any, machine: Any, tick: int, least: Any) -> Any:
    """Return how far the candidate may go from here, `tick` where it has to step, and whether it is there already.

    least: the settings of the company with the least trip delay.
    """
    to = reach(way, machine, tick)
    if to > tick or not may_run_calmly(way, machine, tick):
        return to, False
    full = least[ranges.TRIP_DELAY] << ranges.WEIGHT_BITS
    to = run_calmly(way, machine, tick, full, least[ranges.RELOAD_LEVEL])
    return to, to > tick


def leave(machine: Any, spare: Any, memory: Any, carry: Any, tick: int) -> None:
    """Leave a candidate at a tick with the state before it, and put the leader back there too."""
    copy(machine.memory, spare)
    copy(memory, spare)
    copy(carry, machine.carry)
    carry[POSITION] = tick
    carry[LEFT] = tick


def walk(way: Any, values: Any, memory: Any, carry: Any, first: int, leader: int, found: int, log: Any) -> Any:
    """Take a company, candidates `first` to `leader`, through the trace; return the log and how full it is.

    Who leaves the company is left at that tick, with all that it needs to go on alone.
    """
    inputs, results = np.zeros(ranges.INPUTS_SIZE, np.int64), np.zeros(outputs.OUTPUTS_SIZE, np.int64)
    machine = Machine(memory[leader], values[leader], carry[leader], patient_of(values[leader]), inputs, results)
    spare = np.zeros(state.STATE_SIZE, np.int64)
    tick, ticks, retry = carry[leader, POSITION], len(way.columns.time), 0
    while tick < ticks and not is_over(way, machine, tick):
        to, there = tick, False
        if tick >= retry:
            to, there = advance(way, machine, tick, values[first])
            if to - tick < WORTH:
                retry = to + BURST
        if there:
            tick = to
            continue
        to = max(to, tick + 1)
        copy(spare, machine.memory)
        ran_ms = take(way, machine, tick, to)
        if first < leader and has_to_leave(machine, values[first]):
            leave(machine, spare, memory[first], carry[first], tick)
            first += 1
            continue
        machine.carry[RUN_MS] += ran_ms
        tick = to
        if note(way.columns, machine, tick - 1):
            if found == len(log):
                log = grown(log)
            log[found, WHO], log[found, TICK], log[found, CAUSE] = leader, tick - 1, machine.memory[state.CAUSE]
            found += 1
    for who in range(first, leader):
        copy(carry[who], machine.carry)
        carry[who, LEFT] = ticks
    for who in range(first, leader + 1):
        carry[who, POSITION] = ticks
    return found, log


def pass_all(
    columns: Any,
    summaries: Any,
    groups: Any,
    values: Any,
    carry: Any,
    tables: Any,
    last_reset: int,
) -> Any:
    """Take all candidates through a trace; return their stops, int64[stops, STOP_SIZE], and the count of late ticks.

    groups int64[companies + 1]: where each company begins among the candidates,
    which share their sensor settings and stand in rising order of trip delay;
    values int64[candidates, 25]; carry int64[candidates, CARRY_SIZE], filled.
    """
    count = summaries.shape[0]
    kinds, low = np.zeros(count, np.uint8), np.zeros(count, np.int64)
    low_boughs = np.zeros((count + blocks.BRANCH - 1) // blocks.BRANCH, np.int64)
    blocks.classify(summaries, values[0], kinds, low, low_boughs)
    way = Way(columns, summaries, kinds, low, low_boughs, tables, last_reset)
    found, log = 0, np.zeros((FIRST_ROOM, STOP_SIZE), np.int64)
    memory = np.zeros((len(values), state.STATE_SIZE), np.int64)
    for group in range(len(groups) - 1):
        first, leader = groups[group], groups[group + 1] - 1
        state.power_up(memory[leader], values[leader])
        carry[leader, PERMITTED] = 1
        for who in range(leader, first - 1, -1):  # the company, then each who left it
            found, log = walk(way, values, memory, carry, first if who == leader else who, who, found, log)
    return log[:found], blocks.count_late(columns, summaries, values[0, ranges.MAX_GAP])
