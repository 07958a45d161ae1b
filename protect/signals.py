"""Step 1, signals: range, freshness, stuck and standstill checks.

A reading is not credible when it is missing or outside the sensor's range,
when the tick itself is late (longer than max_gap ago: nobody saw what the
machine did meanwhile), when it has not moved at all for stuck_after while
the machine ran, or when net oil pressure does not read nothing at rest. Doubt is
counted in ms of the elapsed time, so that a tick in which a channel becomes
stuck is shared between what was seen and what was not.

At standstill pressures rest by nature: the stuck check runs only with the
machine. What it has gathered it keeps until the reading moves, so a channel
that was frozen is not believed again because the machine has stopped.

A reading that is missing is no move, or a frozen channel with a loose contact would never
be stuck. What was seen last is kept with its age, to which the time without a reading adds
nothing, as nothing was seen then and being missing is a doubt of its own. Whatever comes
back is held against it: the same reading is as old as before, so a stuck channel is stuck
still, and any other is a move, so one that came back to the same by chance is told by its next.

*Standstill zero.* A machine that stands pumps no oil: after rest_settle of standstill
net oil pressure beyond rest_most, up or down, is no reading of it. Then a sensor has
drifted, reads gauge for absolute, or the machine does not stand. For how long it has
stood is what has run off the restart delay, so nothing more is remembered.
"""

from protect.outputs import CONDITIONS, CREDIBLE, DOUBTED, NET_OIL_PRESSURE, SEEN
from protect.ranges import (
    CRANKCASE_PRESSURE,
    ELAPSED,
    ELAPSED_MOST,
    MAX_GAP,
    NO_READING,
    OIL_LEAST,
    OIL_MOST,
    OIL_PRESSURE,
    REST_MOST,
    REST_SETTLE,
    RESTART_DELAY,
    RUN_FEEDBACK,
    STUCK_AFTER,
    SUCTION_LEAST,
    SUCTION_MOST,
    SUCTION_PRESSURE,
)
from protect.state import CRANKCASE_SEEN, FLAGS, FRESH, OIL_SEEN, RESTART_LEFT, SUCTION_SEEN

# Doubts: which channel and why, one bit each above the conditions. Of a channel the first that holds.
OIL_MISSING = 65536
OIL_RANGE = 131072
OIL_STUCK = 262144
SUCTION_MISSING = 524288
SUCTION_RANGE = 1048576
SUCTION_STUCK = 2097152
CRANKCASE_MISSING = 4194304
CRANKCASE_RANGE = 8388608
CRANKCASE_STUCK = 16777216
LATE = 33554432  # the whole tick, all channels
STANDSTILL = 67108864  # net oil pressure, be it by the oil or by the crankcase channel
DOUBTS = 134152192  # all of them

DOUBT_NAMES = (
    "oil missing",
    "oil range",
    "oil stuck",
    "suction missing",
    "suction range",
    "suction stuck",
    "crankcase missing",
    "crankcase range",
    "crankcase stuck",
    "late",
    "standstill",
)


def counted_elapsed(state: list[int], inputs: list[int]) -> int:
    """Elapsed ms that this step may count: none in the first, ELAPSED_MOST at most.

    A negative elapsed time is a broken clock and is taken as the longest one.
    """
    elapsed = inputs[ELAPSED]
    if state[FLAGS] & FRESH:
        return 0
    if elapsed < 0 or elapsed > ELAPSED_MOST:
        return ELAPSED_MOST
    return elapsed


def within(reading: int, least: int, most: int) -> bool:
    """Say whether a reading is inside a range, its ends included."""
    return reading >= least and reading <= most


def plausible(settings: list[int], inputs: list[int]) -> bool:
    """Say whether all pressures are inside their sensors' ranges."""
    return (
        within(inputs[OIL_PRESSURE], settings[OIL_LEAST], settings[OIL_MOST])
        and within(inputs[SUCTION_PRESSURE], settings[SUCTION_LEAST], settings[SUCTION_MOST])
        and within(inputs[CRANKCASE_PRESSURE], settings[SUCTION_LEAST], settings[SUCTION_MOST])
    )


