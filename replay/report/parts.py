"""The parts that a report is made of, and how it writes numbers."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

NOTHING = "\N{EN DASH}"


@dataclass(frozen=True)
class Table:
    """A table: caption, heads of columns, rows of cells; the first cell of a row is its head. `foot` sums up."""

    caption: str
    heads: Sequence[str]
    rows: Sequence[Sequence[Any]]
    foot: Sequence[str] = ()
    texts: frozenset[int] = frozenset()  # columns of words; the others are numbers


@dataclass(frozen=True)
class Case:
    """One trace at length: its heading, what should have been and was, drawing and timeline."""

    title: str
    said: str
    facts: str
    drawing: Markup
    timeline: Table
    cut: int = 0


@dataclass(frozen=True)
class Figure:
    """A drawing with its caption."""

    caption: str
    drawing: Markup


@dataclass(frozen=True)
class Image:
    """A picture from elsewhere, whole in its address; `words` tell what it shows."""

    words: str
    address: str


def percent(share: float | None) -> str:
    """Return a probability in percent to three digits, or a dash."""
    return NOTHING if share is None else f"{100 * share:.3g} %"


def rate(per_1000h: float | None) -> str:
    """Return a rate per 1000 h to four digits, or a dash."""
    if per_1000h is None:
        return NOTHING
    return "no limit" if math.isinf(per_1000h) else f"{per_1000h:.4g}"


def dash(value: float | None) -> str:
    """Return seconds to a tenth, or a dash."""
    return NOTHING if value is None else f"{value:.1f}"
