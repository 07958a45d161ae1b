"""A day of duty and what befalls a machine in it, worked out by hand: every draw comes out in the middle of its range."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from replay.physics import MACHINES, OILS, REFRIGERANTS, Channel, Schedule, Sensor, SensorChain, befalling, days
from replay.physics.befalling import Befalling, arrays_joined, arrays_with, befall, laid_over, moments_of_sensors
from replay.physics.days import DAY_S, Days, Duty, draw_site_of_year, joined, running_spans, swing
from replay.physics.drawing import Draw, Site
from replay.physics.sensors import NEVER_S
from replay.physics.simulate import Case

SITE = Site(
    MACHINES["granite"], OILS["still-68"], REFRIGERANTS["R134a"], 1450.0, 250e3, 900e3, 450e3, 45.0, SensorChain()
)  # in a room of 20 C
H = 3600.0
PLAIN = Duty(
    control="cycling", load_share=0.5, season_swing=0.0, day_swing=0.0, cycle_s=(1000.0, 2600.0), pump_down_share=0.0,
    defrosts_per_day=0, neighbours=0, standstills_per_year=0.0,
)  # fmt: skip


class Given:
    """A generator that always gives the same."""

    def __init__(self, share: float) -> None:
        """Give this share of every range."""
        self.share = share

    def random(self) -> float:
        """Return the share."""
        return self.share


@pytest.fixture(autouse=True)
def middle(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let every draw come out in the middle."""
    monkeypatch.setattr(days, "random_of_trace", lambda *_: Given(0.5))


def day(duty: Duty, number: int = 0, site: Site = SITE) -> Schedule:
    """Return the plan of a day."""
    return next(iter(Days(duty, site, 1, (0,), number)))[1]


def changes(plan: Schedule, channel: Channel, until_s: float = DAY_S) -> list[tuple[float, float, float]]:
    """Return (moment, value, seconds that it takes) of each change of a channel."""
    knots = plan.knots[channel]
    pairs = zip(knots[1::2], knots[2::2], strict=True)
    return [(begin, value, end - begin) for (begin, _), (end, value) in pairs if begin < until_s]


# ------------------------------------------------------------------------------------------------------- the seasons


def test_the_swing_is_smooth_and_even_about_its_ends() -> None:
    """-1 at 0, 0 at a quarter, 1 at a half, by 1 - 2 a^2 (3 - 2 a); catches a triangle, and a phase that is off by half."""
    assert [swing(phase) for phase in (0.0, 0.25, 0.5, 0.75, 1.0, 1.5)] == pytest.approx(
        [-1.0, 0.0, 1.0, 0.0, -1.0, 1.0]
    )
    assert swing(0.375) == pytest.approx(1.0 - 2.0 * 0.0625 * 2.5)


def test_head_and_room_follow_the_season_within_what_a_plant_does() -> None:
    """6 K of condensing are 1.028^6 of head; catches winter for summer, a head below the load, and a frozen room."""
    its = Days(PLAIN, SITE, 1, (0,))
    winter, summer = its.site_of(0), its.site_of(182)
    assert winter.discharge_pa == pytest.approx(900e3 / 1.028**6, rel=1e-4)
    assert summer.discharge_pa == pytest.approx(900e3 * 1.028**6, rel=1e-4)
    assert (winter.ambient_c, summer.ambient_c) == pytest.approx((14.0, 26.0), abs=1e-3)
    assert its.site_of(182, 2.0).discharge_pa == pytest.approx(900e3 * 1.028**8, rel=1e-4)
    assert Days(PLAIN, replace(SITE, discharge_pa=520e3), 1, (0,)).site_of(0).discharge_pa == pytest.approx(1.1 * 450e3)
    for head_pa, most_pa in ((1100e3, 1200e3), (1300e3, 1300e3)):  # what a machine has is not taken from it
        assert Days(PLAIN, replace(SITE, discharge_pa=head_pa), 1, (0,)).site_of(182).discharge_pa == most_pa
    assert Days(PLAIN, replace(SITE, oil_temperature_c=35.0), 1, (0,)).site_of(0).ambient_c == 10.0


