"""One machine's year under some settings: its duty day after day, and on the way what befalls it.

*Strata.* Ordinary duty runs through the whole year and counts for itself. What befalls a machine beside it comes from a
copy: at drawn moments (Poisson, evenly over the hours that the machine runs) the machine of that moment is copied, the
copy suffers what its family does (`replay.physics.befalling`), and the year goes on as if nothing had been. Of each
family `sampled` come in a year and not as many as its rate, so each counts `rate / sampled`: rare faults are seen
often and weighted back. Two that fall into the same hours do not meet; at rates of some a year that is nothing.

*A stop* is judged by what it prevented: the machine of that moment is copied and runs on unprotected, for an hour at
least. Certain damage: the stop was justified; some bearings (`replay.physics`): in doubt; none: a nuisance. A stop
because of a sensor that had truly failed, on a machine that was well, is counted by itself.

*Down* is the time for which the duty wanted the machine and the protection forbade it, `callout_h` for each copy that
somebody has to free, and `repair_h` for spoilt bearings.
"""

import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, Literal

import numpy as np

from protect.ranges import RESET_HOLD
from protect.state import CAUSE, CAUSE_CODE, LOCKED_OUT, SENSOR_CAUSE, STATE
from replay.engine.obeying import PERMITTED
from replay.physics.arithmetic import log
from replay.physics.befalling import Befalling, arrays_joined, arrays_with, befall, laid_over, moments_of_sensors
from replay.physics.days import DAY_S, DAYS, Days, Duty, draw_site_of_year, joined, running_spans
from replay.physics.drawing import Draw, Site, Sites
from replay.physics.schedule import Schedule
from replay.physics.sensors import NEVER_S
from replay.physics.simulate import Case, Certainty, random_of_trace
from replay.settings import Settings
from replay.synth.loop import DOWN_MS, LOCKOUTS, RESET_FROM_MS, RESET_TO_MS, Running

DUTY = "ordinary duty"
ONWARD_S = 3600.0  # for which a stopped machine's copy runs on, to see what was prevented
AFTER_S = 3600.0  # that a copy runs beyond the length of its family's trace
LEAST_SAMPLED = 8.0  # of a family in a machine-year, a fifth of its work; what comes oftener comes as often
DAY_MS = int(DAY_S * 1000)
COASTING_MS = 10_000
PRESS_MS = 5000  # that a reset is held beyond what the settings ask for

Kind = Literal["nuisance", "justified", "doubtful", "sensor"]


def sampled_per_year(rate: float) -> float:
    """Return how many of a family are sampled in a machine-year, in the mean: none of what never happens, else some."""
    return max(rate, LEAST_SAMPLED) if rate > 0.0 else 0.0


@dataclass
class Tally:
    """What was counted of a family in a machine-year, unweighted; down_h in hours."""

    befell: int = 0
    lost_without: int = 0
    doubtful_without: int = 0
    lost_with: int = 0
    doubtful_with: int = 0
    nuisance: int = 0
    justified: int = 0
    doubtful: int = 0
    sensor: int = 0
    lockouts: int = 0
    down_h: float = 0.0

    def stop(self, kind: Kind) -> None:
        """Count a stop."""
        setattr(self, kind, getattr(self, kind) + 1)

    def damage(self, certainty: Certainty, how: Literal["with", "without"]) -> None:
        """Count what became of the bearings."""
        if certainty != "none":
            name = f"{'lost' if certainty == 'certain' else 'doubtful'}_{how}"
            setattr(self, name, getattr(self, name) + 1)


@dataclass(frozen=True)
class Wrong:
    """Something that went wrong: what, in which family, and where to find it again; a machine-year is its number."""

    what: str  # "nuisance", "lost" or "doubtful"
    family: str
    year: int
    day: int
    at_ms: int
    event: int  # of the family in this year, from 0; of ordinary duty the moment is all


@dataclass
class Year:
    """A machine-year: hours simulated and run, tallies by family, what went wrong."""

    number: int
    machine: str
    hours: float = 0.0
    run_h: float = 0.0
    tallies: dict[str, Tally] = field(default_factory=dict)
    wrongs: list[Wrong] = field(default_factory=list)


@dataclass(frozen=True)
class Wanted:
    """What a forecast follows from, beside the settings: rates per year by family, the duty, the sites, the seed.

    sites: where the installation of a machine-year is drawn from, None: those of the demo site; days: of a year that
    are run, fewer for a trial.
    """

    seed: int
    duty: Duty
    per_year: Mapping[str, float]
    sites: Sites | None = None
    days: int = DAYS


@dataclass(frozen=True)
class Moment:
    """When one of a family befalls the machine."""

    day: int
    at_ms: int
    family: str
    event: int
    span: float  # where in the day's running hours, 0 .. 1


