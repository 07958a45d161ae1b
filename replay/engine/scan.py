"""Plain laws with every cut-out and delay of a grid, in one pass over a trace: what settings have to be better than.

    plain timer        stops after the delay on end below the cut-out, however far below
    vacuum and low     the plain timer, but only while suction pressure is below the vacuum of the settings

No reading counts as none, as it does for the plain timer beside a score. Each law stops the machine for good.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from protect import ranges
from replay.engine.baselines import net_pa
from replay.engine.portable import Replay, Stop, pieces_of
from replay.settings import Settings
from replay.trace import AnyTrace, Trace

LAWS = ("plain timer", "vacuum and low")
TIMER, IN_VACUUM = range(len(LAWS))
# The grid, assumed: shares of the cut-out of the settings, and delays, to which their own trip delay is added.
CUT_OUT_SHARES = (0.25, 0.5, 0.65, 0.8, 0.9, 1.0, 1.1, 1.25, 1.5, 2.0)
DELAYS_MS = (5_000, 10_000, 20_000, 30_000, 45_000, 60_000, 90_000, 120_000, 150_000, 180_000, 240_000, 360_000)
NEVER = -1
OIL = 1

Array = NDArray[np.int64]


@dataclass(frozen=True)
class Grid:
    """Cut-outs in Pa and delays in ms, both ascending."""

    cut_outs: tuple[int, ...]
    delays: tuple[int, ...]


def grid_of(settings: Settings) -> Grid:
    """Return the grid around some settings, their own cut-out and trip delay on it."""
    cut_out, delay = settings.values[ranges.CUT_OUT], settings.values[ranges.TRIP_DELAY]
    return Grid(tuple(round(share * cut_out) for share in CUT_OUT_SHARES), tuple(sorted({*DELAYS_MS, delay})))


@dataclass(frozen=True)
class Scanned:
    """What each point of the grid does over a trace: `replays[which[law, cut-out, delay]]`, each once."""

    replays: tuple[Replay, ...]
    which: Array


def scan(trace: AnyTrace, settings: Settings) -> Scanned:
    """Run every point of the grid over a trace, which is read once."""
    grid = grid_of(settings)
    shape = (len(LAWS), len(grid.cut_outs), len(grid.delays))
    stops, ran = np.full(shape, NEVER, np.int64), np.zeros(shape, np.int64)
    before = np.zeros(shape[:2], np.int64)  # ms that are counted, up to the piece at hand
    run_ms = 0
    for piece, elapsed in pieces_of(trace):
        running = piece.running != 0
        run = run_ms + np.cumsum(np.where(running, elapsed, 0))
        net, in_vacuum = net_pa(piece), _in_vacuum(piece, settings)
        for place, cut_out in enumerate(grid.cut_outs):
            short = running & (net < cut_out)
            counted = {
                TIMER: _on_end(short, elapsed, int(before[TIMER, place])),
                IN_VACUUM: _on_end(short & in_vacuum, elapsed, int(before[IN_VACUUM, place])),
            }
            for law, amount in counted.items():
                before[law, place] = amount[-1]
                greatest = np.maximum.accumulate(amount)
                rows = np.searchsorted(greatest, grid.delays)
                new = (rows < len(amount)) & (stops[law, place] == NEVER)
                stops[law, place, new] = piece.time_ms[rows[new]]
                ran[law, place, new] = run[rows[new]]
        run_ms = int(run[-1])
    ran[stops == NEVER] = run_ms
    times, first, which = np.unique(stops, return_index=True, return_inverse=True)
    return Scanned(
        tuple(_replay(int(time), int(ran.flat[at])) for time, at in zip(times, first, strict=True)),
        which.reshape(shape),
    )


def _replay(time_ms: int, run_ms: int) -> Replay:
    if time_ms == NEVER:
        return Replay((), (), run_ms, late=0, locked_out=False)
    return Replay((), (Stop(time_ms, OIL),), run_ms, late=0, locked_out=True)


def _on_end(short: NDArray[np.bool_], elapsed: Array, before: int) -> Array:
    """Return for how long (ms) it was short on end at each row, 0 where it is not."""
    timed = before + np.cumsum(np.where(short, elapsed, 0))
    return timed - np.maximum.accumulate(np.where(short, 0, timed))


def _in_vacuum(piece: Trace, settings: Settings) -> NDArray[np.bool_]:
    """Return where suction pressure is read and below the vacuum of the settings."""
    suction = piece.suction_pa
    read: NDArray[np.bool_] = suction != ranges.NO_READING
    return read & (suction < settings.values[ranges.VACUUM])
