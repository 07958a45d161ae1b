"""A running status made of a current or speed, without its flicker: two levels, and least times.

Between the levels the status stays as it was. A stop shorter than least_stop is no stop; then a run shorter than
least_run is no run: in this order, so that a status that chatters counts as running and no starved spell is lost in it.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from replay.measured.block import BETWEEN, NOT_GOOD, UNKNOWN, Block
from replay.measured.profile import Flag


class Steady:
    """Takes rows in the order of time and gives them on as soon as their status is settled."""

    def __init__(self, flag: Flag, max_gap_ms: int) -> None:
        self.flag, self.max_gap_ms = flag, max_gap_ms
        self.waiting: list[Block] = []
        self.level = UNKNOWN  # the last told one, for rows between the levels
        self.state = UNKNOWN  # the settled one before the rows that wait
        self.last_ms: int | None = None
        self.flickers = 0

    def take(self, block: Block) -> Iterator[Block]:
        """Yield the rows that are settled now."""
        flag = self.flag
        if not len(block) or not (flag.least_run or flag.least_stop or flag.below < flag.above):
            yield block
            return
        time = block.time_ms
        before = np.concatenate(([time[0] if self.last_ms is None else self.last_ms], time[:-1]))
        bounds = [0, *np.flatnonzero(time - before > self.max_gap_ms).tolist(), len(time)]
        for number, start in enumerate(bounds[:-1]):
            if number:
                yield from self.finish()
            if bounds[number + 1] > start:
                part = block if len(bounds) == 2 else _slice(block, start, bounds[number + 1])  # noqa: PLR2004 - one
                yield from self._settle(self._levelled(part))
        self.last_ms = int(time[-1])

    def finish(self) -> Iterator[Block]:
        """Yield all rows that wait: the log ends here, or a gap follows."""
        yield from self._given(sum(map(len, self.waiting)))
        self.level = self.state = UNKNOWN

    def _levelled(self, block: Block) -> Block:
        """Return rows whose status between the levels is that of the row before."""
        codes = block.status["running"]
        told = (codes == 0) | (codes == 1) | (codes == NOT_GOOD)
        place = np.maximum.accumulate(np.where(told, np.arange(len(codes)), -1))
        newest = np.where(place >= 0, codes[place], self.level)
        newest = np.where(newest == NOT_GOOD, UNKNOWN, newest)
        self.level = int(newest[-1])
        return _with(block, np.where(codes == BETWEEN, newest, codes).astype(np.int8))

    def _settle(self, block: Block) -> Iterator[Block]:
        self.waiting.append(block)
        if not (self.flag.least_run or self.flag.least_stop):
            yield from self._given(len(block))
            return
        yield from self._given(self._settled(*self._all()))

    def _settled(self, time: NDArray[np.int64], codes: NDArray[np.int8]) -> int:
        """Return how many of the rows that wait can no longer change, whatever follows."""
        closed = self._without(0, self.flag.least_stop, time, codes)
        known = np.flatnonzero((codes == 0) | (codes == 1))
        if not len(known):
            return 0
        starts = known[np.flatnonzero(np.diff(closed[known], prepend=-9))].tolist()
        goes_on = self.state == int(closed[starts[0]])
        run = closed[starts[-1]] == 1
        open_ms = int(time[-1] - time[starts[-1]])
        if open_ms >= (self.flag.least_run if run else self.flag.least_stop) or (goes_on and len(starts) == 1):
            return len(codes)
        if run or len(starts) == 1:
            return int(starts[-1])
        short = int(time[starts[-1]] - time[starts[-2]]) < self.flag.least_run
        return int(starts[-2] if short and not (goes_on and len(starts) == 2) else starts[-1])  # noqa: PLR2004 - two

    def _all(self) -> tuple[NDArray[np.int64], NDArray[np.int8]]:
        times = np.concatenate([block.time_ms for block in self.waiting])
        return times, np.concatenate([block.status["running"] for block in self.waiting])

    def _given(self, count: int) -> Iterator[Block]:
        """Give the first rows that wait, settled; the others wait on."""
        if not self.waiting:
            return
        time, codes = self._all()
        steady = self._without(0, self.flag.least_stop, time, codes)
        steady = self._without(1, self.flag.least_run, time, steady)
        known = steady[:count][(steady[:count] == 0) | (steady[:count] == 1)]
        self.flickers += int((steady[:count] != codes[:count]).sum())
        if len(known):
            self.state = int(known[-1])
        done, rest = 0, []
        for block in self.waiting:
            upto = min(max(count - done, 0), len(block))
            if upto:
                yield _slice(_with(block, steady[done : done + len(block)]), 0, upto)
            if upto < len(block):
                rest.append(_slice(block, upto, len(block)))
            done += len(block)
        self.waiting = rest

    def _without(self, value: int, least: int, time: NDArray[np.int64], codes: NDArray[np.int8]) -> NDArray[np.int8]:
        """Return the status without stretches of this value that are too short; those with an open end stay."""
        known = np.flatnonzero((codes == 0) | (codes == 1))
        if not least or not len(known):
            return codes
        own, steady = codes[known], codes.copy()
        starts = np.flatnonzero(np.diff(own, prepend=-9))
        whole = np.arange(len(starts)) < len(starts) - 1
        whole[0] &= self.state == 1 - value  # what came before is settled and other
        ends = time[known[np.append(starts[1:], len(own) - 1)]]
        short = whole & (own[starts] == value) & (ends - time[known[starts]] < least)
        steady[known] = np.where(np.repeat(short, np.diff(np.append(starts, len(own)))), 1 - value, own)
        return steady


def _with(block: Block, running: NDArray[np.int8]) -> Block:
    return replace(block, status=block.status | {"running": running})


def _slice(block: Block, start: int, stop: int) -> Block:
    wanted = np.zeros(len(block), dtype=bool)
    wanted[start:stop] = True
    return block.rows(wanted)
