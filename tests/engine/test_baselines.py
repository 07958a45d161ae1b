"""The plain laws beside the settings under test: what each does, tick by tick."""

import numpy as np
import pytest

from protect.ranges import CUT_OUT, NO_READING, SETTINGS, TRIP_DELAY
from replay.engine.baselines import always, never, timer
from replay.settings import Acceptance, Settings
from replay.trace import Trace

LOW, HIGH = 300000 + 47999, 300000 + 48000  # one pascal below the cut-out, and at it


def settings(cut_out: int = 48000, trip_delay: int = 80000) -> Settings:
    """Return settings of which a plain timer takes these two: a cut-out in Pa, a trip delay in ms."""
    values = [row[2] for row in SETTINGS]
    values[CUT_OUT], values[TRIP_DELAY] = cut_out, trip_delay
    return Settings("s.toml", tuple(values), 0.0, Acceptance(0, 0.0, 0.0))


ANY = settings()


def trace(oil: list[int], step_s: int = 1, running: int = 1) -> Trace:
    """Return a trace of these oil pressures (Pa) over a suction pressure of 300 kPa."""
    size = len(oil)
    suction = np.full(size, 300000)
    flags = np.full(size, running, np.uint8)
    times = np.arange(size) * step_s * 1000
    return Trace("t", 0.0, times, np.array(oil), suction, suction, flags, np.zeros(size, np.uint8))


@pytest.mark.outside(
    computation="the plain timer beside a score",
    source="common practice, no source",
    status="none",
    agreement="to the tick",
)
@pytest.mark.parametrize(
    ("oil", "stop_s"),
    [
        ([HIGH] * 400, None),
        ([LOW] * 81, 80),  # the first tick counts nothing
        ([LOW] * 80, None),
        ([HIGH] * 50 + [LOW] * 80, 129),  # the first low reading applies to the second before it
        ([HIGH] * 50 + [LOW] * 79, None),
        ([LOW] * 70 + [HIGH] + [LOW] * 79, None),  # one good reading sets it back
        ([LOW] * 70 + [HIGH] + [LOW] * 80, 150),
        ([NO_READING] * 81, 80),
    ],
)
def test_the_timer_stops_after_the_trip_delay_on_end(oil: list[int], stop_s: int | None) -> None:
    """Catches a timer that adds up separate spells, one that is a tick off, no reading taken for a good one."""
    stops = [stop.time_ms / 1000 for stop in timer(trace(oil), ANY).stops]
    assert stops == ([] if stop_s is None else [stop_s])


def test_the_timer_takes_cut_out_and_delay_from_the_settings() -> None:
    """Catches a timer with numbers of its own, which says nothing about the settings beside it."""
    assert timer(trace([LOW] * 400), settings(cut_out=47999)).stops == ()
    assert timer(trace([LOW] * 81), settings(trip_delay=80001)).stops == ()  # to the ms
    assert [stop.time_ms for stop in timer(trace([LOW] * 400), settings(trip_delay=33000)).stops] == [33000]


def test_the_timer_counts_time_and_not_rows() -> None:
    """Catches 80 rows taken for 80 s; and a machine at rest that is stopped."""
    assert [stop.time_ms for stop in timer(trace([LOW] * 10, step_s=50), ANY).stops] == [100000]
    assert timer(trace([LOW] * 400, running=0), ANY).stops == ()


def test_never_and_always() -> None:
    """Catches baselines that look at the pressures, and a machine at rest that is stopped."""
    for oil in ([LOW] * 400, [HIGH] * 400):
        assert never(trace(oil), ANY).stops == ()
        assert [stop.time_ms for stop in always(trace(oil), ANY).stops] == [0]
    assert always(trace([LOW] * 400, running=0), ANY).stops == ()


def test_run_time_ends_with_the_stop() -> None:
    """Catches a nuisance rate over hours that the machine did not run."""
    assert never(trace([LOW] * 401), ANY).run_ms == 400000
    assert always(trace([LOW] * 401), ANY).run_ms == 0
    assert timer(trace([LOW] * 401), ANY).run_ms == 80000
