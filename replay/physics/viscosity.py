"""Oil viscosity: Walther / ASTM D341 against temperature, diluted by dissolved refrigerant.

Sources: ASTM D341 (its plain form, as given in public codes; clause from memory); the dilution by
refrigerant is the logarithmic mixing rule of Arrhenius (1887, from memory) by mass, for oil with refrigerant known as
Schroeder's (Conde 1996, as a public code names it). Yokozeki's rule of 1994, as another carries it, weighs by molar
mass to the power 0.58 and gives oil 1.6 to 2.0 times thinner with 10 % of R134a in it, and up to 3.9 with 40 %. The
measured tables that would decide (reports of the ARTI MCLR programme) could be had as abstracts only.
"""

from numba.extending import register_jitable

from replay.physics.arithmetic import LN10, exp, log

ZERO_CELSIUS_K = 273.15
WALTHER_OFFSET_MM2_S = 0.7
PLAIN_FORM_FROM_MM2_S = 2.0


def walther_constants(nu_40_mm2_s: float, nu_100_mm2_s: float) -> tuple[float, float]:
    """Return (A, B) of log10 log10(nu + 0.7) = A - B log10 T from the viscosities at 40 and 100 degrees C.

    Units: mm2/s, T in K. Raises ValueError unless nu(40) > nu(100) > 2 mm2/s (the plain form's range).
    """
    if not nu_40_mm2_s > nu_100_mm2_s > PLAIN_FORM_FROM_MM2_S:
        raise ValueError(
            f"viscosities must fall from 40 to 100 C and stay above 2 mm2/s, got {nu_40_mm2_s} and {nu_100_mm2_s}"
        )
    w40 = log(log(nu_40_mm2_s + WALTHER_OFFSET_MM2_S) / LN10) / LN10
    w100 = log(log(nu_100_mm2_s + WALTHER_OFFSET_MM2_S) / LN10) / LN10
    t40 = log(ZERO_CELSIUS_K + 40.0) / LN10
    t100 = log(ZERO_CELSIUS_K + 100.0) / LN10
    slope = (w40 - w100) / (t100 - t40)
    return w40 + slope * t40, slope


@register_jitable
def oil_viscosity_mm2_s(a: float, b: float, temperature_k: float) -> float:
    """Return the kinematic viscosity, mm2/s, of the plain Walther form (nu above about 2 mm2/s)."""
    return exp(LN10 * exp(LN10 * a - b * log(temperature_k))) - WALTHER_OFFSET_MM2_S


@register_jitable
def diluted_viscosity_mm2_s(oil_mm2_s: float, refrigerant_mm2_s: float, fraction: float) -> float:
    """Return the viscosity of oil holding a mass fraction of liquid refrigerant: ln nu is mixed by mass."""
    return exp((1.0 - fraction) * log(oil_mm2_s) + fraction * log(refrigerant_mm2_s))
