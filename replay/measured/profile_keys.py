"""The keys of a profile: how each is read, and what would do instead of a wrong value."""

from collections.abc import Callable
from typing import Any

from replay.ground.shape import (
    Key,
    Keys,
    Read,
    UnfitError,
    list_of,
    name,
    number,
    one_of,
    plain_text,
    switch,
    text,
    whole,
)
from replay.ground.units import duration_ms, quantity
from replay.measured.unit_text import CURRENT, LOAD, POWER, PRESSURE, REFERENCES, SPEED, TEMPERATURE, TIME, read_unit
from replay.settings.file import ALTITUDE_M, altitude_m

OPEN = "?"  # what a drafted profile holds where the user has to decide
PRESSURES = ("oil_pressure", "suction_pressure", "crankcase_pressure")
CHANNELS = dict.fromkeys(PRESSURES, PRESSURE) | {"oil_temperature": TEMPERATURE, "speed": SPEED}
FLAGS = ("running", "reset")
LEVELS = {"current": CURRENT, "speed": SPEED, "power": POWER, "load": LOAD}  # what a running status may be made of
NEEDED = ("time", "oil_pressure", "suction_pressure", "running")
ELAPSED, EPOCH, DATE, SERIAL_DAY, MINUTES = "elapsed", "epoch", "date", "serial day", "minutes"
FORMS = (ELAPSED, EPOCH, DATE, SERIAL_DAY, MINUTES)
ORDERS = ("YMD", "DMY", "MDY")
MAX_GAP_MS = (1, 86400000)
MOST_HOLD_MS = 30 * 86400000
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
        raise UnfitError("must be a list of words")
    return tuple(str(int(item)) if isinstance(item, bool) else str(item).strip() for item in value)


def _sentinels(value: object) -> tuple[str | float, ...]:
    if not isinstance(value, list) or not all(isinstance(i, str | int | float) and i is not True for i in value):
        raise UnfitError("must be a list of words and numbers")
    return tuple(item.strip() if isinstance(item, str) else float(item) for item in value)


def _unit_of(kind: str) -> Callable[[object], str]:
    def read(value: object) -> str:
        read_unit(text(value), kind)
        return str(value)

    return read


def _pressure_or_temperature(value: object) -> str:
    try:
        read_unit(text(value), TEMPERATURE)
    except UnfitError:
        read_unit(text(value), PRESSURE)
    return str(value)


def _gap(value: object) -> int:
    gap = duration_ms(value)
    if not MAX_GAP_MS[0] <= gap <= MAX_GAP_MS[1]:
        raise UnfitError("outside 1 ms to 1 d")
    return gap


def _hold(value: object) -> int:
    hold = duration_ms(value)
    if not 1 <= hold <= MOST_HOLD_MS:
        raise UnfitError("outside 1 ms to 30 d")
    return hold


def _share(value: object) -> float:
    share: float = number()(value)
    if not 0 <= share < 1:
        raise UnfitError("no share from 0 to below 1")
    return share


def _valid(value: object) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:  # noqa: PLR2004 - from, to
        raise UnfitError("must be a pair of numbers")
    least, most = map(number(), value)
    if least >= most:
        raise UnfitError("the first number is not below the second")
    return least, most


