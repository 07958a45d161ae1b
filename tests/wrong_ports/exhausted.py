"""Mistakes that are shown to change nothing by going through all numbers that there are, or all that matter.

The percentage rises with the integral, and so does what each mistake here makes of it: it is the same everywhere if
it is the same at the first ms of every percentage and at the last before it, for every trip delay.

A light gain that goes the way of draining adds the same, but is not held at the trip delay; what is in doubt is added behind
it in the same step, be it nothing, and that holds it. Of the elapsed time only its rest by 2048 matters, as 2048 ms
more add the gain itself either way, and of the fraction only where it carries.
"""

import inspect
from collections.abc import Callable
from typing import Any

from protect import integral as integrating
from protect import ranges, settings, state
from tests.wrong_ports.spans import ENDS

PRODUCT = "outputs.percent: state[INTEGRAL] * settings[PERCENT_SCALE]"
QUOTIENT = f"{PRODUCT} >> PERCENT_BITS"
BITS, HALF = settings.PERCENT_BITS, 1 << (settings.PERCENT_BITS - 1)

Whole = Callable[[int, int], int]  # (integral, scale) -> the percentage before it is put right
PERCENTAGES: dict[str, Whole] = {
    f"{PRODUCT} [in units of 10, rounded]": lambda integral, scale: (integral * scale + 5) // 10 * 10 >> BITS,
    f"{QUOTIENT} [without the half]": lambda integral, scale: (integral * scale - HALF) >> BITS,
    f"{QUOTIENT} [half rounded down]": lambda integral, scale: (integral * scale - 1) >> BITS,
    f"{QUOTIENT} [half rounded to even]": lambda integral, scale: (
        (integral * scale >> BITS) - int(integral * scale & (2 * HALF - 1) == 0 and (integral * scale >> BITS) & 1 == 1)
    ),
    f"settings[{ranges.PERCENT_SCALE}] as a whole [one less]": lambda integral, scale: integral * (scale - 1) >> BITS,
}


def first_difference(whole_of: Whole) -> tuple[int, int] | None:
    """Return the first trip delay and integral (ms) at which a percentage is another one; None where there is none."""
    import numba

    least, most = ENDS[ranges.TRIP_DELAY]
    whole_in, bits = numba.njit(whole_of), BITS

    @numba.njit
    def look() -> tuple[int, int]:
        for delay in range(least, most + 1):
            scale = (100 << bits) // delay
            for percent in range(101):
                begin = -(-percent * delay // 100)
                for integral in range(max(begin - 1, 0), min(begin + 1, delay)):
                    whole = whole_in(integral, scale)
                    if (whole + 1) * delay <= 100 * integral:
                        whole += 1
                    if whole != 100 * integral // delay:
                        return delay, integral
        return 0, 0

    found = look()
    return (int(found[0]), int(found[1])) if found[0] else None


LIGHT = "integral.accumulate: gain >= 0 [compared 1000 off]"
DRAINS = "if gain >= 1000:"


def deciding_by(line: str) -> Callable[..., None]:
    """Return accumulate() with another line for its decision."""
    text = inspect.getsource(integrating.accumulate)
    if text.count("if gain >= 0:") != 1:
        raise ValueError("accumulate() decides by another line")
    made: dict[str, Any] = dict(vars(integrating))
    exec(text.replace("if gain >= 0:", line), made)  # noqa: S102 - the logic itself
    return made["accumulate"]  # type: ignore[no-any-return]


def added_alike(line: str = DRAINS) -> bool:
    """Say whether accumulate() with another line for its decision comes to the same with doubt added behind each light gain."""
    import numba
    import numpy as np

    right, wrong = numba.njit(integrating.accumulate), numba.njit(deciding_by(line))
    least, one, full = ranges.SETTINGS[ranges.VACUUM_WEIGHT][2], ranges.ONE, ranges.TRIP_DELAY
    whole, part, before = state.INTEGRAL, state.INTEGRAL_FRACTION, 10

    @numba.njit
    def same(gain: int, elapsed: int, fraction: int, values: Any) -> bool:
        memory, other = np.zeros((2, state.STATE_SIZE), np.int64)
        for words in (memory, other):
            words[whole], words[part] = before, fraction
        right(memory, values, gain, elapsed)
        wrong(other, values, gain, elapsed)
        for doubted in (0, 1):
            right(memory, values, one, doubted)
            right(other, values, one, doubted)
            if memory[whole] != other[whole] or memory[part] != other[part]:
                return False
        return True

    @numba.njit
    def look(gain: int, values: Any) -> bool:
        for elapsed in range(one):
            edge = -gain * elapsed & (one - 1)
            for fraction in (0, max(edge - 1, 0), edge, one - 1):
                added = before + ((fraction + gain * elapsed) >> 11)
                for delay in range(max(before + 1, added - 1), added + 2):
                    values[full] = delay
                    if not same(gain, elapsed, fraction, values):
                        return False
        return True

    values = np.zeros(ranges.SETTINGS_SIZE, np.int64)
    return all(look(gain, values) for gain in range(least, 1000))
