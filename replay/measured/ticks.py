"""Channels with clocks of their own onto the clock of one of them.

A row (a tick) takes the newest reading of each channel, at most max_gap old. Nothing is interpolated, and a
reading that says "none" is not reached behind. What was held, and what no tick took, is counted.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from replay.measured.block import UNKNOWN, Block
from replay.measured.profile import Profile

Chunk = tuple[NDArray[np.int64], NDArray[np.float64]]


@dataclass
class Taken:
    """What the ticks took of one channel: float64[n] with NaN for nothing, readings held, readings passed over."""

    values: NDArray[np.float64]
    held: int
    passed_over: int


class Newest:
    """The newest reading of one channel at rising times. Chunks come in order of time, NaN is a reading of nothing."""

    def __init__(self, chunks: Iterator[Chunk], max_age_ms: int | None) -> None:
        self.chunks, self.max_age_ms = chunks, max_age_ms
        self.time = np.zeros(0, dtype=np.int64)
        self.values = np.zeros(0)
        self.more = True
        self.first_taken = False  # a tick before took the first reading that is still kept

    def at(self, ticks: NDArray[np.int64]) -> Taken:
        """Return what these ticks take, each the newest reading that is not later than the tick."""
        self._load(int(ticks[-1]))
        newest = np.searchsorted(self.time, ticks, side="right") - 1
        there = newest >= 0
        place = np.maximum(newest, 0)
        if not there.any():
            return Taken(np.full(len(ticks), np.nan), 0, 0)
        age = ticks - self.time[place]
        fresh = there if self.max_age_ms is None else there & (age <= self.max_age_ms)
        values = np.where(fresh, self.values[place], np.nan)
        held = int((fresh & (age > 0) & ~np.isnan(values)).sum())
        last = int(newest[-1])
        taken = np.zeros(last + 1, dtype=bool)
        taken[newest[fresh]] = True
        taken[0] |= self.first_taken
        passed_over = int((~taken[:-1]).sum())  # the last may yet be taken
        self.time, self.values, self.first_taken = self.time[last:], self.values[last:], bool(taken[-1])
        return Taken(values, held, passed_over)

    def _load(self, until_ms: int) -> None:
        """Read on until a reading is later than this."""
        while self.more and (not len(self.time) or self.time[-1] <= until_ms):
            chunk = next(self.chunks, None)
            if chunk is None:
                self.more = False
            else:
                self.time = np.concatenate((self.time, chunk[0]))
                self.values = np.concatenate((self.values, chunk[1]))


def onto(profile: Profile, chunks: dict[str, Iterator[Chunk]], place: Callable[[int], str]) -> Iterator[Block]:
    """Yield rows at the times of the channel that gives the ticks, with the newest of every other channel.

    A reading is taken up to max_gap old, or as long as the profile lets it hold.

    chunks: for each signal its readings in order, a flag's as 1 and 0; one that is written on change holds until the
    next, however old. place: names the row of the ticks' channel by its number in the file.
    """
    clock, flags, max_gap = profile.time.ticks, profile.flags, profile.time.max_gap_ms
    ages: dict[str, int | None] = (
        dict.fromkeys(chunks, max_gap)
        | profile.holds
        | {signal: None for signal, flag in flags.items() if flag.on_change and not flag.longest_hold}
    )
    others = {signal: Newest(chunk, ages[signal]) for signal, chunk in chunks.items() if signal != clock}
    done = 0
    for ticks, own in chunks[clock]:
        order = np.maximum.accumulate(ticks)  # a clock that goes back is refused further on, by its row
        taken = {signal: newest.at(order) for signal, newest in others.items()}
        values = {signal: found.values for signal, found in taken.items()} | {clock: own}
        status = {
            signal: np.where(np.isnan(values[signal]), UNKNOWN, values.pop(signal)).astype(np.int8) for signal in flags
        }
        first = done
        yield Block(
            time_ms=ticks,
            values=values,
            status=status,
            place=lambda row, first=first: place(first + row),  # type: ignore[misc]
            held={signal: found.held for signal, found in taken.items()},
            passed_over={signal: found.passed_over for signal, found in taken.items()},
            own_clocks=True,
        )
        done += len(ticks)
