"""One candidate through a trace in pieces: what is noted of its course is what a replay tick by tick has at those rows."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replay.engine import compiled
from replay.settings import Settings
from replay.sweep import Course
from replay.trace import Trace
from tests.engine.test_compiled import SEEDS, adversarial
from tests.support.stories import as_settings, brisk_settings, stories
from tests.sweep.test_sweep import TOLD, plainly, spoilt

pytestmark = pytest.mark.slow("compiles what only it runs")

COLUMNS = ("time_ms", "oil_pa", "suction_pa", "crankcase_pa", "running", "reset")


def piece_of(trace: Trace, begin: int, end: int) -> Trace:
    """Return some rows of a trace, the crankcase channel its own where it was."""
    part = replace(trace, **{name: getattr(trace, name)[begin:end] for name in COLUMNS})
    return part if trace.crankcase_pa is not trace.suction_pa else replace(part, crankcase_pa=part.suction_pa)


def compared(trace: Trace, chosen: Settings, cuts: set[int], marks: set[int]) -> int:
    """Take a trace in pieces and hold all that is noted against the replay; return how many rows were noted."""
    course, count = Course(chosen), 0
    trail = compiled.machine(chosen).follow(trace)
    ends = [0, *sorted(cut for cut in cuts if cut < len(trace)), len(trace)]
    for begin, end in itertools.pairwise(ends):
        wanted = np.array(sorted(mark - begin for mark in marks if begin <= mark < end), np.int64)
        noted = course.take(piece_of(trace, begin, end), wanted)
        rows, count = noted.rows + begin, count + len(noted.rows)
        np.testing.assert_array_equal(noted.states, trail.states[rows])
        np.testing.assert_array_equal(noted.integral_percent, trail.integral_percent[rows])
        assert set((wanted + begin).tolist()) <= set(rows.tolist())
        assert rows[-1] == end - 1
        for first, last in itertools.pairwise([begin - 1, *rows.tolist()]):
            between = slice(first + 1, last + 1)
            assert (trail.states[between] == trail.states[last]).all()
            if last > first + 1:
                low, high = sorted((trail.integral_percent[first], trail.integral_percent[last]))
                assert low <= trail.integral_percent[between].min() <= trail.integral_percent[between].max() <= high
                assert not {*range(first + 2, last + 1)} & marks
    assert tuple(course.stops) == trail.stops
    return count


PLACES = st.sets(st.integers(1, 600), max_size=5)


@settings(max_examples=60, deadline=None)
@given(stories(), brisk_settings(), PLACES, PLACES)
def test_the_course_is_that_of_a_replay(trace: Trace, drawn: dict[str, int], cuts: set[int], marks: set[int]) -> None:
    """Catches a state, an extreme of the integral or a stop that is leapt over, and one that hangs on where pieces end."""
    compared(trace, as_settings(drawn), cuts, marks)


@settings(max_examples=60, deadline=None)
@given(spoilt(), st.sampled_from([6_000, 45_000]), PLACES)
def test_a_channel_that_is_spoilt_over_the_end_of_a_piece(trace: Trace, stuck_after: int, cuts: set[int]) -> None:
    """Catches an age of a reading that is forgotten where a piece ends: a stuck sensor would look sound behind it."""
    compared(trace, as_settings(TOLD | {"stuck_after": stuck_after, "fault_delay": 8_000}), cuts, set())


@pytest.mark.parametrize("seed", SEEDS)
def test_traces_drawn_against_the_state_they_meet(seed: int) -> None:
    """Catches a leap over something that only a trace finds which is made against the logic."""
    trace, chosen = adversarial(seed, 5000)
    compared(trace, chosen, {*range(64, len(trace), 1000)}, {*range(500, len(trace), 777)})


def test_a_reading_that_stands_still_from_piece_to_piece_becomes_stuck() -> None:
    """Catches ages that begin anew with each piece, so that a dead sensor is never found out in a long file."""
    trace = plainly([("healthy", 400)])
    frozen = replace(trace, oil_pa=np.where(np.arange(len(trace)) < 70, trace.oil_pa, trace.oil_pa[70]))

    compared(frozen, as_settings(TOLD | {"fault_delay": 5_000}), {*range(80, 400, 20)}, set())


def test_healthy_hours_are_noted_at_a_few_rows() -> None:
    """Catches a course that steps through everything, which is right and slow."""
    trace = plainly([("healthy", 7200)])
    chosen = as_settings(TOLD)

    assert compared(trace, chosen, {3000}, {5000}) < 300
