"""Plain logics that every report sets beside the settings under test.

Whoever never stops misses every fault, whoever always stops is nothing but a
nuisance, and a plain timer with the cut-out and the trip delay of the settings
shows what everything else in them is good for.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from protect import ranges
from replay.engine.portable import Replay, Stop, elapsed_ms
from replay.settings import Settings
from replay.trace import Trace

OIL = 1


def never(trace: Trace, _settings: Settings) -> Replay:
    """Let the machine run, whatever the pressures are."""
    return _stopped_at(trace, None)


def always(trace: Trace, _settings: Settings) -> Replay:
    """Stop the machine as soon as it runs."""
    running = np.flatnonzero(trace.running)
    return _stopped_at(trace, int(running[0]) if len(running) else None)


def timer(trace: Trace, settings: Settings) -> Replay:
    """Stop for good after the trip delay on end with less net oil pressure than the cut-out, however much less.

    No reading counts as none; any reading that is not below the cut-out sets the timer back.
    """
    short = (trace.running != 0) & (_net_pa(trace) < settings.values[ranges.CUT_OUT])
    timed = np.cumsum(np.where(short, elapsed_ms(trace), 0))
    spell = timed - np.maximum.accumulate(np.where(short, 0, timed))
    full = np.flatnonzero(short & (spell >= settings.values[ranges.TRIP_DELAY]))
    return _stopped_at(trace, int(full[0]) if len(full) else None)


PLAIN_TIMER = "plain timer"
BASELINES: dict[str, Callable[[Trace, Settings], Replay]] = {
    "never stops": never,
    "always stops, at the start": always,
    PLAIN_TIMER: timer,
}


def _net_pa(trace: Trace) -> NDArray[np.int64]:
    """Return the net oil pressure, int64[n]; as low as can be where a reading is missing."""
    missing = (trace.oil_pa == ranges.NO_READING) | (trace.crankcase_pa == ranges.NO_READING)
    return np.where(missing, -(2**30), trace.oil_pa - trace.crankcase_pa)


def _stopped_at(trace: Trace, row: int | None) -> Replay:
    ran = np.where(trace.running != 0, elapsed_ms(trace), 0)[: None if row is None else row + 1]
    stops = () if row is None else (Stop(int(trace.time_ms[row]), OIL),)
    return Replay((), stops, int(ran.sum()), late=0, locked_out=row is not None)
