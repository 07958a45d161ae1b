"""How a machine-year counts, on a machine whose every stop and fate a test has written down."""

import copy
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from protect.ranges import RESET_HOLD
from protect.state import CAUSE, LOCKED_OUT, SENSOR_CAUSE, STATE, STATE_SIZE
from replay.engine.obeying import CARRY_SIZE, PERMITTED
from replay.forecast import forecast, keeping
from replay.forecast import year as forecast_year
from replay.forecast.forecast import wanted_of
from replay.forecast.year import DUTY, MachineYear, Moment, Tally, Wanted, Wrong, moments_of
from replay.machine import machine_from
from replay.machine.template import machine_template
from replay.physics import MACHINES, OILS, REFRIGERANTS, Schedule, Sensor, SensorChain
from replay.physics.befalling import PER_YEAR, Befalling
from replay.physics.days import Duty
from replay.physics.drawing import Site
from replay.physics.sensors import NEVER_S
from replay.physics.simulate import Case, Damage, Spell
from replay.settings import Settings, read_settings
from replay.synth.loop import COUNTS, DOWN_MS, LOCKOUTS, RESET_FROM_MS, RESET_TO_MS

FIXTURES = Path(__file__).parents[2] / "fixtures"
H_MS = 3_600_000
SITE = Site(
    MACHINES["granite"], OILS["still-68"], REFRIGERANTS["R134a"], 1450.0, 250e3, 900e3, 450e3, 45.0, SensorChain()
)
FATES = {
    "none": Damage(),
    "possible": Damage((Spell(0.0, (1.0, None, None)),)),
    "certain": Damage((Spell(0.0, (1.0, 2.0, 3.0)),)),
}


@dataclass(frozen=True)
class Stop:
    """A stop: when, what would have come of the machine, what has come of it by then, and how the logic stands after it."""

    at_ms: int
    comes: str = "none"
    came: str = "none"
    cause: int = 1
    locks: bool = False
    down_ms: int = 0
    holds: bool = False  # permission is withdrawn for good, without a lockout


@dataclass
class Script:
    """A machine that does what is written; all of one family share `told`: what was asked of them."""

    stops: list[Stop]
    end: str = "none"  # what has come of it when it is let run to the end
    told: list[tuple[str, Any]] = field(default_factory=list)
    name: str = "day"
    counts: Any = field(default_factory=lambda: np.zeros(COUNTS, np.int64))
    memory: Any = field(default_factory=lambda: np.zeros(STATE_SIZE, np.int64))
    carry: Any = field(default_factory=lambda: np.zeros(CARRY_SIZE, np.int64))
    damage: Damage = FATES["none"]
    last_tick_ms: int = 0
    period_ms: int = 1000
    run_h: float = 7.5
    comes: str = "none"
    after: Callable[["Script"], None] = lambda _its: None

    @property
    def now_s(self) -> float:
        """The moment of the last sample."""
        return self.last_tick_ms / 1000.0

    def run(self, until_ms: int) -> bool:
        """Go on to the next stop before a moment."""
        self.told.append((f"{self.name} runs", until_ms))
        if not self.stops or self.stops[0].at_ms >= until_ms:
            self.last_tick_ms = until_ms - self.period_ms
            self._press()
            return True
        stop = self.stops.pop(0)
        self.last_tick_ms, self.comes, self.damage = stop.at_ms, stop.comes, FATES[stop.came]
        self._press()
        self.memory[CAUSE], self.memory[STATE] = stop.cause, LOCKED_OUT if stop.locks else 0
        self.counts[LOCKOUTS] += stop.locks
        self.counts[DOWN_MS] += stop.down_ms
        self.carry[PERMITTED] = int(not stop.locks and not stop.holds)
        return False

    def _press(self) -> None:
        """Free the machine of a lockout whose reset has been pressed by now."""
        if 0 < self.counts[RESET_TO_MS] <= self.last_tick_ms:
            self.memory[STATE] = 0

    def copy(self) -> "Script":
        """Return one that goes its own way, with what is told in common."""
        other = copy.copy(self)
        for name in ("counts", "memory", "carry", "stops"):
            setattr(other, name, copy.copy(getattr(self, name)))
        return other

    def let_run(self, until_s: float) -> Damage:
        """Go on unprotected; what has come of it before, unless it was forgotten, is told too."""
        self.told.append((f"{self.name} is let run", until_s))
        return self.damage if self.damage.spells else FATES[self.comes]

    def forget_damage(self) -> None:
        """Forget."""
        self.told.append(("forgets", self.name))
        self.damage = FATES["none"]

    def mend(self) -> None:
        """Mend."""
        self.told.append(("mended", self.name))
        self.damage = FATES["none"]

    def begin_anew(self, at_ms: int, key: int) -> None:
        """Turn into the copy that something befalls."""
        self.told += [("begins anew", at_ms), ("key", key)]
        self.name = "copy"
        self.after(self)

    def sense(self, chain: SensorChain) -> None:
        """Note the sensors."""
        self.told.append(("senses", chain.oil.fault_s))

    def follow(self, _plan: Any) -> None:
        """Follow."""


