"""The plain logics beside the settings under test: what each does, tick by tick."""

import numpy as np
import pytest

from protect.ranges import NO_READING
from replay.engine.baselines import always, never, timer
from replay.trace import Trace

LOW, HIGH = 300000 + 62052, 300000 + 62053  # 9 psi over the suction pressure is 62,052.8 Pa


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
        ([LOW] * 121, 120),  # the first tick counts nothing
        ([LOW] * 120, None),
        ([HIGH] * 50 + [LOW] * 120, 169),  # the first low reading applies to the second before it
        ([HIGH] * 50 + [LOW] * 119, None),
        ([LOW] * 110 + [HIGH] + [LOW] * 119, None),  # one good reading sets it back
        ([LOW] * 110 + [HIGH] + [LOW] * 120, 230),
        ([NO_READING] * 121, 120),
    ],
)
def test_the_timer_stops_after_two_minutes_on_end(oil: list[int], stop_s: int | None) -> None:
    """Catches a timer that adds up separate spells, one that is a tick off, no reading taken for a good one."""
    stops = [stop.time_ms / 1000 for stop in timer(trace(oil)).stops]
    assert stops == ([] if stop_s is None else [stop_s])


def test_the_timer_counts_time_and_not_rows() -> None:
    """Catches 120 rows taken for 120 s; and a machine at rest that is stopped."""
    assert [stop.time_ms for stop in timer(trace([LOW] * 10, step_s=50)).stops] == [150000]
    assert timer(trace([LOW] * 400, running=0)).stops == ()


def test_never_and_always() -> None:
    """Catches baselines that look at the pressures, and a machine at rest that is stopped."""
    for oil in ([LOW] * 400, [HIGH] * 400):
        assert never(trace(oil)).stops == ()
        assert [stop.time_ms for stop in always(trace(oil)).stops] == [0]
    assert always(trace([LOW] * 400, running=0)).stops == ()


def test_run_time_ends_with_the_stop() -> None:
    """Catches a nuisance rate over hours that the machine did not run."""
    assert never(trace([LOW] * 401)).run_ms == 400000
    assert always(trace([LOW] * 401)).run_ms == 0
    assert timer(trace([LOW] * 401)).run_ms == 120000
