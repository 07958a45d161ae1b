"""What the kernel sums up of each day: by the calendar of the machine's zone, or counted from the start of its log."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from replay.triage import kernel
from replay.triage.clock import Clock

EPOCH = dt.date(1970, 1, 1).toordinal()
WEEK = 7


@dataclass
class Day:
    """Sums of some days; words as in `kernel`."""

    sums: list[int] = field(default_factory=lambda: [0] * kernel.DAY_SIZE)

    def __getitem__(self, place: int) -> int:
        """Return the sum at a place of a day."""
        return self.sums[place]

    def add(self, sums: Iterable[int]) -> None:
        """Take in more of this day, or another one."""
        slowest = self.sums[kernel.DAY_BUILD_MOST]
        given = list(sums)
        self.sums = [old + new for old, new in zip(self.sums, given, strict=True)]
        self.sums[kernel.DAY_BUILD_MOST] = max(slowest, given[kernel.DAY_BUILD_MOST])

    def mean(self, total: int, over: int) -> float | None:
        """Return the sum at a place over that at another, None of none."""
        return self.sums[total] / self.sums[over] if self.sums[over] else None

    @property
    def net_pa(self) -> float | None:
        """Return the mean net oil pressure of settled running."""
        return self.mean(kernel.DAY_NET, kernel.DAY_NET_MS)

    @property
    def rest_pa(self) -> float | None:
        """Return the mean net oil pressure of settled rest: the standstill zero."""
        return self.mean(kernel.DAY_REST, kernel.DAY_REST_MS)

    @property
    def build_ms(self) -> float | None:
        """Return the mean time from a start to cut-in."""
        return self.mean(kernel.DAY_BUILD, kernel.DAY_BUILT)


@dataclass
class Days:
    """The days of one machine by number: since 1970 where `dated`, else since the start of its one log.

    undated: what logs on further clocks hold, of which nobody knows the day.
    """

    by_number: dict[int, Day] = field(default_factory=dict)
    dated: bool = False
    undated: Day = field(default_factory=Day)

    def takes(self, clock: Clock) -> bool:
        """Say whether a new log of this clock has days of its own here; logs of the calendar come first."""
        if clock.utc_s is not None:
            self.dated = True
            return True
        return not self.by_number

    def add(self, first: int | None, days: NDArray[np.int64]) -> None:
        """Add days int64[n, DAY_SIZE] from a number on; undated ones where there is none."""
        for number, sums in enumerate(days.tolist()):
            if any(sums):
                day = self.undated if first is None else self.by_number.setdefault(first + number, Day())
                day.add(sums)

    def in_order(self) -> list[tuple[int, Day]]:
        """Return numbers and days in their order, undated ones left out."""
        return sorted(self.by_number.items())

    def weeks(self) -> list[tuple[int, Day]]:
        """Return the number of the first day of each week of the log, and what its days hold together."""
        found: dict[int, Day] = {}
        for number, day in self.in_order():
            first = min(self.by_number)
            found.setdefault(first + (number - first) // WEEK * WEEK, Day()).add(day.sums)
        return sorted(found.items())

    def total(self) -> Day:
        """Return all of it together."""
        whole = Day()
        for day in (*self.by_number.values(), self.undated):
            whole.add(day.sums)
        return whole

    def told(self, number: int) -> str:
        """Return a day by its date, or by its place in the log."""
        return dt.date.fromordinal(EPOCH + number).isoformat() if self.dated else f"day {number + 1}"