def test_head_and_room_follow_the_hours() -> None:
    """At noon mean, at six in the evening warmest; catches nights warmer than days, and a jump where a ramp should be."""
    today, plan = next(iter(Days(PLAIN, SITE, 1, (0,))))
    steps = [6 * i * H for i in range(4)]

    head = [(at, today.discharge_pa * 1.028**k, 21000.0) for at, k in zip(steps, (0.0, -2.0, 0.0, 2.0), strict=True)]
    room = [(at, today.ambient_c + 273.15 + k, 21000.0) for at, k in zip(steps, (0.0, -2.0, 0.0, 2.0), strict=True)]
    assert [row for one in changes(plan, Channel.DISCHARGE_PA) for row in one] == pytest.approx(
        [row for one in head for row in one]
    )
    assert [row for one in changes(plan, Channel.AMBIENT_K) for row in one] == pytest.approx(
        [row for one in room for row in one]
    )


def test_the_load_is_most_at_three_in_the_afternoon_of_summer_and_never_all_or_none() -> None:
    """Catches a day that peaks at noon, a swing of the season at night only, and a machine that never runs."""

    def share(duty: Duty, number: int, hour: int) -> float:
        spans = running_spans(day(replace(duty, cycle_s=(1800.0, 1800.0), defrosts_per_day=0), number))
        begin, end = next(span for span in spans if span[0] == hour * H + 5.0)
        return (end - begin - 1.0) / 1800.0  # the machine stops a second after the valve

    spring = 0.6 + 0.15 * swing(91.5 / 365) - 0.1  # the middle of the 92nd day
    for number, hour, wanted in ((182, 15, 0.85), (182, 3, 0.65), (0, 3, 0.35), (91, 3, spring)):
        assert share(Duty(standstills_per_year=0.0), number, hour) == pytest.approx(wanted, abs=1e-4)
    never = day(Duty(load_share=0.0, standstills_per_year=0.0, defrosts_per_day=0, cycle_s=(4 * H, 4 * H)))
    assert running_spans(never)[0] == (5.0, 5.0 + 0.02 * 4 * H + 1.0)
    always = day(Duty(load_share=1.0, standstills_per_year=0.0, defrosts_per_day=0, cycle_s=(4 * H, 4 * H)), 182)
    assert any(begin < 13 * H and end > 17 * H for begin, end in running_spans(always))


# ---------------------------------------------------------------------------------------------------------- a cycle


def test_a_cycle_feeds_starts_runs_its_share_and_stops() -> None:
    """Half of 1,800 s, from start to start; catches a stop before the valve, a cycle of run and rest added, and no load."""
    plan = day(PLAIN)

    assert changes(plan, Channel.RUN, 2000.0) == [(5.0, 1.0, 0.0), (906.0, 0.0, 0.0), (1805.0, 1.0, 0.0)]
    assert changes(plan, Channel.LIQUID_VALVE, 2000.0) == [
        (0.0, 1.0, 2.0),
        (901.0, 0.0, 1.0),  # closed 4 s before the run is over
        (905.0, 0.0, 1.0),
        (1800.0, 1.0, 2.0),
    ]
    assert changes(plan, Channel.LOAD_PA, 2000.0) == [(0.0, 450e3, 30.0), (1800.0, 450e3, 30.0)]
    assert [begin for begin, _ in running_spans(plan)] == [5.0 + 1800.0 * i for i in range(48)]


def test_neither_running_nor_standing_is_cut_shorter_than_a_timer_lets() -> None:
    """Catches a machine that is started again at once, and one that runs for seconds."""
    little = day(replace(PLAIN, load_share=0.05, cycle_s=(1800.0, 1800.0)))
    assert changes(little, Channel.RUN, 2000.0)[:2] == [(5.0, 1.0, 0.0), (156.0, 0.0, 0.0)]
    much = day(replace(PLAIN, load_share=0.95, cycle_s=(1000.0, 1000.0)))
    assert changes(much, Channel.RUN, 2000.0)[1:3] == [(956.0, 0.0, 0.0), (955.0 + 150.0 + 5.0, 1.0, 0.0)]
    through = day(replace(PLAIN, load_share=1.0))
    assert [value for _, value, _ in changes(through, Channel.RUN)] == [1.0] * len(changes(through, Channel.RUN))


