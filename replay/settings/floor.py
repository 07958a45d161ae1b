"""Floor pressure of a crankshaft drilling.

Oil on its way from the shaft's centre to a crankpin has to be pushed in at the
radius where it enters the rotating drilling, against the centrifugal head of
the oil that stands in it. Below that net oil pressure no oil reaches the pins.
"""

import math


def floor_pressure_pa(outer_radius_m: float, inner_radius_m: float, speed_rpm: float, density_kg_m3: float) -> float:
    """Return the floor pressure (Pa): rho omega^2 (r2^2 - r1^2) / 2.

    outer_radius_m: largest radius the oil has to reach (crankpin side);
    inner_radius_m: radius at which it enters the drilling, not above the outer.
    Rigid-body rotation of a liquid: Munson, Okiishi, Huebsch, Fundamentals of
    Fluid Mechanics, 6th ed., pressure in a rotating tank.
    Raises ValueError when an argument is negative or the radii are in the wrong order.
    """
    if min(outer_radius_m, inner_radius_m, speed_rpm, density_kg_m3) < 0:
        raise ValueError("radii, speed and density are not negative")
    if inner_radius_m > outer_radius_m:
        raise ValueError("the inner radius is larger than the outer one")
    omega = speed_rpm * 2.0 * math.pi / 60.0
    return density_kg_m3 * omega**2 * (outer_radius_m**2 - inner_radius_m**2) / 2.0
