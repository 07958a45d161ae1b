"""Step 1, signals: range, freshness and stuck checks.

A reading is not credible when it is missing or outside the sensor's range,
when the tick itself is late (longer than max_gap ago: nobody saw what the
machine did meanwhile), or when it has not moved at all for stuck_after while
the machine ran. Doubt is counted in ms of the elapsed time, so that a tick in
which a channel becomes stuck is shared between what was seen and what was not.

At standstill pressures rest by nature: the stuck check runs only with the
machine. What it has gathered it keeps until the reading moves, so a channel
that was frozen is not believed again because the machine has stopped.
"""

from protect.outputs import CREDIBLE, DOUBTED, NET_OIL_PRESSURE, SEEN
from protect.ranges import (
    CRANKCASE_PRESSURE,
    ELAPSED,
    ELAPSED_MOST,
    MAX_GAP,
    OIL_LEAST,
    OIL_MOST,
    OIL_PRESSURE,
    RUN_FEEDBACK,
    STUCK_AFTER,
    SUCTION_LEAST,
    SUCTION_MOST,
    SUCTION_PRESSURE,
)
from protect.state import CRANKCASE_SEEN, FLAGS, FRESH, OIL_SEEN, SUCTION_SEEN


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


def stuck_part(state: list[int], seen: int, reading: int, running: int, elapsed: int, stuck_after: int) -> int:
    """Age the channel at place `seen`; return the ms of `elapsed` in which it was stuck."""
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


def observe(state: list[int], settings: list[int], inputs: list[int], outputs: list[int]) -> None:
    """Fill SEEN and DOUBTED (ms of the elapsed time), CREDIBLE and NET_OIL_PRESSURE."""
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
    stuck = (
        state[OIL_SEEN + 1] == stuck_after
        or state[SUCTION_SEEN + 1] == stuck_after
        or state[CRANKCASE_SEEN + 1] == stuck_after
    )

    credible = 0
    net = 0
    if elapsed > settings[MAX_GAP] or not plausible(settings, inputs):
        doubted = elapsed
    else:
        # Both readings lie in -100000 .. 20000000, so the difference fits easily.
        net = inputs[OIL_PRESSURE] - inputs[CRANKCASE_PRESSURE]
        if not stuck:
            credible = 1
    outputs[SEEN] = elapsed - doubted
    outputs[DOUBTED] = doubted
    outputs[CREDIBLE] = credible
    outputs[NET_OIL_PRESSURE] = net