@pytest.fixture(scope="module")
def settings() -> Settings:
    """Return the settings of the demo site."""
    return read_settings(FIXTURES / "settings.toml")


@dataclass
class Told:
    """What came of a day."""

    tallies: dict[str, Tally]
    wrongs: list[tuple[str, str, int]]
    asked: list[tuple[str, Any]]
    machine: Script
    year: Any


def a_day(
    monkeypatch: pytest.MonkeyPatch,
    settings: Settings,
    day: list[Stop],
    befalls: list[Stop] | None = None,
    without: str = "none",
    end: str = "none",
    chain: SensorChain | None = None,
) -> Told:
    """Run a day of these stops, and at noon what befalls a copy of the machine; without, end: what becomes of that."""
    machine = Script(list(day))
    machine.carry[PERMITTED] = 1

    def becomes(its: Script) -> None:
        its.stops, its.comes = list(befalls or ()), without
        its.counts[LOCKOUTS], its.counts[DOWN_MS] = 3, 11 * H_MS  # of the machine's life before
        its.damage = FATES["certain"]  # and so is this

    machine.after = becomes
    case = Case(SITE.machine, SITE.oil, SITE.refrigerant, Schedule(1450.0), 900.0, chain=chain or SensorChain())
    monkeypatch.setattr(forecast_year, "Running", lambda *_, **__: machine)
    monkeypatch.setattr(forecast_year, "befall", lambda family, *_: Befalling(family, case, NEVER_S))
    moments = [Moment(0, 0, "pump-drive-broken", 0, 0.5)] if befalls is not None else []
    monkeypatch.setattr(forecast_year, "moments_of", lambda *_: moments)
    monkeypatch.setattr(forecast_year, "placed", lambda *_: 12 * H_MS)
    if end != "none":
        run = Script.run

        def runs(self: Script, until_ms: int) -> bool:
            reached = run(self, until_ms)
            if reached and self.name == "copy":
                self.damage = FATES[end]
            return reached

        monkeypatch.setattr(Script, "run", runs)
    one = MachineYear(Wanted(2, Duty(callout_h=4.0, repair_h=72.0), {}, lambda *_: SITE, 1), settings, 0)
    found = one.run()
    return Told(
        found.tallies, [(its.what, its.family, its.at_ms) for its in found.wrongs], machine.told, machine, found
    )


FAMILY = "pump-drive-broken"


