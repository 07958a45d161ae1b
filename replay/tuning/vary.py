"""What is varied, as a user writes it, and the candidate settings that follow.

    trip_delay=30s..240s/43            43 values, evenly spaced, both ends among them
    trips_to_lockout=2,3,4             these values
    cut_in=cut_out+3psi                3 psi above cut_out, whatever that is
    cut_in=cut_out+2psi..6psi/5        the same with a difference that is varied too

Keys and units are those of the settings file; suction pressures may be gauge.
Every value is first a text that the file could hold and then the integer that
the file would give, so a candidate and its written file are one and the same.
"""

import itertools
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from protect import ranges
from protect.settings import ALL_RIGHT, derive, first_fault
from replay.ground.refusal import nearest, refusal
from replay.ground.toml_files import read_toml
from replay.ground.units import UnitError, atmosphere_pa
from replay.settings import Settings, read_settings
from replay.settings.file import FAR, KEYS, PLACES, accepted_values, as_integer, left_out

FORMS = '"trip_delay=30s..240s/43", "trips_to_lockout=2,3,4" or "cut_in=cut_out+3psi"'
OPEN_STEPS = 201  # values of a range without a count
MOST_VALUES = 100_000
LONGEST_TEXT = 10_000
Given = str | int | float  # a value as a settings file holds it

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_VALUE = re.compile(rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>[^\d\s].*?)?\s*")
_FOLLOWS = re.compile(r"\s*(?P<key>[a-z][a-z_]*)\s*(?P<sign>[-+])(?P<rest>.*)")
VARIED = {
    key: section
    for section, keys in KEYS.items()
    if section not in ("site", "acceptance")
    for key in keys
    if key in PLACES
}


@dataclass(frozen=True)
class Axis:
    """One varied key: its values, or the differences to the key that it follows. `sign` is 0 where it follows none."""

    key: str
    options: tuple[tuple[float, str], ...]  # number and unit
    follows: str = ""
    sign: int = 0
    open: bool = False  # a range without a count

    def is_end(self, place: int) -> bool:
        """Tell whether a value is the least or the largest of those varied, of which there are more than two."""
        numbers = [number for number, _ in self.options]
        return len(numbers) > 2 and numbers[place] in (min(numbers), max(numbers))  # noqa: PLR2004


@dataclass(frozen=True)
class Candidate:
    """Settings to be judged: the number of the choice on each axis, the varied keys as the file holds them."""

    choice: tuple[int, ...]
    given: Mapping[str, Given]
    settings: Settings


def parse(text: str) -> Axis:
    """Read one --vary. Raises Refusal."""
    key, found, values = text.partition("=")
    key = key.strip()
    if len(text) > LONGEST_TEXT:
        raise refusal("tune", "--vary", f"longer than {LONGEST_TEXT} characters", FORMS, text)
    if not found or not values.strip():
        raise refusal("tune", "--vary", "not KEY=VALUES", FORMS, text)
    _check_key(key, text)
    matched = _FOLLOWS.fullmatch(values)
    options, is_open = _options(key, text, matched["rest"] if matched else values)
    if matched is None:
        return Axis(key, options, open=is_open)
    _check_key(matched["key"], text)
    if _unit(matched["key"]) != _unit(key):
        rule = f"{key} and {matched['key']} are not of one kind"
        raise refusal("tune", "--vary", rule, "two pressures, two durations or two numbers", text)
    return Axis(key, options, matched["key"], 1 if matched["sign"] == "+" else -1, is_open)


def _check_key(key: str, text: str) -> None:
    if key not in VARIED:
        raise refusal("tune", "--vary", f"'{key[:40]}' is no setting that can be varied", nearest(key, VARIED), text)


def _unit(key: str) -> str:
    return str(ranges.SETTINGS[PLACES[key]][1])


def _options(key: str, text: str, values: str) -> tuple[tuple[tuple[float, str], ...], bool]:
    """Return numbers with their unit, and whether the range has no count."""
    if ".." in values:
        return _range(key, text, values)
    options = tuple(_number(text, part) for part in values.split(","))
    _check_units(key, text, options)
    if len(set(options)) < len(options):
        raise refusal("tune", "--vary", "a value appears twice", "each value once", text)
    return options, False


