"""Oil in the sump: refrigerant that leaves and re-enters it, foam, temperature, level.

w_eq = p/H with H = p_eq(T, w)/w from the solubility table: exact at equilibrium, Henry's law beside it. Refrigerant off
equilibrium leaves through the surface at a finite rate,  dw/dt = (w_eq - w)/tau,  and, where more is held than the oil
can hold without bubbles, boils off within seconds. That limit is a *volume of gas at one atmosphere in a volume of oil*
(assumed): what stays then fills the more volumes the lower the absolute pressure, which is what the pump meets. An oil
that foams is full of sites and holds nothing back. Heat of solution goes both ways. Beyond the end of the solubility
table refrigerant boils off at once, unless the sump is so cold that pressure holds it as liquid.

What is released rises as large bubbles at once or, in an oil that foams, stays as fine bubbles. By Stokes' law of a
rising sphere (any text) their life is proportional to viscosity over diameter squared, so, at a given mass of gas in
each, to mu p^(2/3): thin oil and a deep vacuum clear a foam sooner. Bubbles only grow: gas that has gone into a foam
makes it coarse for a while, and a coarse foam breaks up sooner (assumed), so a sump that holds more refrigerant boils
its own foam away. Void = gas volume over gas and liquid volume.

Oil goes round with the refrigerant; it takes along what is dissolved in it and brings it back, so that the sum of
refrigerant in gas, oil, foam and pocket, and that of oil, are balanced to rounding.
"""

from numba.extending import register_jitable

from replay.physics import constants as c
from replay.physics import layout as at
from replay.physics.arithmetic import exp, power
from replay.physics.crankshaft import floor_pressure_pa
from replay.physics.layout import Matrix, Vector
from replay.physics.viscosity import diluted_viscosity_mm2_s, oil_viscosity_mm2_s

FIRST_TEMPERATURE_K = 233.15  # the solubility table's grid, even in both directions
TEMPERATURE_STEP_K = 10.0
FRACTION_STEP = 0.025
TURNING = 0.05  # share of rated speed above which the sump counts as stirred


@register_jitable
def henry_pressure_pa(table: Matrix, temperature_k: float, fraction: float) -> float:
    """Return H = p_eq/w (Pa) from the solubility table (temperatures x fractions of ln H), held at its edges.

    Only below its first temperature the line goes on: a sump held warmer than it is would boil itself ever colder.
    """
    row = (temperature_k - FIRST_TEMPERATURE_K) / TEMPERATURE_STEP_K
    column = fraction / FRACTION_STEP
    i = min(max(int(row), 0), table.shape[0] - 2)
    j = min(max(int(column), 0), table.shape[1] - 2)
    x = min(row - i, 1.0)
    y = min(max(column - j, 0.0), 1.0)
    low = table[i, j] + y * (table[i, j + 1] - table[i, j])
    high = table[i + 1, j] + y * (table[i + 1, j + 1] - table[i + 1, j])
    return exp(low + x * (high - low))


@register_jitable
def refresh(s: Vector, p: Vector, solubility: Matrix) -> None:
    """Renew what follows the oil's slow temperature and dilution: viscosity, density, H."""
    fraction = s[at.S_DISSOLVED_KG] / (s[at.S_OIL_KG] + s[at.S_DISSOLVED_KG])
    temperature = s[at.S_TEMPERATURE_K]
    pure = oil_viscosity_mm2_s(p[at.P_WALTHER_A], p[at.P_WALTHER_B], temperature)
    density = 1.0 / (fraction / p[at.P_LIQUID_DENSITY] + (1.0 - fraction) / p[at.P_OIL_DENSITY])
    s[at.S_FRACTION] = fraction
    s[at.S_DENSITY] = density
    s[at.S_VISCOSITY] = 1e-6 * density * diluted_viscosity_mm2_s(pure, p[at.P_LIQUID_VISCOSITY], fraction)
    s[at.S_HENRY_PA] = henry_pressure_pa(solubility, temperature, fraction)
    rise = power(s[at.S_CRANKCASE_PA] / c.FOAM_PRESSURE_PA, 2.0 / 3.0)
    s[at.S_FOAM_LIFE_S] = p[at.P_FOAM_LIFE_S] * rise * s[at.S_VISCOSITY] / c.REFERENCE_VISCOSITY_PA_S


@register_jitable
def _exchanged(
    s: Vector, p: Vector, u: Vector, oil: float, dissolved: float, dt: float
) -> tuple[float, float, float, float]:
    """Return what leaves the oil, what enters it, what of the first boils, and what boils at once beyond it (kg/s)."""
    liquid = oil + dissolved
    at_rest = s[at.S_CRANKCASE_PA] / s[at.S_HENRY_PA]
    over = dissolved / liquid - at_rest
    stirred = 1.0 if s[at.S_SPEED] > TURNING else p[at.B_STANDING_SHARE]
    boiling = 0.0
    taken_up = 0.0
    released = 0.0
    if over > 0.0:
        boiling = liquid * max(over - p[at.P_HELD_FRACTION], 0.0) / (p[at.P_BOIL_S] + dt)
        released = stirred * liquid * over / (p[at.P_RELEASE_S] + stirred * dt) + boiling
    else:
        under = max(min(at_rest, c.LARGEST_FRACTION) - dissolved / liquid, 0.0)
        taken_up = stirred * liquid * under / (p[at.P_ABSORPTION_S] + stirred * dt)
    boiled = 0.0
    if at_rest < c.LARGEST_FRACTION:  # else the sump is too cold to boil it, and it stays as liquid
        most = c.LARGEST_FRACTION / (1.0 - c.LARGEST_FRACTION) * oil
        boiled = max(dissolved + dt * (taken_up - released + u[at.U_LIQUID_KG_S]) - most, 0.0) / dt
    return released, taken_up, boiling, boiled


