"""Saturated suction temperature as pressure: of a named refrigerant, through CoolProp (needs the extra `saturation`).

A blend boils over a range: a saturated suction temperature is taken as its dew point, as gauges and controllers of the
trade show it (common practice, no source); how far the bubble point lies off is said.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from replay.ground.extras import install
from replay.ground.refusal import Refusal, refusal
from replay.measured.profile import Profile

KELVIN = 273.15
STEP_K = 0.05  # of the table that is interpolated: less than 1 Pa in 1 kPa off


class Saturation:
    """The dew pressure of one refrigerant by temperature. Raises Refusal without the extra, or for an unknown name."""

    def __init__(self, profile: Profile, refrigerant: str) -> None:
        self.profile, self.refrigerant = profile, refrigerant
        try:
            from CoolProp import CoolProp
        except ImportError:
            rule = "saturated temperatures need a package that is not installed"
            raise refusal(profile.path, "", rule, install("saturation")) from None
        self.props: Any = CoolProp.PropsSI
        try:
            coldest, hottest = self.props("Ttriple", refrigerant), self.props("Tcrit", refrigerant)
        except ValueError:
            raise self._unknown() from None
        self.kelvin = np.arange(max(coldest + 1.0, 120.0), hottest - 1.0, STEP_K)
        self.log_pa = np.log(np.array(self.props("P", "T", self.kelvin, "Q", 1.0, refrigerant), dtype=np.float64))

    def _unknown(self) -> Refusal:
        return refusal(
            self.profile.path,
            "[suction_pressure] refrigerant",
            "not known by this name",
            '"R134a", "R404A", "R507A", "R410A", "R22", "R717" (or "Ammonia"), "R744", ...',
            self.refrigerant,
        )

    def pascals(self, celsius: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return absolute Pa, NaN for what lies outside the range between triple and critical point."""
        kelvin = celsius + KELVIN
        with np.errstate(invalid="ignore"):
            outside = ~((kelvin >= self.kelvin[0]) & (kelvin <= self.kelvin[-1]))
        log_pa = np.interp(np.where(outside, self.kelvin[0], kelvin), self.kelvin, self.log_pa)
        return np.where(outside, np.nan, np.exp(log_pa))

    def told(self) -> str:
        """Say how temperatures became pressures, and what a blend leaves open."""
        middle = 263.15
        dew, bubble = (float(self.props("P", "T", middle, "Q", quality, self.refrigerant)) for quality in (1.0, 0.0))
        told = f"suction pressure is that of saturated {self.refrigerant} at its temperature (dew point, CoolProp)"
        off = (bubble - dew) / 1000
        return told + (f"; bubble point would be {off:.0f} kPa above at -10 degC" if off > 0.01 * dew / 1000 else "")
