"""Settings file (TOML, with units) -> integers that have passed every check of `protect`."""

import functools
import hashlib
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from protect import ranges
from protect.settings import ALL_RIGHT, RELATIONS, derive, first_fault
from replay.ground.places import STANDARD_INPUT, place_of
from replay.ground.refusal import refusal
from replay.ground.shape import Key, Keys, Read, UnfitError, anything, fit, number
from replay.ground.shown import KPA, Units, asked, system_of
from replay.ground.toml_files import read_toml
from replay.ground.units import (
    UnitError,
    atmosphere_pa,
    duration_ms,
    marked_pressure_pa,
    pressure_difference_pa,
    quantity,
)
from replay.ground.wording import words

# Section of the file -> its keys. A key is the name of one setting of `protect`,
# or of a pair: NAME_range sets NAME_least and NAME_most.
SECTIONS = {
    "net_oil_pressure": ("cut_out", "cut_in", "floor"),
    "integral": ("trip_delay", "floor_weight", "vacuum_weight", "recovery", "stopped_recovery"),
    "suction": ("vacuum", "reload", "reload_fraction"),
    "sequence": ("start_grace", "restart_delay", "trips_to_lockout", "trip_memory"),
    "sensors": ("oil_range", "suction_range", "max_gap", "stuck_after", "fault_delay"),
    "site": ("altitude",),
    "acceptance": ("max_missed", "max_nuisance_per_1000h", "min_margin"),
}
# Keys that may be left out. With `confidence` limits are judged, without it nothing but the counts; what the others
# stand at then, `left_out` says.
OPTIONAL = {
    "net_oil_pressure": ("rest_most",),
    "sequence": ("rest_settle", "reset_hold", "resets_most"),
    "acceptance": ("confidence", "max_missed_probability", "min_margin_coverage", "max_nuisance_probability"),
}
KEYS = {section: (*keys, *OPTIONAL.get(section, ())) for section, keys in SECTIONS.items()}
OFF = "off"  # of rest_most: no standstill zero
# Where these keys are left out. Assumed: 30 s drain the oil lines of a machine that stands, and two transmitters of
# 1600 kPa at 1 % each may be 32 kPa apart; three resets in a trip memory are common practice, no source.
REST_SETTLE_MS = 30_000
REST_MOST_PA = 35_000
REST_MOST_OF_CUT_OUT = 0.75  # at most: with the oil gone, a sensor that is off by no more reads below cut-out
RESET_HOLD_MS = 1_000
RESETS_MOST = 3
# Nine faults in ten, found in time: 29 without a miss show it at 95 %.
MAX_MISSED_PROBABILITY = 0.1
MIN_MARGIN_COVERAGE = 0.9
SHOWN_CONFIDENCE = 0.95  # of the limits that a report shows where none is stated
FAR = 1e9  # no plain number of a settings file comes near
ALTITUDE_M = (-500.0, 5000.0)
# Plain numbers of [acceptance]: least, most.
ACCEPTANCE = {
    "max_missed": (0, 1000000),
    "max_nuisance_per_1000h": (0.0, 1000000.0),
    "confidence": (0.5, 0.9999),
    "max_missed_probability": (0.0001, 0.9999),
    "min_margin_coverage": (0.0001, 0.9999),
    "max_nuisance_probability": (0.0001, 0.9999),
}
PLACES = {row[0]: place for place, row in enumerate(ranges.SETTINGS)}


@dataclass(frozen=True)
class Acceptance:
    """What a library replay has to meet: a count, stops per 1000 run hours, s, and how sure that has to be.

    Where confidence is None the counts are judged. Where it is given, so are the
    one-sided limits at that confidence: of the missed-trip probability, of the
    nuisance rate, of the share of faults that leave min_margin, and of the probability
    of a nuisance trip in an upset where max_nuisance_probability is not None.
    """

    max_missed: int
    max_nuisance_per_1000h: float
    min_margin_s: float
    confidence: float | None = None
    max_missed_probability: float = MAX_MISSED_PROBABILITY
    min_margin_coverage: float = MIN_MARGIN_COVERAGE
    max_nuisance_probability: float | None = None

    @property
    def shown_confidence(self) -> float:
        """Return the confidence of the limits that a report shows."""
        return SHOWN_CONFIDENCE if self.confidence is None else self.confidence


