"""Plain laws scanned over a grid: each point does what the law does by itself, tick by tick."""

import numpy as np
import pytest

from protect.ranges import CUT_OUT, NO_READING, TRIP_DELAY, VACUUM
from replay.engine.baselines import timer
from replay.engine.scan import IN_VACUUM, LAWS, NEVER, TIMER, grid_of, scan
from replay.settings import Acceptance, Settings
from replay.trace import Trace
from tests.support.protection import PROFILE
from tests.support.stories import as_settings


def drawn(seed: int, size: int = 400) -> Trace:
    """Return a trace with spells of low oil pressure and of vacuum, uneven ticks, standstill and lost readings."""
    rng = np.random.default_rng(seed)
    steps = rng.integers(500, 9000, size)
    times = np.cumsum(steps // 1000 * 1000 if seed % 2 else steps)  # whole seconds meet the delays to the tick
    low, deep = (np.repeat(rng.random(size // 20) < 0.5, 20) for _ in range(2))
    suction = np.where(deep, 20_000, 200_000) + rng.integers(0, 900, size)
    oil = suction + np.where(low, rng.integers(5_000, 90_000, size), 150_000)
    oil[rng.random(size) < 0.03] = NO_READING
    running = np.repeat(rng.random(size // 20) < 0.9, 20).astype(np.uint8)
    return Trace("drawn", 0.0, times - times[0], oil, suction, suction, running, np.zeros(size, np.uint8))


def with_numbers(settings: Settings, cut_out: int, delay: int) -> Settings:
    """Return settings of which the plain timer takes these two."""
    values = list(settings.values)
    values[CUT_OUT], values[TRIP_DELAY] = cut_out, delay
    return Settings("s.toml", tuple(values), 0.0, Acceptance(0, 0.0, 0.0))


def in_vacuum_alone(trace: Trace, below: int) -> Trace:
    """Return a trace that reads plenty of oil pressure wherever suction pressure is not below."""
    oil = np.where(trace.suction_pa < below, trace.oil_pa, trace.suction_pa + 900_000)
    return Trace("v", 0.0, trace.time_ms, oil, trace.suction_pa, trace.crankcase_pa, trace.running, trace.reset)


@pytest.mark.parametrize("seed", range(4))
def test_every_point_is_the_law_by_itself(seed: int) -> None:
    """Catches a point that stops a tick off or is another's, a spell carried over a good reading, lost run time."""
    settings, trace = as_settings(PROFILE), drawn(seed)
    grid, scanned = grid_of(settings), scan(trace, settings)
    low_alone = in_vacuum_alone(trace, settings.values[VACUUM])

    stopped = 0
    for law, given in ((TIMER, trace), (IN_VACUUM, low_alone)):
        for row, cut_out in enumerate(grid.cut_outs):
            for column, delay in enumerate(grid.delays):
                found = scanned.replays[scanned.which[law, row, column]]
                assert found == timer(given, with_numbers(settings, cut_out, delay)), (LAWS[law], cut_out, delay)
                stopped += len(found.stops)
    assert 20 < stopped < scanned.which.size


def test_a_trace_in_pieces_is_the_whole_trace() -> None:
    """Catches a spell that begins anew with each piece of a long trace."""
    settings, trace = as_settings(PROFILE), drawn(2)

    class InPieces:
        def pieces(self):
            for begin in range(0, 400, 37):
                part = slice(begin, begin + 37)
                columns = (
                    trace.time_ms,
                    trace.oil_pa,
                    trace.suction_pa,
                    trace.crankcase_pa,
                    trace.running,
                    trace.reset,
                )
                yield Trace("part", 0.0, *(column[part] for column in columns))

    whole, pieces = scan(trace, settings), scan(InPieces(), settings)

    assert pieces.replays == whole.replays
    assert np.array_equal(pieces.which, whole.which)


def test_the_settings_own_numbers_are_on_the_grid() -> None:
    """Catches a best timer that is worse than the plain timer shown beside it."""
    settings = as_settings(PROFILE)
    grid = grid_of(settings)

    assert settings.values[CUT_OUT] in grid.cut_outs
    assert settings.values[TRIP_DELAY] in grid.delays
    assert NEVER < 0
