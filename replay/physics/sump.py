"""Oil in the sump: refrigerant that leaves and re-enters it, foam, temperature, level.

w_eq = p/H with H = p_eq(T, w)/w from the solubility table: exact at equilibrium, Henry's law beside it. Refrigerant off
equilibrium leaves through the surface at a finite rate,  dw/dt = (w_eq - w)/tau,  and, where more is held than the oil
can hold without bubbles, boils off within seconds. That limit is a *volume of gas at one atmosphere in a volume of oil*
(assumed): what stays then fills the more volumes the lower the absolute pressure, which is what the pump meets. An oil
that foams is full of sites and holds nothing back. Heat of solution goes both ways.

What is released rises as large bubbles at once or, in an oil that foams, stays as fine bubbles. By Stokes' law of a
rising sphere (any text) their life is proportional to viscosity over diameter squared, so, at a given mass of gas in
each, to mu p^(2/3): thin oil and a deep vacuum clear a foam sooner. Bubbles only grow: gas that has gone into a foam
makes it coarse for a while, and a coarse foam breaks up sooner (assumed), so a sump that holds more refrigerant boils
its own foam away. Void = gas volume over gas and liquid volume.

Oil goes round with the refrigerant; it takes along what is dissolved in it and brings it back, so that the sum of
refrigerant in gas, oil, foam and pocket, and that of oil, are balanced to rounding.
"""

from numba.extending import register_jitable

from replay.physics.arithmetic import exp, power
from replay.physics.constants import (
    ATMOSPHERE_PA,
    BUBBLE_RISE_S,
    CASING_HEAT,
    CIRCULATION,
    COARSE_MEMORY_S,
    COARSENING_VOLUMES,
    CRANKCASE_OIL_SPACE,
    EVAPORATION_HEAT_J_KG,
    FOAM_CARRY_1_S,
    FOAM_PRESSURE_PA,
    LARGEST_FRACTION,
    LEAST_OIL,
    OIL_HEAT_J_KG_K,
    REFERENCE_VISCOSITY_PA_S,
    RETURN_TIME_S,
    RUNNING_RISE_K,
    STANDING_SHARE,
    WARMING_TIME_S,
)
from replay.physics.crankshaft import floor_pressure_pa
from replay.physics.layout import (
    P_ABSORPTION_S,
    P_BOIL_S,
    P_DESIGN_FLOW,
    P_DRILLING_INLET,
    P_DRILLING_OUTLET,
    P_FOAM_LIFE_S,
    P_FOAM_SHARE,
    P_GAS_RT,
    P_HELD_FRACTION,
    P_LIQUID_DENSITY,
    P_LIQUID_VISCOSITY,
    P_OIL_CHARGE_M3,
    P_OIL_DENSITY,
    P_RATED_RPM,
    P_RELEASE_S,
    P_WALTHER_A,
    P_WALTHER_B,
    S_BUBBLES,
    S_COARSE,
    S_CRANKCASE_PA,
    S_DENSITY,
    S_DISSOLVED_KG,
    S_FLOOR_PA,
    S_FLOW,
    S_FOAM_KG,
    S_FOAM_LIFE_S,
    S_FRACTION,
    S_HEAT_CAPACITY,
    S_HENRY_PA,
    S_LEVEL,
    S_OIL_KG,
    S_RELEASE,
    S_SPEED,
    S_SYSTEM_DISSOLVED_KG,
    S_SYSTEM_OIL_KG,
    S_TEMPERATURE_K,
    S_VISCOSITY,
    S_VOID,
    U_AMBIENT_K,
    U_HEATER_K,
    U_LIQUID_KG_S,
    U_OIL_LEAK_KG_S,
    Matrix,
    Vector,
)
from replay.physics.viscosity import diluted_viscosity_mm2_s, oil_viscosity_mm2_s

FIRST_TEMPERATURE_K = 233.15  # the solubility table's grid, even in both directions
TEMPERATURE_STEP_K = 10.0
FRACTION_STEP = 0.025
TURNING = 0.05  # share of rated speed above which the sump counts as stirred


@register_jitable
def henry_pressure_pa(table: Matrix, temperature_k: float, fraction: float) -> float:
    """Return H = p_eq/w (Pa) from the solubility table (temperatures x fractions of ln H), held at its edges."""
    row = (temperature_k - FIRST_TEMPERATURE_K) / TEMPERATURE_STEP_K
    column = fraction / FRACTION_STEP
    i = min(max(int(row), 0), table.shape[0] - 2)
    j = min(max(int(column), 0), table.shape[1] - 2)
    x = min(max(row - i, 0.0), 1.0)
    y = min(max(column - j, 0.0), 1.0)
    low = table[i, j] + y * (table[i, j + 1] - table[i, j])
    high = table[i + 1, j] + y * (table[i + 1, j + 1] - table[i + 1, j])
    return exp(low + x * (high - low))


@register_jitable
def refresh(s: Vector, p: Vector, solubility: Matrix) -> None:
    """Renew what follows the oil's slow temperature and dilution: viscosity, density, H."""
    fraction = s[S_DISSOLVED_KG] / (s[S_OIL_KG] + s[S_DISSOLVED_KG])
    temperature = s[S_TEMPERATURE_K]
    pure = oil_viscosity_mm2_s(p[P_WALTHER_A], p[P_WALTHER_B], temperature)
    density = 1.0 / (fraction / p[P_LIQUID_DENSITY] + (1.0 - fraction) / p[P_OIL_DENSITY])
    s[S_FRACTION] = fraction
    s[S_DENSITY] = density
    s[S_VISCOSITY] = 1e-6 * density * diluted_viscosity_mm2_s(pure, p[P_LIQUID_VISCOSITY], fraction)
    s[S_HENRY_PA] = henry_pressure_pa(solubility, temperature, fraction)
    rise = power(s[S_CRANKCASE_PA] / FOAM_PRESSURE_PA, 2.0 / 3.0)
    s[S_FOAM_LIFE_S] = p[P_FOAM_LIFE_S] * rise * s[S_VISCOSITY] / REFERENCE_VISCOSITY_PA_S


