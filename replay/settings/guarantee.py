"""What the logic guarantees with one set of settings: the worst time to a stop, the longest dip ridden through.

All figures are integers that follow exactly from the settings; a tick comes
`max_gap` after the one before it at the latest. Times are ms, counted from the
last reading of before: the readings of a step apply to the time since the step
before it. What makes them bounds for every course, and not for a steady one
alone, is proved for all admitted settings in tests/proof: with lower net oil
pressure the integral is never smaller, and however time is cut into ticks it
counts the same.
"""

from dataclasses import asdict, dataclass
from typing import Any

from protect import ranges
from protect.integral import weight
from replay.settings.file import Settings

ONE = ranges.ONE
PROVED = "proved"
EXACT = "exact"
METHODS = {
    PROVED: "for all admitted settings and all inputs, by z3 over the logic that runs (tests/proof)",
    EXACT: "computed from these settings without rounding; a test finds each attained by a course of readings",
}
NOT_GUARANTEED = (
    "A sensor that goes wrong while the machine runs hides a loss of oil until the machine has stood for rest_settle.",
    "A sensor that is off by less than rest_most is never found; it hides nothing while rest_most is below cut_out.",
    "A frozen sensor is trusted for stuck_after of running; at standstill only net oil pressure is checked.",
    "Start grace grows back at standstill: a machine that stands more than it runs is not judged during each grace.",
    "While run feedback says stopped, no deficit counts; net oil pressure above rest_most shows that it is wrong.",
    "Between two ticks, while the clock stands still and without power, nothing is seen and nothing is decided.",
    "A reload onto dry bearings: they last seconds under load, also in a restart; the stop has to come before.",
    "How long bearings last: these times are those of the logic, not of a machine.",
)


