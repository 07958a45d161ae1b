"""The shape of a TOML or JSON file, told as tables of keys: how each is read, and what would do instead.

A file that a user writes holds no other keys than those. One that a command wrote is `loose`: what a later
version adds to it is passed over.
"""

import difflib
import math
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from replay.ground.refusal import refusal

Read = Callable[[Any], Any]


class UnfitError(ValueError):
    """A value that is not what is wanted; says why."""


@dataclass(frozen=True)
class Key:
    """One value: how it is read (raises UnfitError), and what would do."""

    read: Read
    accepted: str = ""
    needed: bool = True


@dataclass(frozen=True)
class Keys:
    """A table; many: a list of such tables; loose: other names are passed over."""

    by_name: Mapping[str, "Key | Keys"]
    needed: bool = True
    many: bool = False
    loose: bool = False


def fit(file: Path | str, given: Any, wanted: Keys, where: str = "", accepted: str = "") -> dict[str, Any]:
    """Return what the keys of a table read; what was left out is left out.

    where: what stands before a key in a refusal, such as "[site] "; accepted: what would do, for keys that do not
    say. Raises Refusal at the first key that is unknown, missing or wrong.
    """
    if not isinstance(given, dict):
        would = accepted or f"a table with {', '.join(wanted.by_name)}"
        raise refusal(file, where.rstrip(" .,"), "must be a table, not a value", would, given)
    top = not where and not wanted.loose  # of TOML, where tables have heads of their own

    def head(name: str, item: Any) -> str:
        brackets = _depth(item) if top else 0
        return f"{where}{'[' * brackets}{name}{']' * brackets}"

    def kind(item: Any) -> str:
        return "section" if top and _depth(item) else "key"

    for name, value in given.items():
        if name not in wanted.by_name and not wanted.loose:
            known = {other: head(other, key).removeprefix(where) for other, key in wanted.by_name.items()}
            stands = None if _depth(value) else value
            raise refusal(file, head(name, value), f"unknown {kind(value)}", _nearest(name, known), stands)
    for name, key in wanted.by_name.items():
        if key.needed and name not in given:
            would = key.accepted if isinstance(key, Key) else ", ".join(key.by_name)
            raise refusal(file, head(name, key), f"missing {kind(key)}", would or accepted)
    there = {name: key for name, key in wanted.by_name.items() if name in given}
    return {name: _read(file, given[name], key, head(name, key), accepted) for name, key in there.items()}


def _depth(item: Any) -> int:
    """Return the brackets around the head of a table in a TOML file: of none, 0."""
    if isinstance(item, Keys):
        return 1 + item.many
    return 1 if isinstance(item, dict) else 2 * (isinstance(item, list) and any(isinstance(i, dict) for i in item))


def _nearest(name: str, known: dict[str, str]) -> str:
    close = difflib.get_close_matches(name, known, 1)
    return (f"{known[close[0]]}? All: " if close else "") + ", ".join(known.values())


def _read(file: Path | str, value: Any, key: Key | Keys, where: str, accepted: str) -> Any:
    if isinstance(key, Key):
        try:
            return key.read(value)
        except UnfitError as error:
            raise refusal(file, where, str(error), key.accepted or accepted, value) from None
    if not key.many:
        return fit(file, value, key, where + (" " if where.endswith("]") else "."), accepted)
    if not isinstance(value, list):
        raise refusal(file, where, "must be a list of tables", accepted or f"one {where} table or more", value)
    rows = [(f"{where} {place}{_identity(item)}, ", item) for place, item in enumerate(value, start=1)]
    return [fit(file, item, key, place, accepted) for place, item in rows]


def _identity(item: Any) -> str:
    known = isinstance(item, dict) and isinstance(item.get("id"), str)
    return f' (id "{item["id"]}")' if known else ""


# ------------------------------------------------------------------------------------------------ how values are read


def anything(value: Any) -> Any:
    """Take a value as it is."""
    return value


def plain_text(value: Any) -> str:
    """Read text, which may be empty."""
    if not isinstance(value, str):
        raise UnfitError("must be text")
    return value


def text(value: Any) -> str:
    """Read text that says something."""
    if not plain_text(value).strip():
        raise UnfitError("must be text")
    return str(value)


def path_text(value: Any) -> str:
    """Read what may be a path."""
    if not isinstance(value, str) or not value or "\0" in value:
        raise UnfitError("not a file name")
    return value


def name(value: Any) -> str:
    """Read text in one line."""
    if "\n" in text(value) or "\r" in value:
        raise UnfitError("a name of several lines")
    return str(value)


def switch(value: Any) -> bool:
    """Read true or false."""
    if not isinstance(value, bool):
        raise UnfitError("must be true or false")
    return value


def one_of(*names: str, rule: str = "not one of those") -> Read:
    """Return what reads one of some words; rule: what is wrong with another."""

    def read(value: Any) -> str:
        if value not in names:
            close = difflib.get_close_matches(str(value), names, 1)
            raise UnfitError(rule + (f": did you mean {close[0]}?" if close else ""))
        return str(value)

    return read


def list_of(read: Read) -> Read:
    """Return what reads a list, each of its values alike, into a tuple."""

    def read_each(value: Any) -> tuple[Any, ...]:
        if not isinstance(value, list):
            raise UnfitError("must be a list")
        return tuple(read(item) for item in value)

    return read_each


def whole(least: float = -math.inf, most: float = math.inf) -> Read:
    """Return what reads a whole number from the least to the most."""

    def read(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or value < least:
            raise UnfitError("must be a whole number" + ("" if least == -math.inf else f" from {least}"))
        if value > most:
            raise UnfitError(f"more than {most}")
        return value

    return read


def number(least: float = -math.inf, most: float = math.inf, rule: str = "outside the admitted range") -> Read:
    """Return what reads a finite number from the least to the most; rule: what is wrong with one outside."""

    def read(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise UnfitError("must be a plain number")
        if not -sys.float_info.max <= value <= sys.float_info.max:  # a whole number may be beyond all floats
            raise UnfitError("not a finite number")
        if not least <= value <= most:
            raise UnfitError(rule)
        return float(value)

    return read


def or_none(read: Read) -> Read:
    """Return what reads a value, or null."""
    return lambda value: None if value is None else read(value)
