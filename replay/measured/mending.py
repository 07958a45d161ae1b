"""Times that a spreadsheet has damaged, mended as the profile says: hours that are gone, seconds that are gone.

Rows of the same time follow each other by `step`, from that time on: so the first of them may be early by less than
what the times no longer tell, and where they begin within a minute a gap follows.
"""

from dataclasses import replace

import numpy as np

from replay.measured.block import Block
from replay.measured.clock import Clock
from replay.measured.profile import Profile


class Mending:
    """Takes rows in the order of the file and gives them on with their times made whole."""

    def __init__(self, clock: Clock, profile: Profile) -> None:
        self.wraps_ms, self.step_ms = clock.wraps_ms, profile.time.step
        self.last_ms: int | None = None
        self.hours_ms = 0
        self.same_ms: int | None = None
        self.repeats = 0

    def mended(self, block: Block) -> Block:
        """Return the rows of a block."""
        if len(block) and self.wraps_ms:
            block = self._unwrapped(block)
        return self._spread(block) if len(block) and self.step_ms else block

    def _unwrapped(self, block: Block) -> Block:
        """Add an hour wherever minutes and seconds fall by more than half of it."""
        time = block.time_ms
        before = np.concatenate(([time[0] if self.last_ms is None else self.last_ms], time[:-1]))
        hours = self.hours_ms + np.cumsum(before - time > self.wraps_ms // 2) * self.wraps_ms
        self.last_ms, self.hours_ms = int(time[-1]), int(hours[-1])
        return replace(block, time_ms=time + hours)

    def _spread(self, block: Block) -> Block:
        """Let rows of the same time follow each other."""
        time = block.time_ms
        new = np.concatenate(([time[0] != self.same_ms], time[1:] != time[:-1]))
        first = np.maximum.accumulate(np.where(new, np.arange(len(time)), -1))
        repeats = np.where(first >= 0, np.arange(len(time)) - first, np.arange(len(time)) + self.repeats + 1)
        self.same_ms, self.repeats = int(time[-1]), int(repeats[-1])
        return replace(block, time_ms=time + repeats * (self.step_ms or 0))
