"""A block of rows of a source, as numbers in the source's own units; and where its rows stand in the file."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

UNKNOWN = -1  # a status cell that says neither on nor off
BETWEEN = 2  # a current or speed between the levels of standing and running: the status stays
NOT_GOOD = -3  # a status that its mark of quality calls none: it holds nothing over
GOOD, BAD, UNMARKED = 1, 0, -1  # marks of quality


@dataclass
class Block:
    """n rows in the order of the file.

    time_ms: int64[n] of the source's own clock, UNREADABLE where there is no time;
    values: for each channel float64[n] in the source's unit, NaN where there is no reading;
    status: for each flag int8[n], 1, 0, UNKNOWN, BETWEEN or NOT_GOOD;
    silent: for channels whose readings hold bool[n], cells that say nothing at all;
    place: says where row i stands ("line 12"); left_out: rows that never got here, as (why, place);
    blank: rows without any cell; partly: rows in which the machine ran for a part of the time;
    not_good: readings that their mark of quality calls so, for each signal;
    held: readings older than their row, for each signal; passed_over: readings that no row took;
    machine: the name of each row's machine, str[n], empty where rows do not name it;
    own_clocks: the channels had clocks of their own, so what could be held has been;
    time_text: the time cell of row i, where it is text; size: bytes of the file that gave the rows, as far as known.
    """

    time_ms: NDArray[np.int64]
    values: dict[str, NDArray[np.float64]]
    status: dict[str, NDArray[np.int8]]
    place: Callable[[int], str]
    left_out: list[tuple[str, str]] = field(default_factory=list)
    blank: int = 0
    silent: dict[str, NDArray[np.bool_]] = field(default_factory=dict)
    not_good: dict[str, int] = field(default_factory=dict)
    partly: int = 0
    held: dict[str, int] = field(default_factory=dict)
    passed_over: dict[str, int] = field(default_factory=dict)
    own_clocks: bool = False
    machine: NDArray[Any] = field(default_factory=lambda: np.zeros(0, dtype=np.str_))
    time_text: Callable[[int], str] = lambda _: ""
    size: int = 0

    def __len__(self) -> int:
        return len(self.time_ms)

    def rows(self, wanted: NDArray[np.bool_]) -> "Block":
        """Return a block of the rows that are wanted [n]."""
        if wanted.all():
            return self
        return self._pick(np.flatnonzero(wanted))

    def backwards(self) -> "Block":
        """Return the rows in the opposite order."""
        return self._pick(np.arange(len(self))[::-1])

    def _pick(self, rows: NDArray[np.int64]) -> "Block":
        return replace(
            self,
            time_ms=self.time_ms[rows],
            values={signal: numbers[rows] for signal, numbers in self.values.items()},
            status={signal: codes[rows] for signal, codes in self.status.items()},
            machine=self.machine[rows] if len(self.machine) else self.machine,
            silent={signal: none[rows] for signal, none in self.silent.items()},
            place=lambda row: self.place(int(rows[row])),
            time_text=lambda row: self.time_text(int(rows[row])),
        )