@dataclass(frozen=True)
class Settings:
    """Checked settings. `values` is the settings array of `protect`, derived places included."""

    file: str
    values: tuple[int, ...]
    altitude_m: float
    acceptance: Acceptance
    units: Units = KPA  # in which it is shown: those asked for, or else those of its cut-out

    @property
    def named(self) -> dict[str, int]:
        """Return the settings of `protect` by name, without the derived places."""
        return {row[0]: value for row, value in zip(ranges.SETTINGS, self.values, strict=False)}

    @property
    def digest(self) -> str:
        """Return the SHA-256 of the values the logic runs with, as NAME=VALUE lines."""
        return hashlib.sha256("".join(f"{name}={value}\n" for name, value in self.named.items()).encode()).hexdigest()

    def as_json(self) -> dict[str, Any]:
        """Return the settings as they stand in a JSON report: integers in the units of `protect`."""
        return {"file": self.file, "altitude_m": self.altitude_m, "values": self.named, "digest": self.digest}


def read_settings(path: Path | str) -> Settings:
    """Read and check a settings file as a whole; - is standard input.

    Raises Refusal, naming the key, at the first fault.
    """
    place = place_of(path)
    path = Path(STANDARD_INPUT) if str(path) == STANDARD_INPUT else place
    table = read_toml(place, "settings file")
    known = fit(path, table, _shape(lambda _, key: altitude_m if key == "altitude" else anything))
    altitude = known["site"]["altitude"]
    found = fit(path, table, _shape(functools.partial(_reading, atmosphere_pa(altitude))))
    values = [0] * ranges.SETTINGS_SIZE
    for section in found.keys() - {"site", "acceptance"}:
        for key, numbers in found[section].items():
            for name, value in zip(names_of(key), numbers, strict=True):
                values[PLACES[name]] = value
    for name, value in left_out(dict(zip(PLACES, values, strict=False))).items():
        section, key = key_of(name)
        if key not in found[section]:
            values[PLACES[name]] = value
    _check_relations(path, table, values)
    derive(values)
    units = asked(system_of(table["net_oil_pressure"]["cut_out"]))
    return Settings(str(path), tuple(values), altitude, _acceptance(path, found["acceptance"]), units)


def left_out(named: dict[str, int]) -> dict[str, int]:
    """Return what the settings that may be left out stand at, beside these (in the integers of `protect`).

    A machine that may start again at once is hardly ever at rest, so it has no standstill zero.
    """
    rests = named["restart_delay"] >= REST_SETTLE_MS
    most = min(REST_MOST_PA, int(REST_MOST_OF_CUT_OUT * named["cut_out"]))
    return {
        "rest_settle": min(REST_SETTLE_MS, named["restart_delay"]),
        "rest_most": max(most, ranges.SETTINGS[ranges.REST_MOST][2]) if rests else ranges.REST_OFF,
        "reset_hold": min(RESET_HOLD_MS, named["restart_delay"]),
        "resets_most": RESETS_MOST,
    }


def _shape(reading: Callable[[str, str], Read]) -> Keys:
    """Return the sections of the file; reading: how each key of a section is read. Nothing is set by silence."""
    sections = {
        name: {key: Key(reading(name, key), accepted_values(name, key), key in SECTIONS[name]) for key in its}
        for name, its in KEYS.items()
    }
    return Keys({name: Keys(its) for name, its in sections.items()})


def _reading(atmosphere: float, section: str, key: str) -> Read:
    """Return how a key is read at a site's atmosphere (Pa)."""
    if section == "site":
        return altitude_m
    if section == "acceptance":
        return _margin_s if key == "min_margin" else functools.partial(_of_acceptance, *ACCEPTANCE[key])
    return functools.partial(_integers, atmosphere, section, key)


def _integers(atmosphere: float, section: str, key: str, given: Any) -> list[int]:
    """Read a key as the integers of its setting, or its two."""
    if key == "rest_most" and given == OFF:
        return [ranges.REST_OFF]
    names = names_of(key)
    if len(names) > 1 and (not isinstance(given, list) or len(given) != len(names)):
        raise UnfitError("must be a pair")
    numbers = []
    for name, value in zip(names, given if len(names) > 1 else [given], strict=True):
        _, unit, least, most = ranges.SETTINGS[PLACES[name]]
        numbers.append(as_integer(section, unit, value, atmosphere))
        if not least <= numbers[-1] <= most:
            raise UnfitError("less than the least admitted" if numbers[-1] < least else "more than the most admitted")
    return numbers


def names_of(key: str) -> list[str]:
    """Return the settings of `protect` that a key sets: one, or the two ends of a range."""
    return [key.removesuffix("range") + end for end in ("least", "most")] if key.endswith("_range") else [key]


def altitude_m(value: Any) -> float:
    """Read the altitude of a site, m. Raises UnfitError."""
    altitude = quantity(value, "metre", '"250 m"')
    if not ALTITUDE_M[0] <= altitude <= ALTITUDE_M[1]:
        raise UnfitError("outside the admitted altitudes")
    return altitude


def _margin_s(value: Any) -> float:
    margin_ms = duration_ms(value)
    if margin_ms < 0:
        raise UnfitError("negative")
    return margin_ms / 1000


