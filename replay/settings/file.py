"""Settings file (TOML, with units) -> integers that have passed every check of `protect`."""

import hashlib
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from protect import ranges
from protect.settings import ALL_RIGHT, RELATIONS, derive, first_fault
from replay.ground.refusal import refusal
from replay.ground.toml_files import read_toml
from replay.ground.units import UnitError, absolute_pressure_pa, atmosphere_pa, duration_ms, pressure_difference_pa

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
# Keys that may be left out. With `confidence` limits are judged, without it nothing but the counts.
OPTIONAL = {"acceptance": ("confidence", "max_missed_probability", "min_margin_coverage")}
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
}
PLACES = {row[0]: place for place, row in enumerate(ranges.SETTINGS)}


@dataclass(frozen=True)
class Acceptance:
    """What a library replay has to meet: a count, stops per 1000 run hours, s, and how sure that has to be.

    Where confidence is None the counts are judged. Where it is given, so are the
    one-sided limits at that confidence: of the missed-trip probability, of the
    nuisance rate, and of the share of faults that leave min_margin.
    """

    max_missed: int
    max_nuisance_per_1000h: float
    min_margin_s: float
    confidence: float | None = None
    max_missed_probability: float = MAX_MISSED_PROBABILITY
    min_margin_coverage: float = MIN_MARGIN_COVERAGE

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

    @property
    def digest(self) -> str:
        """Return the SHA-256 of the values the logic runs with, as NAME=VALUE lines."""
        lines = [f"{row[0]}={value}\n" for row, value in zip(ranges.SETTINGS, self.values, strict=False)]
        return hashlib.sha256("".join(lines).encode()).hexdigest()

    def as_json(self) -> dict[str, Any]:
        """Return the settings as they stand in a JSON report: integers in the units of `protect`."""
        named = {row[0]: value for row, value in zip(ranges.SETTINGS, self.values, strict=False)}
        return {"file": self.file, "altitude_m": self.altitude_m, "values": named, "digest": self.digest}


def read_settings(path: Path | str) -> Settings:
    """Read and check a settings file as a whole. Raises Refusal, naming the key, at the first fault."""
    path = Path(path)
    table = read_toml(path, "settings file")
    _check_keys(path, table)
    altitude = _altitude(path, table["site"]["altitude"])
    atmosphere = atmosphere_pa(altitude)
    values = [0] * ranges.SETTINGS_SIZE
    for section, keys in SECTIONS.items():
        if section not in ("site", "acceptance"):
            for key in keys:
                _set(path, section, key, table[section][key], atmosphere, values)
    _check_relations(path, table, values)
    derive(values)
    return Settings(str(path), tuple(values), altitude, _acceptance(path, table["acceptance"]))


def _check_keys(path: Path, table: dict[str, Any]) -> None:
    """Refuse a section or key that is missing or unknown: nothing is set by silence."""
    for section, content in table.items():
        if section not in SECTIONS:
            raise refusal(path, f"[{section}]", "unknown section", ", ".join(f"[{name}]" for name in SECTIONS))
        if not isinstance(content, dict):
            raise refusal(path, section, "a section is wanted, not a value", f"[{section}] and its keys", content)
        for key, value in content.items():
            known = (*SECTIONS[section], *OPTIONAL.get(section, ()))
            if key not in known:
                raise refusal(path, f"[{section}] {key}", "unknown key", ", ".join(known), value)
    for section, keys in SECTIONS.items():
        missing = [key for key in keys if key not in table.get(section, {})]
        if missing:
            example = accepted_values(section, missing[0])
            raise refusal(path, f"[{section}] {missing[0]}", "missing key", example)


def _set(path: Path, section: str, key: str, given: object, atmosphere: float, values: list[int]) -> None:
    """Convert one key of the file and put it into its place (or two) of the values."""
    where = f"[{section}] {key}"
    if key.endswith("_range"):
        names = [key.removesuffix("range") + end for end in ("least", "most")]
        if not isinstance(given, list) or len(given) != len(names):
            raise refusal(path, where, "a pair is wanted", accepted_values(section, key), given)
        pairs = list(zip(names, given, strict=True))
    else:
        pairs = [(key, given)]
    for name, value in pairs:
        place = PLACES[name]
        _, unit, least, most = ranges.SETTINGS[place]
        try:
            number = as_integer(section, unit, value, atmosphere)
        except UnitError as error:
            raise refusal(path, where, str(error), accepted_values(section, key), given) from None
        if not least <= number <= most:
            rule = "less than the least admitted" if number < least else "more than the most admitted"
            raise refusal(path, where, rule, accepted_values(section, key), given)
        values[place] = number


def as_integer(section: str, unit: str, value: object, atmosphere: float) -> int:
    """Return a value of the file as the integer that `protect` takes: Pa, ms, 1/2048 or a count.

    atmosphere: of the site, Pa. Raises UnitError.
    """
    if unit == "ms":
        return duration_ms(value)
    if unit == "Pa":
        if section == "net_oil_pressure":
            return pressure_difference_pa(value)
        return absolute_pressure_pa(value, atmosphere)
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < FAR:
        raise UnitError("a plain number is wanted")
    if unit == "weight":
        return round(value * ranges.ONE)
    if value != int(value):
        raise UnitError("a whole number is wanted")
    return int(value)