def full_after(amount: int, gain: int) -> int:
    """Return the ms after which so much (1/2048 ms) has come together at a gain (1/2048), rounded up."""
    return -(-amount // gain)


@dataclass(frozen=True)
class Depth:
    """A steady net oil pressure below cut-out, credible, from an empty integral. Times in ms, weight in 1/2048.

    full: the integral is full; stop: the stop at the latest, start_stop: the
    same from a start; dip: a dip of up to this long is ridden through however
    ticks fall, in a vacuum with the reload at its end; share: of the time, at most this much short of oil never stops;
    again: from a restart to the next stop, the oil still missing, or None.
    """

    name: str
    net_pa: int
    vacuum: bool
    readable: bool
    weight: int
    full: int
    stop: int
    start_stop: int
    dip: int
    share: float
    again: int | None


@dataclass(frozen=True)
class Line:
    """One more guarantee: what, how much (ms, Pa, a share or a count, by `unit`; None: never), and by which method."""

    key: str
    what: str
    value: float | None
    unit: str
    method: str


@dataclass(frozen=True)
class Guarantee:
    """Everything that is guaranteed for these settings, and what is not."""

    settings: Settings
    depths: tuple[Depth, ...]
    lines: tuple[Line, ...]
    not_guaranteed: tuple[str, ...] = NOT_GUARANTEED

    def line(self, key: str) -> Line:
        """Return a guarantee by its key."""
        return next(line for line in self.lines if line.key == key)

    def as_json(self) -> dict[str, Any]:
        """Return the report as JSON: pressures in Pa, times in ms, weights as plain numbers."""
        return {
            "schema": "lubetrip-guarantee/1",
            "settings": self.settings.as_json(),
            "methods": METHODS,
            "depths": [asdict(depth) | {"weight": depth.weight / ONE, "method": EXACT} for depth in self.depths],
            "lines": [asdict(line) for line in self.lines],
            "not_guaranteed": list(self.not_guaranteed),
        }


class Bounds:
    """The settings by name, and the bounds that follow from them."""

    def __init__(self, settings: Settings) -> None:
        self.values, self.of = list(settings.values), settings.named
        self.delay = self.of["trip_delay"] * ONE
        self.gap = self.of["max_gap"]
        # Below the least of the sensor's range no suction pressure is credible.
        self.sees_vacuum = self.of["vacuum"] > self.of["suction_least"]

    def by(self, ms: int) -> int:
        """Return when the tick that sees so much time comes at the latest: one ms short of it, and a max_gap."""
        return max(ms - 1, 0) + self.gap

    def weight(self, net: int, *, vacuum: bool) -> int:
        """Return the weight (1/2048) of a net oil pressure (Pa)."""
        level = self.of["vacuum"]
        return weight(self.values, net, level - 1 if vacuum else level)

    def depths(self) -> list[Depth]:
        """Return the rows of the table of depths; those in vacuum where it can be read and tells."""
        cut_out, low = self.of["cut_out"], self.of["floor"]
        rows = {
            "cut-out - 1 Pa": cut_out - 1,
            "midway": (cut_out + low) // 2,
            "floor": low,
            "floor - 1 Pa": low - 1,
        }
        differs = self.of["vacuum_weight"] != ONE or self.values[ranges.RELOAD_LEVEL] < self.of["trip_delay"]
        sides = (False, True) if self.sees_vacuum and differs else (False,)
        return [self.depth(name, net, vacuum=side) for side in sides for name, net in rows.items()]

    def depth(self, name: str, net: int, *, vacuum: bool) -> Depth:
        """Work out one row."""
        gain, recovery = self.weight(net, vacuum=vacuum), self.of["recovery"]
        full = full_after(self.delay, gain)
        # A dip in a vacuum ends with suction pressure back, on which the reload guard acts from its level on.
        ridden = full_after(self.values[ranges.RELOAD_LEVEL] * ONE, gain) if vacuum else full
        least = self.of["oil_least"] - self.of["suction_most"]
        most = self.of["oil_most"] - self.of["suction_least"]
        return Depth(
            name=name,
            net_pa=net,
            vacuum=vacuum,
            readable=least <= net <= most,
            weight=gain,
            full=full,
            stop=self.by(full),
            start_stop=self.by(self.of["start_grace"] + full),
            dip=max(ridden - self.gap, 0),
            share=recovery / (gain + recovery),
            again=self.again(gain) if self.of["trips_to_lockout"] > 1 else None,
        )

    def again(self, gain: int) -> int:
        """Return the ms from a restart, taken at once, until the integral is full again at this gain."""
        rest = self.of["restart_delay"]
        drained = min(self.of["stopped_recovery"] * rest, self.delay)
        return min(self.of["start_grace"], rest) + full_after(drained, gain)

    def largest_weight(self) -> int:
        """Return the largest weight there is."""
        return max(self.weight(self.of["floor"] - 1, vacuum=side) for side in {False, self.sees_vacuum})

    def smallest_weight(self) -> int:
        """Return the smallest weight of a deficit: 1, or the vacuum weight where that is less and vacuum is read."""
        return min(self.weight(self.of["cut_out"] - 1, vacuum=True), ONE) if self.sees_vacuum else ONE

    def lines(self) -> list[Line]:
        """Return the guarantees beside the table of depths."""
        return [*self.always(), *self.sensors(), *self.standstill(), *self.reload_guard(), *self.after_a_trip()]

    def always(self) -> list[Line]:
        """Return the guarantees that need no figure, and the smallest figures of all depths."""
        full, resets = full_after(self.delay, self.largest_weight()), self.of["resets_most"]
        slowest = self.by(self.of["start_grace"] + full_after(self.delay, self.smallest_weight()))
        return [
            Line("permission", "no run permission while tripped or locked out", None, "", PROVED),
            Line(
                "reset",
                "a lockout ends only on a reset pressed during it and held for",
                self.of["reset_hold"],
                "ms",
                PROVED,
            ),
            Line(
                "resets", "resets within the trip memory after which a lockout cannot be reset", resets, "count", PROVED
            ),
            Line("monotone", "lower net oil pressure never makes the integral smaller", None, "", PROVED),
            Line("doubt", "a reading that is not credible never lowers the integral", None, "", PROVED),
            Line("ticks", "one tick counts the same as two over the same time", None, "", PROVED),
            Line("trips", "short of oil without a break, from a start: stopped by", slowest, "ms", PROVED),
            Line("no_trip", "short of oil for less than this: not stopped on oil pressure", full, "ms", PROVED),
        ]

    def sensors(self) -> list[Line]:
        """Return how long a machine runs on readings that are not credible."""
        fault, delay, grace, stuck = (
            self.of[key] for key in ("fault_delay", "trip_delay", "start_grace", "stuck_after")
        )
        recovery = self.of["recovery"]
        share = min(0.5, recovery / (ONE + recovery))
        frozen = stuck + min(fault, max(grace - stuck, 0) + delay)
        return [
            Line("missing", "no reading, or out of range: stopped by", self.by(min(fault, delay)), "ms", EXACT),
            Line("missing_at_start", "the same, from a start", self.by(min(fault, grace + delay)), "ms", EXACT),
            Line("intermittent", "readings that come and go: lost share that never stops", share, "share", EXACT),
            Line("frozen", "a frozen sensor, whatever it reads: stopped by", self.by(frozen), "ms", EXACT),
        ]

    def standstill(self) -> list[Line]:
        """Return what standstill finds: net oil pressure that does not read nothing."""
        most = self.of["rest_most"]
        span = max(self.of["oil_most"], self.of["suction_most"]) - min(self.of["oil_least"], self.of["suction_least"])
        if most >= span:
            return [Line("rest", "the zero check at standstill finds a sensor that is off", None, "never", EXACT)]
        by = self.by(self.of["rest_settle"] + self.of["fault_delay"])
        return [
            Line("rest_most", "at standstill net oil pressure may read off by", most, "Pa", EXACT),
            Line("rest", "beyond that, after the machine stops: no run permission by", by, "ms", PROVED),
        ]

    def reload_guard(self) -> list[Line]:
        """Return when the reload guard may act, from an empty integral: in a vacuum first, then loaded."""
        if not self.sees_vacuum:
            return [Line("reload", "the reload guard acts: vacuum is below every reading", None, "never", EXACT)]
        amount = self.values[ranges.RELOAD_LEVEL]
        level = amount / self.of["trip_delay"]
        earliest = full_after(amount * ONE, self.largest_weight())
        return [
            Line("reload_level", "the reload guard acts from this share of the integral", level, "share", EXACT),
            Line("reload", "and, from an empty integral, not before", earliest, "ms", EXACT),
            Line("reload_by", "suction pressure back, guard armed: locked out within", self.gap, "ms", EXACT),
        ]

    def after_a_trip(self) -> list[Line]:
        """Return what follows the first trip while the oil is still missing."""
        rest, last = self.of["restart_delay"], self.of["trips_to_lockout"]
        told = [
            Line("restart", "run permission back after a trip: standstill of at least", rest, "ms", EXACT),
            Line("restart_by", "and, on credible readings, of at most", self.by(rest), "ms", EXACT),
            Line("lockout", "locked out at trip number", last, "count", EXACT),
        ]
        full, again = full_after(self.delay, self.largest_weight()), self.again(self.largest_weight())
        if last > 1 and rest + again >= self.of["trip_memory"]:
            what = "largest weight throughout: no lockout, each trip is forgotten before the next"
            return [*told, Line("soonest_lockout", what, None, "never", EXACT)]
        soonest = full + (last - 1) * (rest + again)
        starved = full + (last - 1) * again
        return [
            *told,
            Line(
                "soonest_lockout",
                "largest weight throughout, immediate restarts: locked out after",
                soonest,
                "ms",
                EXACT,
            ),
            Line("starved_run", "running time short of oil until then, start graces included", starved, "ms", EXACT),
        ]


def guarantee(settings: Settings) -> Guarantee:
    """Work out what is guaranteed for checked settings."""
    bounds = Bounds(settings)
    return Guarantee(settings, tuple(bounds.depths()), tuple(bounds.lines()))
