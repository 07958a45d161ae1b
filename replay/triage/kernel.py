"""One row of a log after the other: what happened, as the parts of `protect` measure it.

`protect.protection.measure` is a step of the protection without its table and without
its outputs. The table alone chooses states and stops the machine, and the machine of a log was
stopped by nobody; what is left (signals, integral, timers, conditions) goes on
past a full integral as it goes on before: the integral stays full until a healthy
stretch drains it. So a spell is followed to its real end, and the time the
machine ran on with a full integral is known. No rule is restated here: short of
oil, healthy, starved spell, full, reload, doubt and its reasons are the bits and flags that
`protect` sets. A spell is told from credible rows only, and a declared sensor fault
ends it: a dead sensor is a doubt, not a starved bearing.

Beside the events each day is summed up (places of a day below): how long the log is, how the machine ran, what net
oil pressure read at rest and running, how its starts went.

Everything runs interpreted on lists or, in the language of `replay.engine.lowering`, as machine code on int64 arrays,
to the same result. Columns as in `replay.engine.obeying`; time in ms, pressures in Pa.
"""

from protect.conditions import HEALTHY, IN_GRACE, INTEGRAL_FULL, LOW, RELOAD_GUARD, RUNNING, SENSOR_FAULT, SENSOR_OK
from protect.outputs import CREDIBLE, DOUBTED, NET_OIL_PRESSURE, SEEN
from protect.protection import measure
from protect.ranges import ELAPSED, FAULT_DELAY, INPUTS_SIZE, MAX_GAP, RELOAD, SUCTION_PRESSURE, VACUUM
from protect.signals import DOUBTS, STANDSTILL, plausible
from protect.state import FLAGS, GRACE_LEFT, IN_SPELL, INTEGRAL, VACUUM_SEEN
from replay.engine.obeying import FIRST_INPUT, TIME

# Kinds of event, and their rows in `opened`.
STARVED, IN_VACUUM, DOUBT = range(3)
KINDS = 3

# Places of an event. Times in ms of the log; NEVER where it did not come to that.
KIND, OPEN, START, END, LOW_MS, LEAST_NET, LEAST_SUCTION, MOST_INTEGRAL, VACUUM_MS, DOUBT_MS = range(10)
FULL_AT, RELOAD_AT, RELOAD_MS, RELOAD_SUCTION, FROM_START, JUDGED, REASONS = range(10, 17)
EVENT_SIZE = 17
NEVER = -1
UNKNOWN = 1000000000  # beyond every pressure: the least of none

# Places of the totals.
POSITION, FOUND, RUN_MS, SEEN_MS, DOUBTED_MS, STARVED_MS, IN_VACUUM_MS, STARTS, RAN, STARTING = range(10)
# BUILDING: a start is under way, since STARTED_AT; BLIND: one of its readings was in doubt. RUNNING_FOR, RESTING_FOR:
# ms since the last start or stop. DAY_ZERO: time of the log at which the first of the days begins.
BUILDING, STARTED_AT, BLIND, RUNNING_FOR, RESTING_FOR, DAY_ZERO = range(10, 16)
TOTALS_SIZE = 16

# Places of a day, ms but where said otherwise. Net oil pressure is summed up as Pa x ms over DAY_NET_MS of settled
# running and DAY_REST_MS of settled rest. Of the starts DAY_BUILT came to cut-out, after DAY_BUILD together and
# DAY_BUILD_MOST at most; DAY_NEVER stopped without, having run for DAY_DRY; of DAY_UNSEEN nobody can tell.
DAY_LOGGED, DAY_LATE, DAY_RUN, DAY_SEEN, DAY_DOUBTED, DAY_LOW, DAY_NET_MS, DAY_NET, DAY_REST_MS, DAY_REST = range(10)
DAY_STARTS, DAY_BUILT, DAY_BUILD, DAY_BUILD_MOST, DAY_NEVER, DAY_DRY, DAY_UNSEEN = range(10, 17)
DAY_SIZE = 17
DAY_MS = 86400000
# Assumed: after a minute the pressure of a start has settled, and the oil lines of a machine that stands have drained.
SETTLED_MS = 60000


def begin(event: list[int], kind: int, start: int) -> None:
    """Open an event."""
    for place in range(EVENT_SIZE):
        event[place] = 0
    event[KIND] = kind
    event[OPEN] = 1
    event[START] = start
    event[LEAST_NET] = UNKNOWN
    event[LEAST_SUCTION] = UNKNOWN
    event[FULL_AT] = NEVER
    event[RELOAD_AT] = NEVER


