"""The machine obeys: a trace tick by tick under the protection.

While run permission is withdrawn the logic is told that the machine stands still, whatever the
recording did after that, and when permission comes back the machine starts again where the
recording runs. So each stretch of a long trace is judged, and the restart delay and the trip
memory see what they would see in the plant. What a sensor of the stopped machine would have read at
rest, a recording of one that runs on cannot tell: such ticks are judged without the standstill zero.

`obey` is told once for the interpreted and the compiled engine: it runs on lists or, compiled, on
int64 arrays. The C engine has its counterpart in firmware_ref/host/trace_run.c, place by place.
"""

from protect.outputs import (
    CREDIBLE,
    INTEGRAL_PERCENT,
    NET_OIL_PRESSURE,
    OUTPUTS_SIZE,
    RUN_PERMISSION,
    STOP_CAUSE,
)
from protect.protection import step
from protect.ranges import (
    ELAPSED,
    INPUTS_SIZE,
    MAX_GAP,
    NO_READING,
    REST_MOST,
    REST_OFF,
    RUN_FEEDBACK,
    SUCTION_PRESSURE,
)
from protect.state import CAUSE, LOCKED_OUT, STATE, STATE_SIZE

# Rows of the columns of a trace: its time, then the inputs in their order.
TIME = 0
FIRST_INPUT = 1

# Places of a change of state, of a stop, and of what is carried from one call to the next.
CHANGE_TIME, BEFORE, AFTER, CHANGE_CAUSE, NET, SUCTION, PERCENT = range(7)
CHANGE_SIZE = 7
STOP_SIZE = 2
POSITION, RUN_MS, PERMITTED, FELT, LOCKED, CHANGES, STOPS = range(7)
CARRY_SIZE = 7
TRAIL_SIZE = STATE_SIZE + OUTPUTS_SIZE

# What a machine feels of a step, beside the cause of a stop; a row of stops holds its time and one of these.
MAY_RUN = 0  # again, after a stop that it felt
NOTHING = -1


def felt(memory: list[int], results: list[int], wants_to_run: int, carry: list[int]) -> int:
    """Carry permission and lockout on after a step; return what the machine feels only now.

    The cause of a stop where it would run and may not, MAY_RUN where it may run again after one, else NOTHING.
    """
    if memory[STATE] == LOCKED_OUT:
        carry[LOCKED] = 1
    carry[PERMITTED] = results[RUN_PERMISSION]
    if carry[PERMITTED]:
        if carry[FELT]:
            carry[FELT] = 0
            return MAY_RUN
    elif wants_to_run and not carry[FELT]:
        carry[FELT] = 1
        return memory[CAUSE]
    return NOTHING


def note_change(
    row: list[int], time: int, before: int, memory: list[int], inputs: list[int], results: list[int]
) -> None:
    """Write down a change of state."""
    row[CHANGE_TIME] = time
    row[BEFORE] = before
    row[AFTER] = memory[STATE]
    row[CHANGE_CAUSE] = results[STOP_CAUSE]
    row[NET] = NO_READING
    if results[CREDIBLE]:
        row[NET] = results[NET_OIL_PRESSURE]
    row[SUCTION] = inputs[SUCTION_PRESSURE]
    row[PERCENT] = results[INTEGRAL_PERCENT]


def note_tick(row: list[int], memory: list[int], results: list[int]) -> None:
    """Write down state and outputs."""
    for place in range(STATE_SIZE):
        row[place] = memory[place]
    for place in range(OUTPUTS_SIZE):
        row[STATE_SIZE + place] = results[place]


def obey(
    columns: list[list[int]],
    values: list[int],
    memory: list[int],
    inputs: list[int],
    results: list[int],
    changes: list[list[int]],
    stops: list[list[int]],
    carry: list[int],
    trail: list[list[int]],
) -> None:
    """Run on from carry[POSITION] until the end of the columns or until changes or stops are full.

    columns[7][n]; values[29], memory[16], inputs[6], results[9] as in `protect`; changes[room][7], stops[room][2];
    carry[7] goes on from call to call; trail[n][25] takes state and outputs of every tick, trail[0] nothing.
    """
    carry[CHANGES] = 0
    carry[STOPS] = 0
    rest_most = values[REST_MOST]
    while carry[POSITION] < len(columns[0]) and carry[CHANGES] < len(changes) and carry[STOPS] < len(stops):
        tick = carry[POSITION]
        time = columns[TIME][tick]
        for place in range(INPUTS_SIZE):
            inputs[place] = columns[FIRST_INPUT + place][tick]
        wants_to_run = inputs[RUN_FEEDBACK]
        inputs[RUN_FEEDBACK] = wants_to_run & carry[PERMITTED]
        before = memory[STATE]
        if wants_to_run and not inputs[RUN_FEEDBACK]:
            values[REST_MOST] = REST_OFF
        step(memory, values, inputs, results)
        values[REST_MOST] = rest_most

        if inputs[RUN_FEEDBACK] and inputs[ELAPSED] <= values[MAX_GAP]:
            carry[RUN_MS] += inputs[ELAPSED]
        what = felt(memory, results, wants_to_run, carry)
        if what != NOTHING:
            stops[carry[STOPS]][0] = time
            stops[carry[STOPS]][1] = what
            carry[STOPS] += 1
        if memory[STATE] != before:
            note_change(changes[carry[CHANGES]], time, before, memory, inputs, results)
            carry[CHANGES] += 1
        if len(trail) > 0:
            note_tick(trail[tick], memory, results)
        carry[POSITION] += 1