def channel_doubt(reading: int, least: int, most: int, is_stuck: bool, missing: int) -> int:  # noqa: FBT001 - as in C
    """Return the doubt of a channel, or 0; `missing` is the lowest of its three bits."""
    if reading == NO_READING:
        return missing
    if not within(reading, least, most):
        return missing << 1
    if is_stuck:
        return missing << 2
    return 0


def channel_doubts(state: list[int], settings: list[int], inputs: list[int]) -> int:
    """Return the doubts of all channels; how long each has not moved is up to date."""
    stuck_after = settings[STUCK_AFTER]
    least = settings[SUCTION_LEAST]
    most = settings[SUCTION_MOST]
    oil_stuck = state[OIL_SEEN + 1] == stuck_after
    suction_stuck = state[SUCTION_SEEN + 1] == stuck_after
    crankcase_stuck = state[CRANKCASE_SEEN + 1] == stuck_after
    return (
        channel_doubt(inputs[OIL_PRESSURE], settings[OIL_LEAST], settings[OIL_MOST], oil_stuck, OIL_MISSING)
        | channel_doubt(inputs[SUCTION_PRESSURE], least, most, suction_stuck, SUCTION_MISSING)
        | channel_doubt(inputs[CRANKCASE_PRESSURE], least, most, crankcase_stuck, CRANKCASE_MISSING)
    )


def stuck_part(state: list[int], seen: int, reading: int, running: int, elapsed: int, stuck_after: int) -> int:
    """Age the channel at place `seen`; return the ms of `elapsed` in which it was stuck, of a missing reading none."""
    if reading == NO_READING:
        return 0
    unmoved = 0
    if reading == state[seen]:
        unmoved = state[seen + 1]
    if running or unmoved == stuck_after:
        unmoved += elapsed  # <= 86400000 + 1800000
    state[seen] = reading
    if unmoved <= stuck_after:
        state[seen + 1] = unmoved
        return 0
    state[seen + 1] = stuck_after
    return unmoved - stuck_after  # <= elapsed, since what was stored is <= stuck_after


def settled_part(state: list[int], settings: list[int], elapsed: int) -> int:
    """Return the ms of `elapsed`, all standstill, that lie behind rest_settle; below 0 as long as none do."""
    left = state[RESTART_LEFT] - (settings[RESTART_DELAY] - settings[REST_SETTLE])
    if left < 0:
        left = 0
    return elapsed - left


def observe(state: list[int], settings: list[int], inputs: list[int], outputs: list[int]) -> None:
    """Fill SEEN and DOUBTED (ms of the elapsed time), CREDIBLE, NET_OIL_PRESSURE, and the doubts in CONDITIONS."""
    elapsed = counted_elapsed(state, inputs)
    running = inputs[RUN_FEEDBACK]
    stuck_after = settings[STUCK_AFTER]

    doubted = stuck_part(state, OIL_SEEN, inputs[OIL_PRESSURE], running, elapsed, stuck_after)
    part = stuck_part(state, SUCTION_SEEN, inputs[SUCTION_PRESSURE], running, elapsed, stuck_after)
    if part > doubted:
        doubted = part
    part = stuck_part(state, CRANKCASE_SEEN, inputs[CRANKCASE_PRESSURE], running, elapsed, stuck_after)
    if part > doubted:
        doubted = part

    doubts = channel_doubts(state, settings, inputs)
    if elapsed > settings[MAX_GAP]:
        doubts |= LATE
    credible = 0
    net = 0
    if elapsed > settings[MAX_GAP] or not plausible(settings, inputs):
        doubted = elapsed
    else:
        # Both readings lie in -100000 .. 20000000, so the difference fits easily.
        net = inputs[OIL_PRESSURE] - inputs[CRANKCASE_PRESSURE]
        part = settled_part(state, settings, elapsed)
        if not running and part >= 0 and not within(net, -settings[REST_MOST], settings[REST_MOST]):
            doubts |= STANDSTILL
            if part > doubted:
                doubted = part
    if doubts == 0:
        credible = 1
    outputs[SEEN] = elapsed - doubted
    outputs[DOUBTED] = doubted
    outputs[CREDIBLE] = credible
    outputs[NET_OIL_PRESSURE] = net
    outputs[CONDITIONS] = doubts
