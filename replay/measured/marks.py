"""Decimal and thousands marks: what the numbers of a file prove, and what they leave open."""

import functools
import re
from collections.abc import Iterable
from dataclasses import dataclass

MINUS = "\u2212"  # as word processors write it
SPACES = " \u00a0\u202f'\u2019"  # thousands marks that are never a decimal mark
_GROUPED = rf"\d{{1,3}}(?P<mark>[.,{SPACES}])\d{{3}}(?:(?P=mark)\d{{3}})*"
NUMBER = re.compile(rf"[-+{MINUS}]?(?:{_GROUPED}(?:[.,]\d*)?|\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d+)?")
_GROUPS = re.compile(rf"\d{{1,3}}(?P<thousands>[.,{SPACES}])\d{{3}}(?:(?P=thousands)\d{{3}})*(?:(?P<decimal>[.,])\d*)?")
_DECIMAL = re.compile(r"(?P<before>\d*)(?P<decimal>[.,])(?P<after>\d*)")


@dataclass(frozen=True)
class Marks:
    """The decimal mark and the thousands mark ("" for none), or in `doubt` why they cannot be told."""

    decimal: str = "."
    thousands: str = ""
    doubt: str = ""

    def plain(self, cell: str) -> str:
        """Return a number in plain decimals, anything else as it is."""
        if not looks_like_number(cell):
            return cell
        text = cell.replace(self.thousands, "") if self.thousands else cell
        return text.replace(self.decimal, ".").replace(MINUS, "-")


@functools.lru_cache(maxsize=65536)
def looks_like_number(text: str) -> bool:
    """Say whether a cell is a number in some notation."""
    return NUMBER.fullmatch(text) is not None


def find_marks(
    cells: Iterable[str], separator: str, stated_decimal: str | None = None, stated_thousands: str | None = None
) -> Marks:
    """Return the marks that are stated, or that the numbers of a file prove.

    "1,234" alone proves nothing: it is a thousand and more, or one and a bit. Only where the columns
    themselves are parted by commas a lone point is taken for the decimal mark.
    """
    decimals: dict[str, str] = {}
    thousands: dict[str, str] = {}
    open_marks: dict[str, str] = {}
    for cell in dict.fromkeys(cells):
        _weigh(cell, decimals, thousands, open_marks)
    decimal = stated_decimal or {".": ",", ",": "."}.get(stated_thousands or "")
    if decimal is None and len(decimals) == 1:
        decimal = next(iter(decimals))
    if decimal is None and not decimals:
        points = [mark for mark in thousands if mark in ".,"]
        lone_point = separator == "," and set(open_marks) == {"."} and not points
        decimal = "." if lone_point else {".": ",", ",": "."}.get("".join(points))
    if stated_decimal is None and len(decimals) > 1:
        return Marks(doubt=f"{_shown(decimals)} stand side by side: which is the decimal mark")
    if decimal is None and open_marks:
        if stated_thousands is None:
            return Marks(doubt=f"{_shown(open_marks)} may be a decimal fraction or thousands")
        decimal = next(iter(open_marks)) if len(open_marks) == 1 else None
    decimal = decimal or "."
    if stated_thousands is not None:
        return Marks(decimal, stated_thousands)
    grouped = (thousands | open_marks).keys() - {decimal}
    if stated_decimal is None and (len(grouped) > 1 or decimal in thousands):
        return Marks(doubt=f"{_shown(decimals | thousands | open_marks)} do not go together")
    return Marks(decimal, next(iter(sorted(grouped)), ""))


def _shown(cells: dict[str, str]) -> str:
    return " and ".join(f'"{cell}"' for cell in cells.values())


def _weigh(cell: str, decimals: dict[str, str], thousands: dict[str, str], open_marks: dict[str, str]) -> None:
    """Enter what one cell proves."""
    text = cell.lstrip("+-" + MINUS)
    mantissa = text.lower().partition("e")[0]
    grouped = _GROUPS.fullmatch(mantissa)
    single = _DECIMAL.fullmatch(mantissa)
    if grouped is not None:
        mark, decimal = grouped["thousands"], grouped["decimal"]
        lone = len(re.findall(rf"[.,{SPACES}]", mantissa)) == 1
        if decimal is not None and decimal != mark:
            decimals.setdefault(decimal, cell)
            thousands.setdefault(mark, cell)
        elif mark in SPACES or not lone:
            thousands.setdefault(mark, cell)
        elif mantissa.startswith("0") or mantissa != text:
            decimals.setdefault(mark, cell)
        else:
            open_marks.setdefault(mark, cell)
    elif single is not None:
        decimals.setdefault(single["decimal"], cell)
