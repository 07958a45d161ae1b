"""What `guarantee` promises for a settings file holds in the logic itself, and no better bound does."""

import json
import re
from collections.abc import Callable, Iterator
from itertools import cycle
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from protect import ranges, state
from replay.display import guarantee as display_guarantee
from replay.settings import Acceptance, Settings
from replay.settings.guarantee import Depth, Guarantee, guarantee
from tests.support.command import lubetrip
from tests.support.protection import HEALTHY, MISSING, ONE, PROFILE, Machine
from tests.support.strategies import Named, admitted, lively

pytestmark = pytest.mark.slow("tries many cases of a large space")

MANY = 10**7  # ms in which everything has happened that ever will


class Plant(Machine):
    """A machine past its start grace with an empty integral, and what is promised of it; its readings never stand still."""

    def __init__(self, *, grace: bool = False, **changes: int) -> None:
        super().__init__(**changes)
        self.turn = 0
        values = self.settings
        self.gap, self.level = values[ranges.MAX_GAP], values[ranges.VACUUM]
        self.healthy = values[ranges.CUT_IN]
        self.promised: Guarantee = guarantee(Settings("", tuple(values), 0.0, Acceptance(0, 0.0, 0.0)))
        self.run(0, self.healthy)
        if not grace:
            self.state[state.GRACE_LEFT] = 0

    def run(self, ms: int, net: int, *, vacuum: bool = False, suction: int | None = None, still: bool = False) -> None:
        """Run for so long at a net oil pressure, in ticks of max_gap; the last one may be shorter, or of 0 ms."""
        base = suction if suction is not None else self.level - 2 if vacuum else self.level
        while True:
            self.turn ^= 0 if still else 1
            self.tick(min(ms, self.gap), net=net, suction=base + self.turn)
            ms -= self.gap
            if ms <= 0 or not self.permitted:
                return

    def lose(self, ms: int) -> None:
        """Run for so long without a reading of the oil pressure."""
        self.spend(max(ms, 1), by=self.gap, oil=MISSING, suction=self.level) if ms else None

    def rest(self, ms: int) -> None:
        """Stand still for so long."""
        while True:
            self.turn ^= 1
            self.tick(min(ms, self.gap), net=0, suction=self.level + self.turn, running=0)
            ms -= self.gap
            if ms <= 0:
                return

    def first(self, stretch: Callable[["Plant", int], None], most: int = MANY) -> int:
        """Return the ms of a stretch with which run permission goes first; the plant has then lived through them."""
        before = (list(self.state), self.turn)
        low, high = 0, 1
        while self.after(before, stretch, high):
            low, high = high, 2 * high
            assert low < most, "never stopped"
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if self.after(before, stretch, middle) else (low, middle)
        assert not self.after(before, stretch, high)
        return high

    def after(self, before: tuple[list[int], int], stretch: Callable[["Plant", int], None], ms: int) -> bool:
        """Say whether there is run permission after a stretch from a state of before."""
        self.state[:], self.turn = list(before[0]), before[1]
        stretch(self, ms)
        return self.permitted

    def late(self, ms: int, stretch: Callable[["Plant", int], None]) -> bool:
        """Say whether the stop that is promised by `ms` comes there at the worst, and never later.

        All but one ms of the time left before the last tick is seen, then a whole max_gap.
        """
        stretch(self, ms - self.gap)
        still = self.permitted
        stretch(self, self.gap)
        return still and not self.permitted


def low_at(depth: Depth) -> Callable[[Plant, int], None]:
    """Return a stretch at one depth."""
    return lambda plant, ms: plant.run(ms, depth.net_pa, vacuum=depth.vacuum)


@st.composite
def plants_and_depths(draw: st.DrawFn) -> tuple[Named, int]:
    """Draw lively settings with trips that are not all forgotten at once, and the number of a row of the table."""
    return draw(lively()), draw(st.integers(0, 7))


def row(plant: Plant, number: int) -> Depth:
    """Return a row of the table of depths."""
    return plant.promised.depths[number % len(plant.promised.depths)]


HAND = {
    # depth: weight, full s: 120 s over the weight; share: 1 / (1 + weight)
    ("cut-out - 1 Pa", False): (1.0, 120.0),
    ("midway", False): (2.5, 48.0),
    ("floor", False): (4.0, 30.0),
    ("floor - 1 Pa", False): (4.0, 30.0),
    ("cut-out - 1 Pa", True): (2.0, 60.0),
    ("midway", True): (5.0, 24.0),
    ("floor", True): (8.0, 15.0),
    ("floor - 1 Pa", True): (8.0, 15.0),
}


