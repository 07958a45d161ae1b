"""Rules between settings, and the values worked out once from them.

Nothing here runs in a step, so division is allowed; every value that is
worked out stays below 2**30 here too.
"""

from protect.ranges import (
    CUT_IN,
    CUT_OUT,
    FLOOR,
    FLOOR_WEIGHT,
    MAX_GAP,
    OIL_LEAST,
    OIL_MOST,
    ONE,
    PERCENT_SCALE,
    RELOAD,
    RELOAD_FRACTION,
    RELOAD_LEVEL,
    RESET_HOLD,
    REST_SETTLE,
    RESTART_DELAY,
    SETTING_COUNT,
    SETTINGS,
    SLOPE,
    STUCK_AFTER,
    SUCTION_LEAST,
    SUCTION_MOST,
    TRIP_DELAY,
    VACUUM,
    WEIGHT_BITS,
)

SLOPE_BITS = 16  # the ramp of the weight is a product shifted down by this much
PERCENT_BITS = 23

# (lower, higher, gap): settings[lower] + gap <= settings[higher].
RELATIONS = (
    (FLOOR, CUT_OUT, 1),
    (CUT_OUT, CUT_IN, 1),
    (CUT_IN, OIL_MOST, 1),
    (VACUUM, RELOAD, 0),
    (OIL_LEAST, OIL_MOST, 1),
    (SUCTION_LEAST, SUCTION_MOST, 1),
    (SUCTION_LEAST, VACUUM, 0),
    (RELOAD, SUCTION_MOST, 0),
    (MAX_GAP, STUCK_AFTER, 1),
    (REST_SETTLE, RESTART_DELAY, 0),
    (RESET_HOLD, RESTART_DELAY, 0),
)

ALL_RIGHT = -1


def first_fault(settings: list[int]) -> int:
    """Say what is wrong with the settings first, or ALL_RIGHT.

    Below SETTING_COUNT the answer is the place of a value outside its range;
    from SETTING_COUNT on, answer - SETTING_COUNT is the row of a broken relation.
    """
    for place in range(SETTING_COUNT):
        row = SETTINGS[place]
        if settings[place] < row[2] or settings[place] > row[3]:
            return place
    for number in range(len(RELATIONS)):
        lower, higher, gap = RELATIONS[number]
        if settings[lower] + gap > settings[higher]:
            return SETTING_COUNT + number
    return ALL_RIGHT


def derive(settings: list[int]) -> None:
    """Fill the derived places of settings that have passed first_fault()."""
    # Rounded down, so that the ramp never passes floor_weight. The span is at
    # least 1 Pa, the numerator at most 7 * 2048 << 16 = 939524096 < 2**30.
    span = settings[CUT_OUT] - settings[FLOOR]
    settings[SLOPE] = ((settings[FLOOR_WEIGHT] - ONE) << SLOPE_BITS) // span
    settings[PERCENT_SCALE] = (100 << PERCENT_BITS) // settings[TRIP_DELAY]
    # fraction * trip_delay / 2048, rounded down; the whole product would pass 2**31, so
    # the trip delay goes in as a multiple of 2048 and a rest: 2048 * 878 and 2048 * 2047 at most.
    whole = settings[TRIP_DELAY] >> WEIGHT_BITS
    rest = settings[TRIP_DELAY] & (ONE - 1)
    settings[RELOAD_LEVEL] = settings[RELOAD_FRACTION] * whole + ((settings[RELOAD_FRACTION] * rest) >> WEIGHT_BITS)
