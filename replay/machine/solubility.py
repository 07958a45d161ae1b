"""Refrigerant dissolved in an oil of which no published pair is known here: a general law, or points of the user's own.

Flory-Huggins as in `physics.solubility`, with r the ratio of molar volumes (oil over liquid refrigerant) and an
interaction chi = (w0/T)(1 + w1/T):

    ln a = ln x1 + ln(1 - (1 - 1/r) F) + (1 - 1/r) F + chi F^2
    ln p + b p/p_sat = ln a + b + ln p_sat + v (p - p_sat)/(R T)

b = ln phi of the saturated gas, and ln phi goes straight to it from nought (a second virial coefficient); p_sat is the
bubble pressure, so that a mixture counts as one substance. It gives the published pairs back within 6 % (rms).

chi is drawn from a range by kind of oil and refrigerant (`CHI`, at 40 C). Ranges of ester oils hold what the published
pairs of Wahlstrom and Vamling (2000) and points of Martz and Jacobi (1994) come to by this form, of PAG those of R134a
by Martz and Jacobi, of alkylbenzene those of R134a by Takigawa, Sandler and Yokozeki (2002), all as carried by the
public SorpPropLib database; the rest is assumed. Own points fix w0 and w1 by least squares.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from replay.machine.refrigerants import Gas
from replay.physics.arithmetic import exp, log
from replay.physics.solubility import GAS_CONSTANT_J_MOL_K
from replay.physics.tables import FRACTIONS, TEMPERATURES_K

TRACE_FRACTION = 1e-6  # stands for the limit of no refrigerant, where ln(p/w) stays finite
MOST_BEND = -0.9  # of ln p over p/p_sat: pressure rises with what is dissolved beyond the critical point too
STEPS = 12  # of Newton's method: pressures stand still to the last digits after six
SLOPE_K = -180.0  # assumed: w1 where points of one temperature alone are given; published pairs have -150 to -270
FITTED_AT_K = 313.15
SPREAD_K = 5.0  # points nearer than that count as of one temperature


class Solution(NamedTuple):
    """An oil with a refrigerant: molar mass of the oil g/mol, its density kg/m3, w0 and w1 in K."""

    oil_g_mol: float
    density_kg_m3: float
    w0_k: float
    w1_k: float


class Point(NamedTuple):
    """Refrigerant measured in an oil at rest: K, Pa, mass fraction."""

    kelvin: float
    pressure_pa: float
    fraction: float


def of_chi(oil_g_mol: float, density_kg_m3: float, chi: float) -> Solution:
    """Return the solution whose chi at 40 C is this."""
    return Solution(oil_g_mol, density_kg_m3, chi * FITTED_AT_K / (1.0 + SLOPE_K / FITTED_AT_K), SLOPE_K)


def _volumes(gas: Gas, solution: Solution, kelvin: float, fraction: float) -> tuple[float, float, float]:
    """Return (mole fraction of the refrigerant, volume fraction of the oil, r)."""
    moles, oil_moles = fraction / gas.molar_mass_g_mol, (1.0 - fraction) / solution.oil_g_mol
    r = solution.oil_g_mol / (1000.0 * solution.density_kg_m3) / gas.at(gas.liquid_m3_mol, kelvin)
    return moles / (moles + oil_moles), r * oil_moles / (moles + r * oil_moles), r


def pressure_pa(gas: Gas, solution: Solution, kelvin: float, fraction: float) -> float:
    """Return the pressure (Pa) over the oil at rest; beyond the miscibility limit that of the refrigerant alone."""
    x, oil, r = _volumes(gas, solution, kelvin, fraction)
    chi = solution.w0_k / kelvin * (1.0 + solution.w1_k / kelvin)
    lost = (1.0 - 1.0 / r) * oil
    activity = log(x) + log(1.0 - lost) + lost + chi * oil * oil
    log_sat = gas.at(gas.log_bubble, kelvin)
    if activity >= 0.0:
        return exp(log_sat)
    saturated, bend = exp(log_sat), gas.at(gas.log_fugacity, kelvin)
    lift = gas.at(gas.liquid_m3_mol, kelvin) * saturated / (GAS_CONSTANT_J_MOL_K * kelvin)
    bend = max(bend - lift, MOST_BEND)
    share = exp(activity)  # p/p_sat
    for _ in range(STEPS):
        off = log(share) + bend * (share - 1.0) - activity
        share = min(max(share - off / (1.0 / share + bend), 0.5 * share), 1.0)
    return share * saturated


def table_of(gas: Gas, solution: Solution) -> tuple[tuple[float, ...], ...]:
    """Return ln((p/w)/Pa), a row a temperature of the physics' grid, a column a mass fraction."""
    return tuple(
        tuple(log(pressure_pa(gas, solution, kelvin, w) / w) for w in (max(f, TRACE_FRACTION) for f in FRACTIONS))
        for kelvin in TEMPERATURES_K
    )


def chi_of(gas: Gas, solution: Solution, point: Point) -> float:
    """Return the chi that a point has by this law; w0 and w1 of the solution do not count."""
    x, oil, r = _volumes(gas, solution, point.kelvin, point.fraction)
    log_sat, bend = gas.at(gas.log_bubble, point.kelvin), gas.at(gas.log_fugacity, point.kelvin)
    saturated = exp(log_sat)
    lift = gas.at(gas.liquid_m3_mol, point.kelvin) * saturated / (GAS_CONSTANT_J_MOL_K * point.kelvin)
    share = point.pressure_pa / saturated
    activity = log(share) + bend * share - bend - lift * (share - 1.0)
    lost = (1.0 - 1.0 / r) * oil
    return (activity - log(x) - log(1.0 - lost) - lost) / (oil * oil)


def fitted(gas: Gas, oil_g_mol: float, density_kg_m3: float, points: Sequence[Point]) -> tuple[Solution, float]:
    """Return the solution nearest to some points, and how far its pressures lie from theirs (rms, share).

    chi T is straight over 1/T by this form, so w0 and w0 w1 are a line through the points' own chi, each weighed by
    what it moves the pressure. Points of one temperature leave w1 at `SLOPE_K`.
    """
    bare = Solution(oil_g_mol, density_kg_m3, 0.0, 0.0)
    rows = []
    for point in points:
        _, oil, _ = _volumes(gas, bare, point.kelvin, point.fraction)
        rows.append((1.0 / point.kelvin, chi_of(gas, bare, point) * point.kelvin, (oil * oil / point.kelvin) ** 2))
    if max(p.kelvin for p in points) - min(p.kelvin for p in points) < SPREAD_K:
        total = sum(weight * (1.0 + SLOPE_K * x) ** 2 for x, _, weight in rows)
        w0 = sum(weight * y * (1.0 + SLOPE_K * x) for x, y, weight in rows) / total
        found = Solution(oil_g_mol, density_kg_m3, w0, SLOPE_K)
    else:
        weights = sum(weight for _, _, weight in rows)
        x0 = sum(weight * x for x, _, weight in rows) / weights
        y0 = sum(weight * y for _, y, weight in rows) / weights
        slope = sum(weight * (x - x0) * (y - y0) for x, y, weight in rows) / sum(
            weight * (x - x0) * (x - x0) for x, _, weight in rows
        )
        w0 = y0 - slope * x0
        found = Solution(oil_g_mol, density_kg_m3, w0, slope / w0)
    off = [pressure_pa(gas, found, point.kelvin, point.fraction) / point.pressure_pa - 1.0 for point in points]
    return found, math.sqrt(sum(one * one for one in off) / len(off))
