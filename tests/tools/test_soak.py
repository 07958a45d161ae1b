"""The soak in short: it lives through what it says, compares every word, watches the invariants, and finds a planted fault."""

from pathlib import Path

import numpy as np
import pytest

from protect import outputs, ranges, state
from tests.campaigns import soak
from tests.support.toolchain import need
from tests.tools.test_campaigns import planted

pytestmark = pytest.mark.slow("compiles what only it runs")

DAYS = 4 / 365


@pytest.fixture(autouse=True)
def compiler() -> None:
    """Skip, by name, what cannot run here."""
    need("cc")


def test_some_days_over_a_wrap_are_the_same_on_both_sides() -> None:
    """Catches a soak in which nothing happens: it has to wrap, start, stop, meet doubt and lose ticks."""
    done = soak.run(DAYS, 1000, seed=3)

    assert (done.broken, done.difference) == (0, -1)
    assert done.machine["wraps"] == 1
    assert done.machine["elapsed_ms"] >= 4 * 86_400_000
    assert min(done.machine[name] for name in ("starts", "stops", "late", "doubted")) > 0


def test_a_tick_difference_that_breaks_at_the_wrap_is_found(tmp_path: Path) -> None:
    """Catches a soak whose port is handed the elapsed time instead of the counter."""
    good = "    uint32_t elapsed = now - before;"
    folder = planted(tmp_path, good, "    uint32_t elapsed = (now >= before) ? (now - before) : 0U;")
    done = soak.run(DAYS, 1000, seed=3, folder=folder)

    assert 80_000 < done.difference < 90_000  # the first wrap comes after a day of ticks


BROKEN = {
    1: {"memory": {state.INTEGRAL: 60_001}},
    2: {"memory": {state.STATE: state.TRIPPED}, "results": {outputs.RUN_PERMISSION: 1}},
    3: {"was": state.LOCKED_OUT},
    4: {"held": 1},
    5: {"memory": {state.MEMORY_LEFT: 1 << 30}},
}


@pytest.mark.parametrize("number", [0, *BROKEN])
def test_each_invariant_is_watched(number: int) -> None:
    """Catches a watch that lets a broken invariant pass, or cries without one."""
    case = BROKEN.get(number, {})
    memory, results = np.zeros(state.STATE_SIZE, np.int64), np.zeros(outputs.OUTPUTS_SIZE, np.int64)
    values, inputs = np.zeros(ranges.SETTINGS_SIZE, np.int64), np.zeros(ranges.INPUTS_SIZE, np.int64)
    values[ranges.TRIP_DELAY] = 60_000
    results[outputs.RUN_PERMISSION] = 1
    for array, name in ((memory, "memory"), (results, "results")):
        for place, value in case.get(name, {}).items():
            array[place] = value
    was, held = case.get("was", state.STOPPED), case.get("held", 0)

    assert soak.invariants_broken(was, held, 0, inputs, values, memory, results) == number
