"""The logic and the independent model of the same machine, compared after every step."""

from fractions import Fraction

from tests.support.model import Model
from tests.support.protection import MISSING, ONE, Machine
from tests.support.strategies import Named


class SideBySide:
    """One machine under both; `running`, `reset`, `net`, `suction` and `lost` are what the next step reads."""

    def __init__(self, named: Named) -> None:
        self.named = named
        self.logic = Machine(**named)
        self.model = Model(named)
        self.running = 0
        self.reset = 0
        self.net = named["cut_in"]
        self.suction = named["reload"]
        self.crankcase_offset = 0
        self.lost = (False, False, False)
        self.ripples = False  # whether readings move with every step, so that none becomes stuck
        self.odd = False

    def step(self, elapsed: int) -> None:
        """Step both and compare."""
        self.odd = not self.odd
        suction = self.suction + (self.ripples and self.odd)
        crankcase = suction + self.crankcase_offset
        oil, suction, crankcase = (
            MISSING if lost else reading
            for lost, reading in zip(self.lost, (crankcase + self.net, suction, crankcase), strict=True)
        )
        self.logic.tick(elapsed, running=self.running, reset=self.reset, oil=oil, suction=suction, crankcase=crankcase)
        self.model.step(elapsed, self.running, self.reset, oil, suction, crankcase)
        self.compare()

    def compare(self) -> None:
        """Compare state, permission, cause, integral (exactly), every timer and every output."""
        logic, model, memory = self.logic, self.model, self.logic.memory

        assert memory.state == model.state
        assert logic.permitted == (model.state not in {"TRIPPED", "LOCKED_OUT"})
        assert (memory.cause, memory.cause_doubts) == (model.cause, model.cause_doubts)
        assert logic.stop_cause == ("none" if logic.permitted else model.cause)
        assert memory.integral + Fraction(memory.fraction, ONE) == model.integral
        assert (memory.trips, memory.resets, memory.memory_left) == (model.trips, model.resets, model.memory_left)
        assert (memory.grace_left, memory.restart_left) == (model.grace_left, model.restart_left)
        assert (memory.fault_time, "fault" in memory.flags) == (model.doubt, model.fault)
        assert ("spell" in memory.flags, "vacuum" in memory.flags) == (model.in_spell, model.vacuum_seen)
        assert ("held" in memory.flags, "pressed" in memory.flags) == (model.reset_before, model.pressed)
        assert (logic.credible, logic.doubts) == (model.credible, model.doubts)
        assert logic.alarm == (model.state in {"STARVED", "TRIPPED", "LOCKED_OUT"} or not model.credible)

    def left(self, amount: str) -> int:
        """Return the ms until an amount of time has run out; the integral at weight 1."""
        return {
            "grace": self.model.grace_left,
            "restart": self.model.restart_left,
            "settle": max(0, self.named["rest_settle"] - self.model.stood),
            "press": max(0, self.named["reset_hold"] - self.model.stood),
            "memory": self.model.memory_left,
            "doubt": self.model.doubt,
            "integral": self.named["trip_delay"] - int(self.model.integral),
        }[amount]


AMOUNTS = ("grace", "restart", "settle", "press", "memory", "doubt", "integral")
