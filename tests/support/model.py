"""The protection once more, from its description: time passes in pieces, amounts are fractions.

Shares no code with the logic under test. Where that keeps flat integer words and
reads a table, this keeps plain attributes, cuts each step's time where something
changes, and decides with `if`.
"""

from dataclasses import dataclass
from fractions import Fraction
from math import floor

from tests.support.protection import MISSING, ONE

LONGEST = 1_800_000  # ms; an elapsed time beyond this is taken as this long
SENSORS = ("oil", "suction", "suction")  # of the three channels
WITHOUT_PERMISSION = ("TRIPPED", "LOCKED_OUT")


def in_2048ths(number: Fraction) -> Fraction:
    """Round to the nearest 1/2048, halves up."""
    return Fraction(floor(number * ONE + Fraction(1, 2)), ONE)


@dataclass
class Channel:
    """A pressure channel: the last that was read, for how many ms of running it has been the same, if it is missing now."""

    reading: int | None = None
    unmoved: int = 0
    missing: bool = True

    def look(self, reading: int, elapsed: int, stuck_after: int, *, running: bool) -> None:
        """Take a new reading; it holds for the whole time since the last one.

        At standstill no channel becomes stuck, and one that was stays it until it moves. Nothing read, nothing learnt.
        """
        self.missing = reading == MISSING
        if self.missing:
            return
        if reading != self.reading:
            self.unmoved = 0
        if running or self.unmoved >= stuck_after:
            self.unmoved += elapsed
        self.reading = reading


