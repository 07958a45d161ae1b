"""The keys of a profile: how each is read, and what would do instead of a wrong value."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from replay.ground.units import UnitError, duration_ms, quantity
from replay.measured.unit_text import PRESSURE, REFERENCES, SPEED, TEMPERATURE, TIME, read_unit
from replay.settings.file import ALTITUDE_M

OPEN = "?"  # what a drafted profile holds where the user has to decide
PRESSURES = ("oil_pressure", "suction_pressure", "crankcase_pressure")
CHANNELS = dict.fromkeys(PRESSURES, PRESSURE) | {"oil_temperature": TEMPERATURE, "speed": SPEED}
FLAGS = ("running", "reset")
NEEDED = ("time", "oil_pressure", "suction_pressure", "running")
ELAPSED, EPOCH, DATE, SERIAL_DAY = "elapsed", "epoch", "date", "serial day"
FORMS = (ELAPSED, EPOCH, DATE, SERIAL_DAY)
ORDERS = ("YMD", "DMY", "MDY")
MAX_GAP_MS = (1, 86400000)
SEPARATORS = (",", ";", "\t", "|")
THOUSANDS = (",", ".", "'", " ", "\u00a0", "\u202f", "")

Column = str | int


@dataclass(frozen=True)
class Key:
    """How one key of a profile is read: a function that raises UnitError, and what would do."""

    read: Callable[[object], Any]
    accepted: str
    needed: bool = False


def _text(value: object) -> str:
    if not isinstance(value, str) or not value.strip():
        raise UnitError("text is wanted")
    return value


def _name(value: object) -> str:
    if "\n" in _text(value) or "\r" in str(value):
        raise UnitError("a name of several lines")
    return str(value)


def _column(value: object) -> Column:
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise UnitError("neither a column's name nor its number")
    return value


def _columns(value: object) -> tuple[Column, ...]:
    if isinstance(value, list):
        if len(value) not in (1, 2):
            raise UnitError("one column, or two for date and time of day")
        return tuple(_column(item) for item in value)
    return (_column(value),)


def _one_of(*names: str) -> Callable[[object], str]:
    def read(value: object) -> str:
        if value not in names:
            raise UnitError("not one of those")
        return str(value)

    return read


def _whole(least: int) -> Callable[[object], int]:
    def read(value: object) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or value < least:
            raise UnitError(f"a whole number from {least} is wanted")
        return value

    return read


def _switch(value: object) -> bool:
    if not isinstance(value, bool):
        raise UnitError("true or false is wanted")
    return value


def _texts(value: object) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(item, str | int) for item in value):
        raise UnitError("a list is wanted")
    return tuple(str(int(item)) if isinstance(item, bool) else str(item).strip() for item in value)


def _sentinels(value: object) -> tuple[str | float, ...]:
    if not isinstance(value, list) or not all(isinstance(i, str | int | float) and i is not True for i in value):
        raise UnitError("a list of words and numbers is wanted")
    return tuple(item.strip() if isinstance(item, str) else float(item) for item in value)


def _unit_of(kind: str) -> Callable[[object], str]:
    def read(value: object) -> str:
        read_unit(_text(value), kind)
        return str(value)

    return read


def _quantity(unit: str, example: str) -> Callable[[object], float]:
    return lambda value: quantity(value, unit, example)


def _altitude(value: object) -> float:
    altitude = quantity(value, "metre", '"40 m"')
    if not ALTITUDE_M[0] <= altitude <= ALTITUDE_M[1]:
        raise UnitError("outside the admitted altitudes")
    return altitude


def _gap(value: object) -> int:
    gap = duration_ms(value)
    if not MAX_GAP_MS[0] <= gap <= MAX_GAP_MS[1]:
        raise UnitError("outside 1 ms to 1 d")
    return gap


def _zone(value: object) -> str:
    from replay.measured.zones import offset_or_zone

    offset_or_zone(_text(value))
    return str(value)


def _encoding(value: object) -> str:
    import codecs

    try:
        name = codecs.lookup(_text(value)).name
        b"1;2\r\n".decode(name, "replace")
    except (LookupError, ValueError):
        raise UnitError("no such encoding of text") from None
    return name


def _origin(value: object) -> str:
    if not _text(value).startswith("recorded:"):
        raise UnitError("a measured trace was recorded")
    return str(value)


_NAME = 'a column\'s name such as "P oil", or its number from 1'
_COLUMN = Key(_column, _NAME, needed=True)
_GROUP = Key(_whole(0), "the number of an MDF channel group, from 0")
_WORDS = Key(_texts, 'a list of words such as ["ON", "1"]')
_SIGNAL = {"column": _COLUMN, "group": _GROUP}
_PRESSURE = _SIGNAL | {
    "unit": Key(_unit_of(PRESSURE), 'a pressure unit such as "bar", "psig" or "kPa"; left out, the file has to say'),
    "reference": Key(_one_of(*REFERENCES), ", ".join(f'"{name}"' for name in REFERENCES)),
}
SECTIONS: dict[str, dict[str, Key]] = {
    "file": {
        "encoding": Key(_encoding, '"utf-8", "utf-16", "cp1252", ...'),
        "separator": Key(_one_of(*SEPARATORS), '",", ";", "|" or "\\t"'),
        "decimal": Key(_one_of(".", ","), '"." or ","'),
        "thousands": Key(_one_of(*THOUSANDS), '",", ".", "\'", " " or "" for none'),
        "header_line": Key(_whole(0), "the number of the line with the column names, 0 if there is none"),
        "sentinels": Key(_sentinels, 'a list such as ["Bad", "---", -999], [] for none'),
    },
    "time": {
        "column": Key(_columns, _NAME + ', or two: ["Date", "Time"]'),
        "form": Key(_one_of(*FORMS), ", ".join(f'"{name}"' for name in FORMS)),
        "unit": Key(_unit_of(TIME), '"s", "ms", "us", "min", "h" or "d"'),
        "order": Key(_one_of(*ORDERS), '"DMY", "MDY" or "YMD"'),
        "zone": Key(_zone, '"Europe/Dublin", "UTC" or a fixed "+01:00"'),
        "repeated_hour": Key(_one_of("first", "second"), '"first" or "second"'),
        "max_gap": Key(_gap, 'a duration such as "5 s"', needed=True),
        "ticks": Key(_one_of(*CHANNELS), "the signal whose clock gives the rows: " + ", ".join(CHANNELS)),
    },
    "site": {"altitude": Key(_altitude, f'text such as "40 m", {ALTITUDE_M[0]:g} m to {ALTITUDE_M[1]:g} m')},
    **dict.fromkeys(PRESSURES, _PRESSURE),
    "oil_temperature": _SIGNAL | {"unit": Key(_unit_of(TEMPERATURE), '"degC", "degF" or "K"')},
    "speed": _SIGNAL | {"unit": Key(_unit_of(SPEED), '"rpm" or "Hz"')},
    "running": {
        "column": Key(_column, _NAME),
        "group": _GROUP,
        "on": _WORDS,
        "off": _WORDS,
        "current_above": Key(_quantity("ampere", '"12 A"'), 'a motor current such as "12 A"'),
        "speed_above": Key(_quantity("rpm", '"200 rpm"'), 'a speed such as "200 rpm"'),
        "unit": Key(_text, '"A" or "rpm", of the column that the threshold is for'),
        "on_change": Key(_switch, "true or false"),
    },
    "reset": _SIGNAL | {"on": _WORDS, "off": _WORDS},
    "trace": {
        **{name: Key(_name, "text in one line") for name in ("family", "machine", "oil")},
        "note": Key(_text, "text"),
        "origin": Key(_origin, '"recorded: ..."'),
    },
}