def _range(key: str, text: str, values: str) -> tuple[tuple[tuple[float, str], ...], bool]:
    counted = re.fullmatch(r"(?P<span>.*?)(?:/\s*(?P<count>\d+))?\s*", values)
    span, count_text = (counted["span"], counted["count"]) if counted else (values, None)
    least_text, _, most_text = span.partition("..")
    (least, unit), (most, last_unit) = _number(text, least_text), _number(text, most_text)
    unit = unit or last_unit
    _check_units(key, text, ((least, unit), (most, last_unit)))
    count = OPEN_STEPS
    if not least < most:
        raise refusal("tune", "--vary", "the least is not less than the most", "LEAST..MOST/COUNT", text)
    if count_text is not None:
        count = int(count_text) if len(count_text) <= len(str(MOST_VALUES)) else MOST_VALUES + 1
    elif _unit(key) == "count":
        count = round(min(most - least, MOST_VALUES)) + 1
    if not 2 <= count <= MOST_VALUES:  # noqa: PLR2004 - both ends
        raise refusal("tune", "--vary", "too few or too many values", f"LEAST..MOST/2 to {MOST_VALUES}", text)
    numbers = (least + (most - least) * place / (count - 1) for place in range(count))
    return tuple((float(f"{number:.9g}"), unit) for number in numbers), count_text is None


def _number(text: str, part: str) -> tuple[float, str]:
    matched = _VALUE.fullmatch(part)
    if matched is None:
        raise refusal("tune", "--vary", f"'{part.strip()[:40]}' is not a value", FORMS, text)
    number = float(matched["number"])
    if not abs(number) < FAR:
        raise refusal("tune", "--vary", "too large a number", FORMS, text)
    return number, matched["unit"] or ""


def _check_units(key: str, text: str, options: Sequence[tuple[float, str]]) -> None:
    plain = _unit(key) in ("weight", "count")
    units = {unit for _, unit in options}
    if plain and units != {""}:
        raise refusal("tune", "--vary", f"{key} is a plain number", f"{key}=1..3/5", text)
    if not plain and (len(units) != 1 or "" in units):
        example = "30s..240s/43" if _unit(key) == "ms" else "6psi..14psi/17"
        raise refusal("tune", "--vary", "values without one unit that all of them have", f"{key}={example}", text)


@dataclass(frozen=True)
class Space:
    """The base settings and all that is varied about them."""

    base: Settings
    table: dict[str, Any]  # the base file
    axes: tuple[Axis, ...]

    @property
    def size(self) -> int:
        """Return the number of combinations, contradictory ones included."""
        return math.prod(len(axis.options) for axis in self.axes)

    @property
    def base_candidate(self) -> Candidate:
        """Return the base settings, with the varied keys as the base file holds them."""
        return Candidate((), {axis.key: self.table[VARIED[axis.key]][axis.key] for axis in self.axes}, self.base)

    def candidate(self, choice: tuple[int, ...]) -> Candidate | None:
        """Return the candidate of a choice; None where its settings contradict each other.

        Raises Refusal for a value outside what is admitted.
        """
        given: dict[str, Given] = {}
        values = list(self.base.values)
        order = sorted(zip(self.axes, choice, strict=True), key=lambda pair: pair[0].sign != 0)
        for axis, place in order:
            given[axis.key], values[PLACES[axis.key]] = self._value(axis, place, given, values)
        for name, value in left_out(dict(zip(PLACES, values, strict=False))).items():
            if name not in self.table[VARIED[name]] and name not in given:
                values[PLACES[name]] = value
        if first_fault(values) != ALL_RIGHT:
            return None
        derive(values)
        ordered = {axis.key: given[axis.key] for axis in self.axes}
        return Candidate(choice, ordered, replace(self.base, values=tuple(values)))

    def _value(self, axis: Axis, place: int, given: Mapping[str, Given], values: list[int]) -> tuple[Given, int]:
        """Return one varied key as the file would hold it, and as `protect` takes it."""
        number, unit = axis.options[place]
        if axis.sign == 0:
            return self._plain[axis.key][place]
        other = given.get(axis.follows, self.table[VARIED[axis.follows]][axis.follows])
        told = _VALUE.fullmatch(str(other))
        if told is not None and (told["unit"] or "") == unit:
            return self._checked(axis, _written(axis.key, float(told["number"]) + axis.sign * number, unit), far=False)
        difference = self._difference(axis, place)
        return self._checked(axis, _exact(axis.key, values[PLACES[axis.follows]] + difference), far=False)

    @cached_property
    def _plain(self) -> dict[str, list[tuple[Given, int]]]:
        """Values of the axes that follow none, each worked out once."""
        return {
            axis.key: [self._checked(axis, _written(axis.key, *option)) for option in axis.options]
            for axis in self.axes
            if axis.sign == 0
        }

    def _difference(self, axis: Axis, place: int) -> int:
        """Return a difference in the units of `protect`."""
        section = "net_oil_pressure" if _unit(axis.key) == "Pa" else VARIED[axis.key]
        try:
            value = _written(axis.key, *axis.options[place])
            return axis.sign * as_integer(section, _unit(axis.key), value, 0.0)
        except UnitError as error:
            raise refusal("tune", f"--vary {axis.key}", str(error), "a difference such as 3 psi or 20 kPa") from None

    def _checked(self, axis: Axis, value: Given, *, far: bool = True) -> tuple[Given, int]:
        """Return a value and its integer; outside the admitted range it is refused, or (not far) left to the caller."""
        section, place = VARIED[axis.key], PLACES[axis.key]
        accepted = accepted_values(section, axis.key)
        try:
            number = as_integer(section, _unit(axis.key), value, atmosphere_pa(self.base.altitude_m))
        except UnitError as error:
            raise refusal("tune", f"--vary {axis.key}", str(error), accepted, value) from None
        if far and not ranges.SETTINGS[place][2] <= number <= ranges.SETTINGS[place][3]:
            raise refusal("tune", f"--vary {axis.key}", "outside the admitted range", accepted, value)
        return value, number


