"""The time-delay integral: trip times against their closed forms, whatever the rate of the steps."""

from collections.abc import Callable, Iterator
from fractions import Fraction
from itertools import cycle

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protect import integral, ranges, state
from tests.support import closed_form
from tests.support.protection import BELOW_FLOOR, HEALTHY, HELD, MIDWAY, ONE, SHORT, SUCTION, VACUUM, Machine
from tests.support.strategies import admitted, between

RATES = {"10 Hz": (100,), "1 Hz": (1_000,), "irregular": (137, 911, 53, 1_999, 401, 1, 650)}
TURN = 5_000  # all changes of the square waves lie on multiples of this many ms
ROUNDING = Fraction(2, ONE)  # of a weight of 1 or more, as test_weight holds it

each_rate = pytest.mark.parametrize("rate", RATES.values(), ids=RATES)


def steps(rate: tuple[int, ...]) -> Iterator[int]:
    """Yield step after step, cut so that every turn ends with one."""
    now = 0
    for ms in cycle(rate):
        step = min(ms, TURN - now % TURN)
        now += step
        yield step


def trip_time(rate: tuple[int, ...], net_at: Callable[[int], int], suction: int = SUCTION) -> int:
    """Return the ms at which a machine without start grace trips, 2 h at most."""
    machine = Machine(start_grace=0).tick(0, net=net_at(0), suction=suction)
    now = 0
    for ms in steps(rate):
        now += ms
        machine.tick(ms, net=net_at(now), suction=suction)
        if not machine.permitted:
            assert (machine.integral, machine.stop_cause) == (120_000, "oil")
            return now
        assert now < 7_200_000, "never tripped"
    raise AssertionError


def assert_within_one_sample(got: int, expected: float | Fraction, rate: tuple[int, ...]) -> None:
    """Compare trip times; beside one step only the rounding of the weights is allowed."""
    assert abs(got - expected) <= max(rate) + expected * float(ROUNDING), (got, float(expected))


@each_rate
@pytest.mark.parametrize("net", [SHORT, 50_000, MIDWAY, 27_500, 20_000, BELOW_FLOOR])
@pytest.mark.parametrize("suction", [SUCTION, VACUUM])
def test_constant_deficit_trips_after_trip_delay_over_weight(rate: tuple[int, ...], net: int, suction: int) -> None:
    """Catches time counted twice or not at all, and a trip one step late."""
    expected = closed_form.constant(net, vacuum=suction == VACUUM)

    assert_within_one_sample(trip_time(rate, lambda _: net, suction), expected, rate)


@pytest.mark.outside(
    computation="time-delay integral of this logic: constant, ramp, pulses",
    source="none published for these weights; closed forms on paper",
    status="none",
    agreement="within one sample",
)
@each_rate
@pytest.mark.parametrize("fall", [20_000, 30_000, 60_000, 300_000])
def test_falling_oil_pressure_trips_by_the_area_under_its_weight(rate: tuple[int, ...], fall: int) -> None:
    """Catches a weight that steps where it should ramp, and one that goes on growing below the floor."""

    def net_at(ms: int) -> int:
        return 60_000 - 40_000 * ms // fall

    assert_within_one_sample(trip_time(rate, net_at), closed_form.ramp(fall), rate)


@each_rate
@pytest.mark.parametrize(
    ("net", "low", "healthy"),
    [(BELOW_FLOOR, 20_000, 20_000), (MIDWAY, 10_000, 10_000), (SHORT, 15_000, 10_000), (BELOW_FLOOR, 40_000, 5_000)],
)
def test_toggling_oil_pressure_trips_by_what_each_turn_leaves(
    rate: tuple[int, ...], net: int, low: int, healthy: int
) -> None:
    """Catches a delay that begins anew with every healthy moment: the input that toggles must trip all the same."""

    def net_at(ms: int) -> int:
        return net if (ms - 1) % (low + healthy) < low else HEALTHY

    expected = closed_form.square(net, low, healthy)

    assert expected is not None
    assert_within_one_sample(trip_time(rate, net_at), expected, rate)


@each_rate
def test_dips_that_recover_in_full_never_add_up(rate: tuple[int, ...]) -> None:
    """Catches an integral that forgets to drain, a nuisance trip in the making."""
    machine = Machine(start_grace=0).tick(0)
    now, highest = 0, 0
    for ms in steps(rate):
        now += ms
        machine.tick(ms, net=MIDWAY if (now - 1) % 20_000 < 5_000 else HEALTHY)
        highest = max(highest, machine.integral)
        if now >= 1_800_000:
            break

    assert closed_form.square(MIDWAY, 5_000, 15_000) is None
    assert highest == 12_500
    assert (machine.name, machine.integral) == ("LUBRICATED", 0)


@settings(max_examples=60)
@given(st.lists(st.integers(50, 5_000), min_size=1, max_size=20), st.sampled_from([SHORT, MIDWAY, BELOW_FLOOR]))
def test_trip_comes_with_the_first_step_that_completes_the_delay(rate: list[int], net: int) -> None:
    """Catches a trip time that depends on how steps happen to fall, for any mix of steps."""
    machine = Machine(start_grace=0).tick(0, net=net)
    now = before = 0
    for ms in cycle(rate):
        before, now = now, now + ms
        if not machine.tick(ms, net=net).permitted:
            break
    expected = closed_form.constant(net)

    assert before * (1 - ROUNDING) < expected <= now * (1 + ROUNDING)


