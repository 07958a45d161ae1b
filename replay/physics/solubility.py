"""Refrigerant dissolved in oil: Flory-Huggins activity with gas fugacity and the Poynting correction.

    ln gamma1 = ln(1 - (1 - 1/r) F) + (1 - 1/r) F + chi F^2,   F = r x2/(x1 + r x2)
    chi       = (w0/T)(1 + w1/T)
    phi(T,p) p = gamma1 x1 phi_sat(T) p_sat(T) exp(vL (p - p_sat)/(R T))

x1, x2 mole fractions of refrigerant and oil, T in K, p in Pa, r the ratio of molar volumes.
Source of the form and of every constant in `PUBLISHED`: Wahlstrom A. and Vamling L. (2000), J. Chem. Eng. Data
45(1):97-103, DOI 10.1021/je990171n, as carried in the public SorpPropLib database; the paper itself was not
seen. Fitted from 303 to 363 K: a colder sump is an extrapolation, for R134a held against three other ester oils down to
263 K (Yokozeki 2001, Martz and Jacobi 1994, Grebner 1992, in the same database): it drifts from them by a fifth. Their
own levels lie up to 45 % from ours and a third from one another where all were measured, so none of them is taken
instead; for R143a and R152a nothing colder was found.

CoolProp is imported late and only here: a simulation reads the table that `tabulate` makes from this module.
"""

import math
from typing import Any, NamedTuple

GAS_CONSTANT_J_MOL_K = 8.31446261815324
LARGEST_FRACTION = 0.45


class FloryHuggins(NamedTuple):
    """Constants of one refrigerant/oil pair: r (-), w0 (K), w1 (K)."""

    r: float
    w0_k: float
    w1_k: float


# Molar masses of the pentaerythritol tetraesters, g/mol, from their formulas.
ESTER_MOLAR_MASS_G_MOL = {"PEC9": 697.05, "PEB8": 640.93, "PEB6": 528.72}

PUBLISHED: dict[tuple[str, str], FloryHuggins] = {
    ("R134a", "PEC9"): FloryHuggins(10.41, 938.0, -176.0),
    ("R134a", "PEB8"): FloryHuggins(6.94, 808.0, -203.0),
    ("R143a", "PEC9"): FloryHuggins(7.79, 817.0, -152.0),
    ("R143a", "PEB8"): FloryHuggins(5.76, 703.0, -162.0),
    ("R152a", "PEC9"): FloryHuggins(10.03, 654.0, -152.0),
    ("R152a", "PEB8"): FloryHuggins(9.76, 707.0, -169.0),
}


def activity(constants: FloryHuggins, temperature_k: float, x1: float) -> float:
    """Return the activity gamma1 x1 (-) of the refrigerant at mole fraction x1 and temperature_k."""
    oil_volume = constants.r * (1.0 - x1)
    phi2 = oil_volume / (x1 + oil_volume)
    chi = constants.w0_k / temperature_k * (1.0 + constants.w1_k / temperature_k)
    reduced = (1.0 - 1.0 / constants.r) * phi2
    return x1 * math.exp(math.log(1.0 - reduced) + reduced + chi * phi2 * phi2)


def mole_fraction(mass_fraction: float, refrigerant_g_mol: float, oil_g_mol: float) -> float:
    """Return the mole fraction of refrigerant from its mass fraction (-); molar masses in g/mol."""
    refrigerant = mass_fraction / refrigerant_g_mol
    return refrigerant / (refrigerant + (1.0 - mass_fraction) / oil_g_mol)


class PureRefrigerant:
    """Saturation, liquid volume and gas fugacity of one refrigerant from CoolProp's equation of state."""

    def __init__(self, name: str) -> None:
        """Open the equation of state; raises ModuleNotFoundError without CoolProp, ValueError if unknown."""
        from CoolProp import CoolProp  # late: takes seconds, and is an extra

        self._kind: Any = CoolProp
        self._state: Any = self._kind.AbstractState("HEOS", name)
        self.name = name
        self.molar_mass_g_mol = 1000.0 * self._state.molar_mass()
        self.critical_temperature_k: float = self._state.T_critical()

    def saturation(self, temperature_k: float) -> tuple[float, float, float]:
        """Return (p_sat in Pa, liquid molar volume in m3/mol, fugacity coefficient at saturation)."""
        self._state.update(self._kind.QT_INPUTS, 0.0, temperature_k)
        pressure, volume = self._state.p(), 1.0 / self._state.rhomolar()
        self._state.update(self._kind.QT_INPUTS, 1.0, temperature_k)
        return pressure, volume, self._fugacity_coefficient()

    def gas_fugacity_coefficient(self, temperature_k: float, pressure_pa: float) -> float:
        """Return phi (-) of the gas at a pressure below saturation."""
        self._state.specify_phase(self._kind.iphase_gas)
        self._state.update(self._kind.PT_INPUTS, pressure_pa, temperature_k)
        self._state.unspecify_phase()
        return self._fugacity_coefficient()

    def _fugacity_coefficient(self) -> float:
        compressibility = self._state.compressibility_factor()
        return math.exp(self._state.alphar() + compressibility - 1.0 - math.log(compressibility))


def equilibrium_pressure_pa(gas: PureRefrigerant, constants: FloryHuggins, temperature_k: float, x1: float) -> float:
    """Return the pressure (Pa) over oil with mole fraction x1 (-) of refrigerant at temperature_k.

    Past the miscibility limit the published constants give an activity above 1: a second, refrigerant-rich
    liquid would part, and the pressure is held at saturation.
    """
    saturation_pa, liquid_volume, phi_sat = gas.saturation(temperature_k)
    gamma_x = activity(constants, temperature_k, x1)
    if gamma_x >= 1.0:
        return saturation_pa
    rt = GAS_CONSTANT_J_MOL_K * temperature_k
    pressure = gamma_x * saturation_pa
    for _ in range(60):  # a contraction: phi and Poynting change by a few per cent over the whole range
        poynting = math.exp(liquid_volume * (pressure - saturation_pa) / rt)
        held = gamma_x * phi_sat * saturation_pa * poynting / gas.gas_fugacity_coefficient(temperature_k, pressure)
        held = min(held, saturation_pa)
        if abs(held - pressure) < 1e-9 * pressure:
            return held
        pressure = held
    raise ArithmeticError(f"no equilibrium pressure of {gas.name} at {temperature_k} K, x1 {x1}")
