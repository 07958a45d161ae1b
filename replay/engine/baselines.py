"""Plain logics that every report sets beside the settings under test.

Whoever never stops misses every fault, whoever always stops is nothing but a
nuisance, and a fixed-delay timer is what most machines have.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from protect import ranges
from replay.engine.portable import Replay, Stop, elapsed_ms
from replay.trace import Trace

TIMER_PA = 62053  # 9 psi; common practice
TIMER_MS = 120000  # common practice
OIL = 1


def never(trace: Trace) -> Replay:
    """Let the machine run, whatever the pressures are."""
    return _stopped_at(trace, None)


def always(trace: Trace) -> Replay:
    """Stop the machine as soon as it runs."""
    running = np.flatnonzero(trace.running)
    return _stopped_at(trace, int(running[0]) if len(running) else None)


def timer(trace: Trace) -> Replay:
    """Stop after 120 s on end with less than 9 psi of net oil pressure, for good: such a control is reset by hand.

    No reading counts as none; any reading above sets the timer back.
    """
    short = (trace.running != 0) & (_net_pa(trace) < TIMER_PA)
    timed = np.cumsum(np.where(short, elapsed_ms(trace), 0))
    spell = timed - np.maximum.accumulate(np.where(short, 0, timed))
    full = np.flatnonzero(short & (spell >= TIMER_MS))
    return _stopped_at(trace, int(full[0]) if len(full) else None)


BASELINES: dict[str, Callable[[Trace], Replay]] = {
    "never stops": never,
    "always stops, at the start": always,
    "timer 9 psi, 120 s": timer,
}


def _net_pa(trace: Trace) -> NDArray[np.int64]:
    """Return the net oil pressure, int64[n]; as low as can be where a reading is missing."""
    missing = (trace.oil_pa == ranges.NO_READING) | (trace.crankcase_pa == ranges.NO_READING)
    return np.where(missing, -(2**30), trace.oil_pa - trace.crankcase_pa)


def _stopped_at(trace: Trace, row: int | None) -> Replay:
    ran = np.where(trace.running != 0, elapsed_ms(trace), 0)[: None if row is None else row + 1]
    stops = () if row is None else (Stop(int(trace.time_ms[row]), OIL),)
    return Replay((), stops, int(ran.sum()), late=0, locked_out=row is not None)