def test_the_figures_of_the_profile_are_those_worked_out_by_hand() -> None:
    """Catches a figure of another depth or side, and a max_gap or grace that is left out or added twice."""
    promised = Plant().promised

    assert {(d.name, d.vacuum): (d.weight / ONE, d.full / 1000) for d in promised.depths} == HAND
    for depth in promised.depths:
        assert depth.stop == depth.full - 1 + 5_000
        assert depth.start_stop == depth.stop + 30_000
        assert depth.dip == depth.full // (1 + depth.vacuum) - 5_000  # loaded again with half the integral
        assert depth.share == pytest.approx(ONE / (ONE + depth.weight))
        # 60 s of rest give back 30 s of grace and drain 15 s.
        assert depth.again == 30_000 + -(-15_000 * ONE // depth.weight)
    figures = {line.key: line.value for line in promised.lines if line.value is not None}
    assert figures == {
        "reset": 1_000,
        "resets": 3,
        "trips": 30_000 + 120_000 - 1 + 5_000,
        "no_trip": 15_000,
        "missing": 10_000 - 1 + 5_000,
        "missing_at_start": 10_000 - 1 + 5_000,
        "intermittent": 0.5,
        "frozen": 7_200_000 + 10_000 - 1 + 5_000,
        "reload_level": 0.5,
        "reload": 7_500,
        "reload_by": 5_000,
        "restart": 60_000,
        "restart_by": 60_000 - 1 + 5_000,
        "lockout": 3,
        "soonest_lockout": 15_000 + 2 * (60_000 + 30_000 + 1_875),
        "starved_run": 15_000 + 2 * (30_000 + 1_875),
    }


@settings(max_examples=40)
@given(plants_and_depths())
def test_the_integral_is_full_at_the_promised_ms_and_the_stop_comes_by_the_promised_one(
    case: tuple[Named, int],
) -> None:
    """Catches a time to trip that is one ms too long or too short, from an empty integral and from a start."""
    named, number = case
    depth = row(Plant(**named), number)

    assert Plant(**named).first(low_at(depth)) == depth.full
    assert Plant(**named).late(depth.stop, low_at(depth))
    assert Plant(grace=True, **named).late(depth.start_stop, low_at(depth))


@settings(max_examples=40)
@given(plants_and_depths())
def test_the_longest_dip_is_ridden_through_and_one_a_ms_longer_need_not_be(case: tuple[Named, int]) -> None:
    """Catches a dip that forgets the tick before it: its first reading counts for all the time since a healthy one."""
    named, number = case
    depth = row(Plant(**named), number)
    for dip, ridden in ((depth.dip, True), (depth.dip + 1, False)):
        plant = Plant(**named)
        plant.run(plant.gap, depth.net_pa, vacuum=depth.vacuum) if dip else None
        plant.run(dip - 1, depth.net_pa, vacuum=depth.vacuum) if dip > 1 and plant.permitted else None
        if depth.vacuum and plant.permitted:
            plant.run(0, plant.healthy, suction=named["reload"])
        plant.run(plant.gap, plant.healthy)

        assert plant.permitted == ridden


@pytest.mark.parametrize(("net", "low"), [(59_999, 5_000), (40_000, 2_000), (19_999, 1_000)])
def test_pulsation_at_the_promised_share_never_stops_and_above_it_does(net: int, low: int) -> None:
    """Catches a share the wrong way round, and a promise about pulsation that slowly fills the integral."""
    depth = next(depth for depth in Plant().promised.depths if depth.net_pa == net)
    healthy = round(low * (1 - depth.share) / depth.share)

    def cycles(plant: Plant, length: int) -> Iterator[int]:
        for _ in range(2_500):
            plant.run(low, depth.net_pa)
            plant.run(length, HEALTHY)
            yield plant.integral

    quiet = Plant()
    assert {next(cycles(quiet, healthy)) for _ in range(20)} == {0}
    eager = Plant()
    assert any(not eager.permitted for _ in cycles(eager, healthy - 100))
    assert low / (low + healthy) == pytest.approx(depth.share, rel=1e-3)


@settings(max_examples=40)
@given(lively(), st.booleans())
def test_a_lost_reading_stops_by_the_promised_time(named: Named, grace: bool) -> None:
    """Catches a promise that forgets that doubt fills the integral too, or that start grace holds that back."""
    plant = Plant(grace=grace, **named)
    promised = plant.promised.line("missing_at_start" if grace else "missing").value

    assert promised is not None
    assert plant.late(int(promised), Plant.lose)


@settings(max_examples=40)
@given(lively(), st.booleans())
def test_a_frozen_sensor_stops_by_the_promised_time(named: Named, low: bool) -> None:
    """Catches a stuck check that starts its time anew, and a grace that outlasts it; no frozen reading takes longer."""
    named |= {"stuck_after": max(1_000, named["max_gap"] + 1)}
    plant = Plant(grace=True, **named)
    promised = plant.promised.line("frozen").value
    net = named["cut_out"] - 1 if low else plant.healthy
    plant.turn = 1
    plant.tick(0, net=net, suction=plant.level)

    assert promised is not None

    def frozen(machine: Plant, ms: int) -> None:
        machine.spend(ms, by=machine.gap, net=net, suction=machine.level + 1)

    assert plant.late(int(promised), frozen) or (low and not plant.permitted)


@pytest.mark.parametrize(("recovery", "lost", "healthy"), [(1.0, 1_000, 1_000), (0.25, 1_000, 4_000)])
def test_readings_lost_for_the_promised_share_never_stop_and_for_more_do(
    recovery: float, lost: int, healthy: int
) -> None:
    """Catches a share that looks at the fault time alone, where the integral fills first."""

    def plant() -> Plant:
        return Plant(recovery=round(recovery * ONE), fault_delay=60_000, trip_delay=30_000)

    def stops(length: int) -> bool:
        machine = plant()
        for _ in range(3_000):
            machine.lose(lost)
            machine.run(length, HEALTHY)
            if not machine.permitted:
                return True
        return False

    assert plant().promised.line("intermittent").value == lost / (lost + healthy)
    assert not stops(healthy)
    assert stops(healthy - 100)


@pytest.mark.parametrize("recovery", [1.5, 4.0])
def test_no_recovery_however_quick_lets_more_than_half_the_readings_be_lost(recovery: float) -> None:
    """Catches a share of 60 or 80 % promised where the fault time, which drains as quickly as it fills, stops beyond 50 %."""

    def stops(lost: int, healthy: int) -> bool:
        plant = Plant(recovery=round(recovery * ONE), fault_delay=20_000, trip_delay=1_800_000)
        for _ in range(2_000):
            plant.lose(lost)
            plant.run(healthy, HEALTHY)
            if not plant.permitted:
                return True
        return False

    assert Plant(recovery=round(recovery * ONE)).promised.line("intermittent").value == 0.5
    assert not stops(1_000, 1_000)
    assert stops(1_000, 900)


@settings(max_examples=40)
@given(lively())
def test_the_reload_guard_acts_at_its_earliest_and_not_a_ms_before(named: Named) -> None:
    """Catches an earliest moment at the wrong weight, and a level that is rounded."""
    named |= {"suction_most": 20_000_000}
    plant = Plant(**named)
    earliest = plant.promised.line("reload").value
    level = plant.settings[ranges.RELOAD_LEVEL]
    assume(0 < level < named["trip_delay"])
    assert earliest is not None

    def vacuum_then_reload(machine: Plant, ms: int) -> None:
        machine.run(ms, named["floor"] - 1, vacuum=named["vacuum_weight"] >= ONE)
        machine.run(0, named["floor"] - 1, vacuum=True)
        machine.run(0, machine.healthy, suction=named["reload"])

    assert plant.first(vacuum_then_reload) == earliest
    assert plant.stop_cause == "reload"


@settings(max_examples=30)
@given(lively())
def test_the_armed_guard_and_the_restart_come_by_the_promised_time(named: Named) -> None:
    """Catches a guard or a restart that is promised without the tick that has to see it."""
    named |= {"reload_fraction": ONE // 8, "suction_most": 20_000_000, "trips_to_lockout": 2}
    plant = Plant(**named)
    reload_by, restart_by = (plant.promised.line(key).value for key in ("reload_by", "restart_by"))
    armed = plant.promised.line("reload").value
    assert armed is not None
    plant.run(20 * int(armed), named["floor"] - 1, vacuum=True)
    assume(plant.permitted and plant.integral >= plant.settings[ranges.RELOAD_LEVEL])

    plant.run(plant.gap, named["floor"] - 1, suction=named["reload"])
    assert (plant.name, plant.permitted, plant.stop_cause) == ("LOCKED_OUT", False, "reload")
    assert reload_by == plant.gap

    plant, rest = Plant(**named), named["restart_delay"]
    plant.run(MANY, named["floor"] - 1)
    assert plant.name == "TRIPPED"
    if rest > 1:
        plant.rest(rest - 1)
        assert not plant.permitted
    plant.rest(plant.gap)
    assert (plant.permitted, restart_by) == (True, max(rest - 1, 0) + plant.gap)


@settings(max_examples=40)
@given(lively(), st.booleans())
def test_a_zero_that_is_violated_at_rest_takes_the_permission_by_the_promised_time(named: Named, high: bool) -> None:
    """Catches a promise that forgets the settling, and one for a limit that these sensors cannot pass."""
    plant = Plant(grace=True, **named)
    line, most = plant.promised.line("rest"), named["rest_most"]
    net = most + 1 if high else -most - 1
    assume(plant.level + 1 + net <= named["oil_most"] and plant.level + net >= named["oil_least"])
    assert line.value is not None

    def off(machine: Plant, ms: int) -> None:
        machine.spend(ms, by=machine.gap, running=0, net=net, suction=machine.level)

    assert plant.late(int(line.value), off)
    assert plant.stop_cause == "sensor"


def test_a_zero_that_no_reading_can_violate_is_said_never_to_find_anything() -> None:
    """Catches a promise of a standstill zero that is off."""
    line = Plant(rest_most=20_100_000).promised.line("rest")

    assert (line.value, line.unit) == (None, "never")


def test_a_zero_that_only_a_wide_suction_range_can_violate_is_promised() -> None:
    """Catches a zero said never to find anything since the oil channel alone cannot read so far off."""
    promised = Plant(oil_most=1_000_000, suction_most=2_000_000, rest_most=1_500_000).promised

    assert promised.line("rest").value == 20_000 + 10_000 - 1 + 5_000
    assert promised.line("rest_most").value == 1_500_000


def test_where_readings_are_lost_at_a_start_the_grace_comes_before_the_integral() -> None:
    """Catches a stop promised by the trip delay from a start, where the start grace is still to come."""
    slow = Plant(fault_delay=1_000_000).promised

    assert slow.line("missing").value == 120_000 - 1 + 5_000
    assert slow.line("missing_at_start").value == 30_000 + 120_000 - 1 + 5_000


def test_a_rest_drains_no_more_than_there_is() -> None:
    """Catches a machine said to run longer after a restart than from an empty integral."""
    rested = Plant(stopped_recovery=8 * ONE).promised

    assert [depth.again for depth in rested.depths] == [30_000 + depth.full for depth in rested.depths]


def test_resets_are_refused_from_the_promised_count_on_until_the_memory_ends() -> None:
    """Catches a reset too many that frees, and a lockout for resets that outlasts the trip memory or is cut short."""
    plant = Plant(trips_to_lockout=1, restart_delay=5_000, rest_settle=1_000, resets_most=2, reset_hold=2_000)
    assert (plant.promised.line("resets").value, plant.promised.line("reset").value) == (2, 2_000)

    def press(ms: int) -> None:
        plant.tick(0, net=0, suction=plant.level, running=0, reset=1)
        plant.turn ^= 1
        plant.tick(ms, net=0, suction=plant.level + plant.turn, running=0, reset=1)
        plant.tick(0, net=0, suction=plant.level, running=0)

    for _ in range(2):
        plant.run(MANY, plant.settings[ranges.FLOOR] - 1)
        assert plant.name == "LOCKED_OUT"
        press(1_999)
        assert plant.name == "LOCKED_OUT"
        press(2_000)
        assert plant.name == "TRIPPED"
        plant.rest(5_000)
    plant.run(MANY, plant.settings[ranges.FLOOR] - 1)
    left = plant.memory.memory_left
    press(2_000)
    assert (plant.name, plant.stop_cause) == ("LOCKED_OUT", "resets")
    plant.rest(left - 2_000 - 1)
    press(2_000 - 2_000)
    assert plant.name == "LOCKED_OUT"
    plant.rest(1)
    press(2_000)
    assert plant.name == "TRIPPED"


def test_without_a_readable_vacuum_the_guard_is_said_never_to_act() -> None:
    """Catches a promise of a guard that these sensor ranges switch off."""
    line = Plant(suction_least=50_000).promised.line("reload")

    assert (line.value, line.unit) == (None, "never")


@pytest.mark.parametrize(
    ("weight", "fraction", "told"), [(ONE, ONE, False), (ONE, ONE - 1, True), (ONE + 1, ONE, True), (ONE - 1, 0, True)]
)
def test_depths_in_a_vacuum_are_told_where_weight_or_guard_make_them_others(
    weight: int, fraction: int, *, told: bool
) -> None:
    """Catches a dip in a vacuum that is promised at its length without one, though the guard ends it sooner."""
    depths = Plant(vacuum_weight=weight, reload_fraction=fraction).promised.depths

    assert [depth.vacuum for depth in depths] == [False] * 4 + [True] * 4 * told


def starve_on_and_on(named: Named) -> None:
    """Live through trips and restarts at the largest weight and compare each time with the promised one."""
    plant = Plant(**named)
    deepest = max(plant.promised.depths, key=lambda depth: (depth.weight, -depth.net_pa))
    time, run, trips, last = 0, 0, 0, named["trips_to_lockout"]
    lockout = plant.promised.line("soonest_lockout")
    while trips < 4 and plant.name != "LOCKED_OUT":
        ms = plant.first(low_at(deepest)) if trips == 0 or deepest.again else 0
        if not ms:
            plant.run(0, deepest.net_pa, vacuum=deepest.vacuum)
        assert not plant.permitted
        assert ms == (deepest.full if trips == 0 else deepest.again)
        time, run, trips = time + ms, run + ms, trips + 1
        if plant.name == "TRIPPED":
            rest = named["restart_delay"]
            if rest:
                plant.rest(rest - 1)
                assert not plant.permitted or rest == 1
            plant.rest(min(rest, 1))
            assert plant.permitted
            time += rest
    assert (plant.name == "LOCKED_OUT") == (lockout.value is not None)
    if lockout.value is not None:
        assert (trips, time, run) == (last, lockout.value, plant.promised.line("starved_run").value)


@settings(max_examples=40)
@given(lively())
def test_restart_and_lockout_come_when_promised(named: Named) -> None:
    """Catches a second trip reckoned with a full grace or an empty integral, and a lockout with trips long forgotten."""
    starve_on_and_on(named)


@pytest.mark.parametrize(("trip_memory", "forgotten"), [(91_875, True), (91_876, False)])
def test_a_trip_memory_over_in_the_very_ms_of_the_next_trip_gives_no_lockout(trip_memory: int, forgotten: bool) -> None:
    """Catches a lockout promised where the trips are forgotten first: 60 s of rest, 30 s of grace, 1.875 s to the trip."""
    named = PROFILE | {"trip_memory": trip_memory}

    assert (Plant(**named).promised.line("soonest_lockout").value is None) == forgotten
    starve_on_and_on(named)


@st.composite
def courses(draw: st.DrawFn) -> tuple[Named, list[tuple[int, str]]]:
    """Draw settings, and readings that are all short of oil or in doubt, each with a tick."""
    named = draw(lively())
    kinds = st.sampled_from(["low", "deep", "vacuum", "missing", "late"])
    ticks = st.tuples(st.integers(1, named["max_gap"]), kinds)
    return named, draw(st.lists(ticks, min_size=1, max_size=12))


def take(plant: Plant, ms: int, kind: str) -> int:
    """Take one tick of a kind and return its ms."""
    cut_out, floor = plant.settings[ranges.CUT_OUT], plant.settings[ranges.FLOOR]
    if kind == "missing":
        plant.tick(ms, oil=MISSING, suction=plant.level)
    elif kind == "late":
        ms += plant.gap
        plant.tick(ms, net=plant.healthy, suction=plant.level)
    else:
        plant.run(ms, cut_out - 1 if kind == "low" else floor - 1, vacuum=kind == "vacuum")
    return ms


@settings(max_examples=60)
@given(courses())
def test_whatever_is_short_of_oil_is_stopped_by_the_promised_time_and_not_too_soon(
    case: tuple[Named, list[tuple[int, str]]],
) -> None:
    """Catches a course of readings that outlasts the worst time, or one that fills the integral before its soonest."""
    named, ticks = case
    plant = Plant(grace=True, **named)
    latest, soonest = (plant.promised.line(key).value for key in ("trips", "no_trip"))
    assert latest is not None
    assert soonest is not None
    spent = last = 0
    for ms, kind in cycle(ticks):
        last = take(plant, ms, kind)
        spent += last
        if not plant.permitted:
            break
    else:
        raise AssertionError
    assert spent <= latest - plant.gap + last
    assert plant.stop_cause != "oil" or spent >= soonest


@settings(max_examples=60)
@given(admitted())
def test_any_admitted_settings_have_a_report(named: Named) -> None:
    """Catches a figure that divides by nothing, or a promise that is negative or contradicts another."""
    report = guarantee(Settings("x.toml", tuple(Machine(**named).settings), 0.0, Acceptance(0, 0.0, 0.0)))

    for depth in report.depths:
        assert 0 <= depth.dip < depth.full <= depth.stop <= depth.start_stop
        assert 0 <= depth.share < 1
    for before, after in zip(report.depths, report.depths[1:], strict=False):
        assert before.vacuum != after.vacuum or after.stop <= before.stop
    assert all(line.value is None or line.value >= 0 for line in report.lines)
    assert json.loads(json.dumps(report.as_json()))["schema"] == "lubetrip-guarantee/1"


def test_what_sensors_cannot_read_is_marked() -> None:
    """Catches a promise on a pressure that never comes up, as if it had been checked."""
    narrow = Plant(oil_least=1_500_000 + PROFILE["floor"], oil_most=2_000_000).promised

    assert [depth.readable for depth in narrow.depths[:4]] == [True, True, True, False]


@pytest.mark.parametrize(("ms", "up", "down"), [(50_000, "50.0", "50.0"), (50_001, "50.1", "50.0"), (99, "0.1", "0.0")])
def test_shown_times_never_promise_more_than_the_exact_ones(ms: int, up: str, down: str) -> None:
    """Catches a latest time rounded down, or a dip rounded up."""
    assert display_guarantee._at_least(ms) == up  # noqa: SLF001 - the two roundings of the report
    assert display_guarantee._at_most(ms) == down  # noqa: SLF001


def test_the_command_prints_the_table_at_80_columns(settings_file: Path) -> None:
    """Catches a table cut at the width of a terminal, a line without its method, and a missing caution."""
    done = lubetrip("guarantee", settings_file)

    assert (done.returncode, done.stderr) == (0, "")
    assert max(len(line.rstrip()) for line in done.stdout.splitlines()) <= 80
    assert "…" not in done.stdout
    assert re.search(
        r"^cut-out - 1 Pa +59\.999 +8\.702 +1\.000 +63\.0 +73\.0 +57\.0 +50\.0 +25\.0 *$", done.stdout, re.MULTILINE
    )
    assert re.search(
        r"^floor - 1 Pa +29\.999 +4\.351 +3\.000 +23\.0 +33\.0 +7\.0 +25\.0 +15\.0 *$", done.stdout, re.MULTILINE
    )
    assert "suction pressure below -21.3 kPa gauge (80.0 kPa abs)" in done.stdout
    assert len(re.findall(r" (proved|exact) *$", done.stdout, re.MULTILINE)) >= 19
    assert "Not guaranteed:" in done.stdout
    assert "Not a certified safety device" in done.stdout


def test_the_command_writes_json(settings_file: Path, tmp_path: Path) -> None:
    """Catches a file that differs from standard output, and a figure without its method."""
    out = tmp_path / "guarantee.json"
    done = lubetrip("guarantee", settings_file, "--json", out)
    only = lubetrip("guarantee", settings_file, "--json", "-")
    report = json.loads(only.stdout)

    assert json.loads(out.read_text()) == report
    assert "Not guaranteed:" in done.stdout
    assert {line["method"] for line in report["lines"] + report["depths"]} == set(report["methods"])


def test_the_command_refuses_bad_settings(settings_file: Path) -> None:
    """Catches a promise for settings that no machine would run with."""
    settings_file.write_text(settings_file.read_text().replace('"60 s"', '"0 s"', 1))
    done = lubetrip("guarantee", settings_file)

    assert (done.returncode, done.stdout) == (2, "")
    assert "trip_delay" in done.stderr
    assert "Traceback" not in done.stderr
