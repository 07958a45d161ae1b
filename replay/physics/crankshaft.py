"""Floor pressure of the rotating drilling, and the load that the pistons lay on a crankpin."""

import math

from numba.extending import register_jitable


@register_jitable
def floor_pressure_pa(inlet_m: float, outlet_m: float, density_kg_m3: float, speed_rpm: float) -> float:
    """Return rho omega^2 (r2^2 - r1^2)/2, the net oil pressure (Pa) without which no oil reaches the pin.

    Rigid rotation of the oil from where it enters the drilling (inlet_m) out to the pin (outlet_m); any text on
    fluid mechanics.
    """
    omega = speed_rpm * (2.0 * math.pi / 60.0)
    return 0.5 * density_kg_m3 * omega * omega * (outlet_m * outlet_m - inlet_m * inlet_m)


@register_jitable
def mean_effective_pressure_pa(
    suction_pa: float, ratio: float, volume_ratio: float, exponent: float, efficiency: float
) -> float:
    """Return the indicated mean effective pressure (Pa) of a cylinder with clearance, 0 where it moves no gas.

    p_s k/(k-1) [(p_d/p_s)^((k-1)/k) - 1] eta_v; ratio = p_d/p_s, volume_ratio = ratio^(1/k). Ideal cycle, any
    text on refrigeration. It vanishes with the volumetric efficiency, at the limiting vacuum.
    """
    if efficiency <= 0.0 or ratio <= 1.0:
        return 0.0
    return suction_pa * exponent / (exponent - 1.0) * (ratio / volume_ratio - 1.0) * efficiency
