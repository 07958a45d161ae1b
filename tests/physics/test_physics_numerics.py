"""Arithmetic, step size, seeds and the two ways to run a trace."""

import math
import os
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from replay.physics import (
    MACHINES,
    OILS,
    REFRIGERANTS,
    Case,
    Channel,
    Plant,
    Schedule,
    Sensor,
    SensorChain,
    Start,
    layout,
    simulate,
    simulate_many,
)
from replay.physics.arithmetic import exp, log, power
from replay.physics.kernel import advance, compiled_advance
from replay.physics.model import first_state, parameters, solubility_table
from tests.support.physics_scenarios import pulses, schedule, shut, throttled

pytestmark = pytest.mark.slow("compiles what only it runs")

SHARES = st.floats(0.001, 1.0)
NOISY = SensorChain(oil=Sensor(noise_pa=900.0, lost_chance=0.02), jitter_ms=60, period_ms=500)


def case(machine="granite", oil="foaming-68", duration_s=240.0, **more) -> Case:
    """Make a shut suction valve, read through noisy sensors."""
    plan = schedule(machine).change(Channel.SUCTION_VALVE, 60.0, 0.0, 1.0)
    return Case(MACHINES[machine], OILS[oil], REFRIGERANTS["R134a"], plan, duration_s, chain=NOISY, **more)


@pytest.mark.outside(
    computation="exponential, logarithm, power",
    source="the C library",
    status="consulted",
    agreement="4.4e-16",
)
def test_exponential_and_logarithm_agree_with_the_c_library_to_the_last_digits():
    """Catches a series cut too short or a bad split of ln 2; numbers are drawn over the range in use."""
    draw = np.random.Generator(np.random.PCG64(7))
    for _ in range(20000):
        x = draw.uniform(-60.0, 60.0)

        assert exp(x) == pytest.approx(math.exp(x), rel=5e-16)
        assert abs(log(math.exp(x)) - x) <= 5e-16 * max(1.0, abs(x)) + 3e-16 * abs(x)


@pytest.mark.parametrize(("x", "y"), [(1.0, 0.9), (2.0, 0.5), (45.0, 1 / 1.09), (1e-3, 2 / 3)])
def test_power_of_positive_numbers(x, y):
    """Catches swapped base and exponent."""
    assert power(x, y) == pytest.approx(x**y, rel=1e-14)


def test_exponential_is_held_at_its_limits():
    """Catches an index past the table of powers of two."""
    assert exp(1e6) == exp(700.0)
    assert exp(-1e6) == exp(-700.0)


def test_interpreted_and_compiled_kernels_give_the_same_bits():
    """Catches contraction to fused operations or a library function of its own in either form."""
    one = case()
    arrays = one.schedule.arrays()
    table = solubility_table(one.oil, one.refrigerant)
    p = parameters(one.machine, one.oil, one.refrigerant, one.schedule)
    states = [first_state(one.machine, one.oil, one.refrigerant, one.schedule, Start(), p) for _ in range(2)]
    rows = [np.zeros(layout.RECORDS), np.zeros(layout.RECORDS)]
    inputs = [np.zeros(layout.INPUTS), np.zeros(layout.INPUTS)]
    for until_s in (59.87, 61.2, 75.0, 100.03):
        advance(states[0], p, table, *arrays, 1.0, until_s, inputs[0], rows[0])
        compiled_advance(states[1], p, table, *arrays, 1.0, until_s, inputs[1], rows[1])

        assert rows[0].tobytes() == rows[1].tobytes()
        assert states[0].tobytes() == states[1].tobytes()


@pytest.mark.parametrize("oil", ["still-68", "foaming-68"])
def test_step_size_against_a_tenth_of_it(oil):
    """Pressures within 3 kPa nearly always, damage within 2 %; catches a step too long for the pull-down."""
    coarse = shut("granite", oil, reopen_s=420.0, duration_s=500.0)
    fine = shut("granite", oil, reopen_s=420.0, duration_s=500.0, step_s=0.01)
    suction = np.abs(coarse.true_suction_pa - fine.true_suction_pa)
    net = np.abs(coarse.net_oil_pa - fine.net_oil_pa)

    assert np.mean(suction > 3e3) < 0.02
    assert np.mean(net > 3e3) < 0.08
    assert np.median(suction) < 100.0
    assert coarse.damage.certainty == fine.damage.certainty
    for a, b in zip(coarse.damage.times_s, fine.damage.times_s, strict=True):
        assert a == b or a == pytest.approx(b, rel=0.02)


