"""How every refusal of bad input reads."""

import contextlib
import difflib
import re
from collections.abc import Iterable, Iterator
from pathlib import Path

LONGEST = 80  # characters of a value that a message shows
LONGEST_PART = 900  # characters of a place, rule or advice, which may quote names from a file
# What moves a terminal's cursor, breaks a line, turns the direction of writing, or cannot be written at all.
HIDDEN = re.compile("[\x00-\x1f\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")


class Refusal(Exception):  # noqa: N818 - nothing erred: input was refused
    """Bad input, told to the user in one line: where, what stands there, which rule, what would do."""


def refusal(file: Path | str, where: str, rule: str, accepted: str = "", value: object = None) -> Refusal:
    """Build a Refusal.

    `where` names the line or key (or is empty for the file as a whole), `value`
    is what stands there, `rule` what is wrong with it, `accepted` what would do.
    """
    text = str(file)
    if where:
        text += f": {_short(where)}"
    if value is not None:
        text += f" = {shown(value)}"
    text += f": {_short(rule)}"
    if accepted:
        text += f"; accepted: {_short(accepted)}"
    return Refusal(visible(text))


def nearest(name: str, known: Iterable[str]) -> str:
    """Return what would do in the place of a name that is not known, the nearest of them first."""
    names = list(known)
    close = difflib.get_close_matches(name, names, 1)
    return (f"{close[0]}? All: " if close else "") + ", ".join(names)


@contextlib.contextmanager
def or_refuse(path: Path, done: str, accepted: str = "") -> Iterator[None]:
    """Refuse a path that the disk will not let be "read", "written" or "made"."""
    try:
        yield
    except OSError as error:
        raise refusal(path, "", f"cannot be {done} ({error.strerror})", accepted) from None


def visible(text: str) -> str:
    """Return a user's text in one line, characters that a terminal would obey written out as in a TOML file."""
    return HIDDEN.sub(lambda found: found[0].encode("unicode_escape").decode("ascii"), text)


def as_text(name: str) -> str:
    """Return the name of a file as text: what is none, from a disk written in another alphabet, is written out."""
    return name.encode("utf-8", "backslashreplace").decode("utf-8")


def _short(text: str, most: int = LONGEST_PART) -> str:
    return text if len(text) <= most else text[: most - 3] + "..."


def shown(value: object) -> str:
    """Return a value as it would stand in a TOML file, cut to a readable length."""
    try:
        return _short(_whole(value), LONGEST)
    except RecursionError:
        return "(nested too deep to be shown)"


def _whole(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + value.encode("unicode_escape").decode("ascii") + '"'
    if isinstance(value, float):
        return f"{value:.12g}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_whole, value)) + "]"
    return str(value)
