"""The caller's free-running tick: its difference is right around every wrap, and no offset of it changes an answer."""

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_ref.micropython.ticks import TICK_MASK, elapsed_ms
from tests.support.protection import BELOW_FLOOR, HEALTHY, MISSING, Machine, Memory
from tests.support.strategies import between


def elapsed_32(now: int, before: int) -> int:
    """Return the wrapped difference of an unsigned 32-bit tick, as C has it."""
    return (now - before) & 0xFFFFFFFF


CLOCKS = {"30 bits": (elapsed_ms, 1 << 30), "32 bits": (elapsed_32, 1 << 32)}
each_clock = pytest.mark.parametrize(("elapsed", "ticks"), CLOCKS.values(), ids=CLOCKS)
Elapsed = Callable[[int, int], int]


@each_clock
@pytest.mark.parametrize("ms", [0, 1, 2, 1_000, 300_000, (1 << 29) - 1, 1 << 29, (1 << 30) - 1])
@pytest.mark.parametrize("before", [0, 1, (1 << 29) - 1, 1 << 29, (1 << 30) - 2, (1 << 30) - 1])
def test_difference_around_every_wrap(elapsed: Elapsed, ticks: int, before: int, ms: int) -> None:
    """Catches a difference that turns negative, huge or short by one where the tick begins anew."""
    for start in (before, ticks - 1 - before):
        assert elapsed((start + ms) % ticks, start) == ms


@each_clock
def test_a_clock_that_jumps_back_gives_a_late_tick(elapsed: Elapsed, ticks: int) -> None:
    """Catches a jump back that is taken as no time, or as a negative one that drains."""
    assert elapsed(1_000, 1_001) == ticks - 1


def test_every_value_of_the_30_bit_difference_is_a_small_integer() -> None:
    """Catches a mask or a result that a 32-bit MicroPython keeps on its heap."""
    assert TICK_MASK == (1 << 30) - 1
    assert elapsed_ms(0, 1) < 1 << 30


def life(elapsed: Elapsed, ticks: int, origin: int, steps: list[int]) -> list[Memory]:
    """Live through starts, dips, dropouts and stops on a tick that begins at `origin`; return every memory."""
    machine = Machine(start_grace=2_000, trip_delay=20_000, restart_delay=3_000, rest_settle=3_000)
    now, memories = origin, []
    for number, ms in enumerate(steps):
        before, now = now, (now + ms) % ticks
        phase = number % 12
        machine.tick(
            elapsed(now, before),
            net=BELOW_FLOOR if 2 < phase < 9 else HEALTHY,
            running=int(phase < 10),
            oil=MISSING if phase == 7 else None,
        )
        memories.append(machine.memory)
    return memories


@each_clock
@settings(max_examples=40)
@given(st.data())
def test_no_offset_of_the_tick_changes_an_answer(elapsed: Elapsed, ticks: int, data: st.DataObject) -> None:
    """Catches a caller's clock that gets into the logic: the same life, wherever the tick begins and wraps."""
    steps = data.draw(st.lists(between(1, 6_000), min_size=10, max_size=60))
    span = sum(steps)
    origin = data.draw(st.one_of(st.integers(ticks - span, ticks - 1), st.integers(0, ticks - 1)))

    assert life(elapsed, ticks, origin, steps) == life(elapsed, ticks, 0, steps)
