"""How numbers and names read: one wording for every table and sentence. `replay/page/wording.js` words them alike."""

import math

from replay.ground.shown import Units, asked, other_units

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


def pressure(pascals: float | None) -> str:
    """Return a difference of pressures (Pa) in the units asked for."""
    return NOTHING if pascals is None else asked().net(pascals)


def absolute(pascals: float) -> str:
    """Return a pressure (Pa) counted from nothing in the units asked for."""
    return f"{asked().number(pascals)} {asked().absolute}"


def net_oil(pascals: float | None, units: Units | None = None) -> str:
    """Return a net oil pressure (Pa) in these units, and in brackets in those of the other half of the trade."""
    units = units or asked()
    other = other_units(units)
    return NOTHING if pascals is None else f"{units.net(pascals)} ({other.net(pascals)})"


def suction(pascals: float | None, altitude_m: float, units: Units | None = None) -> str:
    """Return an absolute suction pressure (Pa) likewise, as gauges at that altitude show it."""
    units = units or asked()
    other = other_units(units)
    return (
        NOTHING if pascals is None else f"{units.suction(pascals, altitude_m)} ({other.suction(pascals, altitude_m)})"
    )


def counted(count: int, thing: str) -> str:
    """Return how many of a thing there are: 1 stop, 2 stops."""
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def times(count: int) -> str:
    """Return how often something happened: once, twice, 3 times."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def words(name: str) -> str:
    """Return a name of the code as words."""
    return name.replace("_", " ")
