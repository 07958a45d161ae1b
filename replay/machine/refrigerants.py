"""Refrigerants by their standard number, as `tabulate` made them from CoolProp, and where the model's equations end."""

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from replay.physics import Refrigerant
from replay.physics.arithmetic import exp
from replay.physics.tables import TEMPERATURES_K

FILE = Path(__file__).with_name("refrigerants.json")
SOURCE = "CoolProp 8.0, tabulated from -40 to 100 C"
GAS_TEMPERATURE_K = 288.15  # at which suction gas is held against the ideal gas


@dataclass(frozen=True)
class Gas:
    """A refrigerant's figures; lists over the physics' grid of temperatures, ln of Pa.

    dew: of the last drop, bubble: of the first bubble, which differ in a mixture with a glide; log_fugacity: ln phi of
    the saturated gas. Above 15 K short of the critical temperature they are what a liquid would have.
    """

    name: str
    molar_mass_g_mol: float
    isentropic_exponent: float
    liquid_density_kg_m3: float
    liquid_viscosity_mm2_s: float
    evaporation_heat_j_kg: float
    critical_k: float
    log_dew: tuple[float, ...]
    log_bubble: tuple[float, ...]
    liquid_m3_mol: tuple[float, ...]
    log_fugacity: tuple[float, ...]

    def at(self, its: tuple[float, ...], kelvin: float) -> float:
        """Return one of the lists at a temperature: straight over 1/T."""
        i = min(max(int((kelvin - TEMPERATURES_K[0]) / 10.0), 0), len(TEMPERATURES_K) - 2)
        low, high = TEMPERATURES_K[i], TEMPERATURES_K[i + 1]
        share = (1.0 / low - 1.0 / kelvin) / (1.0 / low - 1.0 / high)
        return its[i] + share * (its[i + 1] - its[i])

    def evaporating_pa(self, kelvin: float) -> float:
        """Return the suction pressure (Pa) of an evaporating temperature: the dew point's."""
        return exp(self.at(self.log_dew, kelvin))

    def condensing_pa(self, kelvin: float) -> float:
        """Return the discharge pressure (Pa) of a condensing temperature: the dew point's, as compressors are rated."""
        return exp(self.at(self.log_dew, kelvin))

    def compressibility(self, pressure_pa: float) -> float:
        """Return Z (-) of the suction gas by its second virial coefficient: 1 where it is an ideal gas."""
        bend, saturated = self.at(self.log_fugacity, GAS_TEMPERATURE_K), exp(self.at(self.log_dew, GAS_TEMPERATURE_K))
        return 1.0 + bend * pressure_pa / saturated

    @property
    def refrigerant(self) -> Refrigerant:
        """The refrigerant as the physics takes it."""
        return Refrigerant(
            self.name,
            self.molar_mass_g_mol,
            self.isentropic_exponent,
            self.liquid_density_kg_m3,
            self.liquid_viscosity_mm2_s,
            self.log_dew,
        )


@cache
def gases() -> dict[str, Gas]:
    """Return all refrigerants by number."""
    rows = json.loads(FILE.read_text(encoding="utf-8"))
    found = {}
    for name, row in rows.items():
        figures: Any = {key: tuple(its) if isinstance(its, list) else its for key, its in row.items()}
        found[name] = Gas(name, **figures)
    return found
