"""Step 4, conditions: everything that decides, reduced to one integer of named bits.

How to add a condition: the next bit and name here, set in the function that fits. The test of the table then goes
through all combinations with the new bit by itself. Bits from 2**16 on are the doubts of the sensors (signals.py).
"""

from protect.outputs import CONDITIONS, CREDIBLE, NET_OIL_PRESSURE
from protect.ranges import (
    CUT_IN,
    CUT_OUT,
    RELOAD,
    RELOAD_LEVEL,
    RESET,
    RESET_HOLD,
    RESETS_MOST,
    RESTART_DELAY,
    RUN_FEEDBACK,
    SUCTION_PRESSURE,
    TRIP_DELAY,
    TRIPS_TO_LOCKOUT,
    VACUUM,
)
from protect.state import (
    FAULT_DECLARED,
    FLAGS,
    FRESH,
    GRACE_LEFT,
    IN_SPELL,
    INTEGRAL,
    LOCKED_OUT,
    RESET_HELD,
    RESET_PRESSED,
    RESETS,
    RESETS_SHIFT,
    RESTART_LEFT,
    STATE,
    TRIPS,
    VACUUM_SEEN,
)

RUNNING = 1  # run feedback is on
IN_GRACE = 2  # start grace has not run out
LOW = 4  # net oil pressure below cut-out, or a reading not credible
HEALTHY = 8  # net oil pressure at or above cut-in, and credible
INTEGRAL_FULL = 16  # the time-delay integral has reached the trip delay
RELOAD_GUARD = 32  # suction pressure is back, and what was starved in a vacuum has not drained away
RESTART_DUE = 64  # the machine has stood still for the restart delay
LAST_TRIP = 128  # one more trip makes trips_to_lockout
RESET_PRESS = 256  # locked out, and the reset was pressed and held for reset_hold at standstill
SENSOR_OK = 512  # every reading of this step is credible
SENSOR_FAULT = 1024  # doubt has reached the fault delay and has not drained away
RESETS_SPENT = 2048  # as many manual resets as resets_most have come within the trip memory

NAMES = (
    "running",
    "in_grace",
    "low",
    "healthy",
    "integral_full",
    "reload_guard",
    "restart_due",
    "last_trip",
    "reset_press",
    "sensor_ok",
    "sensor_fault",
    "resets_spent",
)


def follow_spell(state: list[int], settings: list[int], suction: int, bits: int) -> None:
    """Open, keep or close the starved spell, and remember vacuum within it for as long as its debt stands.

    A spell lasts from falling below cut-out until cut-in is reached, or until
    the machine stops: at the next start every net oil pressure begins at nothing.
    That it saw vacuum is forgotten with a stop, or once healthy oil pressure has drained
    the integral: after a reload that pressure is back a second later, and the film is not.
    """
    if not (bits & RUNNING):
        state[FLAGS] &= ~(IN_SPELL | VACUUM_SEEN)
        return
    if bits & HEALTHY:
        state[FLAGS] &= ~IN_SPELL
        if state[INTEGRAL] == 0:
            state[FLAGS] &= ~VACUUM_SEEN
        return
    if bits & LOW:
        state[FLAGS] |= IN_SPELL
    if state[FLAGS] & IN_SPELL and bits & SENSOR_OK and suction < settings[VACUUM]:
        state[FLAGS] |= VACUUM_SEEN


def reload_guard(state: list[int], settings: list[int], suction: int, bits: int) -> bool:
    """Say whether suction pressure loads bearings that are, by the integral, short of oil: a level, not an edge."""
    return (
        (state[FLAGS] & VACUUM_SEEN) != 0
        and (bits & SENSOR_OK) != 0
        and suction >= settings[RELOAD]
        and state[INTEGRAL] >= settings[RELOAD_LEVEL]
    )


def follow_reset(state: list[int], settings: list[int], inputs: list[int]) -> int:
    """Follow the reset input; return RESET_PRESS when a press has lasted for reset_hold.

    A press begins in a lockout, when the input goes from off to on; the restart delay begins
    anew with it, so that what has run off that delay is the standstill since then.
    """
    if not inputs[RESET]:
        state[FLAGS] &= ~(RESET_HELD | RESET_PRESSED)
        return 0
    if state[FLAGS] & RESET_HELD:
        if state[FLAGS] & RESET_PRESSED and settings[RESTART_DELAY] - state[RESTART_LEFT] >= settings[RESET_HOLD]:
            return RESET_PRESS
        return 0
    state[FLAGS] |= RESET_HELD
    if state[STATE] == LOCKED_OUT:
        state[FLAGS] |= RESET_PRESSED
        state[RESTART_LEFT] = settings[RESTART_DELAY]
    return 0


def pressure_bits(settings: list[int], outputs: list[int]) -> int:
    """Return SENSOR_OK, LOW and HEALTHY as net oil pressure and credibility have them."""
    if not outputs[CREDIBLE]:
        return LOW
    if outputs[NET_OIL_PRESSURE] >= settings[CUT_IN]:
        return SENSOR_OK | HEALTHY
    if outputs[NET_OIL_PRESSURE] < settings[CUT_OUT]:
        return SENSOR_OK | LOW
    return SENSOR_OK


def memory_bits(state: list[int], settings: list[int]) -> int:
    """Return the bits that tell how far integral, timers and counts have come."""
    bits = 0
    if state[GRACE_LEFT] > 0:
        bits |= IN_GRACE
    if state[INTEGRAL] >= settings[TRIP_DELAY]:
        bits |= INTEGRAL_FULL
    if state[RESTART_LEFT] == 0:
        bits |= RESTART_DUE
    if state[TRIPS] + 1 >= settings[TRIPS_TO_LOCKOUT]:
        bits |= LAST_TRIP
    if state[FLAGS] & FAULT_DECLARED:
        bits |= SENSOR_FAULT
    if (state[FLAGS] & RESETS) >= (settings[RESETS_MOST] << RESETS_SHIFT):
        bits |= RESETS_SPENT
    return bits


def evaluate(state: list[int], settings: list[int], inputs: list[int], outputs: list[int]) -> int:
    """Return the conditions of this step, the doubts above them; spell, reset and first-step flags move on."""
    state[FLAGS] &= ~FRESH
    bits = outputs[CONDITIONS] | follow_reset(state, settings, inputs)
    bits |= pressure_bits(settings, outputs) | memory_bits(state, settings)
    if inputs[RUN_FEEDBACK]:
        bits |= RUNNING
    suction = inputs[SUCTION_PRESSURE]
    follow_spell(state, settings, suction, bits)
    if reload_guard(state, settings, suction, bits):
        bits |= RELOAD_GUARD
    return bits