class Model:
    """The protection of one machine; weights in the settings are whole numbers of 1/2048."""

    def __init__(self, named: dict[str, int]) -> None:
        self.s = named
        self.state = "STOPPED"
        self.cause = "none"
        self.integral = Fraction(0)
        self.grace_left = named["start_grace"]
        self.stood = 0  # ms of standstill, or since the reset was pressed in a lockout
        self.resets = 0
        self.pressed = False
        self.doubts: set[str] = set()
        self.cause_doubts: set[str] = set()
        self.memory_left = 0
        self.trips = 0
        self.doubt = 0  # ms
        self.fault = False
        self.in_spell = False
        self.vacuum_seen = False
        self.reset_before = True
        self.first = True
        self.channels = (Channel(), Channel(), Channel())
        self.credible = False
        self.net = 0

    def step(self, elapsed: int, running: int, reset: int, oil: int, suction: int, crankcase: int) -> None:
        """Take one step."""
        if self.first:
            elapsed = 0
        elif elapsed < 0:
            elapsed = LONGEST
        elapsed = min(elapsed, LONGEST)
        self.first = False
        late = elapsed > self.s["max_gap"]
        self.net = oil - crankcase

        doubted = self.doubted(elapsed, (oil, suction, crankcase), running=bool(running), late=late)
        seen_rate = self.rate(suction) if running else -Fraction(self.s["stopped_recovery"], ONE)
        self.pass_time(elapsed - doubted, seen_rate, running=bool(running))
        if running:
            self.pass_time(doubted, Fraction(1), running=True)
        self.pass_doubt(elapsed - doubted, doubted)
        self.pass_delays(elapsed, elapsed - doubted, running=bool(running), late=late)
        self.follow_spell(suction, running=bool(running))
        begins = bool(reset) and not self.reset_before and self.state == "LOCKED_OUT"
        self.pressed = self.pressed and bool(reset)
        self.decide(suction, running=bool(running))
        if begins:
            self.pressed, self.stood = True, 0
        self.reset_before = bool(reset)

    @property
    def restart_left(self) -> int:
        """Return the ms of standstill still wanted before a restart."""
        return max(0, self.s["restart_delay"] - self.stood)

    def doubted(self, elapsed: int, readings: tuple[int, int, int], *, running: bool, late: bool) -> int:
        """Return the ms at the end of this step in which some reading was not credible."""
        for channel, reading in zip(self.channels, readings, strict=True):
            channel.look(reading, elapsed, self.s["stuck_after"], running=running)
        oil, suction, crankcase = readings
        in_range = (
            self.s["oil_least"] <= oil <= self.s["oil_most"]
            and self.s["suction_least"] <= suction <= self.s["suction_most"]
            and self.s["suction_least"] <= crankcase <= self.s["suction_most"]
        )
        longest = max(channel.unmoved for channel in self.channels)
        self.doubts = {"late"} if late else set()
        for name, channel, sensor in zip(("oil", "suction", "crankcase"), self.channels, SENSORS, strict=True):
            if channel.missing:
                self.doubts.add(f"{name} missing")
            elif not self.s[f"{sensor}_least"] <= channel.reading <= self.s[f"{sensor}_most"]:
                self.doubts.add(f"{name} range")
            elif channel.unmoved >= self.s["stuck_after"]:
                self.doubts.add(f"{name} stuck")
        still = max(0, min(elapsed, longest - self.s["stuck_after"]))
        at_rest = self.stood + elapsed - self.s["rest_settle"]  # ms behind it, at the end of this step
        if not running and not late and in_range and at_rest >= 0 and abs(self.net) > self.s["rest_most"]:
            self.doubts.add("standstill")
            still = max(still, min(elapsed, at_rest))
        self.credible = not self.doubts
        return elapsed if late or not in_range else still

    def rate(self, suction: int) -> Fraction:
        """Return the weight of a credible moment of running."""
        s, net = self.s, self.net
        if net >= s["cut_in"]:
            return -Fraction(s["recovery"], ONE)
        if net >= s["cut_out"]:
            return Fraction(0)
        weight = Fraction(s["floor_weight"], ONE)
        if net >= s["floor"]:
            # The rise by Pa is kept in 1/2**27, rounded down.
            by_pascal = Fraction(floor((weight - 1) / (s["cut_out"] - s["floor"]) * 2**27), 2**27)
            weight = 1 + in_2048ths((s["cut_out"] - net) * by_pascal)
        if suction < s["vacuum"]:
            weight = in_2048ths(weight * Fraction(s["vacuum_weight"], ONE))
        return weight

    def pass_time(self, ms: int, rate: Fraction, *, running: bool) -> None:
        """Let time pass at one rate, cut at the end of the start grace."""
        if not running:
            self.grace_left = min(self.grace_left + ms, self.s["start_grace"])
            self.add(ms * rate)
            return
        graced = min(ms, self.grace_left)
        self.grace_left -= graced
        if rate < 0:
            self.add(graced * rate)
        self.add((ms - graced) * rate)

    def add(self, amount: Fraction) -> None:
        """Move the integral, within nothing and the trip delay."""
        self.integral = min(max(self.integral + amount, Fraction(0)), Fraction(self.s["trip_delay"]))

    def pass_doubt(self, seen: int, doubted: int) -> None:
        """Let doubt drain while readings were credible, then rise."""
        self.doubt = max(0, self.doubt - seen)
        if self.doubt == 0:
            self.fault = False
        self.doubt = min(self.doubt + doubted, self.s["fault_delay"])
        if self.doubt == self.s["fault_delay"]:
            self.fault = True

    def pass_delays(self, elapsed: int, seen: int, *, running: bool, late: bool) -> None:
        """Let the restart delay run unless the tick is late, and the trip memory while readings are credible."""
        if running:
            self.stood = 0
        elif not late:
            self.stood += elapsed
        running_down = running and self.state in WITHOUT_PERMISSION
        if not running_down:
            self.memory_left = max(0, self.memory_left - seen)
            if self.memory_left == 0:
                self.trips = self.resets = 0

    @property
    def low(self) -> bool:
        """Short of oil, or in doubt."""
        return not self.credible or self.net < self.s["cut_out"]

    @property
    def healthy(self) -> bool:
        """Well supplied beyond doubt."""
        return self.credible and self.net >= self.s["cut_in"]

    def follow_spell(self, suction: int, *, running: bool) -> None:
        """Keep the starved spell and what suction pressure did within it, as long as oil is owed for it."""
        if self.healthy or not running:
            self.in_spell = False
        elif self.low:
            self.in_spell = True
        if not running or (self.healthy and self.integral < 1):
            self.vacuum_seen = False
        if self.in_spell and self.credible and suction < self.s["vacuum"]:
            self.vacuum_seen = True

    def reload(self, suction: int) -> bool:
        """Whether suction pressure loads bearings that are owed oil."""
        threshold = self.s["reload_fraction"] * self.s["trip_delay"] // ONE
        return self.vacuum_seen and self.credible and suction >= self.s["reload"] and floor(self.integral) >= threshold

    def decide(self, suction: int, *, running: bool) -> None:
        """Change the state as the description says."""
        if self.state == "LOCKED_OUT":
            if self.pressed and self.stood >= self.s["reset_hold"]:
                self.take_reset()
        elif self.state == "TRIPPED":
            if not running and self.restart_left == 0 and self.credible and not self.fault:
                self.state = "STOPPED"
        elif self.fault:
            self.state, self.cause, self.cause_doubts = "TRIPPED", "sensor", set(self.doubts)
        elif not running:
            self.state = "STOPPED"
        else:
            self.judge(suction)

    def take_reset(self) -> None:
        """Make of the lockout a trip, if a reset is left."""
        self.pressed = False
        if self.resets >= self.s["resets_most"]:
            self.cause, self.cause_doubts = "resets", set()
            return
        self.trips, self.memory_left, self.state = 0, self.s["trip_memory"], "TRIPPED"
        self.resets += 1

    def judge(self, suction: int) -> None:
        """Judge a machine that runs with permission and without a sensor fault."""
        if self.state == "STOPPED":
            self.state = "PRIMING"
        if self.low and self.state != "STARVED":
            self.state = "PRIMING" if self.grace_left else "STARVED"
        if self.reload(suction):
            self.trip("reload")
            self.state = "LOCKED_OUT"
        elif self.state == "STARVED" and self.integral == self.s["trip_delay"]:
            self.trip("oil")
        elif self.healthy:
            self.state = "LUBRICATED"

    def trip(self, cause: str) -> None:
        """Stop the machine and count it."""
        self.trips += 1
        self.memory_left = self.s["trip_memory"]
        self.cause, self.cause_doubts = cause, set()
        self.state = "LOCKED_OUT" if self.trips >= self.s["trips_to_lockout"] else "TRIPPED"
