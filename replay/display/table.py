"""A table as such: words and numbers in rows, however it is shown then."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Table:
    """Caption, heads of columns, rows of cells; the first cell of a row is its head. `foot` sums up.

    texts: columns of words beside the first, the others are numbers; wide: columns that a narrow terminal has no
    room for. A soft hyphen in a head says where a word may be broken.
    """

    caption: str
    heads: Sequence[str]
    rows: Sequence[Sequence[Any]]
    foot: Sequence[str] = ()
    texts: frozenset[int] = frozenset()
    wide: frozenset[int] = frozenset()