def close(event: list[int], events: list[list[int]], totals: list[int]) -> None:
    """Close an event and write it down, if there was anything to it: a spell within the start grace is none."""
    if event[OPEN] == 0:
        return
    event[OPEN] = 0
    if event[KIND] == STARVED and event[LOW_MS] == 0 and event[RELOAD_AT] == NEVER:
        return
    for place in range(EVENT_SIZE):
        events[totals[FOUND]][place] = event[place]
    totals[FOUND] += 1


def note_pressures(event: list[int], net: int, suction: int) -> None:
    """Keep the lowest pressures that were seen."""
    event[LEAST_NET] = min(event[LEAST_NET], net)
    event[LEAST_SUCTION] = min(event[LEAST_SUCTION], suction)


def follow_starved(
    spell: list[int],
    now: int,
    counted: int,
    memory: list[int],
    values: list[int],
    inputs: list[int],
    results: list[int],
    bits: int,
    totals: list[int],
) -> None:
    """Open or go on with a starved spell on a credible row; `counted` ms of it lie behind the start grace."""
    elapsed = results[SEEN]
    short = bits & LOW != 0
    if spell[OPEN] == 0:
        if not short:
            return
        begin(spell, STARVED, now - elapsed)
        spell[FROM_START] = totals[STARTING]
    spell[END] = now
    spell[MOST_INTEGRAL] = max(spell[MOST_INTEGRAL], memory[INTEGRAL])
    if short and counted > 0:
        spell[LOW_MS] += counted
        totals[STARVED_MS] += counted
        note_pressures(spell, results[NET_OIL_PRESSURE], inputs[SUCTION_PRESSURE])
    if inputs[SUCTION_PRESSURE] < values[VACUUM]:
        spell[VACUUM_MS] += elapsed
    follow_stops(spell, now, elapsed, inputs, bits)


def follow_stops(spell: list[int], now: int, elapsed: int, inputs: list[int], bits: int) -> None:
    """Note in a spell where the settings would have stopped the machine: integral full, or loaded again.

    A full integral stops a machine that has been short of oil behind the start grace (the state STARVED).
    """
    if bits & LOW and not bits & IN_GRACE:
        spell[JUDGED] = 1
    if spell[JUDGED] and bits & INTEGRAL_FULL and spell[FULL_AT] == NEVER:
        spell[FULL_AT] = now
    if bits & RELOAD_GUARD:
        if spell[RELOAD_AT] == NEVER:
            spell[RELOAD_AT] = now
        spell[RELOAD_MS] += elapsed
        spell[RELOAD_SUCTION] = max(spell[RELOAD_SUCTION], inputs[SUCTION_PRESSURE])


def follow_vacuum(
    event: list[int], now: int, values: list[int], inputs: list[int], results: list[int], bits: int, totals: list[int]
) -> bool:
    """Open or go on with vacuum running; say whether it is over: suction back at the reload level, or a stop."""
    if not bits & RUNNING:
        return True
    if not bits & SENSOR_OK:
        return False
    suction = inputs[SUCTION_PRESSURE]
    if suction >= values[RELOAD]:
        return True
    if suction < values[VACUUM]:
        if event[OPEN] == 0:
            begin(event, IN_VACUUM, now - results[SEEN])
        event[END] = now
        event[VACUUM_MS] += results[SEEN]
        totals[IN_VACUUM_MS] += results[SEEN]
        note_pressures(event, results[NET_OIL_PRESSURE], suction)
        if bits & LOW:
            event[LOW_MS] += results[SEEN]
    return False


def follow_doubt(event: list[int], now: int, values: list[int], results: list[int], bits: int) -> bool:
    """Open or go on with a doubt; say whether it is over: credible for the fault delay, or a stop.

    Doubts are those of a running machine, and of one at rest whose net oil pressure does not read nothing.
    """
    if not bits & (RUNNING | STANDSTILL):
        return True
    if results[CREDIBLE]:
        return now - event[END] >= values[FAULT_DELAY]
    if event[OPEN] == 0:
        begin(event, DOUBT, now - results[DOUBTED])
    event[END] = now
    event[DOUBT_MS] += results[DOUBTED]
    event[REASONS] |= bits & DOUBTS
    return False


def count(values: list[int], results: list[int], bits: int, totals: list[int]) -> None:
    """Count time and starts of this row."""
    if not bits & RUNNING:
        totals[RAN] = 0
        totals[STARTING] = 0
        return
    if totals[RAN] == 0:
        totals[STARTS] += 1
        totals[STARTING] = 1
    totals[RAN] = 1
    if bits & HEALTHY:
        totals[STARTING] = 0
    elapsed = results[SEEN] + results[DOUBTED]
    if elapsed <= values[MAX_GAP]:
        totals[RUN_MS] += elapsed
    if results[CREDIBLE]:
        totals[SEEN_MS] += elapsed
    totals[DOUBTED_MS] += results[DOUBTED]