def test_a_pump_down_brings_suction_to_six_tenths_before_the_stop() -> None:
    """Half a minute before; catches an opening for another suction, one in a vacuum, and a stop that is not pumped down."""
    plan = day(replace(PLAIN, pump_down_share=1.0))
    today = Days(PLAIN, SITE, 1, (0,)).site_of(0)
    opening = today.liquid_opening(today.schedule(), 0.6 * 250e3)
    assert changes(plan, Channel.LIQUID_VALVE, 1000.0)[1:] == [(905.0 - 27.5, opening, 2.0), (905.0, 0.0, 1.0)]
    cold = replace(SITE, suction_pa=110e3)
    least = Days(PLAIN, cold, 1, (0,)).site_of(0)
    plan = day(replace(PLAIN, pump_down_share=1.0), site=cold)
    assert changes(plan, Channel.LIQUID_VALVE, 1000.0)[1][1] == least.liquid_opening(least.schedule(), 75e3)


def test_defrosts_come_at_the_middle_of_their_hours_and_last_their_time() -> None:
    """Four, six hours apart, from three o'clock on; catches one at midnight, one too short, and a load that stays hot."""
    plan = day(replace(PLAIN, defrosts_per_day=4, load_share=0.1))
    hot = [(at, value) for at, value, over in changes(plan, Channel.LOAD_PA) if over == 40.0]
    home = [(at, value) for at, value, over in changes(plan, Channel.LOAD_PA) if over == 60.0]
    cycles = [1800.0 * np.ceil((3 + 6 * i) * H / 1800.0) for i in range(4)]

    assert [at for at, _ in hot] == [at + 95.0 for at in cycles]
    assert [at for at, _ in home] == [at + 395.0 for at in cycles]
    assert {value for _, value in hot} == {1.35 * 450e3}
    assert {value for _, value in home} == {450e3}
    spans = {begin: end - begin for begin, end in running_spans(plan)}
    assert {spans[at + 5.0] for at in cycles} == {541.0}
    near = replace(SITE, discharge_pa=550e3)
    head = Days(PLAIN, near, 1, (0,)).site_of(0).discharge_pa
    plan = day(replace(PLAIN, defrosts_per_day=1), site=near)
    assert max(value for _, value, _ in changes(plan, Channel.LOAD_PA)) == pytest.approx(0.95 * head)


def test_a_standstill_lasts_its_hours_with_the_heater_on() -> None:
    """One a day here, at noon, for 6 h; catches a machine that goes on, a heater that stays on, and days swallowed."""
    duty = replace(PLAIN, standstills_per_year=365.0, standstill_h=(4.0, 8.0))
    plan = day(duty)
    noon = 12 * H
    assert changes(plan, Channel.HEATER_K) == [(noon, 20.0, 0.0), (18 * H, 0.0, 0.0)]
    gaps = [(end, begin) for (_, end), (begin, _) in zip(running_spans(plan), running_spans(plan)[1:], strict=False)]
    assert max(begin - end for end, begin in gaps) == 6 * H + 899.0
    assert changes(day(replace(duty, heater=False)), Channel.HEATER_K) == []
    assert changes(day(replace(duty, standstills_per_year=182.0)), Channel.HEATER_K) == []


def test_the_load_is_followed_at_the_stated_rate_within_each_run() -> None:
    """Every half hour of a run of two; catches a rate an hour of the day, steps in the first or last minute, and no end."""
    long = replace(PLAIN, cycle_s=(4 * H, 4 * H))
    begin, end = 65.0, 5.0 + 2 * H - 60.0
    moments = [begin + 1800.0 * i for i in (1, 2, 3)]

    unloading = day(replace(long, control="unloading", steps_per_hour=2.0))
    assert changes(unloading, Channel.CAPACITY, 2 * H) == [*((at, 0.67, 0.5) for at in moments), (end, 1.0, 0.5)]
    speed = day(replace(long, control="speed", steps_per_hour=2.0))
    assert changes(speed, Channel.SPEED_RPM, 2 * H) == [(at, 0.8 * 1450.0, 20.0) for at in moments]
    driven = day(replace(long, control="speed", steps_per_hour=2.0), site=replace(SITE, speeds_rpm=(1000.0, 1800.0)))
    assert changes(driven, Channel.SPEED_RPM, 2 * H) == [(at, 1400.0, 20.0) for at in moments]
    cycling = day(replace(long, steps_per_hour=2.0))
    assert changes(cycling, Channel.CAPACITY) == changes(cycling, Channel.SPEED_RPM) == []
    two = day(replace(long, neighbours=2, neighbour_changes_per_hour=1.0))
    assert changes(two, Channel.LOAD_PA, 2 * H)[1:] == [(at, 450e3, 10.0) for at in moments]


