"""What the logic remembers between two steps: sixteen integers.

States, in the order of how far they are from run permission; everything from
TRIPPED on has none.
"""

from protect.ranges import NO_READING, RESTART_DELAY, START_GRACE

STOPPED = 0
PRIMING = 1
LUBRICATED = 2
STARVED = 3
TRIPPED = 4
LOCKED_OUT = 5

# Reason codes of a stop; the host makes text of them.
NO_CAUSE = 0
OIL_CAUSE = 1  # the time-delay integral was full
RELOAD_CAUSE = 2  # suction pressure came back onto bearings short of oil, which locks out
SENSOR_CAUSE = 3  # readings not credible for the fault delay; above it the doubts of that step (signals.py)
RESETS_CAUSE = 4  # a manual reset was refused, as too many came within the trip memory
CAUSE_CODE = 7  # the bits of the reason code itself

# Places in the state array.
STATE = 0
INTEGRAL = 1  # whole weight * ms, 0 .. trip delay
INTEGRAL_FRACTION = 2  # the rest, in 1/2048 of a ms
GRACE_LEFT = 3  # ms of start grace still to run
RESTART_LEFT = 4  # ms of standstill still wanted before a restart
MEMORY_LEFT = 5  # ms until the counted trips and resets are forgotten
TRIPS = 6  # trips remembered
FAULT_TIME = 7  # ms of doubt, counted up while in doubt and down while credible
FLAGS = 8
CAUSE = 9  # reason code of the last stop, and what it tells of the sensors
OIL_SEEN = 10  # last oil pressure, and in the next place for how long it has not moved
SUCTION_SEEN = 12
CRANKCASE_SEEN = 14
STATE_SIZE = 16

# Bits of FLAGS.
FRESH = 1  # no step yet since power-up
RESET_HELD = 2  # reset input was on in the last step
IN_SPELL = 4  # a starved spell is open: from below cut-out until cut-in
VACUUM_SEEN = 8  # suction pressure was below vacuum in a spell whose debt has not drained
FAULT_DECLARED = 16  # doubt reached the fault delay and has not drained away since
ONE_RESET = 32  # the lowest of three bits that count the manual resets of the trip memory
RESETS = 224
RESET_PRESSED = 256  # locked out, and the reset has been on since it was pressed
RESETS_SHIFT = 5  # ONE_RESET == 1 << RESETS_SHIFT


def power_up(state: list[int], settings: list[int]) -> None:
    """Set the state of a machine at rest with an empty memory.

    Reset counts as held, so a reset input that is on from power-up gives no edge.
    """
    for place in range(STATE_SIZE):
        state[place] = 0
    state[GRACE_LEFT] = settings[START_GRACE]
    state[RESTART_LEFT] = settings[RESTART_DELAY]
    state[FLAGS] = FRESH | RESET_HELD
    state[OIL_SEEN] = NO_READING
    state[SUCTION_SEEN] = NO_READING
    state[CRANKCASE_SEEN] = NO_READING