def _of_acceptance(least: float, most: float, value: Any) -> int | float:
    found: float = number(least, most)(value)
    if isinstance(least, int) and found != int(found):
        raise UnfitError("must be a whole number")
    return type(least)(found)


def as_integer(section: str, unit: str, value: object, atmosphere: float) -> int:
    """Return a value of the file as the integer that `protect` takes: Pa, ms, 1/2048 or a count.

    atmosphere: of the site, Pa. Raises UnitError.
    """
    if unit == "ms":
        return duration_ms(value)
    if unit == "Pa":
        if section == "net_oil_pressure":
            return pressure_difference_pa(value)
        return marked_pressure_pa(value, atmosphere)
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < FAR:
        raise UnitError("must be a plain number")
    if unit == "weight":
        return round(value * ranges.ONE)
    if value != int(value):
        raise UnitError("must be a whole number")
    return int(value)


def in_file_terms(section: str, unit: str, value: int) -> str:
    """Return an integer of `protect` as it would be written in a section of a settings file."""
    if unit == "Pa":
        return f'"{value / 1000:g} kPa{"" if section == "net_oil_pressure" else " abs"}"'
    if unit == "ms":
        for size, name in ((86400000, "d"), (3600000, "h"), (60000, "min"), (1000, "s")):
            if value >= size:
                return f'"{value / size:g} {name}"'
        return f'"{value} ms"'
    if unit == "weight":
        return f"{value / ranges.ONE:g}"
    return str(value)


def _inside(pascals: int, units: Units, towards: Callable[[float], int]) -> str:
    """Return a bound (Pa) as a number in these units, rounded into the range to a thousandth of the unit."""
    return f"{towards(1000 * pascals / units.size_pa) / 1000:.10g}"


def accepted_values(section: str, key: str) -> str:
    """Say what would be accepted for a key, from the one table of ranges."""
    if key == "altitude":
        return f'text such as "250 m", {ALTITUDE_M[0]:g} m to {ALTITUDE_M[1]:g} m'
    if key in ACCEPTANCE:
        least, most = ACCEPTANCE[key]
        return f"a number from {least:g} to {most:g}"
    if key == "min_margin":
        return '"0 s" or more'
    _, unit, least, most = ranges.SETTINGS[PLACES[names_of(key)[0]]]
    bounds = f"{in_file_terms(section, unit, least)} to {in_file_terms(section, unit, most)}"
    shown = asked()
    if unit == "Pa" and shown is not KPA:
        from_nothing = section != "net_oil_pressure"
        name = shown.absolute if from_nothing else shown.difference
        bounds = f'"{_inside(least, shown, math.ceil)} {name}" to "{_inside(most, shown, math.floor)} {name}"'
    if key.endswith("_range"):
        bounds = f'two pressures such as ["0 kPa abs", "2000 kPa abs"], each {bounds}'
    elif key == "rest_most":
        bounds += f', or "{OFF}" where a pump runs at standstill'
    elif unit == "Pa" and section == "suction":
        bounds += ', or gauge such as "0 psig" or "5 inHg vac"'
    return bounds


def _check_relations(path: Path, table: dict[str, Any], values: list[int]) -> None:
    """Refuse settings that contradict each other."""
    fault = first_fault(values)
    if fault == ALL_RIGHT:
        return
    lower, higher, gap = RELATIONS[fault - ranges.SETTING_COUNT]
    low, high = ranges.SETTINGS[lower][0], ranges.SETTINGS[higher][0]
    section, key = key_of(low)
    high_section, high_key = key_of(high)
    than = "less than" if gap else "not more than"
    unit = ranges.SETTINGS[lower][1]
    text = table[high_section].get(high_key)
    most = f'"{text}"' if isinstance(text, str) else in_file_terms(section, unit, values[higher])  # as it was written
    rule = f"{words(low)} must be {than} {words(high)} ({most})"
    accepted = f"{than} {most} here, or a higher [{high_section}] {high_key}"
    raise refusal(path, f"[{section}] {key}", rule, accepted, table[section].get(key, "left out"))


def key_of(name: str) -> tuple[str, str]:
    """Return (section, key) of the file that sets a setting of `protect`."""
    return next((section, key) for section, keys in KEYS.items() for key in keys if name in names_of(key))


def _acceptance(path: Path, found: dict[str, Any]) -> Acceptance:
    asked = {key: found[key] for key in OPTIONAL["acceptance"] if key in found}
    if asked and "confidence" not in asked:
        key, accepted = next(iter(asked)), f"confidence = {SHOWN_CONFIDENCE:g} beside it"
        rule = "asks for a limit, and no confidence is stated"
        raise refusal(path, f"[acceptance] {key}", rule, accepted, asked[key])
    return Acceptance(min_margin_s=found.pop("min_margin"), **found)