def follow_start(
    day: list[int], now: int, values: list[int], results: list[int], bits: int, totals: list[int], ran: int
) -> None:
    """Follow a start until net oil pressure is at cut-out or the machine stops; `ran`: it ran in the row before."""
    elapsed = results[SEEN] + results[DOUBTED]
    if bits & RUNNING and not ran:
        totals[BUILDING] = 1
        totals[BLIND] = 0
        totals[STARTED_AT] = now - elapsed if elapsed <= values[MAX_GAP] else now
        day[DAY_STARTS] += 1
    if totals[BUILDING] == 0:
        return
    if not bits & RUNNING:
        totals[BUILDING] = 0
        if totals[BLIND]:
            day[DAY_UNSEEN] += 1
        else:
            day[DAY_NEVER] += 1
            day[DAY_DRY] += now - elapsed - totals[STARTED_AT]
        return
    if not results[CREDIBLE]:
        totals[BLIND] = 1
    if not bits & LOW:
        totals[BUILDING] = 0
        day[DAY_BUILT] += 1
        day[DAY_BUILD] += now - totals[STARTED_AT]
        day[DAY_BUILD_MOST] = max(day[DAY_BUILD_MOST], now - totals[STARTED_AT])


def follow_day(
    day: list[int], values: list[int], inputs: list[int], results: list[int], bits: int, totals: list[int]
) -> None:
    """Sum up a row: how the machine ran, and what net oil pressure read in settled running and settled rest."""
    elapsed = results[SEEN] + results[DOUBTED]
    if bits & RUNNING:
        totals[RESTING_FOR] = 0
        day[DAY_DOUBTED] += results[DOUBTED]
    else:
        totals[RUNNING_FOR] = 0
    if elapsed > values[MAX_GAP]:
        totals[RESTING_FOR] = 0
        day[DAY_LATE] += inputs[ELAPSED]
        return
    day[DAY_LOGGED] += elapsed
    if bits & RUNNING:
        totals[RUNNING_FOR] += elapsed
        day[DAY_RUN] += elapsed
        if results[CREDIBLE]:
            day[DAY_SEEN] += elapsed
            if totals[RUNNING_FOR] > SETTLED_MS:
                day[DAY_NET_MS] += elapsed
                day[DAY_NET] += results[NET_OIL_PRESSURE] * elapsed
        return
    totals[RESTING_FOR] += elapsed
    if totals[RESTING_FOR] > SETTLED_MS and plausible(values, inputs):
        day[DAY_REST_MS] += elapsed
        day[DAY_REST] += results[NET_OIL_PRESSURE] * elapsed


def watch(
    columns: list[list[int]],
    values: list[int],
    memory: list[int],
    inputs: list[int],
    results: list[int],
    opened: list[list[int]],
    totals: list[int],
    events: list[list[int]],
    days: list[list[int]],
) -> None:
    """Run on from totals[POSITION] until the end of the columns or until `events` may not take those of a row.

    columns[7][n] as in `replay.engine.obeying`; values, memory, inputs, results as in
    `protect`; opened[KINDS][EVENT_SIZE] events under way; events[room][EVENT_SIZE]; days[n][DAY_SIZE].
    """
    number = 0  # of the day
    while totals[POSITION] < len(columns[0]) and totals[FOUND] + KINDS <= len(events):
        tick = totals[POSITION]
        for place in range(INPUTS_SIZE):
            inputs[place] = columns[FIRST_INPUT + place][tick]
        now = columns[TIME][tick]
        while now - totals[DAY_ZERO] >= (number + 1) * DAY_MS:
            number += 1
        day = days[number]
        grace = memory[GRACE_LEFT]
        bits = measure(memory, values, inputs, results)
        follow_start(day, now, values, results, bits, totals, totals[RAN])
        follow_day(day, values, inputs, results, bits, totals)
        count(values, results, bits, totals)
        if not memory[FLAGS] & (IN_SPELL | VACUUM_SEEN) or bits & SENSOR_FAULT:
            close(opened[STARVED], events, totals)
        elif bits & SENSOR_OK and not memory[FLAGS] & IN_SPELL:  # healthy again, and what the vacuum cost still owed
            follow_stops(opened[STARVED], now, results[SEEN], inputs, bits)
        elif bits & SENSOR_OK:
            counted = results[SEEN] - (grace - memory[GRACE_LEFT])
            day[DAY_LOW] -= totals[STARVED_MS]
            follow_starved(opened[STARVED], now, counted, memory, values, inputs, results, bits, totals)
            day[DAY_LOW] += totals[STARVED_MS]
        if follow_vacuum(opened[IN_VACUUM], now, values, inputs, results, bits, totals):
            close(opened[IN_VACUUM], events, totals)
        if follow_doubt(opened[DOUBT], now, values, results, bits):
            close(opened[DOUBT], events, totals)
        totals[POSITION] += 1
