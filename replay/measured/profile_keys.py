"""The keys of a profile: how each is read, and what would do instead of a wrong value."""

from collections.abc import Callable
from typing import Any

from replay.ground.shape import Key, Keys, Read, UnfitError, list_of, name, one_of, plain_text, switch, text, whole
from replay.ground.units import duration_ms, quantity
from replay.measured.unit_text import PRESSURE, REFERENCES, SPEED, TEMPERATURE, TIME, read_unit
from replay.settings.file import ALTITUDE_M, altitude_m

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


def _key(read: Read, accepted: str, *, needed: bool = False) -> Key:
    """Return a key that is refused where a draft left it open."""

    def decided(value: Any) -> Any:
        if value == OPEN:
            raise UnfitError("left open in the draft: decide it")
        return read(value)

    return Key(decided, accepted, needed)


def _column(value: object) -> Column:
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise UnfitError("neither a column's name nor its number")
    return value


def _columns(value: object) -> tuple[Column, ...]:
    if isinstance(value, list):
        if len(value) not in (1, 2):
            raise UnfitError("one column, or two for date and time of day")
        return tuple(_column(item) for item in value)
    return (_column(value),)


def _texts(value: object) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(item, str | int) for item in value):
        raise UnfitError("a list of words is wanted")
    return tuple(str(int(item)) if isinstance(item, bool) else str(item).strip() for item in value)


def _sentinels(value: object) -> tuple[str | float, ...]:
    if not isinstance(value, list) or not all(isinstance(i, str | int | float) and i is not True for i in value):
        raise UnfitError("a list of words and numbers is wanted")
    return tuple(item.strip() if isinstance(item, str) else float(item) for item in value)


def _unit_of(kind: str) -> Callable[[object], str]:
    def read(value: object) -> str:
        read_unit(text(value), kind)
        return str(value)

    return read


def _gap(value: object) -> int:
    gap = duration_ms(value)
    if not MAX_GAP_MS[0] <= gap <= MAX_GAP_MS[1]:
        raise UnfitError("outside 1 ms to 1 d")
    return gap


def _zone(value: object) -> str:
    from replay.ground.zones import offset_or_zone

    offset_or_zone(text(value))
    return str(value)


def _encoding(value: object) -> str:
    import codecs

    try:
        name = codecs.lookup(text(value)).name
        b"1;2\r\n".decode(name, "replace")
    except (LookupError, ValueError):
        raise UnfitError("no such encoding of text") from None
    return name


def _origin(value: object) -> str:
    if not text(value).startswith("recorded:"):
        raise UnfitError("a measured trace was recorded")
    return str(value)


_NAME = 'a column\'s name such as "P oil", or its number from 1'
_COLUMN = _key(_column, _NAME, needed=True)
_GROUP = _key(whole(0), "the number of an MDF channel group, from 0")
_WORDS = _key(_texts, 'a list of words such as ["ON", "1"]')
_SIGNAL = {"column": _COLUMN, "group": _GROUP}
_PRESSURE = _SIGNAL | {
    "unit": _key(_unit_of(PRESSURE), 'a pressure unit such as "bar", "psig" or "kPa"; left out, the file has to say'),
    "reference": _key(one_of(*REFERENCES), ", ".join(f'"{name}"' for name in REFERENCES)),
}
SECTIONS: dict[str, dict[str, Key]] = {
    "file": {
        "encoding": _key(_encoding, '"utf-8", "utf-16", "cp1252", ...'),
        "separator": _key(one_of(*SEPARATORS), '",", ";", "|" or "\\t"'),
        "decimal": _key(one_of(".", ","), '"." or ","'),
        "thousands": _key(one_of(*THOUSANDS), '",", ".", "\'", " " or "" for none'),
        "header_line": _key(whole(0), "the number of the line with the column names, 0 if there is none"),
        "sentinels": _key(_sentinels, 'a list such as ["Bad", "---", -999], [] for none'),
    },
    "time": {
        "column": _key(_columns, _NAME + ', or two: ["Date", "Time"]'),
        "form": _key(one_of(*FORMS), ", ".join(f'"{name}"' for name in FORMS)),
        "unit": _key(_unit_of(TIME), '"s", "ms", "us", "min", "h" or "d"'),
        "order": _key(one_of(*ORDERS), '"DMY", "MDY" or "YMD"'),
        "zone": _key(_zone, '"Europe/Dublin", "UTC" or a fixed "+01:00"'),
        "repeated_hour": _key(one_of("first", "second"), '"first" or "second"'),
        "max_gap": _key(_gap, 'a duration such as "5 s"', needed=True),
        "ticks": _key(one_of(*CHANNELS), "the signal whose clock gives the rows: " + ", ".join(CHANNELS)),
    },
    "site": {"altitude": _key(altitude_m, f'text such as "40 m", {ALTITUDE_M[0]:g} m to {ALTITUDE_M[1]:g} m')},
    **dict.fromkeys(PRESSURES, _PRESSURE),
    "oil_temperature": _SIGNAL | {"unit": _key(_unit_of(TEMPERATURE), '"degC", "degF" or "K"')},
    "speed": _SIGNAL | {"unit": _key(_unit_of(SPEED), '"rpm" or "Hz"')},
    "running": {
        "column": _key(_column, _NAME),
        "group": _GROUP,
        "on": _WORDS,
        "off": _WORDS,
        "current_above": _key(lambda value: quantity(value, "ampere", '"12 A"'), 'a motor current such as "12 A"'),
        "speed_above": _key(lambda value: quantity(value, "rpm", '"200 rpm"'), 'a speed such as "200 rpm"'),
        "unit": _key(text, '"A" or "rpm", of the column that the threshold is for'),
        "on_change": _key(switch, "true or false"),
    },
    "reset": _SIGNAL | {"on": _WORDS, "off": _WORDS},
    "trace": {
        **dict.fromkeys(("family", "machine", "oil"), _key(name, "text in one line")),
        "note": _key(text, "text"),
        "origin": _key(_origin, '"recorded: ..."'),
    },
}
SHAPE = Keys(
    {
        "fingerprints": Key(list_of(plain_text), 'fingerprints = ["..."]', needed=False),
        **{section: Keys(keys, needed=section in NEEDED) for section, keys in SECTIONS.items()},
    }
)
