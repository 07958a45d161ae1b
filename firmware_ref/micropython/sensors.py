"""Converter counts -> absolute pressure in Pa, or NO_READING. Small integers only: nothing is allocated.

4-20 mA after NAMUR NE 43, as secondary texts tell it: 3.8 to 20.5 mA is a measurement;
up to 3.6 mA and from 21.0 mA on the sensor signals its failure. Neither that nor what
lies between the bands is a reading.

0.5-4.5 V ratiometric (common practice, no source): the signal counts as a part of its supply, 10 % to 90 %.
Below 5 % and above 95 % it is a broken wire or a short circuit.
"""

from protect.ranges import NO_READING

MEASURED_UA = (3800, 20500)
LIVE_ZERO_UA = 4000

PART_BITS = 12  # a ratio in 1/4096
BROKEN_PART = 205  # 5 % of 4096, rounded up: not a measurement below it
SHORTED_PART = 3891  # 95 % of 4096, rounded down: not a measurement above it

POSITION_BITS = 15  # 0 .. 32768 from the lower to the upper end of a signal


def pressure(position: int, least_kpa: int, most_kpa: int) -> int:
    """Return Pa for a position between (and a little beyond) the ends of a signal."""
    # |position| <= 34816 and a span of at most 20000 kPa: the product stays below 2**30.
    scaled = position * (most_kpa - least_kpa)
    whole = scaled >> POSITION_BITS
    rest = scaled - (whole << POSITION_BITS)  # 0 .. 32767
    return (least_kpa + whole) * 1000 + (rest * 1000 >> POSITION_BITS)


def loop_current(counts: int, full_scale_ua: int) -> int:
    """Return uA for 16-bit counts; the full scale is at most 32000 uA."""
    return counts * (full_scale_ua >> 1) >> 15


def loop_pressure(current_ua: int, least_kpa: int, most_kpa: int) -> int:
    """Return Pa of a 4-20 mA sensor, or NO_READING outside the band of measurements."""
    if current_ua < MEASURED_UA[0] or current_ua > MEASURED_UA[1]:
        return NO_READING
    return pressure(((current_ua - LIVE_ZERO_UA) << 11) // 1000, least_kpa, most_kpa)


def ratiometric_pressure(
    counts: int, supply: int, supply_counts: tuple[int, int], least_kpa: int, most_kpa: int
) -> int:
    """Return Pa of a 0.5-4.5 V sensor from its counts and those of its supply, or NO_READING."""
    if supply < supply_counts[0] or supply > supply_counts[1]:
        return NO_READING
    part = (counts << PART_BITS) // supply  # counts <= 65535: below 2**28
    if part < BROKEN_PART or part > SHORTED_PART:
        return NO_READING
    # 10 % .. 90 % of 4096 is 409.6 .. 3686.4; times ten 4096 .. 36864.
    return pressure(part * 10 - (1 << PART_BITS), least_kpa, most_kpa)
