"""Plain laws that every report sets beside the settings under test.

Whoever never stops misses every fault, whoever always stops is nothing but a
nuisance, and a plain timer with the cut-out and the trip delay of the settings
shows what everything else in them is good for.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from protect import ranges
from replay.engine.portable import Replay, Stop, pieces_of
from replay.settings import Settings
from replay.trace import AnyTrace, Trace

OIL = 1


def never(trace: AnyTrace, _settings: Settings) -> Replay:
    """Let the machine run, whatever the pressures are."""
    return _until(trace, lambda _piece, _elapsed: None)


def always(trace: AnyTrace, _settings: Settings) -> Replay:
    """Stop the machine as soon as it runs."""
    return _until(trace, lambda piece, _elapsed: _first(piece.running != 0))


def timer(trace: AnyTrace, settings: Settings) -> Replay:
    """Stop for good after the trip delay on end with less net oil pressure than the cut-out, however much less.

    No reading counts as none; any reading that is not below the cut-out sets the timer back.
    """
    before = 0  # ms on end, up to the piece at hand

    def full(piece: Trace, elapsed: NDArray[np.int64]) -> int | None:
        nonlocal before
        short = (piece.running != 0) & (net_pa(piece) < settings.values[ranges.CUT_OUT])
        timed = before + np.cumsum(np.where(short, elapsed, 0))
        spell = timed - np.maximum.accumulate(np.where(short, 0, timed))
        before = int(spell[-1])
        return _first(short & (spell >= settings.values[ranges.TRIP_DELAY]))

    return _until(trace, full)


PLAIN_TIMER = "plain timer"
BASELINES: dict[str, Callable[[AnyTrace, Settings], Replay]] = {
    "never stops": never,
    "always stops, at the start": always,
    PLAIN_TIMER: timer,
}


def net_pa(trace: Trace) -> NDArray[np.int64]:
    """Return the net oil pressure, int64[n]; as low as can be where a reading is missing."""
    missing = (trace.oil_pa == ranges.NO_READING) | (trace.crankcase_pa == ranges.NO_READING)
    return np.where(missing, -(2**30), trace.oil_pa - trace.crankcase_pa)


def _first(rows: NDArray[np.bool_]) -> int | None:
    return int(np.argmax(rows)) if rows.any() else None


def _until(trace: AnyTrace, stop: Callable[[Trace, NDArray[np.int64]], int | None]) -> Replay:
    """Let the machine run until the row of a piece that `stop` names, from the piece and its ms between rows."""
    run_ms = 0
    for piece, elapsed in pieces_of(trace):
        row = stop(piece, elapsed)
        run_ms += int(np.where(piece.running != 0, elapsed, 0)[: None if row is None else row + 1].sum())
        if row is not None:
            stops = (Stop(int(piece.time_ms[row]), OIL),)
            return Replay((), stops, run_ms, late=0, locked_out=True)
    return Replay((), (), run_ms, late=0, locked_out=False)