@pytest.mark.parametrize(("share", "moved"), [(0.0, 0.95 * 0.95), (1.0, 1.05 * 1.05)])
def test_a_neighbour_moves_the_load_by_its_share_either_way(
    monkeypatch: pytest.MonkeyPatch, share: float, moved: float
) -> None:
    """A load 5 % off to begin with; catches a share of the suction, and a move one way only."""
    monkeypatch.setattr(days, "random_of_trace", lambda *_: Given(share))
    duty = replace(PLAIN, cycle_s=(4 * H, 4 * H), neighbours=1, neighbour_changes_per_hour=2.0)

    assert changes(day(duty), Channel.LOAD_PA, 2 * H)[1][1] == pytest.approx(moved * 450e3)


def test_a_load_stays_below_the_head_on_an_ordinary_day(monkeypatch: pytest.MonkeyPatch) -> None:
    """5 % over 450 kPa under a head of 495; catches a load that the head cannot hold."""
    monkeypatch.setattr(days, "random_of_trace", lambda *_: Given(1.0))
    plan = day(PLAIN, site=replace(SITE, discharge_pa=500e3))

    assert changes(plan, Channel.LOAD_PA)[0][1] == pytest.approx(0.95 * 1.1 * 450e3)


def test_weather_differs_from_day_to_day_by_its_range(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches the same weather every day, and one that only warms."""
    heads = []
    for share in (0.0, 0.5, 1.0):
        monkeypatch.setattr(days, "random_of_trace", lambda *_, share=share: Given(share))
        heads.append(next(iter(Days(PLAIN, SITE, 1, (0,))))[0].discharge_pa)

    assert heads == pytest.approx([900e3 * 1.028 ** (-6.0 + k) for k in (-2.0, 0.0, 2.0)], rel=1e-4)


def test_a_site_of_a_year_has_the_years_mean_head_and_oil() -> None:
    """Sound sensors at once; catches a summer's head taken for the year's, and a user's own site that is changed."""
    for share, name, oil_c in ((0.1, "R134a", 43.0), (0.5, "R143a", 47.0)):
        its = draw_site_of_year(Draw(Given(share)))  # type: ignore[arg-type]
        head = min(max(days.saturation_pa(its.refrigerant, 25.0), 1.1 * its.load_pa), 1200e3)
        assert (its.refrigerant.name, its.oil_temperature_c) == (name, pytest.approx(oil_c))
        assert its.discharge_pa == pytest.approx(head)
    assert draw_site_of_year(Draw(Given(0.5), lambda *_: SITE)) == SITE  # type: ignore[arg-type]


# --------------------------------------------------------------------------------------------------- what befalls it


def plan_of(**knots: list[tuple[float, float]]) -> Schedule:
    """Return a plan with these knots of channels."""
    plan = Schedule(1450.0)
    for name, its in knots.items():
        plan.knots[Channel[name.upper()]] = its
    return plan


def upset(plan: Schedule, ends_s: float) -> Befalling:
    """Return something that befalls a machine and is over then."""
    return Befalling("x", Case(SITE.machine, SITE.oil, SITE.refrigerant, plan, 100.0), ends_s)


def test_what_befalls_begins_at_its_moment_and_its_channels_come_back_to_the_days_own() -> None:
    """By hand: half way up a ramp; catches a plan that is shifted the wrong way, and a channel that stays or jumps early."""
    today = plan_of(
        suction_valve=[(0.0, 1.0), (100.0, 1.0), (200.0, 0.5), (500.0, 0.5), (500.0, 0.8)],
        run=[(0.0, 1.0), (170.0, 1.0), (170.0, 0.0)],
    )
    its = plan_of(suction_valve=[(0.0, 1.0), (10.0, 1.0), (20.0, 0.1)])

    laid = laid_over(today, upset(its, 60.0), 150.0)
    assert laid.knots[Channel.SUCTION_VALVE] == [
        (0.0, 1.0), (10.0, 1.0), (20.0, 0.1), (60.0, 0.5), (350.0, 0.5), (350.0, 0.8),
    ]  # fmt: skip
    assert laid.knots[Channel.RUN] == [(0.0, 1.0), (20.0, 1.0), (20.0, 0.0)]
    late = laid_over(today, upset(its, 15.0), 150.0)  # marked as over before its last change is done
    assert late.knots[Channel.SUCTION_VALVE][:5] == [(0.0, 1.0), (10.0, 1.0), (20.0, 0.1), (20.0, 0.675), (50.0, 0.5)]
    for_ever = laid_over(today, upset(its, NEVER_S), 150.0)
    assert for_ever.knots[Channel.SUCTION_VALVE] == [(0.0, 1.0), (10.0, 1.0), (20.0, 0.1)]


def test_a_plan_read_between_its_knots() -> None:
    """Catches the first of two knots at one time, a line from the wrong one, and an end that goes on sloping."""
    knots = [(10.0, 1.0), (20.0, 3.0), (20.0, 7.0), (40.0, 5.0)]

    def read(at_s: float) -> list[tuple[float, float]]:
        return laid_over(plan_of(suction_valve=knots), upset(Schedule(1450.0), 1.0), at_s).knots[Channel.SUCTION_VALVE]

    values = [read(at)[0][1] for at in (0.0, 10.0, 15.0, 20.0, 30.0, 40.0, 99.0)]
    assert values == [1.0, 1.0, 2.0, 7.0, 6.0, 5.0, 5.0]
    assert read(15.0) == [(0.0, 2.0), (5.0, 3.0), (5.0, 7.0), (25.0, 5.0)]
    assert read(20.0) == [(0.0, 7.0), (20.0, 5.0)]


def test_a_moment_put_into_a_plan_changes_nothing_of_it() -> None:
    """Catches a value of the wrong side, a slope that is left out, and a moment put in twice or before the beginning."""
    plan = Schedule(1450.0).change(Channel.SUCTION_VALVE, 100.0, 0.0, 100.0).change(Channel.RUN, 300.0, 0.0)
    bare = plan.arrays()
    times, values, slopes, steady = arrays_with(plan, 250.0, 125.0, 125.0, 200.0, 0.0, -5.0, NEVER_S)

    assert times.tolist() == [0.0, 100.0, 125.0, 200.0, 250.0, 300.0]
    assert values[:, Channel.SUCTION_VALVE].tolist() == [1.0, 1.0, 0.75, 0.0, 0.0, 0.0]
    assert slopes[:, Channel.SUCTION_VALVE].tolist() == pytest.approx([0.0, -0.01, -0.01, 0.0, 0.0, 0.0])
    assert steady.tolist() == [True, False, False, True, True, True]
    assert arrays_with(plan, 50.0)[0].tolist() == [0.0, 50.0, 100.0, 200.0, 300.0]
    keep = [0, 1, 3, 5]
    assert all(
        np.array_equal(one[keep], other) for one, other in zip((times, values, slopes, steady), bare, strict=True)
    )


def test_midnight_belongs_to_the_day_that_begins() -> None:
    """Catches two rows at midnight, or yesterday's slope going on into the day."""
    today = Schedule(1450.0).change(Channel.SUCTION_VALVE, DAY_S - 10.0, 0.5, 10.0)
    tomorrow = Schedule(1450.0).change(Channel.RUN, 60.0, 0.0)
    tomorrow.knots[Channel.SUCTION_VALVE] = [(0.0, 0.5)]
    times, values, slopes, _ = arrays_joined(today.arrays(), tomorrow.arrays())

    assert times.tolist() == [0.0, DAY_S - 10.0, DAY_S, DAY_S + 60.0]
    assert values[:, Channel.SUCTION_VALVE].tolist() == [1.0, 1.0, 0.5, 0.5]
    assert slopes[:, Channel.SUCTION_VALVE].tolist() == pytest.approx([0.0, -0.05, 0.0, 0.0])
    assert joined(today, tomorrow).knots[Channel.RUN][-1] == (DAY_S + 60.0, 0.0)


def test_runs_are_read_from_a_plan() -> None:
    """Catches a run of no length, one that is open at the end left out, and a command of a half taken as off."""
    plan = plan_of(run=[(0.0, 0.0), (10.0, 0.0), (10.0, 1.0), (20.0, 1.0), (20.0, 0.0), (30.0, 0.0), (30.0, 0.5)])

    assert running_spans(plan, 50.0) == [(10.0, 20.0), (30.0, 50.0)]
    assert running_spans(plan_of(run=[(0.0, 1.0), (0.0, 0.0)]), 50.0) == []
    begins = [(0.0, 1.0), (10.0, 1.0), (10.0, 0.5), (20.0, 0.5), (20.0, 0.0)]
    assert running_spans(plan_of(run=begins), 50.0) == [(0.0, 20.0)]


@pytest.mark.parametrize(
    ("share", "changed"),
    [
        (0.0, {"broken_s": (30.0, NEVER_S)}),
        (0.3, {"shorted_s": (48.0, NEVER_S)}),
        (0.6, {"stuck_s": (66.0, NEVER_S)}),
        (1.0, {"drift_from_s": 90.0, "drift_pa_s": 200.0}),
    ],
)
@pytest.mark.parametrize("channel", ["oil", "suction"])
def test_a_sensor_fails_alone_on_a_machine_that_is_well(channel: str, share: float, changed: dict[str, Any]) -> None:
    """Catches the other channel, another way than was drawn, and a machine that is not well."""
    case = befalling.SENSORS[f"{channel}-sensor-fails-alone"](Draw(Given(share), lambda *_: SITE))  # type: ignore[arg-type]

    assert getattr(case.chain, channel) == replace(Sensor(), **changed)
    other = "suction" if channel == "oil" else "oil"
    assert getattr(case.chain, other) == Sensor()
    assert (case.duration_s, len(case.schedule.knots[Channel.RUN])) == (1800.0, 1)


def test_when_sensors_begin_and_end_to_tell_an_untruth() -> None:
    """Catches a crankcase sensor, an end or a lost stretch left out, and what never comes."""
    chain = SensorChain(
        Sensor(stuck_s=(10.0, 20.0)), Sensor(broken_s=(30.0, NEVER_S), lost=((40.0, 41.0),)), Sensor(drift_from_s=50.0)
    )

    assert sorted(moments_of_sensors(chain)) == [10.0, 20.0, 30.0, 40.0, 41.0, 50.0]
    assert moments_of_sensors(replace(chain, suction=Sensor(shorted_s=(0.0, 60.0)), crankcase=None)) == [
        10.0,
        20.0,
        60.0,
    ]


def test_what_befalls_a_machine_is_as_long_as_its_family_needs_and_meets_its_oil_alone() -> None:
    """Catches an upset that never ends, a fault that does, and a foam on an oil that does not foam."""
    dip, start, fault = (
        befall(name, SITE, 1, (0,)) for name in ("power-dip", "low-voltage-start", "pump-drive-broken")
    )
    assert dip is not None
    assert start is not None
    assert fault is not None

    assert (dip.case.duration_s, start.case.duration_s) == (60.0 + 70.0 + 60.0, 900.0)
    assert dip.ends_s == dip.case.upsets[-1][1]
    assert fault.ends_s == NEVER_S
    assert (dip.at_start, start.at_start, fault.at_start) == (False, True, False)
    assert befall("foaming-oil-recovers", SITE, 1, (0,)) is None
    assert befall("suction-reopened-in-time", replace(SITE, oil=OILS["foaming-68"]), 1, (0,)) is None
    others = [befall("power-dip", SITE, seed, key) for seed, key in ((2, (0,)), (1, (1,)))]
    assert all(one is not None and one.ends_s != dip.ends_s for one in others)