@each_rate
def test_deficit_counts_from_the_end_of_the_start_grace(rate: tuple[int, ...]) -> None:
    """Catches a grace rounded to whole steps, and one that hides what comes after it."""
    machine = Machine(start_grace=30_333).tick(0, net=BELOW_FLOOR)
    now = 0
    for ms in steps(rate):
        now += ms
        machine.tick(ms, net=BELOW_FLOOR)

        assert machine.integral == min(4 * max(0, now - 30_333), 120_000)
        assert machine.name == ("PRIMING" if now < 30_333 else "STARVED" if machine.permitted else "TRIPPED")
        if not machine.permitted:
            break
    assert now >= 60_333


def test_first_step_integrates_nothing() -> None:
    """Catches time before power-up counted as if it had been observed."""
    machine = Machine(start_grace=0).tick(5_000, net=BELOW_FLOOR)

    assert (machine.integral, machine.name) == (0, "STARVED")
    assert machine.tick(5_000, net=BELOW_FLOOR).integral == 20_000


def test_healthy_time_drains_even_within_the_start_grace() -> None:
    """Catches a grace that also holds back recovery."""
    machine = Machine().start().spend(10_000, net=BELOW_FLOOR).spend(30_000, running=0)
    assert (machine.integral, machine.grace_left) == (32_500, 30_000)

    machine.spend(10_000, net=HEALTHY)

    assert (machine.integral, machine.grace_left) == (22_500, 20_000)


def test_hold_band_neither_fills_nor_drains() -> None:
    """Catches a recovery that begins at cut-out, or a deficit that ends only at cut-in."""
    machine = Machine().start().spend(10_000, net=BELOW_FLOOR).spend(600_000, net=HELD)

    assert (machine.integral, machine.name) == (40_000, "STARVED")


@pytest.mark.parametrize(
    ("recovery", "left"), [(ONE, 30_000), (ONE // 2, 35_000), (4 * ONE, 0), (8 * ONE, 0), (0, 40_000)]
)
def test_healthy_time_drains_at_recovery_down_to_nothing(recovery: int, left: int) -> None:
    """Catches a recovery by the wrong setting, and an integral below nothing that would delay the next trip."""
    machine = Machine(recovery=recovery).start().spend(10_000, net=BELOW_FLOOR).spend(10_000)

    assert (machine.integral, machine.memory.fraction) == (left, 0)


@pytest.mark.parametrize(
    ("recovery", "left"), [(ONE // 4, 37_500), (0, 40_000), (1, 39_995), (ONE, 30_000), (8 * ONE, 0)]
)
def test_standstill_drains_at_stopped_recovery(recovery: int, left: int) -> None:
    """Catches a stop that wipes the integral, and one that drains like running with oil."""
    machine = Machine(stopped_recovery=recovery).start().spend(10_000, net=BELOW_FLOOR)
    machine.spend(10_000, net=BELOW_FLOOR, running=0)

    assert machine.integral == left
    assert machine.memory.fraction == (240 if recovery == 1 else 0)  # 10000/2048 ms are 4 and 1808/2048


def test_small_drains_and_gains_are_not_lost_between_steps() -> None:
    """Catches a fraction dropped at each step: a thousand steps of 1 ms at 1/2048 make 1000/2048 ms."""
    machine = Machine(stopped_recovery=1).start().spend(10_000, net=BELOW_FLOOR)
    machine.spend(1_000, by=1, running=0)

    assert (machine.integral, machine.memory.fraction) == (39_999, ONE - 1_000)


@settings(max_examples=150)
@given(
    admitted(),
    st.integers(-8 * ONE, 64 * ONE),
    between(0, 300_000),
    st.integers(0, 1_800_000 * ONE),
)
def test_accumulate_is_exact_and_clamped(named: dict[str, int], gain: int, elapsed: int, before: int) -> None:
    """Catches a carry or a borrow lost between whole and fraction, and a clamp that leaves a fraction behind."""
    machine = Machine(**named)
    limit = named["trip_delay"] * ONE
    before = min(before, limit)
    machine.state[state.INTEGRAL], machine.state[state.INTEGRAL_FRACTION] = divmod(before, ONE)

    integral.accumulate(machine.state, machine.settings, gain, elapsed)

    after = min(max(before + gain * elapsed, 0), limit)
    assert (machine.integral, machine.memory.fraction) == divmod(after, ONE)


def test_trip_delay_is_reached_at_the_whole_millisecond() -> None:
    """Catches a comparison that trips one ms late or at a fraction before."""
    machine = Machine(floor_weight=ONE).start().spend(119_999, net=BELOW_FLOOR)
    assert (machine.integral, machine.name) == (119_999, "STARVED")

    machine.tick(1, net=BELOW_FLOOR)
    assert (machine.integral, machine.name, machine.settings[ranges.TRIP_DELAY]) == (120_000, "TRIPPED", 120_000)
