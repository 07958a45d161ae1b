"""Numbers of a source as absolute Pa: unit, gauge or absolute, and the range of what a sensor can say."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from protect.ranges import INPUTS, NO_READING, OIL_PRESSURE, SUCTION_PRESSURE
from replay.measured.unit_text import Unit

RANGE_PLACES = {
    "oil_pressure": OIL_PRESSURE,
    "suction_pressure": SUCTION_PRESSURE,
    "crankcase_pressure": SUCTION_PRESSURE,
}


@dataclass(frozen=True)
class Converter:
    """pa = number * scale + offset, all of one channel; a difference is later added to the crankcase pressure."""

    signal: str
    scale: float
    offset: float

    def pascals(self, numbers: NDArray[np.float64]) -> tuple[NDArray[np.int64], int]:
        """Return absolute Pa or NO_READING, and how many readings no sensor can have said."""
        with np.errstate(over="ignore"):
            pascals = numbers * self.scale
            pascals += self.offset
        return within(pascals, self.signal)


def converter(signal: str, unit: Unit, atmosphere_pa: float) -> Converter:
    """Return how the numbers of a pressure channel become absolute Pa (a difference: Pa above the crankcase)."""
    if unit.reference == "vacuum":
        return Converter(signal, -unit.scale, atmosphere_pa)
    return Converter(signal, unit.scale, atmosphere_pa if unit.reference == "gauge" else 0.0)


def within(pascals: NDArray[np.float64], signal: str) -> tuple[NDArray[np.int64], int]:
    """Return whole Pa, NO_READING for NaN and outside the admitted range; and the number of the latter.

    pascals: rounded in place.
    """
    _, _, least, most = INPUTS[RANGE_PLACES[signal]]
    whole = np.rint(pascals, out=pascals)
    if not len(whole) or (whole.min() >= least and whole.max() <= most):  # false where there is a NaN
        return whole.astype(np.int64), 0
    with np.errstate(invalid="ignore"):
        real = (whole >= least) & (whole <= most)
    beyond = int((~real & ~np.isnan(whole)).sum())
    return np.where(real, np.where(real, whole, 0.0), NO_READING).astype(np.int64), beyond


def above_crankcase(difference: NDArray[np.float64], crankcase: NDArray[np.int64]) -> tuple[NDArray[np.int64], int]:
    """Return the oil pressure where it was logged as a difference (Pa) to the crankcase; no reading without either."""
    base = np.where(crankcase == NO_READING, np.nan, crankcase.astype(np.float64))
    return within(difference + base, "oil_pressure")
