"""Step 2, the time-delay integral: weighted time spent short of oil.

    weight(net, suction) =
        -recovery                                              net >= cut_in
         0                                                     cut_out <= net < cut_in
         1 + (floor_weight - 1) * (cut_out - net) / (cut_out - floor)
                                                               floor <= net < cut_out
         floor_weight                                          net < floor
      and, below cut_out, times vacuum_weight while suction < vacuum

    integral += weight * elapsed, kept within 0 .. trip delay

The integral is kept as whole ms and a fraction in 1/2048 ms, so nothing is lost
between steps: one step over 2 t equals two steps over t with the same readings.
That holds at the end of the start grace and of the stuck check too, because
those share the elapsed time instead of rounding to whole ticks.
"""

from protect.outputs import DOUBTED, NET_OIL_PRESSURE, SEEN
from protect.ranges import (
    CUT_IN,
    CUT_OUT,
    FLOOR,
    FLOOR_WEIGHT,
    ONE,
    RECOVERY,
    RUN_FEEDBACK,
    SLOPE,
    START_GRACE,
    STOPPED_RECOVERY,
    SUCTION_PRESSURE,
    TRIP_DELAY,
    VACUUM,
    VACUUM_WEIGHT,
    WEIGHT_BITS,
)
from protect.settings import SLOPE_BITS
from protect.state import GRACE_LEFT, INTEGRAL, INTEGRAL_FRACTION


def weight(settings: list[int], net: int, suction: int) -> int:
    """Weight (1/2048) of a moment with these pressures (Pa); negative when healthy."""
    if net >= settings[CUT_IN]:
        return -settings[RECOVERY]
    if net >= settings[CUT_OUT]:
        return 0
    if net < settings[FLOOR]:
        gain = settings[FLOOR_WEIGHT]  # <= 8 * 2048
    else:
        # depth * slope <= (floor_weight - 1) << 16 <= 939524096; with the half < 2**30
        depth = settings[CUT_OUT] - net
        gain = ONE + ((depth * settings[SLOPE] + (1 << (SLOPE_BITS - 1))) >> SLOPE_BITS)
    if suction < settings[VACUUM]:
        # <= 16384 * 16384 + 1024 < 2**29; the result <= 64 * 2048
        gain = (gain * settings[VACUUM_WEIGHT] + (ONE >> 1)) >> WEIGHT_BITS
    return gain


def accumulate(state: list[int], settings: list[int], gain: int, elapsed: int) -> None:
    """Add gain (1/2048, any sign) times elapsed (ms), kept within 0 .. trip delay.

    |gain| <= 64 * 2048 with elapsed <= 300000, or gain == 2048 with elapsed <=
    1800000; so the fraction stays <= 2047 * 300000 + 2047 = 614102047 and the
    whole part <= 1800000 + 64 * 300000 + 299853 = 21299853.
    """
    if gain >= 0:
        fraction = state[INTEGRAL_FRACTION] + (gain & (ONE - 1)) * elapsed
        whole = state[INTEGRAL] + (gain >> WEIGHT_BITS) * elapsed + (fraction >> WEIGHT_BITS)
        fraction &= ONE - 1
        if whole >= settings[TRIP_DELAY]:
            whole = settings[TRIP_DELAY]
            fraction = 0
    else:
        drained = (-gain & (ONE - 1)) * elapsed
        whole = state[INTEGRAL] - (-gain >> WEIGHT_BITS) * elapsed - (drained >> WEIGHT_BITS)
        fraction = state[INTEGRAL_FRACTION] - (drained & (ONE - 1))
        if fraction < 0:
            fraction += ONE
            whole -= 1
        if whole < 0:
            whole = 0
            fraction = 0
    state[INTEGRAL] = whole
    state[INTEGRAL_FRACTION] = fraction


def past_grace(state: list[int], elapsed: int) -> int:
    """Use up start grace; return the ms of `elapsed` that lie behind it."""
    left = state[GRACE_LEFT] - elapsed
    if left >= 0:
        state[GRACE_LEFT] = left
        return 0
    state[GRACE_LEFT] = 0
    return -left


def regain_grace(state: list[int], settings: list[int], elapsed: int) -> None:
    """Give back start grace for ms of standstill, up to the whole of it."""
    left = state[GRACE_LEFT] + elapsed  # <= 1800000 + 300000
    if left > settings[START_GRACE]:
        left = settings[START_GRACE]
    state[GRACE_LEFT] = left


def update(state: list[int], settings: list[int], inputs: list[int], outputs: list[int]) -> None:
    """Move the integral and the start grace by this step's elapsed time.

    What was seen counts by its weight, what was doubted as short of oil at
    weight 1, in this order, as they come in time. A deficit counts only after
    the start grace; a healthy stretch drains at once. At standstill the
    integral drains, and the grace grows back, only for time that was seen: a
    machine switched off and on again, or run feedback that flickers, gains no
    more grace than it stood still.
    """
    seen = outputs[SEEN]
    if not inputs[RUN_FEEDBACK]:
        regain_grace(state, settings, seen)
        accumulate(state, settings, -settings[STOPPED_RECOVERY], seen)
        return
    gain = weight(settings, outputs[NET_OIL_PRESSURE], inputs[SUCTION_PRESSURE])
    counted = past_grace(state, seen)
    if gain < 0:
        counted = seen
    accumulate(state, settings, gain, counted)
    accumulate(state, settings, ONE, past_grace(state, outputs[DOUBTED]))
