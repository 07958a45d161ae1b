"""When the time-delay integral fills, worked out on paper: times in ms, pressures of the profile in `protection`."""

from fractions import Fraction
from math import ceil, sqrt

CUT_OUT, FLOOR, FLOOR_WEIGHT, VACUUM_WEIGHT, TRIP_DELAY, RECOVERY = 60_000, 20_000, 4, 2, 120_000, 1


def weight(net: int, *, vacuum: bool = False) -> Fraction:
    """Return the weight of a constant net oil pressure below cut-out."""
    depth = min(Fraction(CUT_OUT - net, CUT_OUT - FLOOR), Fraction(1))
    return (1 + (FLOOR_WEIGHT - 1) * depth) * (VACUUM_WEIGHT if vacuum else 1)


def constant(net: int, *, vacuum: bool = False) -> Fraction:
    """Return the trip time of a constant deficit: trip delay over weight."""
    return TRIP_DELAY / weight(net, vacuum=vacuum)


def ramp(fall: int) -> float:
    """Return the trip time of a net oil pressure that falls evenly from cut-out to the floor in `fall` ms.

    The weight is 1 + 3 t / fall until then, the integral t + 3 t^2 / (2 fall); after
    the floor it grows by 4 a ms.
    """
    at_floor = fall + (FLOOR_WEIGHT - 1) * fall / 2
    if at_floor < TRIP_DELAY:
        return fall + (TRIP_DELAY - at_floor) / FLOOR_WEIGHT
    slope = (FLOOR_WEIGHT - 1) / fall
    return (sqrt(1 + 2 * slope * TRIP_DELAY) - 1) / slope


def square(net: int, low: int, healthy: int) -> Fraction | None:
    """Return the trip time when `low` ms at `net` and `healthy` ms take turns; None when it never trips.

    Each turn leaves weight * low - healthy more behind, or nothing.
    """
    gain = weight(net) * low
    rest = gain - RECOVERY * healthy
    if gain >= TRIP_DELAY:
        return TRIP_DELAY / weight(net)
    if rest <= 0:
        return None
    turns = ceil((TRIP_DELAY - gain) / rest)
    return turns * (low + healthy) + (TRIP_DELAY - turns * rest) / weight(net)
