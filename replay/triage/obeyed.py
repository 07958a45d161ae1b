"""The logic obeyed, with somebody who resets its lockouts: without him a machine would stand to the end of its log.

Assumed: whoever looks after the machine comes an hour after a lockout and presses the reset, and again every hour
where it does not help. Nobody knows how long it takes in a plant; the hour is told wherever lockouts are.
"""

import functools
from collections import Counter

import numpy as np
from numpy.typing import NDArray

from protect import ranges, state
from replay.engine import compiled, told_cause
from replay.engine.obeying import FIRST_INPUT, TIME
from replay.engine.portable import Machine
from replay.settings import Settings

RESET_AFTER_MS = 3_600_000
PRESSED_MS = RESET_AFTER_MS // 2  # so that a logger's row, however slow, sees it held; let go before the next


def machine(settings: Settings, *, fast: bool) -> Machine:
    """Return a machine that obeys, compiled or interpreted."""
    return compiled.machine(settings) if fast else Machine(settings)


class Obeyed:
    """A machine that obeys the settings over the logs of one that did not.

    stops by cause; lockouts; run_ms: for how long it would have run.
    """

    def __init__(self, settings: Settings, *, fast: bool) -> None:
        self._new = functools.partial(machine, settings, fast=fast)
        self._machine = self._new()
        self._locked_at: int | None = None
        self._run_before = 0
        self.stops: Counter[str] = Counter()
        self.lockouts = 0

    @property
    def run_ms(self) -> int:
        """Return for how long the machine would have run so far."""
        return self._run_before + self._machine.run_ms

    def forget(self) -> None:
        """Go on after so long that all is forgotten: trips, what stopped it, a lockout that was reset."""
        self._run_before += self._machine.run_ms
        self._machine, self._locked_at = self._new(), None

    def take(self, columns: NDArray[np.int64], hold_ms: int) -> None:
        """Take the next rows, columns as in `replay.engine.obeying`: cut so that no lockout is due in its own piece.

        hold_ms: for how long readings may stand still, as those that were written on change.
        """
        self._machine.believe(hold_ms)
        cuts = np.flatnonzero(np.diff(columns[TIME] // RESET_AFTER_MS)) + 1
        for piece in np.split(columns, cuts, axis=1):
            self._take(piece if self._locked_at is None else self._pressed(piece, self._locked_at))

    def _pressed(self, columns: NDArray[np.int64], locked_at: int) -> NDArray[np.int64]:
        """Return rows in which the reset is pressed where it is due."""
        since = columns[TIME] - locked_at
        pressed = columns.copy()
        pressed[FIRST_INPUT + ranges.RESET] |= (since >= RESET_AFTER_MS) & (since % RESET_AFTER_MS < PRESSED_MS)
        return pressed

    def _take(self, columns: NDArray[np.int64]) -> None:
        machine = self._machine
        machine.take(columns)
        self.stops.update(told_cause(stop.cause) for stop in machine.stops)
        for change in machine.changes:
            if change.after == state.LOCKED_OUT:
                self._locked_at = change.time_ms
                self.lockouts += 1
            elif change.before == state.LOCKED_OUT:
                self._locked_at = None
        machine.stops.clear()
        machine.changes.clear()