def _in_file_terms(unit: str, value: int) -> str:
    """Return an integer of `protect` as it would be written in a settings file."""
    if unit == "Pa":
        return f'"{value / 1000:g} kPa"'
    if unit == "ms":
        for size, name in ((86400000, "d"), (3600000, "h"), (60000, "min"), (1000, "s")):
            if value >= size:
                return f'"{value / size:g} {name}"'
        return f'"{value} ms"'
    if unit == "weight":
        return f"{value / ranges.ONE:g}"
    return str(value)


def accepted_values(section: str, key: str) -> str:
    """Say what would be accepted for a key, from the one table of ranges."""
    if key == "altitude":
        return f'text such as "250 m", {ALTITUDE_M[0]:g} m to {ALTITUDE_M[1]:g} m'
    if key in ACCEPTANCE:
        least, most = ACCEPTANCE[key]
        return f"a number from {least:g} to {most:g}"
    if key == "min_margin":
        return '"0 s" or more'
    name = key.removesuffix("range") + "least" if key.endswith("_range") else key
    _, unit, least, most = ranges.SETTINGS[PLACES[name]]
    bounds = f"{_in_file_terms(unit, least)} to {_in_file_terms(unit, most)}"
    if key.endswith("_range"):
        return f'two pressures such as ["0 kPa", "2000 kPa"], each {bounds}'
    if unit == "Pa" and section == "suction":
        return bounds + ' absolute, or gauge such as "0 psig" or "5 inHg vac"'
    return bounds


def _check_relations(path: Path, table: dict[str, Any], values: list[int]) -> None:
    """Refuse settings that contradict each other."""
    fault = first_fault(values)
    if fault == ALL_RIGHT:
        return
    lower, higher, gap = RELATIONS[fault - ranges.SETTING_COUNT]
    low, high = ranges.SETTINGS[lower][0], ranges.SETTINGS[higher][0]
    section, key = _key_of(low)
    high_section, high_key = _key_of(high)
    than = "less than" if gap else "not more than"
    unit = ranges.SETTINGS[lower][1]
    most = _in_file_terms(unit, values[higher] - gap)
    rule = f"{_words(low)} must be {than} {_words(high)} ({_in_file_terms(unit, values[higher])})"
    accepted = f"a value up to {most} here, or a larger [{high_section}] {high_key}"
    raise refusal(path, f"[{section}] {key}", rule, accepted, table[section][key])


def _key_of(name: str) -> tuple[str, str]:
    """Return (section, key) of the file that sets a setting of `protect`."""
    for section, keys in SECTIONS.items():
        for key in keys:
            if name == key or (key.endswith("_range") and name.startswith(key.removesuffix("range"))):
                return section, key
    raise KeyError(name)


def _words(name: str) -> str:
    return name.replace("_", " ")


def _altitude(path: Path, given: object) -> float:
    from replay.ground.units import quantity

    try:
        altitude = quantity(given, "metre", '"250 m"')
    except UnitError as error:
        raise refusal(path, "[site] altitude", str(error), accepted_values("site", "altitude"), given) from None
    if not ALTITUDE_M[0] <= altitude <= ALTITUDE_M[1]:
        rule = "outside the admitted altitudes"
        raise refusal(path, "[site] altitude", rule, accepted_values("site", "altitude"), given)
    return altitude


def _acceptance(path: Path, given: dict[str, Any]) -> Acceptance:
    for key, (least, most) in ACCEPTANCE.items():
        if key not in given and key in OPTIONAL["acceptance"]:
            continue
        value, where = given[key], f"[acceptance] {key}"
        accepted = accepted_values("acceptance", key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise refusal(path, where, "a plain number is wanted", accepted, value)
        if not math.isfinite(value):
            raise refusal(path, where, "not a finite number", accepted, value)
        if isinstance(least, int) and value != int(value):
            raise refusal(path, where, "a whole number is wanted", accepted, value)
        if not least <= value <= most:
            raise refusal(path, where, "outside the admitted range", accepted, value)
    margin, where = given["min_margin"], "[acceptance] min_margin"
    try:
        margin_ms = duration_ms(margin)
    except UnitError as error:
        raise refusal(path, where, str(error), accepted_values("acceptance", "min_margin"), margin) from None
    if margin_ms < 0:
        raise refusal(path, where, "negative", accepted_values("acceptance", "min_margin"), margin)
    asked = {key: float(given[key]) for key in OPTIONAL["acceptance"] if key in given}
    if asked and "confidence" not in asked:
        key, accepted = next(iter(asked)), f"confidence = {SHOWN_CONFIDENCE:g} beside it"
        rule = "asks for a limit, and no confidence is stated"
        raise refusal(path, f"[acceptance] {key}", rule, accepted, asked[key])
    return Acceptance(
        max_missed=int(given["max_missed"]),
        max_nuisance_per_1000h=float(given["max_nuisance_per_1000h"]),
        min_margin_s=margin_ms / 1000,
        **asked,
    )