@register_jitable
def sump_step(s: Vector, p: Vector, u: Vector, dt: float) -> None:
    """Advance dissolved refrigerant, foam, oil inventory and temperature by dt (s)."""
    oil = s[S_OIL_KG]
    dissolved = s[S_DISSOLVED_KG]
    liquid = oil + dissolved
    over = dissolved / liquid - min(s[S_CRANKCASE_PA] / s[S_HENRY_PA], LARGEST_FRACTION)
    stirred = 1.0 if s[S_SPEED] > TURNING else STANDING_SHARE
    boiling = 0.0
    taken_up = 0.0
    released = 0.0
    if over > 0.0:
        boiling = liquid * max(over - p[P_HELD_FRACTION], 0.0) / (p[P_BOIL_S] + dt)
        released = stirred * liquid * over / (p[P_RELEASE_S] + stirred * dt) + boiling
    else:
        taken_up = -stirred * liquid * over / (p[P_ABSORPTION_S] + stirred * dt)

    dissolved = dissolved + dt * (taken_up - released + u[U_LIQUID_KG_S])
    boiled = max(dissolved - LARGEST_FRACTION / (1.0 - LARGEST_FRACTION) * oil, 0.0) / dt
    dissolved = dissolved - dt * boiled

    given_off = dt * released * p[P_GAS_RT] / ATMOSPHERE_PA * s[S_DENSITY] / liquid  # volumes a volume
    s[S_COARSE] = (s[S_COARSE] + given_off) * COARSE_MEMORY_S / (COARSE_MEMORY_S + dt)
    coarse = 1.0 + s[S_COARSE] / COARSENING_VOLUMES
    life = s[S_FOAM_LIFE_S] / (coarse * coarse * coarse)
    foam = (s[S_FOAM_KG] + dt * p[P_FOAM_SHARE] * released) * life / (life + dt)
    s[S_FOAM_KG] = foam
    s[S_RELEASE] = (1.0 - p[P_FOAM_SHARE]) * released + foam / life + boiled - taken_up

    gas_volume = foam * p[P_GAS_RT] / s[S_CRANKCASE_PA]
    rising = (1.0 - p[P_FOAM_SHARE]) * (boiling + boiled) * BUBBLE_RISE_S * p[P_GAS_RT] / s[S_CRANKCASE_PA]
    volume = oil / p[P_OIL_DENSITY] + dissolved / p[P_LIQUID_DENSITY]
    s[S_VOID] = gas_volume / (gas_volume + volume)
    s[S_BUBBLES] = (gas_volume + rising) / volume
    s[S_LEVEL] = volume / p[P_OIL_CHARGE_M3]
    s[S_FLOOR_PA] = floor_pressure_pa(
        p[P_DRILLING_INLET], p[P_DRILLING_OUTLET], s[S_DENSITY], s[S_SPEED] * p[P_RATED_RPM]
    )

    # Oil goes round with the gas; it takes along what is dissolved in it and brings back what it took.
    spilt = max(gas_volume + volume - CRANKCASE_OIL_SPACE * p[P_OIL_CHARGE_M3], 0.0) / (gas_volume + volume)
    carried = CIRCULATION * s[S_FLOW] + FOAM_CARRY_1_S * s[S_SPEED] * spilt * oil
    leaked = u[U_OIL_LEAK_KG_S]
    least = LEAST_OIL * p[P_OIL_CHARGE_M3] * p[P_OIL_DENSITY]
    there = min(1.0, max(oil - least, 0.0) / (dt * (carried + leaked) + 1e-30))
    carried = dt * there * carried
    leaked = dt * there * leaked
    back = min(dt / RETURN_TIME_S * min(s[S_FLOW] / p[P_DESIGN_FLOW], 1.0), 1.0)
    s[S_OIL_KG] = oil - carried - leaked + back * s[S_SYSTEM_OIL_KG]
    s[S_DISSOLVED_KG] = dissolved - dissolved / oil * (carried + leaked) + back * s[S_SYSTEM_DISSOLVED_KG]
    s[S_SYSTEM_OIL_KG] = s[S_SYSTEM_OIL_KG] + carried - back * s[S_SYSTEM_OIL_KG]
    s[S_SYSTEM_DISSOLVED_KG] = s[S_SYSTEM_DISSOLVED_KG] + dissolved / oil * carried - back * s[S_SYSTEM_DISSOLVED_KG]

    rest = u[U_AMBIENT_K] + u[U_HEATER_K] + RUNNING_RISE_K * s[S_SPEED]
    capacity = (liquid + CASING_HEAT * p[P_OIL_CHARGE_M3] * p[P_OIL_DENSITY]) * OIL_HEAT_J_KG_K
    heat = capacity * (rest - s[S_TEMPERATURE_K]) / WARMING_TIME_S
    heat = heat + EVAPORATION_HEAT_J_KG * (taken_up - released - boiled)
    s[S_HEAT_CAPACITY] = capacity
    s[S_TEMPERATURE_K] = s[S_TEMPERATURE_K] + dt * heat / capacity
