"""Units as loggers write them: "bar(g)", "psig", "kg/cm²", "°C", "U/min"; in headers, unit rows and profiles.

The conversions themselves are those of `replay.ground.units`; here is only spelling.
"""

import functools
import re
import unicodedata
from dataclasses import dataclass

from replay.ground.units import LONGEST, UnitError, pressure_unit, quantity

PRESSURE, TEMPERATURE, SPEED, CURRENT, TIME = "pressure", "temperature", "speed", "current", "time"
POWER, LOAD = "power", "load"
KINDS = (PRESSURE, TEMPERATURE, SPEED, CURRENT, TIME, POWER, LOAD)
NEAR = 1e-6  # share by which two scales may differ and be one unit
REFERENCES = ("gauge", "absolute", "difference", "vacuum")
WANTED = {TEMPERATURE: "degC", SPEED: "rpm", CURRENT: "ampere", TIME: "millisecond", POWER: "kilowatt", LOAD: "percent"}

# Spellings of the trade, without case and blanks -> how `replay.ground.units` knows them.
_KNOWN = "bar mbar psi Pa hPa kPa MPa kgf/cm2 at atm N/mm2 kN/m2 inH2O mmH2O cmH2O torr mmHg inHg"
_PRESSURES = {name.casefold(): name for name in _KNOWN.split()}
_PRESSURES |= {"bars": "bar", "kg/cm2": "kgf/cm2", "kp/cm2": "kgf/cm2", "in.hg": "inHg", '"hg': "inHg"}
_PRESSURES |= dict.fromkeys(("lb/in2", "lbf/in2", "lbs/in2"), "psi")
_TEMPERATURES = {"°c": (1.0, 0.0), "c": (1.0, 0.0), "degc": (1.0, 0.0), "k": (1.0, -273.15)}
_TEMPERATURES |= dict.fromkeys(("°f", "f", "degf"), (5.0 / 9.0, -160.0 / 9.0))
_SPEEDS = dict.fromkeys(("rpm", "1/min", "min-1", "min^-1", "u/min", "tr/min", "r/min", "rev/min"), 1.0)
_SPEEDS |= dict.fromkeys(("hz", "1/s", "s-1", "rps", "rev/s"), 60.0)
_CURRENTS = {"a": 1.0, "amp": 1.0, "amps": 1.0, "ampere": 1.0, "ma": 0.001, "ka": 1000.0}
_POWERS = {"kw": 1.0, "mw": 1000.0, "kva": 1.0}
_LOADS = dict.fromkeys(("%", "percent", "pct", "prozent"), 1.0)
_TIMES = dict.fromkeys(("s", "sec", "secs", "second", "seconds", "sek", "sekunden"), 1000.0)
_TIMES |= dict.fromkeys(("ms", "msec", "millisecond", "milliseconds"), 1.0)
_TIMES |= dict.fromkeys(("us", "µs", "μs", "microsecond", "microseconds"), 1e-3)
_TIMES |= dict.fromkeys(("ns", "nanosecond", "nanoseconds"), 1e-6)
_TIMES |= dict.fromkeys(("min", "minute", "minutes"), 60e3)
_TIMES |= dict.fromkeys(("h", "hr", "hour", "hours"), 3600e3)
_TIMES |= dict.fromkeys(("d", "day", "days"), 86400e3)

_MARK = re.compile(
    r"(?P<unit>.*?[^\s(_,.\-])[\s(_,.\-]*(?:"
    r"(?P<gauge>g|ga|gauge|rel|relative?|ü|üb)|(?P<absolute>a|abs|absolute?)|"
    r"(?P<difference>d|diff|differential)|(?P<vacuum>vac|vacuum|vakuum))\.?\)?",
    re.IGNORECASE,
)
_WITH_UNIT = re.compile(
    r"(?P<number>[-+\u2212]?\d[\d.,]*)\s*(?P<unit>[^\W\d_\u00b0\u00b5%][^\d]{0,15}2?[^\d]{0,4}|°[CF])"
)
# What multiplies a unit in a name or a unit row: "0.1 bar", "bar x10", "kPa*100", "bar/10", "10^-1 bar".
_FACTOR = re.compile(
    r"(?<![\w.,])0[.,]0*1(?![\d.,])|(?:(?<![^\W\d])x|[*\u00d7\u00b7/])\s?10+(?!\d)|(?<!\d)10\s?(?:\^|\*\*)\s?-?\d"
    r"|(?<!\d)10+\s?[*\u00d7\u00b7]",
    re.IGNORECASE,
)
OF_A_DAY = re.compile(r"\bof\s+(?:the\s+|a\s+)?(?:day|hour|week|month|year)\b", re.IGNORECASE)
_BREAK = re.compile(r"[\s\[({/,;_:.\-]")


@dataclass(frozen=True)
class Unit:
    """value in the wanted unit (Pa, degC, rpm, A, ms) = number * scale + offset; what a pressure counts from, or "".

    below: the scale of numbers below zero, where it is another one; else 0.
    """

    kind: str
    scale: float
    offset: float = 0.0
    reference: str = ""
    below: float = 0.0


def differing(one: Unit, other: Unit) -> bool:
    """Say whether two units are not the same one, as far as both say what they count from."""
    scales = abs(one.scale - other.scale) > NEAR * one.scale or abs(one.offset - other.offset) > NEAR
    return scales or ("" not in (one.reference, other.reference) and one.reference != other.reference)


