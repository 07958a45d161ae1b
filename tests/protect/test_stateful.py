"""The logic and an independent model, side by side through whatever a plant may do."""

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule

from firmware_ref.micropython.ticks import elapsed_ms
from tests.support.model import LONGEST
from tests.support.side_by_side import AMOUNTS, SideBySide
from tests.support.strategies import Named, any_settings, between, lively, readings

pytestmark = pytest.mark.slow("tries many cases of a large space")

TICKS = 1 << 30  # the free-running tick counts through so many values


class Plant(RuleBasedStateMachine):
    """One plant: its clock runs through every wrap, its machine and its readings do as they like."""

    @initialize(named=any_settings(), origin=between(0, TICKS - 1), data=st.data())
    def power_up(self, named: Named, origin: int, data: st.DataObject) -> None:
        """Begin anywhere on the clock, with any settings, running or not, reset held or not."""
        self.named = named
        self.both = SideBySide(named)
        self.now = origin
        self.both.running = data.draw(st.integers(0, 1))
        self.both.reset = data.draw(st.integers(0, 1))
        self.both.ripples = data.draw(st.booleans())
        self.both.step(0)

    def pass_time(self, ms: int) -> None:
        """Let the free-running tick go on, and step by the difference that the platform's helper makes of it."""
        before = self.now
        self.now = (self.now + ms) % TICKS
        self.both.step(elapsed_ms(self.now, before))

    def pass_in_time(self, ms: int, ticks: int = 30) -> None:
        """Let time pass in ticks that are not late, as far as so many ticks reach."""
        while ms > 0 and ticks:
            part = min(ms, self.named["max_gap"])
            self.pass_time(part)
            ms -= part
            ticks -= 1

    @rule(data=st.data())
    def readings_go_anywhere(self, data: st.DataObject) -> None:
        """Move all pressures at once, some out of the sensors' ranges."""
        oil, suction, crankcase = data.draw(readings(self.named))
        self.both.suction, self.both.crankcase_offset = suction, crankcase - suction
        self.both.net = oil - crankcase

    @rule(lost=st.tuples(st.booleans(), st.booleans(), st.booleans()), data=st.data())
    def channels_drop_out(self, lost: tuple[bool, bool, bool], data: st.DataObject) -> None:
        """Lose channels for one tick."""
        self.both.lost = lost
        self.pass_time(data.draw(between(0, self.named["max_gap"])))
        self.both.lost = (False, False, False)

    @rule(above=st.sampled_from(["floor", "cut_out", "cut_in"]), by=st.sampled_from([-1, 0]), ms=st.integers(1, 500))
    def oil_pressure_changes(self, above: str, by: int, ms: int) -> None:
        """Let net oil pressure come to one of its limits or just below."""
        self.both.net = self.named[above] + by
        self.pass_in_time(ms)

    @rule(above=st.sampled_from(["vacuum", "reload"]), by=st.sampled_from([-2, -1, 0]), ms=st.integers(1, 500))
    def suction_pressure_changes(self, above: str, by: int, ms: int) -> None:
        """Let suction pressure come to one of its limits or just below."""
        self.both.suction = self.named[above] + by
        self.pass_in_time(ms)

    @rule()
    def machine_starts(self) -> None:
        """Start, with or without permission: the logic has to live with both."""
        self.both.running = 1

    @rule()
    def machine_stops(self) -> None:
        """Stop."""
        self.both.running = 0

    @rule()
    def reset_changes(self) -> None:
        """Press or let go of the reset button."""
        self.both.reset = 1 - self.both.reset

    @rule(data=st.data())
    def timely_tick(self, data: st.DataObject) -> None:
        """Step in time."""
        self.pass_time(data.draw(between(0, self.named["max_gap"])))

    @rule(data=st.data())
    def untimely_tick(self, data: st.DataObject) -> None:
        """Step just too late, very late, or backwards as from a caller without a wrapped difference."""
        late = self.named["max_gap"] + 1
        ms = data.draw(
            st.one_of(st.just(late), between(late, LONGEST + 1), between(late, TICKS - 1), between(-TICKS, -1))
        )
        if ms < 0:
            self.both.step(ms)
        else:
            self.pass_time(ms)

    @rule(amount=st.sampled_from(AMOUNTS), offset=st.sampled_from([-1, 0, 1]))
    def until_something_runs_out(self, amount: str, offset: int) -> None:
        """Step to just where some amount of time runs out, or just before or after it."""
        self.pass_in_time(self.both.left(amount) + offset)

    @rule(ticks=st.integers(2, 30), data=st.data())
    def nothing_changes_for_long(self, ticks: int, data: st.DataObject) -> None:
        """Step many times: integrals fill or drain, channels that do not ripple become stuck."""
        ms = data.draw(st.integers(1, self.named["max_gap"]))
        self.pass_in_time(ms * ticks, ticks)

    @precondition(lambda self: self.both.logic.permitted)
    @rule(part=st.sampled_from([1, 2, 4, 16, 64]), reload=st.booleans())
    def oil_fails_in_vacuum(self, part: int, reload: bool) -> None:
        """Run short of oil in a vacuum for a part of the trip delay; then suction pressure may come back."""
        self.both.running = 1
        self.both.net, self.both.suction = self.named["floor"] - 1, self.named["vacuum"] - 2
        self.pass_in_time(self.named["trip_delay"] // part)
        if reload:
            self.both.suction = self.named["reload"]
            self.pass_in_time(1)

    @precondition(lambda self: not self.both.logic.permitted)
    @rule(early=st.integers(0, 1), reset=st.booleans())
    def stand_still_until_restart(self, early: int, reset: bool) -> None:
        """Stand still with credible readings until a restart is due, or until one ms before; then reset or not."""
        self.both.running = 0
        self.both.net, self.both.suction = self.named["cut_in"], self.named["reload"]
        self.pass_in_time(max(self.both.left("restart"), self.both.left("doubt")) - early)
        if reset:
            self.both.reset = 0
            self.pass_time(1)
            self.both.reset = 1
            self.pass_time(1)


TestPlant = Plant.TestCase
TestPlant.settings = settings(max_examples=100, stateful_step_count=40)


class RandomPlant:
    """A plant that does something at random at every tick; lives long at little cost."""

    def __init__(self, named: Named, seed: int) -> None:
        self.named = named
        self.random = Random(seed)  # noqa: S311
        self.both = SideBySide(named)
        self.both.ripples = self.random.random() < 0.8
        self.limits = [named[name] for name in ("floor", "cut_out", "cut_in")]

    def elapsed(self) -> int:
        """Return a time: mostly in time, sometimes to the very end of some amount, seldom late or broken."""
        chance, max_gap = self.random.random(), self.named["max_gap"]
        if chance < 0.005:
            return self.random.choice([-1, max_gap + 1, 2 * max_gap, LONGEST + 1, TICKS - 1])
        if chance < 0.2:
            return max(0, min(max_gap, self.both.left(self.random.choice(AMOUNTS)) + self.random.randint(-1, 1)))
        return self.random.randint(0, max_gap) if chance < 0.9 else max_gap

    def tick(self) -> None:
        """Change a few things, then step."""
        both, random = self.both, self.random
        if random.random() < (0.02 if both.logic.permitted == both.running else 0.3):
            both.running = 1 - both.running
        if random.random() < 0.1:
            both.reset = 1 - both.reset
        if random.random() < 0.2:
            low, middle, high = self.limits
            both.net = random.choice([*self.limits, low - 1, middle - 1, high - 1, random.randint(low, middle)])
        if random.random() < 0.2:
            both.suction = random.choice([self.named["vacuum"], self.named["reload"]]) + random.randint(-2, 0)
        if random.random() < 0.02:
            both.crankcase_offset = random.choice([0, 0, 1, -1])
        both.lost = tuple(random.random() < 0.01 for _ in range(3))
        both.step(self.elapsed())


@settings(max_examples=60)
@given(lively(), st.integers(0, 1 << 30))
def test_logic_and_model_agree_through_a_long_life(named: Named, seed: int) -> None:
    """Catches what only a long history brings about: many trips, lockouts, spells and dropouts on top of each other."""
    plant = RandomPlant(named, seed)

    for _ in range(500):
        plant.tick()
