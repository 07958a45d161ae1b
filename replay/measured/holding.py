"""Readings that hold until they are written again: of loggers that write what changes, and of slow channels.

Nothing is invented: the profile says that a reading holds, and for how long at most. A reading that says "none", or
that is marked as not good, is not reached behind. Where whole rows are written on change (`[time] on_change`), rows are
made between two of them, no farther apart than max_gap, so that what held is seen and not lost as a gap.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from replay.ground.wording import duration
from replay.measured.block import UNKNOWN, Block
from replay.measured.profile import Profile

ROWS = 1 << 18  # that are given on at a time


class Holding:
    """Takes rows in the order of time and gives them on with what holds filled in."""

    def __init__(self, profile: Profile) -> None:
        self.profile, self.holds = profile, profile.holds
        self.last_ms: int | None = None
        self.last: dict[str, tuple[float, int]] = {}  # reading of each signal, and when it was said
        self.made = 0

    def take(self, block: Block) -> Iterator[Block]:
        """Yield the rows of a block, and those made before and between them."""
        if not self.holds or not len(block):
            yield block
            return
        time = block.time_ms
        values, said = dict(block.values), {}
        held = dict(block.held)
        for signal, hold in self.holds.items():
            silent = block.silent.get(signal, np.isnan(values[signal]))
            before, when = self.last.get(signal, (np.nan, int(time[0])))
            place = np.maximum.accumulate(np.where(silent, -1, np.arange(len(time))))
            newest = np.where(place >= 0, values[signal][place], before)
            said[signal] = np.where(place >= 0, time[place], when)
            filled = np.where(time - said[signal] <= hold, newest, np.nan)
            held[signal] = held.get(signal, 0) + int((silent & ~np.isnan(filled)).sum())
            values[signal] = np.where(silent, filled, values[signal])
        whole = replace(block, values=values, held=held, silent={})
        yield from self._with_made(whole, said) if self.profile.time.on_change else (whole,)
        self.last_ms = int(time[-1])
        self.last = {signal: (float(values[signal][-1]), int(said[signal][-1])) for signal in self.holds}

    def doubts(self) -> list[str]:
        """Say what readings that were written on change keep from being seen."""
        hold = self.profile.vouched_ms
        if not hold:
            return []
        told = "a sensor that stood still for less is not found out"
        return [f"pressures are written on change: they may stand still for {duration(hold)}, and {told}"]

    def _with_made(self, block: Block, said: dict[str, NDArray[np.int64]]) -> Iterator[Block]:
        """Yield the rows with those made in the steps before them, where the step is longer than max_gap."""
        time, gap = block.time_ms, self.profile.time.max_gap_ms
        before = np.concatenate(([time[0] if self.last_ms is None else self.last_ms], time[:-1]))
        lasting = min(time[-1] - before[0] + 1, self.profile.time.longest_hold or 0)
        more = np.clip((time - before - 1) // gap, 0, lasting // gap)
        ends = np.cumsum(more + 1)
        start = 0
        while start < len(time):
            stop = max(start + 1, int(np.searchsorted(ends, (ends[start - 1] if start else 0) + ROWS, side="right")))
            yield self._stretch(block, said, before, more, slice(start, stop))
            start = stop

    def _stretch(
        self,
        block: Block,
        said: dict[str, NDArray[np.int64]],
        before: NDArray[np.int64],
        more: NDArray[np.int64],
        part: slice,
    ) -> Block:
        """Return some rows of a block, each behind the rows made before it."""
        counts = more[part] + 1
        row = np.repeat(np.arange(part.start, part.stop), counts)  # each made row by the row that it comes before
        number = np.arange(len(row)) - np.repeat(np.cumsum(counts) - counts, counts) + 1
        own = number == np.repeat(counts, counts)
        time = np.where(own, block.time_ms[row], before[row] + number * self.profile.time.max_gap_ms)
        values = {signal: self._made(signal, block, said, row, own, time) for signal in block.values}
        status = {signal: np.where(own, codes[row], UNKNOWN).astype(np.int8) for signal, codes in block.status.items()}
        self.made += int((~own).sum())
        counted = {"held": block.held, "passed_over": block.passed_over} if part.start == 0 else {}
        return replace(
            Block(time, values, status, lambda at: block.place(int(row[at])), own_clocks=False),
            **counted,  # type: ignore[arg-type]
        )

    def _made(
        self,
        signal: str,
        block: Block,
        said: dict[str, NDArray[np.int64]],
        row: NDArray[np.int64],
        own: NDArray[np.bool_],
        time: NDArray[np.int64],
    ) -> NDArray[np.float64]:
        """Return the readings of one signal: a made row has that of the row before it, as long as it holds."""
        values = block.values[signal]
        if signal not in self.holds:
            return np.where(own, values[row], np.nan)
        first, when = self.last.get(signal, (np.nan, int(block.time_ms[0])))
        older = np.concatenate(([first], values[:-1]))[row]
        age = time - np.concatenate(([when], said[signal][:-1]))[row]
        return np.where(own, values[row], np.where(age <= self.holds[signal], older, np.nan))
