"""The logic and an independent model, side by side through whatever a plant may do."""

from fractions import Fraction

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule

from firmware_ref.micropython.ticks import elapsed_ms
from tests.model import LONGEST, Model
from tests.protection import MISSING, ONE, Machine
from tests.strategies import Named, any_settings, between, readings

TICKS = 1 << 30  # the free-running tick counts through so many values
AMOUNTS = ("grace_left", "restart_left", "memory_left", "doubt_left", "integral_left")


class Plant(RuleBasedStateMachine):
    """One plant: its clock runs through every wrap, its machine and its readings do as they like."""

    @initialize(named=any_settings(), origin=between(0, TICKS - 1), running=st.integers(0, 1), data=st.data())
    def power_up(self, named: Named, origin: int, running: int, data: st.DataObject) -> None:
        """Begin anywhere on the clock, with any settings, running or not, reset held or not."""
        self.named = named
        self.logic = Machine(**named)
        self.model = Model(named)
        self.now = origin
        self.running = running
        self.reset = data.draw(st.integers(0, 1))
        self.ripples = data.draw(st.booleans())  # whether readings move with every tick
        self.net = named["cut_in"]
        self.suction = named["reload"]
        self.lost = (False, False, False)
        self.step(0)

    def step(self, elapsed: int) -> None:
        """Step both and compare all that they remember and give out."""
        ripple = int(self.ripples and self.logic.inputs[4] == self.suction)
        suction = self.suction + ripple
        pressures = (suction + self.net, suction, suction)
        oil, suction, crankcase = (
            MISSING if lost else reading for lost, reading in zip(self.lost, pressures, strict=True)
        )
        self.logic.tick(elapsed, running=self.running, reset=self.reset, oil=oil, suction=suction, crankcase=crankcase)
        self.model.step(elapsed, self.running, self.reset, oil, suction, crankcase)
        self.compare()

    def compare(self) -> None:
        """Compare state, permission, cause, integral (exactly) and every timer."""
        logic, model, memory = self.logic, self.model, self.logic.memory

        assert memory.state == model.state
        assert logic.permitted == (model.state not in {"TRIPPED", "LOCKED_OUT"})
        assert memory.cause == model.cause
        assert logic.stop_cause == ("none" if logic.permitted else model.cause)
        assert memory.integral + Fraction(memory.fraction, ONE) == model.integral
        assert (memory.trips, memory.memory_left) == (model.trips, model.memory_left)
        assert (memory.grace_left, memory.restart_left) == (model.grace_left, model.restart_left)
        assert (memory.fault_time, "fault" in memory.flags) == (model.doubt, model.fault)
        assert ("spell" in memory.flags, "vacuum" in memory.flags) == (model.in_spell, model.vacuum_seen)
        assert logic.credible == model.credible
        assert logic.alarm == (model.state in {"STARVED", "TRIPPED", "LOCKED_OUT"} or not model.credible)

    def pass_time(self, ms: int) -> None:
        """Let the free-running tick go on, and step by the difference that the platform's helper makes of it."""
        before = self.now
        self.now = (self.now + ms) % TICKS
        self.step(elapsed_ms(self.now, before))

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
        oil, self.suction, crankcase = data.draw(readings(self.named))
        self.net = oil - crankcase

    @rule(lost=st.tuples(st.booleans(), st.booleans(), st.booleans()), data=st.data())
    def channels_drop_out(self, lost: tuple[bool, bool, bool], data: st.DataObject) -> None:
        """Lose channels for one tick."""
        self.lost = lost
        self.pass_time(data.draw(between(0, self.named["max_gap"])))
        self.lost = (False, False, False)

    @rule(above=st.sampled_from(["floor", "cut_out", "cut_in"]), by=st.sampled_from([-1, 0]))
    def oil_pressure_changes(self, above: str, by: int) -> None:
        """Let net oil pressure come to one of its limits or just below."""
        self.net = self.named[above] + by

    @rule(above=st.sampled_from(["vacuum", "reload"]), by=st.sampled_from([-2, -1, 0]))
    def suction_pressure_changes(self, above: str, by: int) -> None:
        """Let suction pressure come to one of its limits or just below."""
        self.suction = self.named[above] + by

    @rule()
    def machine_starts(self) -> None:
        """Start, with or without permission: the logic has to live with both."""
        self.running = 1

    @rule()
    def machine_stops(self) -> None:
        """Stop."""
        self.running = 0

    @rule()
    def reset_changes(self) -> None:
        """Press or let go of the reset button."""
        self.reset = 1 - self.reset

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
            self.step(ms)
        else:
            self.pass_time(ms)

    @rule(amount=st.sampled_from(AMOUNTS), offset=st.sampled_from([-1, 0, 1]))
    def until_something_runs_out(self, amount: str, offset: int) -> None:
        """Step to just where some amount of time runs out, or just before or after it."""
        model, named = self.model, self.named
        left = {
            "grace_left": model.grace_left,
            "restart_left": model.restart_left,
            "memory_left": model.memory_left,
            "doubt_left": model.doubt,
            "integral_left": named["trip_delay"] - int(model.integral),
        }[amount]
        self.pass_in_time(left + offset)

    @rule(ticks=st.integers(2, 30), data=st.data())
    def nothing_changes_for_long(self, ticks: int, data: st.DataObject) -> None:
        """Step many times: integrals fill or drain, channels that do not ripple become stuck."""
        ms = data.draw(st.integers(1, self.named["max_gap"]))
        self.pass_in_time(ms * ticks, ticks)

    @precondition(lambda self: self.logic.permitted)
    @rule(part=st.sampled_from([1, 2, 4, 16, 64]), reload=st.booleans())
    def oil_fails_in_vacuum(self, part: int, reload: bool) -> None:  # noqa: FBT001
        """Run short of oil in a vacuum for a part of the trip delay; then suction pressure may come back."""
        self.running = 1
        self.net, self.suction = self.named["floor"] - 1, self.named["vacuum"] - 2
        self.pass_in_time(self.named["trip_delay"] // part)
        if reload:
            self.suction = self.named["reload"]
            self.pass_in_time(1)

    @precondition(lambda self: not self.logic.permitted)
    @rule(early=st.integers(0, 1), reset=st.booleans())
    def stand_still_until_restart(self, early: int, reset: bool) -> None:  # noqa: FBT001
        """Stand still with credible readings until a restart is due, or until one ms before; then reset or not."""
        self.running = 0
        self.net, self.suction = self.named["cut_in"], self.named["reload"]
        self.pass_in_time(max(self.model.restart_left, self.model.doubt) - early)
        if reset:
            self.reset = 0
            self.pass_time(1)
            self.reset = 1
            self.pass_time(1)


TestPlant = Plant.TestCase
TestPlant.settings = settings(max_examples=200, stateful_step_count=40)