def moments_of(wanted: Wanted, number: int) -> list[Moment]:
    """Return the days on which each family befalls the machine-year, and where in them: a Poisson process each."""
    found = []
    for family, rate in wanted.per_year.items():
        mean = sampled_per_year(rate) * wanted.days / DAYS
        draw = Draw(random_of_trace(wanted.seed, (number, 1, zlib.crc32(family.encode()))))
        reached, event = _gap(draw), 0
        while reached < mean:
            day = min(int(draw.between(0.0, wanted.days)), wanted.days - 1)
            found.append(Moment(day, 0, family, event, draw.between(0.0, 1.0)))
            reached += _gap(draw)
            event += 1
    return sorted(found, key=lambda its: (its.day, its.span, its.family))


def _gap(draw: Draw) -> float:
    """Draw the gap between two events of a Poisson process of rate 1."""
    return -log(1.0 - draw.between(0.0, 1.0))


def placed(moment: Moment, plan: Schedule, period_ms: int) -> int | None:
    """Return the ms of the day at which a moment lies, evenly over the hours that a plan runs, None of none."""
    spans = running_spans(plan)
    left = moment.span * sum(end - begin for begin, end in spans)
    for begin, end in spans:
        if left <= end - begin:
            return min(int((begin + left) * 1000.0) // period_ms * period_ms, DAY_MS - period_ms)
        left -= end - begin
    return None


def key_of(*parts: int) -> int:
    """Return the key of a stretch of draws that nobody shares: 64 bits, never 0."""
    return int(np.random.SeedSequence(parts[0], spawn_key=parts[1:]).generate_state(1, np.uint64)[0]) | 1


class MachineYear:
    """Runs one machine-year; `run` returns what came of it."""

    def __init__(self, wanted: Wanted, settings: Settings, number: int) -> None:
        """Draw the machine; number: of the machine-year, which alone its draws hang on, beside the seed."""
        self.wanted, self.settings, self.number = wanted, settings, number
        self.site = draw_site_of_year(Draw(random_of_trace(wanted.seed, (number, 0)), wanted.sites))
        self.days = Days(wanted.duty, self.site, wanted.seed, (number, 2))
        self.year = Year(number, f"{self.site.machine.name}, {self.site.oil.name}, {self.site.refrigerant.name}")
        self.year.tallies[DUTY] = Tally(befell=1)
        # Called with what happened and the machine at the day's or the copy's beginning.
        self.watch: Callable[[Wrong, Running, Site, Befalling | None], None] | None = None

    def run(self) -> Year:
        """Run the year."""
        waiting = moments_of(self.wanted, self.number)
        machine: Running | None = None
        for day, ((today, plan), (_, after)) in zip(range(self.wanted.days), pairwise(self.days), strict=False):
            key = key_of(self.wanted.seed, self.number, 3, day)
            if machine is None:
                machine = self._first(today, plan, key)
            else:
                machine.begin_anew(DAY_MS, key)
            # Tomorrow stands behind today, for copies that run on over midnight.
            machine.follow(arrays_joined(plan.arrays(), after.arrays()))
            dawn = machine.copy()
            placements = [(placed(its, plan, machine.period_ms), its) for its in waiting if its.day == day]
            for at_ms, moment in sorted(
                ((at, its) for at, its in placements if at is not None), key=lambda pair: (pair[0], pair[1].family)
            ):
                self._duty(machine, at_ms, day, today, dawn)
                self._befall(machine, moment, at_ms, today, joined(plan, after))
            self._duty(machine, DAY_MS, day, today, dawn)
        if machine is not None:
            self._close(machine)
        return self.year

    def _first(self, today: Site, plan: Schedule, key: int) -> Running:
        """Return the machine as it stands at the first midnight, its heater on."""
        site = self.site
        start = site.rested(today.ambient_c + 20.0, 0.6)
        case = Case(site.machine, site.oil, site.refrigerant, plan, DAY_S, start, site.chain, behaviour=site.behaviour)
        return Running(case, self.settings, key, long_steps=True)

    def _duty(self, machine: Running, until_ms: int, day: int, today: Site, dawn: Running) -> None:
        """Run ordinary duty on until a moment of the day, judge each stop, and free the machine of a lockout."""
        tally = self.year.tallies[DUTY]
        while True:
            reached = machine.run(until_ms)
            certainty = machine.damage.certainty
            tally.damage(certainty, "with")
            if certainty != "none":
                machine.mend()
                tally.damage(certainty, "without")
                tally.down_h += self.wanted.duty.repair_h if certainty == "certain" else 0.0
                self._tell(
                    "lost" if certainty == "certain" else "doubtful",
                    DUTY,
                    day,
                    machine.last_tick_ms,
                    0,
                    dawn,
                    today,
                )
            if reached:
                break
            prevented = machine.copy()
            prevented.forget_damage()
            came = prevented.let_run(machine.now_s + ONWARD_S).certainty
            kind = judged(came, machine, NEVER_S)
            tally.stop(kind)
            if certainty == "none":
                tally.damage(came, "without")
            if kind == "nuisance":
                self._tell(kind, DUTY, day, machine.last_tick_ms, 0, dawn, today)
            self._call(machine)
        self._call(machine)

    def _call(self, machine: Running) -> None:
        """Let somebody free a machine of its lockout, `callout_h` from now; nobody is called twice."""
        now_ms = machine.last_tick_ms
        if machine.memory[STATE] == LOCKED_OUT and machine.counts[RESET_TO_MS] <= now_ms:
            machine.counts[RESET_FROM_MS] = now_ms + int(self.wanted.duty.callout_h * 3.6e6)
            held_ms = self.settings.values[RESET_HOLD] + PRESS_MS
            machine.counts[RESET_TO_MS] = machine.counts[RESET_FROM_MS] + held_ms

    def _befall(self, machine: Running, moment: Moment, at_ms: int, today: Site, plan: Schedule) -> None:
        """Let one of a family befall a copy of the machine, and count what comes of it with and without protection."""
        seed, family = self.wanted.seed, moment.family
        befalling = befall(family, today, seed, (self.number, 4, moment.event))
        if befalling is None:
            return
        tally = self.year.tallies.setdefault(family, Tally())
        tally.befell += 1
        key = key_of(seed, self.number, 5, zlib.crc32(family.encode()), moment.event)
        begun = self._begun(machine, befalling, at_ms, plan, key)
        until_s = befalling.case.duration_s + AFTER_S
        without = begun.copy().let_run(until_s).certainty
        tally.damage(without, "without")

        under, first = begun.copy(), True
        kinds: set[Kind] = set()
        while not under.run(int(until_s * 1000)):
            came = without
            if not first:
                prevented = under.copy()
                prevented.forget_damage()
                came = prevented.let_run(under.now_s + ONWARD_S).certainty
            kind = judged(came, under, befalling.case.chain.fault_s)
            kinds.add(kind)
            tally.stop(kind)
            first = False
            if under.memory[STATE] == LOCKED_OUT:
                under.run(under.last_tick_ms + COASTING_MS)
                break  # whoever frees it sees what is wrong
        certainty = under.damage.certainty
        tally.damage(certainty, "with")
        tally.lockouts += int(under.counts[LOCKOUTS] - begun.counts[LOCKOUTS])
        tally.down_h += float(under.counts[DOWN_MS] - begun.counts[DOWN_MS]) / 3.6e6
        if not under.carry[PERMITTED]:  # locked out, or a sensor that nobody believes
            tally.down_h += self.wanted.duty.callout_h
        if certainty == "certain":
            tally.down_h += self.wanted.duty.repair_h
        what = {"certain": "lost", "possible": "doubtful"}.get(certainty, "nuisance" if "nuisance" in kinds else "")
        if what:
            self._tell(what, family, moment.day, at_ms, moment.event, begun, today, befalling)

    def _begun(self, machine: Running, befalling: Befalling, at_ms: int, plan: Schedule, key: int) -> Running:
        """Return the machine to which something is about to happen, at its time 0."""
        case = befalling.case
        moments = moments_of_sensors(case.chain)
        if befalling.at_start:
            begun, laid = Running(case, self.settings, key, long_steps=True), case.schedule
        else:
            begun = machine.copy()
            begun.begin_anew(at_ms, key)
            begun.sense(case.chain)
            laid = laid_over(plan, befalling, at_ms / 1000.0)
        begun.follow(arrays_with(laid, *moments))
        begun.forget_damage()
        return begun

    def _tell(
        self, what: str, family: str, day: int, at_ms: int, event: int, begun: Running, site: Site,
        befalling: Befalling | None = None,
    ) -> None:  # fmt: skip
        """Note what went wrong, and show it to whoever keeps it."""
        wrong = Wrong(what, family, self.number, day, at_ms, event)
        self.year.wrongs.append(wrong)
        if self.watch is not None:
            self.watch(wrong, begun, site, befalling)

    def _close(self, machine: Running) -> None:
        """Take the year's sums from the machine."""
        tally = self.year.tallies[DUTY]
        tally.lockouts = int(machine.counts[LOCKOUTS])
        tally.down_h += float(machine.counts[DOWN_MS]) / 3.6e6
        self.year.hours = 24.0 * self.wanted.days
        self.year.run_h = machine.run_h


def judged(came: Certainty, machine: Running, fault_s: float) -> Kind:
    """Return what a stop was, by what came of the machine that ran on; fault_s: when a sensor of it failed."""
    if came != "none":
        return "justified" if came == "certain" else "doubtful"
    if int(machine.memory[CAUSE]) & CAUSE_CODE == SENSOR_CAUSE and machine.last_tick_ms / 1000.0 >= fault_s:
        return "sensor"
    return "nuisance"


def run_year(wanted: Wanted, settings: Settings, number: int) -> Year:
    """Run the machine-year of a number; the same arguments, the same year, whoever runs it."""
    return MachineYear(wanted, settings, number).run()


def as_json(year: Year) -> dict[str, Any]:
    """Return a year as JSON takes it; `from_json` takes it back."""
    return {
        **vars(year),
        "tallies": {family: vars(tally) for family, tally in year.tallies.items()},
        "wrongs": [vars(wrong) for wrong in year.wrongs],
    }


def from_json(kept: Mapping[str, Any]) -> Year:
    """Return the year that `as_json` wrote."""
    tallies = {family: Tally(**counts) for family, counts in kept["tallies"].items()}
    return Year(**{**kept, "tallies": tallies, "wrongs": [Wrong(**wrong) for wrong in kept["wrongs"]]})
