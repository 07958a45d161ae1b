"""Mistakes that are shown to change nothing by going through all numbers that there are.

The percentage rises with the integral, and so does what each mistake here makes of it: it is the same everywhere if
it is the same at the first ms of every percentage and at the last before it, for every trip delay.
"""

from collections.abc import Callable

from protect import ranges, settings
from tests.wrong_ports.spans import ENDS

PRODUCT = "outputs.percent: state[INTEGRAL] * settings[PERCENT_SCALE]"
QUOTIENT = f"{PRODUCT} >> PERCENT_BITS"
BITS, HALF = settings.PERCENT_BITS, 1 << (settings.PERCENT_BITS - 1)

# What each mistake makes of the product of integral and scale before the percentage is put right.
PERCENTAGES: dict[str, Callable[[int], int]] = {
    f"{PRODUCT} [in units of 10, rounded]": lambda product: (product + 5) // 10 * 10 >> BITS,
    f"{QUOTIENT} [without the half]": lambda product: (product - HALF) >> BITS,
    f"{QUOTIENT} [half rounded down]": lambda product: (product - 1) >> BITS,
    f"{QUOTIENT} [half rounded to even]": lambda product: (
        (product >> BITS) - int(product & (2 * HALF - 1) == 0 and (product >> BITS) & 1 == 1)
    ),
}


def first_difference(whole_of: Callable[[int], int]) -> tuple[int, int] | None:
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
                    whole = whole_in(integral * scale)
                    if (whole + 1) * delay <= 100 * integral:
                        whole += 1
                    if whole != 100 * integral // delay:
                        return delay, integral
        return 0, 0

    found = look()
    return (int(found[0]), int(found[1])) if found[0] else None
