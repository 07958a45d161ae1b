"""One step over 2 t equals two steps over t with the same readings.

Claimed without exception: the integral to the last 1/2048 ms, the start grace,
the restart delay, the doubt and whether a fault is declared, and what is known
of the channels. Claimed of the whole state: when at most one thing happens
within the step. A step decides once, at its end; so when a trip and the end of
the trip memory fall into one step, or a full integral and a sensor fault, two
steps decide between them and one does not. Not claimed for a step in which a
channel becomes stuck: it takes the decision of its credible part along, and
pressures that were never decided upon leave no mark on the starved spell.
`tests/proof` proves the same for all settings and states.
"""

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from protect import outputs, ranges
from protect.state import LOCKED_OUT
from tests.support.protection import Machine
from tests.support.strategies import any_settings, between, memories, readings
from tests.support.table_model import names_of

pytestmark = pytest.mark.slow("tries many cases of a large space")

TIME_WORDS = ("integral", "fraction", "grace_left", "restart_left", "fault_time", "unmoved")
LONGEST = 1_800_000


class Split:
    """The same state and readings three times: one step over 2 t, two steps over t, and no time at all."""

    def __init__(self, data: st.DataObject, *, late: bool = False) -> None:
        named = data.draw(any_settings())
        pressures = data.draw(readings(named))
        words = data.draw(memories(named, pressures))
        max_gap = named["max_gap"]
        half = data.draw(between(max_gap + 1, LONGEST // 2) if late else between(0, max_gap // 2))
        oil, suction, crankcase = pressures
        inputs = {
            "running": data.draw(st.integers(0, 1)),
            "reset": data.draw(st.integers(0, 1)),
            "oil": oil,
            "suction": suction,
            "crankcase": crankcase,
        }
        self.memory_ends = 0 < words[5] <= 2 * half
        self.half, self.trip_memory = half, named["trip_memory"]
        self.state_before = words[0]
        self.one, self.two, self.none = (self.machine(named, words) for _ in range(3))
        self.pressed_before = "pressed" in self.none.memory.flags
        self.one.tick(2 * half, **inputs)
        self.two.tick(half, **inputs).tick(half, **inputs)
        self.none.tick(0, **inputs)

    @staticmethod
    def machine(named: dict[str, int], words: list[int]) -> Machine:
        """Return a machine that remembers these words."""
        machine = Machine(**named)
        machine.state[:] = words
        return machine

    def freed_between(self) -> bool:
        """Say whether a press of the reset begins, or is taken by one of both alone: it is told by two ticks."""
        begins = not self.pressed_before and "pressed" in self.one.memory.flags + self.two.memory.flags
        return begins or self.one.memory.resets != self.two.memory.resets

    def same_memory(self) -> bool:
        """Say whether all that is remembered agrees, but for a trip memory that a reset in the first of two steps began."""
        one, two = self.one.memory, self.two.memory
        freed = self.state_before == LOCKED_OUT != self.one.state[0] and one.memory_left == self.trip_memory
        begun = two.memory_left == self.trip_memory - self.half
        return one == two or (freed and begun and one == two._replace(memory_left=one.memory_left))

    def same_time_words(self) -> bool:
        """Say whether all amounts of time agree, and which of them have run out."""
        one, two = self.one.memory, self.two.memory
        return all(getattr(one, word) == getattr(two, word) for word in TIME_WORDS) and all(
            (flag in one.flags) == (flag in two.flags) for flag in ("fresh", "held", "fault")
        )

    def happenings(self) -> set[str]:
        """Return what happens within the step.

        Conditions that time changed, a reset edge, the end of trip memory, and a
        state that the readings change before any time has passed.
        """
        before, after = self.none.results[outputs.CONDITIONS], self.one.results[outputs.CONDITIONS]
        things = names_of(before ^ after) | names_of(before) & {"reset_press"}
        at_once = {"state"} if self.none.state[0] != self.state_before else set()
        return things | at_once | ({"memory"} if self.memory_ends else set())


@settings(max_examples=150)
@given(st.data())
def test_all_time_is_counted_alike_in_one_step_and_in_two(data: st.DataObject) -> None:
    """Catches a remainder lost between steps, and a grace or a stuck check that ends on whole ticks only."""
    split = Split(data)
    assume(not split.freed_between())

    assert split.same_time_words(), (split.one.memory, split.two.memory)


@settings(max_examples=60)
@given(st.data())
def test_late_time_is_counted_alike_in_one_step_and_in_two(data: st.DataObject) -> None:
    """Catches late ticks that count differently when more of them come."""
    split = Split(data, late=True)

    assert split.same_time_words(), (split.one.memory, split.two.memory)


@settings(max_examples=150)
@given(st.data())
def test_the_whole_state_agrees_when_at_most_one_thing_happens(data: st.DataObject) -> None:
    """Catches a trip, a timer or a flag that depends on how often the step is called."""
    split = Split(data)
    things = split.happenings()
    assume(len(things) <= 1 and "sensor_ok" not in things and not split.freed_between())

    assert split.same_memory(), (things, split.one.memory, split.two.memory)


def test_the_memory_of_a_reset_runs_from_the_tick_that_took_it() -> None:
    """Catches a reset whose trip memory is counted from the press, or not begun anew."""
    one, two = (Machine(trips_to_lockout=1, reset_hold=4_000, max_gap=20_000).start() for _ in range(2))
    for machine in (one, two):
        machine.trip()
        machine.tick(net=0, running=0).tick(net=0, running=0, reset=1)
    one.tick(10_000, net=0, running=0, reset=1)
    two.tick(5_000, net=0, running=0, reset=1).tick(5_000, net=0, running=0, reset=1)
    trip_memory = one.settings[ranges.TRIP_MEMORY]

    assert (one.name, one.memory.resets) == ("TRIPPED", 1)
    assert (one.memory.memory_left, two.memory.memory_left) == (trip_memory, trip_memory - 5_000)
    assert one.memory == two.memory._replace(memory_left=trip_memory)


def test_a_step_just_as_long_as_max_gap_is_not_late() -> None:
    """Catches a split that holds only because its steps were all thrown away."""
    one, two = Machine(max_gap=4_000).start(), Machine(max_gap=4_000).start()
    one.tick(4_000, net=0)
    two.tick(2_000, net=0).tick(2_000, net=0)

    assert one.integral == two.integral == 16_000


def test_a_channel_that_becomes_stuck_within_a_step_shares_it() -> None:
    """Catches a stuck check that throws away the part of the step in which the readings were alive."""
    one, two = (Machine(trip_delay=1_000_000, stuck_after=60_000, max_gap=40_000).start() for _ in range(2))
    for machine in (one, two):
        machine.tick(20_000, net=0, suction=99_000)
    one.spend(60_000, by=30_000, net=0, suction=99_000)
    two.spend(60_000, by=10_000, net=0, suction=99_000)

    assert one.memory == two.memory
    assert one.integral == 4 * 60_000 + 20_000  # the first 20 s and 40 s more at weight 4, then 20 s of doubt
