"""Step 6, outputs: run permission, alarm, cause of the stop, integral in percent.

The outputs array also carries what the earlier parts of a step hand on, so that
whoever watches the logic sees the very values it decided on.
"""

from protect.ranges import PERCENT_SCALE, TRIP_DELAY
from protect.settings import PERCENT_BITS
from protect.state import CAUSE, INTEGRAL, NO_CAUSE, STARVED, STATE, TRIPPED

# Places in the outputs array: what the plant gets ...
RUN_PERMISSION = 0  # 1 the machine may run
ALARM = 1  # 1 short of oil, stopped, or a reading in doubt
STOP_CAUSE = 2  # reason code while run permission is withdrawn; of a sensor stop with its doubts
INTEGRAL_PERCENT = 3  # 0 .. 100; 100 only when full
# ... and what the parts of a step hand on.
CONDITIONS = 4  # the bits of conditions.py, and above them the doubts of this step (signals.py)
NET_OIL_PRESSURE = 5  # Pa; 0 when a reading was missing, implausible or late
CREDIBLE = 6  # 1 when every reading of this step is credible
SEEN = 7  # ms of the elapsed time to which the readings apply
DOUBTED = 8  # ms of the elapsed time that count as short of oil at weight 1
OUTPUTS_SIZE = 9


def percent(state: list[int], settings: list[int]) -> int:
    """Integral in whole percent of the trip delay, rounded down."""
    if state[INTEGRAL] >= settings[TRIP_DELAY]:
        return 100
    # integral < trip delay, so the product is < 100 << 23 = 838860800 < 2**30. The
    # scale is rounded down, so what comes out is right or one short.
    whole = (state[INTEGRAL] * settings[PERCENT_SCALE]) >> PERCENT_BITS
    if (whole + 1) * settings[TRIP_DELAY] <= 100 * state[INTEGRAL]:  # <= 180000000
        whole += 1
    return whole


def write(state: list[int], settings: list[int], outputs: list[int]) -> None:
    """Fill what the plant gets from the settled state."""
    outputs[RUN_PERMISSION] = 1
    outputs[ALARM] = 0
    outputs[STOP_CAUSE] = NO_CAUSE
    if state[STATE] >= TRIPPED:
        outputs[RUN_PERMISSION] = 0
        outputs[STOP_CAUSE] = state[CAUSE]
    if state[STATE] >= STARVED or not outputs[CREDIBLE]:
        outputs[ALARM] = 1
    outputs[INTEGRAL_PERCENT] = percent(state, settings)
