"""Pressures and durations with their units, and the atmosphere at a site.

Only the edge of the program (settings, imports, reports) calls this module; it
turns text into the integers used inside: absolute Pa and ms. How pressures are shown again tells `replay.ground.shown`.
"""

import difflib
import functools
import math
import re
from typing import Any

from replay.ground.cache import project_cache
from replay.ground.shape import UnfitError

STANDARD_ATMOSPHERE_PA = 101325.0
PSI_PA = 6894.757293168361  # for reports; the pound-force by definition over the square inch
INHG_PA = 3386.388640341  # the conventional inch of mercury: 13595.1 kg/m3 at 9.80665 m/s2, as pint has it

LONGEST = 100  # characters of a quantity: longer text costs the patterns below minutes
# Names with whole powers, times or over each other. More than that is no unit, and the library computes what it reads.
_FACTOR = r"(?:1|[^\W\d][\w%]*|[°%]\w*)(?:\s*(?:\*\*|\^)\s*-?\d\d?)?"
_UNIT = re.compile(rf"{_FACTOR}(?:(?:\s*[*/·]\s*|\s+){_FACTOR})*")
_NUMBER = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)(?:\s+|(?![\d.]))(\S.*?)\s*")
_TURNS = re.compile(r"rev|turn|rad|deg|rpm|rps|cycle", re.IGNORECASE)  # what says that a unit of speed counts turns
# Marks of the trade behind a pressure unit: what the number counts from.
_ZERO = re.compile(
    r"(?P<unit>.*?[^\s(])\s*(?:"
    r"(?P<gauge>\(g\)|gauge|\bg|(?<=psi)g|(?<=bar)g|(?<=Pa)g)|"
    r"(?P<absolute>\(a\)|abs|absolute|\ba|(?<=psi)a|(?<=bar)a|(?<=Pa)a)|"
    r"(?P<difference>diff|(?<=psi)d|(?<=bar)d|(?<=Pa)d)|"
    r"(?P<vacuum>vac|vacuum))"
)

# What settings and options are nearly always written in: loading all the units of the library takes a second.
_USUAL = {
    "pascal": {
        "Pa": 1.0,
        "hPa": 100.0,
        "mbar": 100.0,
        "kPa": 1000.0,
        "bar": 1e5,
        "MPa": 1e6,
        "psi": PSI_PA,
        "inHg": INHG_PA,
    },
    "millisecond": {"ms": 1.0, "s": 1000.0, "min": 60e3, "h": 3600e3, "d": 86400e3},
    "metre": {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, "inch": 0.0254, "ft": 0.3048},
    "revolution/minute": {"rpm": 1.0},
    "kilogram/metre**3": {"kg/m^3": 1.0, "kg/m**3": 1.0},
}

# Flows as the trade writes them, in any case; the library takes cfm for hundredths of femtometres.
_TRADE = {"cfm": "ft**3/min", "cfh": "ft**3/hour", "gpm": "gallon/min"}

# What a unit that nobody knows may have been meant as, by its letters alone.
_MEANT = {
    want: {unit.casefold(): unit for unit in (*units, *more)}
    for want, units, more in (
        ("pascal", _USUAL["pascal"], ("psig", "psia", "barg", "bara")),
        ("millisecond", _USUAL["millisecond"], ()),
        ("metre", _USUAL["metre"], ()),
    )
}


class UnitError(UnfitError):
    """Text that is not a quantity of the kind wanted; says why."""


@functools.cache
def _registry() -> Any:
    import pint

    try:
        return pint.UnitRegistry(cache_folder=project_cache() / f"pint-{pint.__version__}")
    except Exception:  # noqa: BLE001 - whatever a damaged cache holds: the units are read anew
        return pint.UnitRegistry(cache_folder=None)


def _in_unit(number: float, unit: str, want: str) -> float:
    """Return how many `want` (a pint unit) are in a number with this unit.

    Raises UnitError for an unknown unit or one of another kind.
    """
    if factor := _USUAL.get(want, {}).get(unit):
        return _finite(number * factor)
    import pint

    if len(unit) > LONGEST or _UNIT.fullmatch(unit) is None:
        raise _unknown(number, unit, want)
    spelled = _TRADE.get(unit.casefold()) or re.sub(
        r"(?:(?<=m)|(?<=ft)|(?<=in))([23])\b", r"**\1", unit
    )  # kgf/cm2, ft3
    try:
        value = float(_registry().Quantity(number, _registry().Unit(spelled)).to(want).magnitude)
    except pint.DimensionalityError:
        raise UnitError(f"'{unit}' is not a unit of this kind") from None
    except Exception:  # noqa: BLE001 - pint raises many kinds for text that is no unit
        raise _unknown(number, unit, want) from None
    return _finite(value)


def _unknown(number: float, unit: str, want: str) -> UnitError:
    meant = _MEANT.get(want, {})
    near = difflib.get_close_matches(unit.casefold()[:LONGEST], meant, 1)
    advice = f'; did you mean "{number:g} {meant[near[0]]}"?' if near else ""
    return UnitError(f"unit '{unit[:LONGEST]}' is not known{advice}")