@register_jitable
def sump_step(s: Vector, p: Vector, u: Vector, dt: float) -> None:
    """Advance dissolved refrigerant, foam, oil inventory and temperature by dt (s)."""
    oil = s[at.S_OIL_KG]
    dissolved = s[at.S_DISSOLVED_KG]
    liquid = oil + dissolved
    released, taken_up, boiling, boiled = _exchanged(s, p, u, oil, dissolved, dt)
    dissolved = dissolved + dt * (taken_up - released + u[at.U_LIQUID_KG_S] - boiled)

    given_off = dt * released * p[at.P_GAS_RT] / c.ATMOSPHERE_PA * s[at.S_DENSITY] / liquid  # volumes a volume
    s[at.S_COARSE] = (s[at.S_COARSE] + given_off) * p[at.B_COARSE_MEMORY_S] / (p[at.B_COARSE_MEMORY_S] + dt)
    coarse = 1.0 + s[at.S_COARSE] / p[at.B_COARSENING_VOLUMES]
    life = s[at.S_FOAM_LIFE_S] / (coarse * coarse * coarse)
    foam = (s[at.S_FOAM_KG] + dt * p[at.P_FOAM_SHARE] * released) * life / (life + dt)
    s[at.S_FOAM_KG] = foam
    s[at.S_RELEASE] = (1.0 - p[at.P_FOAM_SHARE]) * released + foam / life + boiled - taken_up

    gas_volume = foam * p[at.P_GAS_RT] / s[at.S_CRANKCASE_PA]
    rising = (
        (1.0 - p[at.P_FOAM_SHARE]) * (boiling + boiled) * p[at.B_BUBBLE_RISE_S] * p[at.P_GAS_RT] / s[at.S_CRANKCASE_PA]
    )
    volume = oil / p[at.P_OIL_DENSITY] + dissolved / p[at.P_LIQUID_DENSITY]
    s[at.S_VOID] = gas_volume / (gas_volume + volume)
    s[at.S_BUBBLES] = (gas_volume + rising) / volume
    s[at.S_LEVEL] = volume / p[at.P_OIL_CHARGE_M3]
    s[at.S_FLOOR_PA] = floor_pressure_pa(
        p[at.P_DRILLING_INLET], p[at.P_DRILLING_OUTLET], s[at.S_DENSITY], s[at.S_SPEED] * p[at.P_RATED_RPM]
    )

    # Oil goes round with the gas; it takes along what is dissolved in it and brings back what it took.
    spilt = max(gas_volume + volume - p[at.B_CRANKCASE_OIL_SPACE] * p[at.P_OIL_CHARGE_M3], 0.0) / (gas_volume + volume)
    carried = p[at.B_CIRCULATION] * s[at.S_FLOW] + p[at.B_FOAM_CARRY_1_S] * s[at.S_SPEED] * spilt * oil
    leaked = max(u[at.U_OIL_LEAK_KG_S], 0.0)
    arriving = dt * max(-u[at.U_OIL_LEAK_KG_S], 0.0)  # from a neighbour, with as much dissolved in it as here
    least = p[at.B_LEAST_OIL] * p[at.P_OIL_CHARGE_M3] * p[at.P_OIL_DENSITY]
    there = min(1.0, max(oil - least, 0.0) / (dt * (carried + leaked) + 1e-30))
    carried = dt * there * carried
    leaked = dt * there * leaked
    back = min(dt / p[at.B_RETURN_TIME_S] * min(s[at.S_FLOW] / p[at.P_DESIGN_FLOW], 1.0), 1.0)
    s[at.S_OIL_KG] = oil - carried - leaked + arriving + back * s[at.S_SYSTEM_OIL_KG]
    s[at.S_DISSOLVED_KG] = (
        dissolved - dissolved / oil * (carried + leaked - arriving) + back * s[at.S_SYSTEM_DISSOLVED_KG]
    )
    s[at.S_SYSTEM_OIL_KG] = s[at.S_SYSTEM_OIL_KG] + carried - back * s[at.S_SYSTEM_OIL_KG]
    s[at.S_SYSTEM_DISSOLVED_KG] = (
        s[at.S_SYSTEM_DISSOLVED_KG] + dissolved / oil * carried - back * s[at.S_SYSTEM_DISSOLVED_KG]
    )

    rest = u[at.U_AMBIENT_K] + u[at.U_HEATER_K] + p[at.B_RUNNING_RISE_K] * s[at.S_SPEED]
    capacity = (liquid + p[at.B_CASING_HEAT] * p[at.P_OIL_CHARGE_M3] * p[at.P_OIL_DENSITY]) * p[at.B_OIL_HEAT_J_KG_K]
    heat = capacity * (rest - s[at.S_TEMPERATURE_K]) / p[at.B_WARMING_TIME_S]
    heat = heat + p[at.B_EVAPORATION_HEAT_J_KG] * (taken_up - released - boiled)
    s[at.S_HEAT_CAPACITY] = capacity
    s[at.S_TEMPERATURE_K] = s[at.S_TEMPERATURE_K] + dt * heat / capacity