def _machine_columns(value: object) -> dict[str, dict[str, Column]]:
    if not isinstance(value, dict) or not value:
        raise UnfitError("must be a table for each machine")
    found: dict[str, dict[str, Column]] = {}
    for machine, columns in value.items():
        if not isinstance(columns, dict) or not columns:
            raise UnfitError(f"machine '{machine}' has no table of columns")
        for signal, column in columns.items():
            if signal not in (*CHANNELS, *FLAGS):
                raise UnfitError(f"'{signal}' of machine '{machine}' is no signal: {', '.join((*CHANNELS, *FLAGS))}")
            if column == OPEN:
                raise UnfitError(f"{signal} of machine '{machine}' is left open in the draft: decide it")
        found[name(machine)] = {signal: _column(column) for signal, column in columns.items()}
    return found


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
_GROUP = _key(whole(0), "the number of an MDF channel group, from 0")
_WORDS = _key(_texts, 'a list of words such as ["ON", "1"]')
_HOLD = _key(_hold, 'a duration such as "1 h", after which a reading that was not written again is none')
_HELD = {"on_change": _key(switch, "true or false"), "longest_hold": _HOLD}
_ABOVE = {
    "current": _key(lambda value: quantity(value, "ampere", '"12 A"'), 'a motor current such as "12 A"'),
    "speed": _key(lambda value: quantity(value, "rpm", '"200 rpm"'), 'a speed such as "200 rpm"'),
    "power": _key(lambda value: quantity(value, "kilowatt", '"4 kW"'), 'a power such as "4 kW"'),
    "load": _key(lambda value: quantity(value, "percent", '"5 %"'), 'a share of full load such as "5 %"'),
}
_PATTERN = _key(text, 'a pattern of file names such as "*OILP*", where each signal has a file of its own')
_SIGNAL = {"file": _PATTERN, "column": _key(_column, _NAME), "group": _GROUP, "quality": _key(_column, _NAME), **_HELD}
_SCALED = {
    "scale": _key(number(), "what one count of the raw number is in the unit, such as 0.1"),
    "offset": _key(number(), "what is added, in the unit, such as -6.25"),
    "valid": _key(_valid, "the raw numbers that a sound sensor gives, such as [3.8, 20.5] of mA"),
}
_PRESSURE = (
    _SIGNAL
    | _SCALED
    | {
        "unit": _key(
            _unit_of(PRESSURE), 'a pressure unit such as "bar", "psig" or "kPa"; left out, the file has to say'
        ),
        "reference": _key(one_of(*REFERENCES), ", ".join(f'"{name}"' for name in REFERENCES)),
        "below_zero": _key(_unit_of(PRESSURE), 'the unit of readings below zero of a compound gauge, such as "inHg"'),
    }
)
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
        "step": _key(_gap, 'a duration such as "1 s", by which rows of the same time follow each other'),
        **_HELD,
        "ticks": _key(one_of(*CHANNELS), "the signal whose clock gives the rows: " + ", ".join(CHANNELS)),
    },
    "long": {"tag": _key(_column, _NAME, needed=True), "value": _key(_column, _NAME, needed=True)},
    "site": {"altitude": _key(altitude_m, f'text such as "40 m", {ALTITUDE_M[0]:g} m to {ALTITUDE_M[1]:g} m')},
    **dict.fromkeys(PRESSURES, _PRESSURE),
    "suction_pressure": _PRESSURE
    | {
        "unit": _key(_pressure_or_temperature, 'a pressure unit such as "bar", or "degC" with refrigerant = "..."'),
        "constant": _key(text, 'a pressure that is not logged, such as "1.8 bar(g)"'),
        "refrigerant": _key(name, 'the refrigerant of a saturated temperature, such as "R404A"'),
    },
    "oil_temperature": _SIGNAL | _SCALED | {"unit": _key(_unit_of(TEMPERATURE), '"degC", "degF" or "K"')},
    "speed": _SIGNAL | _SCALED | {"unit": _key(_unit_of(SPEED), '"rpm" or "Hz"')},
    "running": _SIGNAL
    | {
        "on": _WORDS,
        "off": _WORDS,
        **{f"{what}_{side}": key for what, key in _ABOVE.items() for side in ("above", "below")},
        **dict.fromkeys(("least_run", "least_stop"), _key(_gap, 'a duration such as "5 s"')),
        "mean_above": _key(_share, "a share of the row, 0 to below 1, above which it counts as running"),
        "unit": _key(text, '"A", "rpm", "kW" or "%", of the column that the threshold is for'),
    },
    "reset": _SIGNAL | {"on": _WORDS, "off": _WORDS},
    "quality": {
        "column": _key(_column, _NAME),
        "good": _key(_texts, 'a list of the words of good readings, such as ["Good", 192]', needed=True),
    },
    "trace": {
        **dict.fromkeys(("family", "machine", "oil"), _key(name, "text in one line")),
        "machine_from": _key(one_of("file", "folder"), '"file" or "folder", whose name is the machine\'s'),
        "machine_column": _key(_column, _NAME),
        "note": _key(text, "text"),
        "origin": _key(_origin, '"recorded: ..."'),
    },
}
SHAPE = Keys(
    {
        "fingerprints": Key(list_of(plain_text), 'fingerprints = ["..."]', needed=False),
        "machines": Key(_machine_columns, '[machines."1"] oil_pressure = "its column", ...', needed=False),
        **{section: Keys(keys, needed=section in NEEDED) for section, keys in SECTIONS.items()},
    }
)