def _written(key: str, number: float, unit: str) -> Given:
    """Return a number as a settings file holds it."""
    number = float(f"{number:.9g}")
    if unit:
        return f"{number:g} {unit}" if float(f"{number:g}") == number else f"{number:.9g} {unit}"
    return int(number) if _unit(key) == "count" and number == int(number) else number


def _exact(key: str, value: int) -> Given:
    """Return an integer of `protect` as text that reads back as the same."""
    unit = _unit(key)
    if unit == "Pa":
        return f"{value / 1000:.10g} kPa{'' if VARIED[key] == 'net_oil_pressure' else ' abs'}"
    if unit == "ms":
        return f"{value / 1000:.10g} s"
    return value / ranges.ONE if unit == "weight" else value


def read_space(base: Path, varied: Sequence[str], *, open_ranges: bool) -> Space:
    """Read the base settings and every --vary. Raises Refusal.

    open_ranges: whether a range may stand without a count, as a search takes it.
    """
    settings = read_settings(base)
    axes = tuple(parse(text) for text in varied)
    keys = [axis.key for axis in axes]
    followers = {axis.key for axis in axes if axis.sign}
    if not axes:
        raise refusal("tune", "--vary", "nothing is varied", FORMS)
    for axis, text in zip(axes, varied, strict=True):
        if keys.count(axis.key) > 1:
            raise refusal("tune", "--vary", f"{axis.key} is varied twice", "each key once", text)
        if axis.follows in (*followers, axis.key):
            rule = f"{axis.follows} follows a key itself"
            raise refusal("tune", "--vary", rule, "a key that has values of its own", text)
        if axis.open and not open_ranges:
            raise refusal("tune", "--vary", "no count of values", "LEAST..MOST/COUNT, or --budget N", text)
    space = Space(settings, read_toml(base, "settings file"), axes)
    space._plain  # noqa: B018, SLF001 - every value is checked before any work is done
    return space


def every_candidate(space: Space, most: int) -> tuple[list[Candidate], int]:
    """Return all candidates of a grid in order, and how many contradict themselves. Raises Refusal for too many."""
    if space.size > most:
        raise refusal("tune", "--vary", f"{space.size} candidates", f"up to {most}, or --budget N to search them")
    choices = itertools.product(*(range(len(axis.options)) for axis in space.axes))
    found = [space.candidate(choice) for choice in choices]
    kept = [candidate for candidate in found if candidate is not None]
    if not kept:
        raise refusal("tune", "--vary", "every candidate contradicts itself", "cut_out below cut_in, and so on")
    return kept, len(found) - len(kept)
