"""How numbers and names read: one wording for every table and sentence. `replay/page/wording.js` words them alike."""

import math

from replay.ground.units import INHG_PA, PSI_PA, atmosphere_pa

NOTHING = "-"
MS_PER_MIN, MS_PER_H = 60_000, 3_600_000
MANY = 1000  # per 1000 h, from which fractions are left out


def percent(share: float | None) -> str:
    """Return a share, 0 to 1, in percent to three digits."""
    return NOTHING if share is None else f"{100 * share:.3g} %"


def sure(confidence: float) -> str:
    """Return a stated confidence, 0 to 1, in words."""
    return f"{100 * confidence:g} % sure"


def rate(per_1000h: float | None) -> str:
    """Return a rate per 1000 h to four digits, whole from MANY on; an infinite one is no limit."""
    if per_1000h is None:
        return NOTHING
    if math.isinf(per_1000h):
        return "no limit"
    return f"{per_1000h:.0f}" if per_1000h >= MANY else f"{per_1000h:.4g}"


def tenths(value: float | None) -> str:
    """Return a number to a tenth, under a head that says its unit."""
    return NOTHING if value is None else f"{value:.1f}"


def seconds(value: float | None) -> str:
    """Return seconds with their unit."""
    return NOTHING if value is None else f"{tenths(value)} s"


def duration(time_ms: float) -> str:
    """Return a length of time as one reads it."""
    if time_ms < 2 * MS_PER_MIN:
        return seconds(time_ms / 1000)
    if time_ms < 2 * MS_PER_H:
        return f"{time_ms / MS_PER_MIN:.1f} min"
    return f"{time_ms / MS_PER_H:.1f} h"


def kpa(pascals: float | None) -> str:
    """Return Pa as kPa to a tenth, under a head that says the unit."""
    return NOTHING if pascals is None else tenths(pascals / 1000)


def kilopascals(pascals: float | None) -> str:
    """Return Pa as kPa with their unit."""
    return NOTHING if pascals is None else f"{kpa(pascals)} kPa"


def net_oil(pascals: float | None) -> str:
    """Return a net oil pressure (Pa) in both units of the trade."""
    return NOTHING if pascals is None else f"{pascals / 1000:z.1f} kPa ({pascals / PSI_PA:z.1f} psi)"


def suction(pascals: float | None, altitude_m: float) -> str:
    """Return an absolute suction pressure (Pa) as gauges at that altitude show it: psig or inHg vac, and bar(g)."""
    if pascals is None:
        return NOTHING
    above = pascals - atmosphere_pa(altitude_m)
    if abs(above) < INHG_PA / 20:  # neither vacuum nor gauge pressure to a tenth
        above = 0.0
    shown = f"{above / PSI_PA:.1f} psig" if above >= 0 else f"{-above / INHG_PA:.1f} inHg vac"
    return f"{shown} ({above / 1e5:.2f} bar(g))"


def words(name: str) -> str:
    """Return a name of the code as words."""
    return name.replace("_", " ")
