"""Every value that is worked out stays below 2**30: small integers on a 32-bit MicroPython, and no overflow in C."""

import operator
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protect import ranges, state
from protect.protection import step
from protect.settings import ALL_RIGHT, derive, first_fault
from tests.support.protection import MISSING, ONE, Machine
from tests.support.strategies import Named, admitted, between, ends, memories
from tests.support.watched import Watched

pytestmark = pytest.mark.slow("tries many cases of a large space")

LIMIT = 1 << 30
PRESSURES = st.one_of(ends(-100_000, 20_000_000), st.integers(-100_000, 20_000_000), st.just(MISSING))
FLAG = st.integers(0, 1)
Inputs = tuple[int, int, int, int, int, int]


def watched_step(machine: Machine, inputs: Inputs) -> int:
    """Take a step with watched integers; return the largest magnitude of all its arithmetic."""
    arrays = (machine.state, machine.settings, list(inputs), machine.results)
    Watched.largest = 0
    words, values, readings, results = ([Watched(value) for value in array] for array in arrays)
    step(words, values, readings, results)
    machine.state[:], machine.results[:] = map(int, words), map(int, results)
    return Watched.largest


@st.composite
def extremes(draw: st.DrawFn) -> tuple[Machine, list[Inputs]]:
    """Draw settings at the ends of their ranges or between, any memory, and steps that no sound caller takes."""
    named = draw(st.one_of(admitted(pick=ends), admitted()))
    elapsed = st.one_of(between(0, named["max_gap"]), st.sampled_from([1_800_000, LIMIT - 1, 1 - LIMIT]))
    steps = draw(st.lists(st.tuples(elapsed, FLAG, FLAG, PRESSURES, PRESSURES, PRESSURES), min_size=1, max_size=4))
    machine = Machine(**named)
    machine.state[:] = draw(memories(named, steps[0][3:]))
    return machine, steps


@settings(max_examples=150)
@given(extremes())
def test_no_value_of_a_step_reaches_2_to_the_30(case: tuple[Machine, list[Inputs]]) -> None:
    """Catches a product that allocates on the target or overflows in C, for any admitted settings and any input."""
    machine, steps = case

    for inputs in steps:
        assert watched_step(machine, inputs) < LIMIT
        assert max(map(abs, machine.state + machine.results)) < LIMIT


def watched_settings(values: list[int]) -> int:
    """Check settings and derive from good ones; return the largest magnitude of all that was worked out."""
    Watched.largest = 0
    watched = [Watched(value) for value in values]
    if first_fault(watched) == ALL_RIGHT:
        derive(watched)
    return Watched.largest


@settings(max_examples=60)
@given(st.one_of(admitted(pick=ends), admitted()))
def test_no_value_of_check_and_derivation_reaches_2_to_the_30(named: Named) -> None:
    """Catches a product on the way to a derived value, or a derived value, that the target could not hold."""
    values = Machine(**named).settings

    assert watched_settings(values) < LIMIT
    assert all(0 <= value < LIMIT for value in values[ranges.SETTING_COUNT :])


@settings(max_examples=60)
@given(st.lists(st.one_of(ends(-(1 << 31), (1 << 31) - 1), st.integers(0, 100_000)), min_size=22, max_size=22))
def test_no_value_of_the_check_of_any_words_reaches_2_to_the_30(words: list[int]) -> None:
    """Catches a gap that is added to a setting before its range is known."""
    assert watched_settings([*words, 0, 0, 0]) < LIMIT


def test_the_largest_values_of_the_derivation_are_the_known_ones() -> None:
    """Catches a watch that misses them: the rise of the ramp, 7 * 2048 << 16, and nothing of fraction times trip delay."""
    machine = Machine(**WIDEST, reload_fraction=ONE)

    assert watched_settings(machine.settings) == 7 * ONE << 16
    assert machine.settings[ranges.RELOAD_LEVEL] == 1_800_000


@settings(max_examples=60)
@given(admitted())
def test_the_reload_level_is_the_whole_product_rounded_down(named: Named) -> None:
    """Catches a product taken in two parts that loses a carry between them."""
    level = Machine(**named).settings[ranges.RELOAD_LEVEL]

    assert level == named["reload_fraction"] * named["trip_delay"] // ONE


WIDEST = {
    "start_grace": 0,
    "cut_out": 999_999,
    "cut_in": 1_000_000,
    "floor": 0,
    "trip_delay": 1_800_000,
    "floor_weight": 8 * ONE,
    "vacuum_weight": 8 * ONE,
    "recovery": 8 * ONE - 1,
    "stopped_recovery": 8 * ONE - 1,
    "max_gap": 300_000,
    "stuck_after": 86_400_000,
}


@pytest.mark.parametrize(
    ("changes", "memory", "elapsed", "net", "running", "product"),
    [
        # depth times slope, just above the floor: 999998 * 939
        ({}, 0, 300_000, 1, 1, 939 * 999_998),
        # fraction of a drain times the longest step, running and at standstill
        ({}, 0, 300_000, 1_000_000, 1, 2_047 * 300_000),
        ({}, 0, 300_000, 1_000_000, 0, 2_047 * 300_000),
        # fraction of a gain times the longest step
        ({"floor_weight": 8 * ONE - 1, "vacuum_weight": ONE}, 0, 300_000, -1, 1, 2_047 * 300_000),
        # trip memory running down
        ({}, 604_800_000, 10, 999_999, 1, 604_799_990),
    ],
)
def test_the_largest_products_are_the_known_ones(
    changes: Named, memory: int, elapsed: int, net: int, running: int, product: int
) -> None:
    """Catches a watch that misses a product: each of the large ones comes out as worked out by hand."""
    machine = Machine(**(WIDEST | changes)).tick(0, net=net)
    machine.state[state.MEMORY_LEFT] = memory

    largest = watched_step(machine, (elapsed, running, 0, 100_000 + net, 40_000, 100_000))

    assert product <= largest <= product + (1 << 16)


@pytest.mark.parametrize(
    ("operate", "left", "right", "result"),
    [
        (operator.add, 3, 4, 7),
        (operator.sub, 3, 10, -7),
        (operator.mul, 3, 4, 12),
        (operator.floordiv, 9, 2, 4),
        (operator.mod, 9, 5, 4),
        (operator.lshift, 1, 5, 32),
        (operator.rshift, 64, 3, 8),
        (operator.and_, 12, 10, 8),
        (operator.or_, 12, 3, 15),
        (operator.xor, 12, 10, 6),
    ],
)
def test_the_watch_sees_every_operator(operate: Callable[..., int], left: int, right: int, result: int) -> None:
    """Catches an operator that slips past the watch on one of its sides."""
    for operands in ((Watched(left), right), (left, Watched(right)), (Watched(left), Watched(right))):
        Watched.largest = 0
        got = operate(*operands)

        assert (type(got), got, Watched.largest) == (Watched, result, abs(result))


@pytest.mark.parametrize(("operate", "result"), [(operator.neg, -5), (operator.invert, -6)])
def test_the_watch_sees_signs_and_complements(operate: Callable[[int], int], result: int) -> None:
    """Catches a unary operator that slips past the watch."""
    Watched.largest = 0
    got = operate(Watched(5))

    assert (type(got), got, Watched.largest) == (Watched, result, abs(result))