def _finite(value: float) -> float:
    if not math.isfinite(value):
        raise UnitError("too large a number")
    return value


def quantity(text: object, want: str, example: str) -> float:
    """Return the number of `want` units in text such as "1450 rpm".

    `example` stands in the message of the UnitError raised for anything else.
    """
    number, unit = _number_and_unit(text, example)
    if "revolution" in want and not _TURNS.search(unit):  # the library would take 1 Hz for 1 rad/s
        raise UnitError(f"'{unit}' does not say that it counts turns of the shaft")
    return _in_unit(number, unit, want)


_COMMA = re.compile(r",\s*\d")  # what follows the number, where a comma is meant for its point


def _number_and_unit(text: object, example: str) -> tuple[float, str]:
    if not isinstance(text, str):
        raise UnitError(f"a unit is missing, write it as text such as {example}")
    matched = _NUMBER.fullmatch(text) if len(text) <= LONGEST else None
    if matched is None:
        raise UnitError(f"not a number with a unit such as {example}")
    if _COMMA.match(matched[2]):
        raise UnitError(f"a comma in a number: write it with a point, as in {example}")
    return float(matched[1]), matched[2]


def duration_ms(text: object) -> int:
    """Return a duration such as "150 s", "2.5 min", "500 ms" or "7 d" in whole ms. Raises UnitError."""
    return round(quantity(text, "millisecond", '"150 s" or "2.5 min"'))


def _split_pressure(text: object) -> tuple[float, str]:
    """Return (Pa as counted, what it counts from: gauge, absolute, difference, vacuum or "")."""
    number, marked = _number_and_unit(text, '"48 kPa" or "7 psi"')
    unit, zero = _unit_and_zero(marked)
    return _in_unit(number, unit, "pascal"), zero


def _unit_and_zero(text: str) -> tuple[str, str]:
    marked = _ZERO.fullmatch(text) if len(text) <= LONGEST else None
    if marked is None:
        return text, ""
    return marked["unit"], next(name for name in ("gauge", "absolute", "difference", "vacuum") if marked[name])


def pressure_unit(text: str) -> tuple[float, str]:
    """Return (Pa in one, what it counts from: gauge, absolute, difference, vacuum or "") of a unit such as "psig".

    Raises UnitError for what is no unit of pressure.
    """
    unit, zero = _unit_and_zero(text)
    return _in_unit(1.0, unit, "pascal"), zero


def pressure_difference_pa(text: object) -> int:
    """Return a difference of two pressures, such as "48 kPa" or "7 psi", in whole Pa. Raises UnitError."""
    value, zero = _split_pressure(text)
    if zero not in ("", "difference"):
        raise UnitError("net oil pressure is a difference of two pressures, neither gauge nor absolute nor vacuum")
    return round(value)


def marked_pressure_pa(text: object, atmosphere_pa: float) -> int:
    """Return a pressure that says itself what it counts from as whole absolute Pa. Raises UnitError.

    "5 inHg" may be a vacuum or an absolute pressure, "20 psi" gauge or absolute: neither is guessed.
    """
    _, zero = _split_pressure(text)
    if not zero:
        plain = str(text).strip()
        marks = ("abs", "gauge") if plain.startswith("-") else ("vac", "abs", "gauge")
        ways = " or ".join(f'"{plain} {mark}"' for mark in marks)
        raise UnitError(f"what it counts from is not said: write {ways}")
    return absolute_pressure_pa(text, atmosphere_pa)


def absolute_pressure_pa(text: object, atmosphere_pa: float) -> int:
    """Return a pressure as whole absolute Pa.

    Plain units are absolute; "0 psig", "1.2 bar gauge" and "5 inHg vac" count
    from the site's atmosphere (Pa). Raises UnitError, for a pressure below an empty vacuum too.
    """
    value, zero = _split_pressure(text)
    if zero == "difference":
        raise UnitError("must be a pressure, not a difference of two")
    if zero == "gauge":
        value += atmosphere_pa
    elif zero == "vacuum":
        if value < 0:
            raise UnitError("vacuum is counted downwards from the atmosphere and is not negative")
        value = atmosphere_pa - value
        if value < 0:
            raise UnitError("deeper than an empty vacuum at this altitude")
    return round(value)


def atmosphere_pa(altitude_m: float) -> float:
    """Return the standard atmosphere's pressure (Pa) at a geometric altitude (m), -500 .. 5000.

    ISO 2533:1975 / U.S. Standard Atmosphere 1976, layer of constant lapse rate:
    p = p0 (1 - L h / T0) ** (g0 M0 / (R* L)) with h the geopotential altitude
    r0 z / (r0 + z). Constants of that standard: T0 288.15 K, L 6.5 K/km,
    g0 9.80665 m/s2, M0 28.9644 kg/kmol, R* 8314.32 J/(kmol K), r0 6356766 m.
    """
    geopotential = 6356766.0 * altitude_m / (6356766.0 + altitude_m)
    exponent = 9.80665 * 28.9644 / (8314.32 * 0.0065)
    return STANDARD_ATMOSPHERE_PA * math.pow(1.0 - 0.0065 * geopotential / 288.15, exponent)