def test_a_stop_is_judged_by_the_hour_that_would_have_followed(
    monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    """Three stops of a day: one needless, one in doubt, one in time; catches an hour from midnight, and one judged by another."""
    day = [Stop(1 * H_MS), Stop(2 * H_MS, "possible"), Stop(3 * H_MS, "certain")]
    told = a_day(monkeypatch, settings, day)

    assert told.tallies == {
        DUTY: Tally(befell=1, nuisance=1, doubtful=1, justified=1, lost_without=1, doubtful_without=1)
    }
    assert told.wrongs == [("nuisance", DUTY, H_MS)]
    let_run = [place for place, what in enumerate(told.asked) if "let run" in what[0]]
    assert [told.asked[place] for place in let_run] == [("day is let run", 3600.0 * (hour + 1)) for hour in (1, 2, 3)]
    # A spell that had begun to spoil the bearings is none of what would have come.
    assert [told.asked[place - 1] for place in let_run] == [("forgets", "day")] * 3
    assert (told.year.hours, told.year.run_h) == (24.0, 7.5)


def test_a_machine_that_was_lost_is_mended_and_counts_once_with_and_without(
    monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    """Catches a loss that counts again at each later stop, repair of one that is whole, and one saved that was lost."""
    told = a_day(
        monkeypatch, settings, [Stop(H_MS, "certain", "certain"), Stop(2 * H_MS, "certain", "possible"), Stop(3 * H_MS)]
    )

    assert told.tallies[DUTY] == Tally(
        befell=1, lost_with=1, lost_without=1, doubtful_with=1, doubtful_without=1, justified=2, nuisance=1, down_h=72.0
    )
    assert told.wrongs == [("lost", DUTY, H_MS), ("doubtful", DUTY, 2 * H_MS), ("nuisance", DUTY, 3 * H_MS)]
    assert told.asked.count(("mended", "day")) == 2


@pytest.mark.parametrize("at_noon", [None, []], ids=["nothing else", "something at noon"])
def test_a_lockout_is_freed_a_callout_after_it_came_by_a_press_that_is_long_enough(
    monkeypatch: pytest.MonkeyPatch, settings: Settings, at_noon: list[Stop] | None
) -> None:
    """Catches a callout from the end of the day, or from what befalls a copy, and hours for seconds, and a short press."""
    told = a_day(monkeypatch, settings, [Stop(H_MS, locks=True, down_ms=H_MS)], at_noon)
    counts = told.machine.counts

    assert counts[RESET_FROM_MS] == H_MS + 4 * H_MS
    assert counts[RESET_TO_MS] - counts[RESET_FROM_MS] == settings.values[RESET_HOLD] + 5000
    assert (told.tallies[DUTY].lockouts, told.tallies[DUTY].down_h) == (1, 1.0)


def test_nobody_is_called_twice_for_a_lockout(monkeypatch: pytest.MonkeyPatch, settings: Settings) -> None:
    """Catches a reset that a second stop puts off, and one that never comes again once it was pressed in vain."""
    twice = [Stop(20 * H_MS, locks=True), Stop(21 * H_MS, locks=True)]
    assert a_day(monkeypatch, settings, twice).machine.counts[RESET_FROM_MS] == 24 * H_MS
    late = [Stop(10 * H_MS, locks=True), Stop(21 * H_MS, locks=True)]
    assert a_day(monkeypatch, settings, late).machine.counts[RESET_FROM_MS] == 25 * H_MS


def test_whoever_pressed_in_vain_is_called_again_at_the_end_of_the_day(
    monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    """Catches a machine that nobody comes to any more once its reset was refused."""
    monkeypatch.setattr(Script, "_press", lambda _its: None)
    told = a_day(monkeypatch, settings, [Stop(H_MS, locks=True)])

    assert told.machine.counts[RESET_FROM_MS] == 24 * H_MS - told.machine.period_ms + 4 * H_MS


def test_the_next_day_stands_behind_the_day_that_is_run(monkeypatch: pytest.MonkeyPatch, settings: Settings) -> None:
    """Catches a copy that runs on over midnight without its starts and stops."""
    followed: list[Any] = []
    monkeypatch.setattr(Script, "follow", lambda _its, plan: followed.append(plan))
    monkeypatch.setattr(forecast_year, "arrays_joined", lambda *plans: ("joined", len(plans)))
    a_day(monkeypatch, settings, [])

    assert followed == [("joined", 2)]


def test_in_a_tenth_of_the_year_a_tenth_of_it_befalls() -> None:
    """Catches a trial of a few days in which the faults of a whole year fall."""
    in_days = {
        days: sum(len(moments_of(Wanted(3, Duty(), {"pump-drive-broken": 20.0}, days=days), n)) for n in range(60))
        for days in (36, 360)
    }

    assert 0 < 7 * in_days[36] < in_days[360] < 14 * in_days[36]


def test_what_befalls_counts_with_and_without_protection(monkeypatch: pytest.MonkeyPatch, settings: Settings) -> None:
    """A first stop in time, a second that was needless; catches what the machine's life before it counted taken along."""
    told = a_day(monkeypatch, settings, [], [Stop(50_000, "certain", down_ms=H_MS), Stop(400_000)], without="certain")

    assert told.tallies[FAMILY] == Tally(befell=1, lost_without=1, justified=1, nuisance=1, down_h=1.0)
    assert told.wrongs == [("nuisance", FAMILY, 12 * H_MS)]
    assert ("begins anew", 12 * H_MS) in told.asked
    let_run = [until for what, until in told.asked if what == "copy is let run"]
    assert let_run == [900.0 + 3600.0, 400.0 + 3600.0]  # the first stop is judged by the whole of it
    assert {until for what, until in told.asked if what == "copy runs"} == {4_500_000}


def test_a_lockout_ends_what_befalls_and_somebody_is_called(
    monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    """Catches a copy that goes on after it, coasting cut off, a callout left out, and one lockout counted four times."""
    stops = [Stop(50_000, "certain", locks=True, down_ms=H_MS // 2), Stop(900_000)]
    told = a_day(monkeypatch, settings, [], stops, without="certain")

    assert told.tallies[FAMILY] == Tally(befell=1, lost_without=1, justified=1, lockouts=1, down_h=0.5 + 4.0)
    assert told.wrongs == []
    assert [until for what, until in told.asked if what == "copy runs"] == [4_500_000, 60_000]


@pytest.mark.parametrize(("end", "what", "down_h"), [("certain", "lost", 72.0), ("possible", "doubtful", 0.0)])
def test_a_machine_that_is_lost_all_the_same_is_down_for_its_repair(
    monkeypatch: pytest.MonkeyPatch, settings: Settings, end: str, what: str, down_h: float
) -> None:
    """Catches a repair of bearings that may be whole, and a loss that a needless stop hides."""
    told = a_day(monkeypatch, settings, [], [Stop(50_000), Stop(60_000)], end=end)
    tally = told.tallies[FAMILY]

    assert told.wrongs == [(what, FAMILY, 12 * H_MS)]
    assert (tally.lost_with, tally.doubtful_with) == ((1, 0) if what == "lost" else (0, 1))
    assert (tally.nuisance, tally.down_h) == (2, down_h)


@pytest.mark.parametrize(("at_ms", "cause", "kind"), [
    (30_000, SENSOR_CAUSE, "sensor"), (29_000, SENSOR_CAUSE, "nuisance"), (30_000, SENSOR_CAUSE + 1, "nuisance"),
])  # fmt: skip
def test_a_stop_on_a_sensor_is_one_from_when_it_has_failed(
    monkeypatch: pytest.MonkeyPatch, settings: Settings, at_ms: int, cause: int, kind: str
) -> None:
    """At 30 s; catches ms taken for s, a sensor that was still sound, and another cause after it."""
    chain = SensorChain(Sensor(stuck_s=(30.0, 1e9)))
    told = a_day(monkeypatch, settings, [], [Stop(at_ms, cause=cause)], chain=chain)
    tally = told.tallies[FAMILY]

    assert (tally.sensor, tally.nuisance) == ((1, 0) if kind == "sensor" else (0, 1))
    assert ("senses", 30.0) in told.asked
    assert replace(tally, sensor=0, nuisance=0) == Tally(befell=1)


def test_each_later_stop_is_judged_by_what_comes_after_it_alone(
    monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    """Lost before the second stop, which prevents nothing more; catches a loss that makes every later stop a justified one."""
    stops = [Stop(50_000, "certain"), Stop(400_000, "none", "certain")]
    tally = a_day(monkeypatch, settings, [], stops, without="certain").tallies[FAMILY]

    assert (tally.justified, tally.nuisance, tally.lost_with) == (1, 1, 1)


def test_somebody_is_called_to_a_machine_that_a_sensor_keeps_from_running(
    monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    """Catches a callout for a lockout alone."""
    tally = a_day(monkeypatch, settings, [], [Stop(50_000, cause=SENSOR_CAUSE, holds=True)]).tallies[FAMILY]

    assert (tally.lockouts, tally.down_h) == (0, 4.0)


def test_a_year_begins_with_a_machine_that_has_stood_with_its_heater_on(
    monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    """20 K over the room of that day, six tenths of what the sump holds there; catches a running machine's oil."""
    first: list[Case] = []

    def running(case: Case, *_: Any, **__: Any) -> Script:
        first.append(case)
        return Script([])

    monkeypatch.setattr(forecast_year, "Running", running)
    one = MachineYear(Wanted(2, Duty(), {}, lambda *_: SITE, 1), settings, 0)
    one.run()
    room_c = first[0].schedule.ambient_c

    assert first[0].start == SITE.rested(room_c + 20.0, 0.6)
    assert not first[0].schedule.running


@pytest.mark.parametrize(("fault_s", "told"), [(1000.0, 1000.0 - 600.0), (NEVER_S, NEVER_S)])
def test_what_is_kept_of_a_day_begins_ten_minutes_before_with_its_sensors_clock(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, fault_s: float, told: float
) -> None:
    """A stop at 20 min; catches times of the day in a trace that begins later, and damage from before its beginning."""
    asked: list[Any] = []
    machine = Script([Stop(30_000)], name="kept")
    machine.plan, machine.chain = (0,) * 5, SensorChain(Sensor(stuck_s=(fault_s, NEVER_S)))  # type: ignore[attr-defined]
    machine.record = lambda until_ms: asked.append(until_ms) or "result"  # type: ignore[attr-defined]
    monkeypatch.setattr(keeping, "label_of", lambda result, fault: asked.append((result, fault)) or {"undecided": True})
    monkeypatch.setattr(keeping, "recorded_trace", lambda _result, **about: SimpleNamespace(**about))
    monkeypatch.setattr(keeping, "write_whole", lambda *_: None)
    entries: list[dict[str, Any]] = []
    keep = keeping.keeper(tmp_path, 7, entries)
    for _ in range(2):
        keep(Wrong("nuisance", DUTY, 3, 12, 1_200_000, 0), machine, SITE, None)

    assert asked[:2] == [1_200_000 + 1_200_000, ("result", pytest.approx(told))]
    assert next(what for what in machine.told if what[0] != "kept runs") == ("forgets", "kept")
    assert [until for what, until in machine.told if what == "kept runs"][:2] == [600_000, 600_000]
    assert [its["id"] for its in entries] == [f"nuisance-ordinary-duty-0003-012-{nth}" for nth in (1, 2)]
    case = Case(SITE.machine, SITE.oil, SITE.refrigerant, Schedule(1450.0), 900.0)
    keep(Wrong("lost", FAMILY, 3, 12, 1_200_000, 0), machine, SITE, Befalling(FAMILY, case, NEVER_S))
    assert asked[-2] == 900_000


def test_a_forecast_follows_from_the_machine_file_unless_it_is_told_otherwise(
    monkeypatch: pytest.MonkeyPatch, settings: Settings
) -> None:
    """Catches the demo site's duty or rates for a user's own, and figures weighed by other rates than were run."""
    text = (
        machine_template()
        .replace('# callout_h = "4 h"', 'callout_h = "7 h"')
        .replace("# power-dip = 12", "power-dip = 30")
    )
    described = machine_from("m", text)
    assert (described.duty.callout_h, described.per_year["power-dip"]) == (7.0, 30.0)
    own = wanted_of(1, described, 10)
    assert (own.duty, own.per_year, own.sites, own.days) == (described.duty, described.per_year, described.site, 10)
    other = wanted_of(1, described, 10, Duty(callout_h=1.0), {"power-dip": 2.0})
    assert (other.duty.callout_h, other.per_year, other.sites) == (1.0, {"power-dip": 2.0}, described.site)
    demo = wanted_of(1, None, 10)
    assert (demo.duty, demo.per_year, demo.sites) == (Duty(), PER_YEAR, None)

    asked: list[Any] = []

    def one_year(_wanted: Wanted, its: Settings, _folder: Any, number: int) -> Any:
        asked.append((its.values, number))
        return forecast_year.Year(number, "", 24.0), []

    monkeypatch.setattr(forecast, "one_year", one_year)
    beside = replace(settings, values=(*settings.values[:3], settings.values[3] + 1000, *settings.values[4:]))
    found = forecast.forecast_years(settings, 2, 1, against=beside, per_year={"power-dip": 2.0}, days=1)
    assert asked == [(settings.values, 0), (settings.values, 1), (beside.values, 0), (beside.values, 1)]
    assert found.weights == {DUTY: 1.0, "power-dip": 2.0 / 8.0}
    assert (found.settings, found.other, len(found.years), len(found.against)) == (settings, beside, 2, 2)


def test_no_two_stretches_of_a_year_share_their_draws(monkeypatch: pytest.MonkeyPatch, settings: Settings) -> None:
    """Days, what befalls copies in them, and machine-years: catches one noise, or one fault, that comes again and again."""
    families = ("pump-drive-broken", "relief-stuck-open")
    moments = [Moment(day, 0, family, 2 * day + i, 0.5) for day in range(3) for family in families for i in range(2)]
    case = Case(SITE.machine, SITE.oil, SITE.refrigerant, Schedule(1450.0), 900.0)
    keys: list[int] = []
    befallen: list[tuple[Any, ...]] = []
    heads: list[float] = []

    def first(_case: Case, _settings: Settings, key: int, **_: Any) -> Script:
        keys.append(key)
        return Script([])

    def befall(family: str, site: Site, *key: Any) -> Befalling:
        befallen.append((family, *key))
        heads.append(site.discharge_pa)
        return Befalling(family, case, NEVER_S)

    monkeypatch.setattr(forecast_year, "Running", first)
    monkeypatch.setattr(forecast_year, "befall", befall)
    monkeypatch.setattr(forecast_year, "moments_of", lambda *_: moments)
    monkeypatch.setattr(forecast_year, "placed", lambda *_: 12 * H_MS)
    monkeypatch.setattr(Script, "begin_anew", lambda _self, _at_ms, key: keys.append(key))
    for seed, number in ((2, 0), (2, 1), (3, 0)):
        found = MachineYear(Wanted(seed, Duty(), {}, lambda *_: SITE, 3), settings, number).run()
        assert [found.tallies[family].befell for family in families] == [6, 6]

    assert len(keys) == len(set(keys)) == 3 * (3 + len(moments))
    assert len(befallen) == len(set(befallen)) == 3 * len(moments)
    assert len(set(heads)) == 9  # each day has its own weather