def _plain(text: str) -> str:
    """Return a unit without enclosing brackets, superscripts and doubled blanks."""
    text = unicodedata.normalize("NFKC", text).strip()
    text = " ".join(text.translate(str.maketrans("", "", "[]{}")).split())
    if text.startswith("(") and text.endswith(")"):
        text = text[1:-1].strip()
    return text


@functools.lru_cache(maxsize=4096)
def read_unit(text: str, kind: str, *, spelled: bool = False) -> Unit:
    """Return a unit of this kind from its text. Raises UnitError for anything else.

    spelled: only the spellings listed here, not all that `replay.ground.units` knows, for words that may be no units.
    """
    if len(text) > LONGEST:
        raise UnitError(f"'{text[:LONGEST]}' is not a unit of {kind}")
    unit = _plain(text)
    short = unit.casefold().replace(" ", "")
    if kind == PRESSURE:
        return _pressure(unit, spelled=spelled)
    if kind == TEMPERATURE and short in _TEMPERATURES:
        return Unit(kind, *_TEMPERATURES[short])
    known = {SPEED: _SPEEDS, CURRENT: _CURRENTS, TIME: _TIMES, POWER: _POWERS, LOAD: _LOADS}.get(kind, {})
    if short in known:
        return Unit(kind, known[short])
    if kind == TEMPERATURE or spelled or not unit:
        raise UnitError(f"'{unit}' is not a unit of {kind}")
    return Unit(kind, quantity(f"1 {unit}", WANTED[kind], f'"{kind}"'))


def _pressure(unit: str, *, spelled: bool) -> Unit:
    known = _pascals(unit, spelled=spelled)
    if known is not None:
        return Unit(PRESSURE, known[0], reference=known[1])
    marked = _MARK.fullmatch(unit)
    known = _pascals(marked["unit"].strip(), spelled=spelled) if marked else None
    if marked and known and not known[1]:
        return Unit(PRESSURE, known[0], reference=next(name for name in REFERENCES if marked[name]))
    raise UnitError(f"'{unit}' is not a unit of pressure")


def _pascals(unit: str, *, spelled: bool) -> tuple[float, str] | None:
    """Return (Pa in one unit, reference) of text without case, or None."""
    if unit == "mPa":
        raise UnitError("'mPa' is the millipascal: write MPa or kPa")
    known = _PRESSURES.get(unit.casefold().replace(" ", ""))
    if known is None and spelled:
        return None
    try:
        return pressure_unit(known or unit)
    except UnitError:
        return None


def is_unit(text: str, kind: str) -> bool:
    """Say whether a text of a file is spelled as a unit of this kind."""
    try:
        read_unit(text, kind, spelled=True)
    except UnitError:
        return False
    return True


def kind_of(text: str) -> str | None:
    """Return the kind of a unit by its text, or None for text that is no unit."""
    return next((kind for kind in KINDS if is_unit(text, kind)), None)


@functools.lru_cache(maxsize=65536)
def number_with_unit(cell: str) -> tuple[str, str] | None:
    """Return (number, unit) of a cell such as "3.5 bar(g)", None for any other."""
    found = _WITH_UNIT.fullmatch(cell)
    if found is None or not any(is_unit(found["unit"], kind) for kind in (PRESSURE, TEMPERATURE, SPEED, CURRENT)):
        return None
    return found["number"], found["unit"]


def unit_in_name(name: str, kind: str) -> str:
    """Return the unit of this kind at the end of a column's name such as "Suction (psig)", or "".

    The longest tail counts, so that "bar (g)" is not read as "g", and the whole name such as "rpm" is one; a single
    letter names a machine rather. "Seconds of day" are no days.
    """
    if kind == TIME and OF_A_DAY.search(name):
        return ""
    whole = _unwrapped(name.strip(" ,;/_:.-"))
    if 1 < len(whole) <= LONGEST and is_unit(whole, kind):
        return whole
    for found in _BREAK.finditer(name, max(0, len(name) - LONGEST)):
        tail = _unwrapped(name[found.start() :].strip(" ,;/_:.-"))
        if tail and is_unit(tail, kind):
            return tail
    return ""


def factor_in(name: str) -> str:
    """Return what a name or a unit says that its numbers are multiplied by, such as "x10" or "0.1", or ""."""
    found = _FACTOR.search(unicodedata.normalize("NFKC", name))
    return found[0].strip() if found else ""


def without_factor(unit: str) -> str:
    """Return a unit without what its numbers are multiplied by."""
    return " ".join(_FACTOR.sub(" ", unit).split())


def units_in_name(name: str, kind: str) -> list[str]:
    """Return the words of a name that are units of this kind and not the same one, such as psig and inHg."""
    words = [word for word in re.split(r"[\s\[\](){},;/_:.-]+", name) if len(word) > 1 and is_unit(word, kind)]
    return list({read_unit(word, kind).scale: word for word in reversed(words)}.values())[::-1]


def _unwrapped(tail: str) -> str:
    """Drop one pair of brackets around the whole."""
    if tail[:1] in "[({" and tail[-1:] in "])}":
        return tail[1:-1].strip()
    return tail.strip()