def test_step_size_against_a_tenth_of_it_in_pulses():
    """The same pulses within one, as deep within 1 psi, and the same verdict; catches a slug that hangs on the step."""
    coarse = throttled("granite", "still-32", 800.0, 900.0)
    count = pulses(coarse.net_oil_pa, 80e3, 110e3)
    fine = throttled("granite", "still-32", 800.0, 900.0, step_s=0.01)

    assert count >= 2
    assert abs(pulses(fine.net_oil_pa, 80e3, 110e3) - count) <= 1
    assert fine.net_oil_pa.min() == pytest.approx(coarse.net_oil_pa.min(), abs=7e3)
    assert fine.damage.certainty == coarse.damage.certainty == "none"


def test_same_seed_same_bytes_and_another_seed_other_noise():
    """Catches hidden global randomness; the physics itself hangs on no seed."""
    first, again, other = simulate(case(seed=5)), simulate(case(seed=5)), simulate(case(seed=6))

    assert first.oil_pa.tobytes() == again.oil_pa.tobytes()
    assert first.time_ms.tobytes() == again.time_ms.tobytes()
    assert first.oil_pa.tobytes() != other.oil_pa.tobytes()
    assert first.damage == other.damage


def test_order_and_threads_change_no_trace():
    """Catches a seed that belongs to a worker: three traces, any order, one or two threads."""
    cases = [case(seed=9, key=(i,)) for i in range(3)]
    alone = [simulate(one) for one in cases]
    threaded = simulate_many(cases, jobs=2)
    backwards = simulate_many(cases[::-1])[::-1]

    for a, b, c in zip(alone, threaded, backwards, strict=True):
        assert a.oil_pa.tobytes() == b.oil_pa.tobytes() == c.oil_pa.tobytes()
        assert a.rows.tobytes() == b.rows.tobytes() == c.rows.tobytes()
    assert alone[0].oil_pa.tobytes() != alone[1].oil_pa.tobytes()


# Printed once by this model; any change of equations, constants or draws changes it, and is then restated here.
KNOWN = 3091865694
DIGEST = """
import zlib
from replay.physics.families import generate
traces = [generate(family, 1, 3) for family in ("suction-valve-shut", "flooded-start-that-clears", "short-dropouts")]
print(zlib.crc32(b"".join(t.time_ms.tobytes() + t.oil_pa.tobytes() + t.suction_pa.tobytes() for t in traces)))
"""
OTHER_PROCESSOR = {
    "NUMBA_CPU_NAME": "generic",
    "NUMBA_CPU_FEATURES": "",
    "NPY_DISABLE_CPU_FEATURES": "AVX2 FMA3 AVX512F AVX512_SKX",
}


@pytest.mark.parametrize("processor", [{}, OTHER_PROCESSOR], ids=["this", "plain"])
def test_known_bytes_on_this_processor_and_on_a_plain_one(processor):
    """Three traces compiled for this processor and for the plainest of its kind; catches fused or library arithmetic."""
    done = subprocess.run(
        [sys.executable, "-c", DIGEST], capture_output=True, text=True, check=True, env={**os.environ, **processor}
    )

    assert int(done.stdout) == KNOWN


def test_stepping_with_permission_gives_the_open_loop_trace():
    """Catches a plant that differs from the batch path when nobody stops it."""
    one = case()
    plant = Plant(one)
    result = simulate(one)
    rows = np.array([plant.advance(ms / 1000.0) for ms in result.time_ms.tolist()])

    assert rows.tobytes() == result.rows.tobytes()
    assert plant.damage == result.damage


def test_withdrawn_permission_stops_the_machine_and_saves_its_bearings():
    """Catches a closed loop in which a stop changes nothing, or a standing journal that still drains."""
    plan = schedule("granite").change(Channel.SUCTION_VALVE, 60.0, 0.0, 1.0)
    one = Case(MACHINES["granite"], OILS["still-68"], REFRIGERANTS["R134a"], plan, 2400.0)
    plant = Plant(one)
    for second in range(2401):
        row = plant.advance(float(second), permission=second < 150)

    assert simulate(one).damage.certainty == "certain"
    assert plant.damage.certainty == "none"
    assert row[layout.R_RUNNING] == 0.0
    assert row[layout.R_SPEED_RPM] < 1.0
    assert 0.1 < row[layout.R_RESERVE_LOW] < 0.9


