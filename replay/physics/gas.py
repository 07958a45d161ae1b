"""Gas in the evaporator and in the crankcase: what is fed, what the pistons move, what the oil gives up.

    C_e dp_e/dt = G_load (p_load - p_e) - m_valve
    C_c dp_s/dt = m_valve - m_pistons + m_blow-by + m_oil,     C = V/(R T)

isothermal ideal gas; m_valve linear in the pressure drop until it chokes. The pistons move
m = p_s eta_v V_swept/(R T), eta_v = 1 + c - c (p_d/p_s)^(1/k) (clearance volumetric efficiency, any text on
compressors), so a machine with its suction shut stops pulling at p_d/p_s = (1 + 1/c)^k, not at a set figure.
"""

from numba.extending import register_jitable

from replay.physics import layout as at
from replay.physics.arithmetic import power
from replay.physics.constants import CHOKE_RATIO, MINIMUM_PRESSURE_PA
from replay.physics.crankshaft import mean_effective_pressure_pa
from replay.physics.layout import Vector

SERIES_REACH = 0.01


@register_jitable
def volumetric_efficiency(clearance: float, volume_ratio: float) -> float:
    """Return eta_v (-) for a clearance ratio and volume_ratio = (p_d/p_s)^(1/k); negative: no gas moves."""
    return 1.0 + clearance - clearance * volume_ratio


def limiting_vacuum_pa(discharge_pa: float, clearance: float, exponent: float) -> float:
    """Return the suction pressure (Pa) at which the clearance gas fills the cylinder again and nothing moves."""
    return discharge_pa / power(1.0 + 1.0 / clearance, exponent)


@register_jitable
def _volume_ratio(s: Vector, ratio: float, n: float) -> float:
    """Return ratio**n: within 1 % of the last one computed by its second-order series (error 2e-8), else afresh."""
    if s[at.S_RATIO] > 0.0:
        x = ratio / s[at.S_RATIO] - 1.0
        if abs(x) < SERIES_REACH:
            series: float = 1.0 + n * x * (1.0 + 0.5 * (n - 1.0) * x)
            return float(s[at.S_VOLUME_RATIO]) * series
    s[at.S_RATIO] = ratio
    s[at.S_VOLUME_RATIO] = power(ratio, n)
    return float(s[at.S_VOLUME_RATIO])


@register_jitable
def gas_step(s: Vector, p: Vector, u: Vector, dt: float) -> None:
    """Advance both gas pressures by dt (s), linearly implicit, and note piston flow and mean effective pressure."""
    suction = s[at.S_SUCTION_PA]
    evaporator = s[at.S_EVAPORATOR_PA]
    exponent = p[at.P_EXPONENT]
    clearance = p[at.P_CLEARANCE]
    ratio = u[at.U_DISCHARGE_PA] / suction
    volume_ratio = _volume_ratio(s, ratio, 1.0 / exponent)
    efficiency = volumetric_efficiency(clearance, volume_ratio)
    sweep = p[at.P_SWEEP_FLOW] * s[at.S_SPEED] * u[at.U_CAPACITY]  # kg/s per Pa at full efficiency
    pistons = 0.0
    pistons_slope = 0.0
    if efficiency > 0.0:
        pistons = sweep * efficiency * suction
        pistons_slope = sweep * (1.0 + clearance - clearance * (1.0 - 1.0 / exponent) * volume_ratio)

    conductance = u[at.U_SUCTION_VALVE] * p[at.P_VALVE_CONDUCTANCE]
    if suction > CHOKE_RATIO * evaporator:
        valve = conductance * (evaporator - suction)
        by_evaporator = conductance
        by_suction = -conductance
    else:
        valve = conductance * (1.0 - CHOKE_RATIO) * evaporator
        by_evaporator = conductance * (1.0 - CHOKE_RATIO)
        by_suction = 0.0

    blow_by = p[at.P_BLOW_BY] * (u[at.U_DISCHARGE_PA] - suction)
    load = u[at.U_LIQUID_VALVE] * p[at.P_LOAD_CONDUCTANCE]
    # (matrix) (change of p_e, change of p_s) = dt (net flows at the old pressures)
    a11 = p[at.P_EVAPORATOR_CAPACITY] + dt * (load + by_evaporator)
    a12 = dt * by_suction
    a21 = -dt * by_evaporator
    a22 = p[at.P_CRANKCASE_CAPACITY] + dt * (pistons_slope - by_suction)
    b1 = dt * (load * (u[at.U_LOAD_PA] - evaporator) - valve)
    b2 = dt * (valve - pistons + blow_by + s[at.S_RELEASE])
    determinant = a11 * a22 - a12 * a21
    change = (a11 * b2 - a21 * b1) / determinant
    if u[at.U_SUCTION_PA] > 0.0:  # suction follows what was measured; its noise is no flow
        change, pistons_slope = u[at.U_SUCTION_PA] - suction, 0.0
    s[at.S_EVAPORATOR_PA] = max(evaporator + (b1 * a22 - a12 * b2) / determinant, MINIMUM_PRESSURE_PA)
    s[at.S_SUCTION_PA] = max(suction + change, MINIMUM_PRESSURE_PA)
    s[at.S_CRANKCASE_PA] = s[at.S_SUCTION_PA] + p[at.P_VENT] * max(s[at.S_RELEASE] + blow_by, 0.0)
    s[at.S_FLOW] = pistons + pistons_slope * change
    s[at.S_MEP] = u[at.U_CAPACITY] * mean_effective_pressure_pa(suction, ratio, volume_ratio, exponent, efficiency)