def test_ramps_steps_and_overlaps_of_a_schedule():
    """Values on both sides of a step, the middle of a ramp; catches channels mixed up or a change that goes back."""
    plan = Schedule(1450.0).change(Channel.SUCTION_VALVE, 10.0, 0.0).change(Channel.LOAD_PA, 5.0, 250e3, 20.0)
    times, values, slopes, steady = plan.arrays()

    assert times.tolist() == [0.0, 5.0, 10.0, 25.0]
    assert values[:, Channel.SUCTION_VALVE].tolist() == [1.0, 1.0, 0.0, 0.0]
    assert values[:, Channel.LOAD_PA].tolist() == [450e3, 450e3, 400e3, 250e3]
    assert slopes[1, Channel.LOAD_PA] == pytest.approx(-10e3)
    assert steady.tolist() == [True, False, False, True]
    with pytest.raises(ValueError, match="LOAD_PA"):
        plan.change(Channel.LOAD_PA, 20.0, 1e5)


def on_the_line(knots: list[tuple[float, float]], at_s: float, *, arriving: bool) -> float:
    """Return a channel's value at a time, or on arriving there, by looking through all its knots."""
    here = [value for at, value in knots if at == at_s]
    if here:
        return here[0 if arriving else -1]
    before = [knot for knot in knots if knot[0] < at_s][-1]
    after = [knot for knot in knots if knot[0] > at_s][:1]
    if not after:
        return before[1]
    return before[1] + (after[0][1] - before[1]) * ((at_s - before[0]) / (after[0][0] - before[0]))


@given(st.lists(st.tuples(st.sampled_from(list(Channel)), st.sampled_from([0.0, 0.5, 3.0, 7.3]), *[SHARES] * 2)))
def test_schedule_in_one_walk_is_the_schedule_looked_up_knot_by_knot(changes):
    """Bit for bit, steps and ramps at shared times included; catches a merge that takes the wrong one of two knots."""
    plan = Schedule(1450.0)
    for channel, gap_s, value, over_s in changes:
        plan.change(channel, plan.knots[channel][-1][0] + gap_s, value, over_s)
    times, values, slopes, _ = plan.arrays()

    for i, at_s in enumerate(times.tolist()):
        for channel, knots in plan.knots.items():
            assert values[i, channel] == on_the_line(knots, at_s, arriving=False)
            if i + 1 < times.size:
                rise = on_the_line(knots, times[i + 1], arriving=True) - values[i, channel]
                assert slopes[i, channel] == rise / (times[i + 1] - at_s)


def test_work_on_a_schedule_grows_with_its_changes():
    """Ten times the unloader steps take less than thirty times as many lines; catches a search from the start for each."""

    def lines(changes: int) -> int:
        plan = Schedule(1450.0)
        for i in range(changes):
            plan.change(Channel.CAPACITY, 60.0 * (i + 1), 0.5 + 0.5 * (i % 2), 0.5)
        counted = 0

        def count(_frame, event, _what):
            nonlocal counted
            counted += event == "line"
            return count

        before = sys.gettrace()
        sys.settrace(count)
        try:
            plan.arrays()
        finally:
            sys.settrace(before)
        return counted

    assert lines(1000) < 30 * lines(100)


@pytest.mark.parametrize(
    ("what", "error"),
    [
        (lambda: Schedule(1450.0, design_suction_pa=1e6), "design suction"),
        (lambda: simulate(case(start=Start(dissolved_fraction=0.6))), "dissolved"),
        (lambda: SensorChain(period_ms=100, jitter_ms=50), "jitter"),
        (lambda: Sensor(range_low_pa=1.0, range_high_pa=0.0).parameters(), "impossible sensor"),
        (lambda: simulate(case(duration_s=0.2)), "no whole period"),
    ],
)
def test_impossible_arguments_are_refused(what, error):
    """Catches a trace made of nonsense in silence."""
    with pytest.raises(ValueError, match=error):
        what()
