"""What each family does to a machine, at the least and at the most of all that is drawn.

The site is made up of round numbers: 250 kPa suction, 900 kPa head, 450 kPa load, oil of 45 C in a room of 20 C, 10 kg of
oil, a limiting vacuum of 20 kPa, a dry pump that draws nothing below 60 kPa. An opening that is to hold a suction pressure
stands as that pressure in MPa, and a sump holds 0.1 of refrigerant at rest. A change is told as its moment (s), channel,
value, and "in" the seconds that it takes. All these ranges are assumed: none has a law, so each is stated here once more.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pytest

from replay.physics import MACHINES, OILS, REFRIGERANTS, Channel, Schedule, SensorChain, Start, duty, harmless, starting
from replay.physics.drawing import ANY, FOAMING, STILL, Draw, Site
from replay.physics.duty import Harmless, Length, Scene
from replay.physics.families import FAULTS, HARMLESS
from replay.physics.model import equilibrium_fraction

LEAST, MOST = 0.0, 1.0


@dataclass(frozen=True)
class Plain(Site):
    """A site whose figures that follow from others are round ones."""

    limiting_vacuum_pa = 20e3
    dry_pump_limit_pa = 60e3
    oil_viscosity_pa_s = 0.015

    def rested(self, temperature_c: float, share: float) -> Start:
        """Return a sump that holds 0.1 at rest."""
        return Start(temperature_c, share * 0.1)

    def throttle_opening(self, _plan: Schedule, suction_pa: float) -> float:
        """Return the suction that is asked for, MPa."""
        return suction_pa / 1e6

    def liquid_opening(self, _plan: Schedule, suction_pa: float) -> float:
        """Return the suction that is asked for, MPa."""
        return suction_pa / 1e6


MACHINE = replace(MACHINES["granite"], oil_charge_m3=0.01)
OIL = replace(OILS["still-68"], density_kg_m3=1000.0)
SITE = Plain(MACHINE, OIL, REFRIGERANTS["R134a"], 1450.0, 250e3, 900e3, 450e3, 45.0, SensorChain())


class Given:
    """A generator that always gives the same."""

    def __init__(self, share: float) -> None:
        """Give this share of every range."""
        self.share = share

    def random(self) -> float:
        """Return the share."""
        return self.share


def drawing(share: float, oils: list[Any] | None = None) -> Draw:
    """Return draws that all come out as this share; oils: notes what is asked for."""

    def site(_draw: Draw, asked: Any) -> Site:
        if oils is not None:
            oils.append(asked)
        return SITE

    return Draw(Given(share), site)  # type: ignore[arg-type]


def told(plan: Schedule) -> str:
    """Return the changes of a plan in order of time."""
    rows = [
        (begin, channel.name.lower(), value, end - begin)
        for channel, knots in plan.knots.items()
        for (begin, _), (end, value) in zip(knots[1::2], knots[2::2], strict=True)
    ]
    return "; ".join(
        f"{at:.6g} {name} {value:.6g}" + (f" in {over:.6g}" if over else "") for at, name, value, over in sorted(rows)
    )


def again(first: float, shut: float, opened: float) -> str:
    """Return suction shut and opened ten times, each within a second."""
    moments = [first + i * (shut + opened) for i in range(10)]
    return "; ".join(f"{at:g} suction_valve 0 in 1; {at + shut:g} suction_valve 1 in 1" for at in moments)


# fmt: off
# Family -> oils, what is done at the least and until when, the same at the most.
DONE: dict[str, tuple[Any, str, float, str, float]] = {
    "suction-valve-shut": (
        STILL, "120 suction_valve 0 in 1; 540 suction_valve 1 in 1", 2520, "420 suction_valve 0 in 6", 2820),
    "liquid-solenoid-stuck": (STILL, "120 liquid_valve 0 in 0.5", 2520, "420 liquid_valve 0.002 in 0.5", 2820),
    "expansion-valve-stuck": (STILL, "120 liquid_valve 0.025 in 5", 2520, "420 liquid_valve 0.054 in 60", 2820),
    "liquid-valve-left-shut": (STILL, "0 liquid_valve 0; 20 run 1", 2420, "0 liquid_valve 0; 60 run 1", 2460),
    "long-pump-down": (
        STILL, "120 liquid_valve 0.05 in 20; 210 liquid_valve 0 in 5", 2520,
        "420 liquid_valve 0.05 in 60; 510 liquid_valve 0.002 in 5", 2820),
    "suction-throttled": (STILL, "120 suction_valve 0.101 in 2", 2520, "420 suction_valve 0.054 in 20", 2820),
    "foaming-oil-lost": (  # a clean screen takes 1.5 kPa of the 225 kPa that there are, a dirty one 1.02 to 1.25 times less
        FOAMING, f"0 screen_clog {1 - math.sqrt(1.5 * 1.02 / 225):.6g}; 120 suction_valve 0 in 1", 2520,
        f"0 screen_clog {1 - math.sqrt(1.5 * 1.25 / 225):.6g}; 420 suction_valve 0 in 6", 2820),
    "repeated-starved-spells": (STILL, again(120, 200, 4), 2220, again(420, 300, 7), 3550),
    "reload-before-film": (
        STILL, "120 suction_valve 0 in 1; 180 suction_valve 1 in 0.5", 900,
        "420 suction_valve 0 in 3; 1140 suction_valve 1 in 3", 1860),
    "reload-by-degrees": (
        STILL, "120 liquid_valve 0 in 1; 180 liquid_valve 0.3 in 10", 900,
        "420 liquid_valve 0.002 in 1; 1140 liquid_valve 1 in 60", 1860),
    "oil-lost-slowly": (  # all 10 kg in 15 to 40 minutes
        ANY, f"120 oil_leak_kg_s {10 / 900:.6g}", 1740, f"420 oil_leak_kg_s {10 / 2400:.6g}", 3540),
    "oil-drawn-to-neighbour": (  # 82 to 95 % of it in 30 to 150 s
        ANY, f"120 oil_leak_kg_s {8.2 / 30:.6g}; 150 oil_leak_kg_s 0", 870,
        f"420 oil_leak_kg_s {9.5 / 150:.6g}; 570 oil_leak_kg_s 0", 1290),
    "flooded-start-foaming-on": (  # 1.8 to 2.5 charges of liquid in 800 to 1000 s
        FOAMING, "0 liquid_valve 0.02; 20 liquid_kg_s 0.0225; 20 run 1; 820 liquid_kg_s 0; 820 liquid_valve 1 in 30", 1540,
        "0 liquid_valve 0.08; 60 liquid_kg_s 0.025; 60 run 1; 1060 liquid_kg_s 0; 1060 liquid_valve 1 in 30", 1780),
    "screen-clogging": (
        ANY, "120 screen_clog 0.85 in 480; 600 screen_clog 0.998 in 144", 1464,
        "420 screen_clog 0.92 in 1500; 1920 screen_clog 0.998 in 450", 3090),
    "pump-drive-broken": (ANY, "120 pump_drive 0", 840, "420 pump_drive 0", 1140),
    "relief-stuck-open": (ANY, "120 relief_stuck 0.85 in 0.2", 840, "420 relief_stuck 1 in 5", 1140),
    "rotation-reversed": (ANY, "0 rotation -1; 20 run 1", 740, "0 rotation -1; 60 run 1", 780),
    "oil-sensor-stuck": (ANY, "120 pump_drive 0", 840, "420 pump_drive 0", 1140),
    "oil-sensor-drifting": (ANY, "120 pump_drive 0", 840, "420 pump_drive 0", 1140),
    "oil-sensor-loop-fails": (ANY, "120 pump_drive 0", 840, "420 pump_drive 0", 1140),
}
# What makes a sensor of these families tell an untruth, at the least and at the most.
SENSOR: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "oil-sensor-stuck": ({"stuck_s": (60.0, 1e9)}, {"stuck_s": (418.0, 1e9)}),
    "oil-sensor-drifting": (
        {"drift_from_s": 60.0, "drift_pa_s": 120.0}, {"drift_from_s": 420.0, "drift_pa_s": 400.0}),
    "oil-sensor-loop-fails": ({"broken_s": (121.0, 1e9)}, {"shorted_s": (450.0, 1e9)}),
}
# Sump that a family begins with, beside that of a running machine: temperature, dissolved, level.
STANDING: dict[str, tuple[tuple[float, float, float], tuple[float, float, float]]] = {
    "liquid-valve-left-shut": ((40.0, 0.06, 1.0), (40.0, 0.095, 1.0)),
    "rotation-reversed": ((40.0, 0.06, 1.0), (40.0, 0.095, 1.0)),
    "flooded-start-foaming-on": ((20.0, 0.3, 0.35), (28.0, 0.4, 0.5)),
}
# Upset at 100 s -> what is done, and when it is over.
UPSETS: dict[Callable[[Scene], Any], tuple[str, float, str, float]] = {
    harmless.pump_down_and_stop: (
        "100 liquid_valve 0.125 in 2; 115 liquid_valve 0 in 1; 116 run 0; 230 liquid_valve 1 in 2; 235 run 1", 295,
        "100 liquid_valve 0.175 in 2; 140 liquid_valve 0 in 1; 141 run 0; 395 liquid_valve 1 in 2; 400 run 1", 460),
    harmless.pump_down_in_time: (
        "100 liquid_valve 0 in 2; 150 liquid_valve 0 in 1; 151 run 0; 265 liquid_valve 1 in 2; 270 run 1", 330,
        "100 liquid_valve 0 in 2; 250 liquid_valve 0 in 1; 251 run 0; 505 liquid_valve 1 in 2; 510 run 1", 570),
    harmless.service_valve_shut_briefly: (
        "100 suction_valve 0 in 1; 106 suction_valve 1 in 3", 166, "100 suction_valve 0 in 1; 116 suction_valve 1 in 3", 176),
    harmless.suction_reopened_in_time: (
        "100 suction_valve 0 in 1; 130 suction_valve 1 in 3", 190, "100 suction_valve 0 in 4; 190 suction_valve 1 in 3", 250),
    harmless.foaming_oil_recovers: (
        "100 suction_valve 0 in 1; 400 suction_valve 1 in 3", 460, "100 suction_valve 0 in 4; 580 suction_valve 1 in 3", 640),
    harmless.suction_throttled_for_a_while: (
        "100 suction_valve 0.09 in 1; 200 suction_valve 1 in 3", 260,
        "100 suction_valve 0.11 in 5; 500 suction_valve 1 in 3", 560),
    harmless.expansion_valve_hunts: (
        "100 liquid_valve 0 in 5; 160 liquid_valve 1 in 10", 260, "100 liquid_valve 0.05 in 30; 250 liquid_valve 1 in 40", 350),
    harmless.defrost: (
        "100 discharge_pa 720000 in 60; 100 load_pa 607500 in 20; 400 discharge_pa 900000 in 60; 400 load_pa 450000 in 30", 520,
        "100 discharge_pa 900000 in 60; 100 load_pa 607500 in 60; 400 discharge_pa 900000 in 60; 400 load_pa 450000 in 120",
        520),
    harmless.floating_head: (
        "; ".join(f"{at} discharge_pa 585000 in 10; {at + 40} discharge_pa 900000 in 10" for at in (100, 180, 260)), 340,
        "; ".join(f"{at} discharge_pa 765000 in 30; {at + 80} discharge_pa 900000 in 30" for at in (100, 260, 420)), 580),
    harmless.unloader_steps: (
        "; ".join(f"{at} capacity 0.34 in 0.5" for at in (100, 115, 130, 145)) + "; 160 capacity 1 in 0.5", 190,
        "; ".join(f"{at} capacity 0.67 in 0.5" for at in (100, 160, 220, 280)) + "; 340 capacity 1 in 0.5", 370),
    harmless.speed_ramps: (
        "; ".join(f"{at} speed_rpm 725 in 3" for at in (100, 140, 180)) + "; 220 speed_rpm 1450 in 10", 250,
        "; ".join(f"{at} speed_rpm 1450 in 30" for at in (100, 220, 340)) + "; 460 speed_rpm 1450 in 10", 490),
    harmless.speed_low_for_a_while: (
        "100 speed_rpm 145 in 5; 160 speed_rpm 1450 in 5", 240, "100 speed_rpm 435 in 20; 300 speed_rpm 1450 in 20", 380),
    harmless.valve_plate_broken: (
        "100 ambient_k 301.15 in 30; 100 capacity 0.3 in 0.2; 100 discharge_pa 810000 in 60; "
        "350 ambient_k 293.15 in 30; 350 capacity 1 in 0.2; 350 discharge_pa 900000 in 60", 410,
        "100 ambient_k 313.15 in 30; 100 capacity 0.7 in 0.2; 100 discharge_pa 810000 in 60; "
        "520 ambient_k 293.15 in 30; 520 capacity 1 in 0.2; 520 discharge_pa 900000 in 60", 580),
    harmless.liquid_slug: (  # 1 to 3.3 kg in 5 to 20 s
        "100 liquid_kg_s 0.2; 105 liquid_kg_s 0", 345, "100 liquid_kg_s 0.165; 120 liquid_kg_s 0", 360),
    harmless.oil_returns_in_a_slug: (  # 5.5 to 8 kg away in 120 to 240 s, back in 5 to 20 s with up to 0.5 kg of liquid
        f"100 oil_leak_kg_s {5.5 / 120:.6g}; 220 liquid_kg_s 0; 220 oil_leak_kg_s -1.1; 225 liquid_kg_s 0; 225 oil_leak_kg_s 0",
        285,
        f"100 oil_leak_kg_s {8 / 240:.6g}; 340 liquid_kg_s 0.025; 340 oil_leak_kg_s -0.4; 360 liquid_kg_s 0; "
        "360 oil_leak_kg_s 0", 420),
    harmless.level_shifts: (  # 6 to 8.2 kg in 30 to 120 s, and back after 20 to 140 s
        "100 oil_leak_kg_s 0.2; 130 oil_leak_kg_s 0; 150 oil_leak_kg_s -0.2; 180 oil_leak_kg_s 0", 240,
        f"100 oil_leak_kg_s {8.2 / 120:.6g}; 220 oil_leak_kg_s 0; 360 oil_leak_kg_s {-8.2 / 120:.6g}; 480 oil_leak_kg_s 0", 540),
    harmless.screen_bypass: (
        "100 screen_clog 0.9 in 100; 205 screen_clog 0 in 1", 320, "100 screen_clog 0.97 in 300; 460 screen_clog 0.3 in 1", 520),
    harmless.readings_lost: ("", 101, "", 102.2),
    starting.start: ("100 run 1", 280, "100 run 1", 280),
    starting.start_unfed: (
        "99 liquid_valve 0.03; 100 run 1; 110 liquid_valve 1 in 10", 280,
        "99 liquid_valve 0.03; 100 run 1; 160 liquid_valve 1 in 60", 280),
    starting.start_with_liquid: (  # up to a fiftieth of the charge, 0.2 kg, in half a minute
        "99 liquid_valve 0.03; 100 liquid_kg_s 0.002; 100 run 1; 110 liquid_valve 1 in 10; 130 liquid_kg_s 0", 280,
        f"99 liquid_valve 0.03; 100 liquid_kg_s {0.2 / 30:.6g}; 100 run 1; 130 liquid_kg_s 0; 160 liquid_valve 1 in 60", 280),
    starting.start_in_the_cold: (
        "80 discharge_pa 630000 in 1; 100 run 1; 130 discharge_pa 900000 in 120", 280,
        "80 discharge_pa 810000 in 1; 100 run 1; 130 discharge_pa 900000 in 120", 280),
    starting.start_on_low_voltage: (
        "99 speed_rpm 145; 100 run 1; 100 speed_rpm 1450 in 4", 280, "99 speed_rpm 145; 100 run 1; 100 speed_rpm 1450 in 20", 280),
    starting.power_dip: ("100 run 0; 100.3 run 1", 160.3, "100 run 0; 104 run 1", 164),
    duty.DUTIES[0]: (
        "100 liquid_valve 0 in 1; 102 run 0; 217 liquid_valve 1 in 2; 222 run 1", 222,
        "100 liquid_valve 0 in 1; 106 run 0; 501 liquid_valve 1 in 2; 506 run 1", 506),
    duty.DUTIES[1]: (
        "100 capacity 0.34 in 0.5; 140 capacity 1 in 0.5", 141, "100 capacity 0.67 in 0.5; 500 capacity 1 in 0.5", 501),
    duty.DUTIES[2]: (
        "100 discharge_pa 846000 in 30; 100 load_pa 414000 in 30; 150 discharge_pa 900000 in 30; 150 load_pa 450000 in 30", 180,
        "100 discharge_pa 945000 in 120; 100 load_pa 504000 in 120; 370 discharge_pa 900000 in 120; 370 load_pa 450000 in 120",
        490),
}
# Sump that has stood -> (C, dissolved) at the least, at 0.69 of every range, at the most.
SUMPS: dict[Callable[[Draw, Site], Start], tuple[tuple[float, float], ...]] = {
    starting.with_heater: ((40.0, 0.06), (40.0, 0.1 * (0.6 + 0.69 * 0.35)), (40.0, 0.095)),
    starting.without_heater: ((20.0, 0.06), (22.76, 0.1 * (0.6 + 0.69 * 0.35)), (24.0, 0.1)),
    starting.flooded: ((28.0, 0.14), (28.0 + 0.69 * 8.0, 0.14 + 0.69 * 0.12), (36.0, 0.26)),
    starting.bitter_cold: ((-5.0, 0.015), (8.8, 0.015 + 0.69 * 0.03), (15.0, 0.045)),
}
# fmt: on


@pytest.mark.parametrize("family", DONE)
def test_a_fault_does_what_its_family_says_at_both_ends_of_its_ranges(family: str) -> None:
    """Catches another channel, size or moment, ends exchanged, a share of something else, and a trace that ends too soon."""
    oils, least, least_s, most, most_s = DONE[family]
    for share, said, ends_s in ((LEAST, least, least_s), (MOST, most, most_s)):
        asked: list[Any] = []
        case = FAULTS[family](drawing(share, asked))
        assert told(case.schedule) == said
        assert (asked, case.duration_s) == ([oils], pytest.approx(ends_s))
        sump = (case.start.oil_temperature_c, case.start.dissolved_fraction, case.start.level)
        standing = STANDING.get(family, ((45.0, None, 1.0),) * 2)[share == MOST]
        assert sump == pytest.approx(standing)
        assert case.schedule.running == (family not in STANDING)
        changed = SENSOR.get(family, ({}, {}))[share == MOST]
        assert case.chain == replace(SITE.chain, oil=replace(SITE.chain.oil, **changed))


def test_the_second_of_two_faults_comes_when_the_machine_has_done_its_duty_for_a_while() -> None:
    """Catches a second fault with no rest before it, duty that goes on into it, and a first one that never ends."""
    for share, shut, opened, broken in (
        (LEAST, "120 suction_valve 0 in 1", 720, 3420),
        (MOST, "420 suction_valve 0 in 6", 1320, 5820),
    ):
        case = FAULTS["two-faults-in-a-day"](drawing(share))
        first, second, *duties, last = told(case.schedule).split("; ")
        begin_s = opened + 600 + (60 if share == LEAST else 400)
        assert [first, second, last] == [shut, f"{opened} suction_valve 1 in 2", f"{broken} pump_drive 0"]
        assert duties[0].startswith(f"{begin_s} ")
        assert broken - 1000 < float(duties[-1].split()[0]) < broken - 430
        assert case.duration_s == broken + 720


@pytest.mark.parametrize("share", [0.39, 0.41])
def test_two_shut_suctions_in_five_come_back(share: float) -> None:
    """Catches a share of another size, and one that is taken the other way round."""
    plan = FAULTS["suction-valve-shut"](drawing(share)).schedule

    assert ("suction_valve 1" in told(plan)) == (share < 0.4)


@pytest.mark.parametrize("share", [0.29, 0.31])
def test_three_throttlings_in_ten_end_near_atmospheric_pressure(share: float) -> None:
    """Catches a deep vacuum in each of them, or in none."""
    plan = FAULTS["suction-throttled"](drawing(share)).schedule
    opening = float(told(plan).split()[2])

    assert opening == pytest.approx(0.101 - share * 0.021 if share < 0.3 else 0.025 + share * 0.029)


@pytest.mark.parametrize("upset", UPSETS, ids=lambda upset: upset.__name__)
def test_an_upset_does_what_it_says_and_brings_back_what_it_changed(upset: Callable[[Scene], Any]) -> None:
    """Catches another size or moment, a mark that ends too soon, and a machine that is left other than it was."""
    least, least_s, most, most_s = UPSETS[upset]
    for share, said, ends_s in ((LEAST, least, least_s), (MOST, most, most_s)):
        running = upset not in (starting.start, *(its for its in UPSETS if its.__name__.startswith("start_")))
        plan = SITE.schedule(running=running)
        assert upset(Scene(drawing(share), SITE, plan, 100.0, 700.0)) == pytest.approx((100.0, ends_s))
        assert told(plan) == said
        left = {channel: knots[-1][1] for channel, knots in plan.knots.items()}
        if upset is harmless.screen_bypass:  # open, it leaves the screen up to three tenths dirty
            assert left.pop(Channel.SCREEN_CLOG) <= 0.3
        home = SITE.schedule().knots
        assert left == {channel: home[channel][0][1] for channel in left}


def test_no_upset_takes_longer_than_its_family_says() -> None:
    """Catches a room that is too small for what is done in it: the next would begin before it is over, or none come."""
    seen = 0
    for case in HARMLESS.values():
        its = getattr(case, "__self__", None)
        if isinstance(its, Harmless) and its.upset in UPSETS:
            longest = max(UPSETS[its.upset][1], UPSETS[its.upset][3]) - 100.0
            assert longest < its.longest_s <= longest + 75.0
            seen += 1
    assert seen == 18


@pytest.mark.parametrize("sump", SUMPS, ids=lambda sump: sump.__name__)
def test_a_sump_that_has_stood_is_as_warm_and_as_thin_as_its_night_makes_it(
    sump: Callable[[Draw, Site], Start],
) -> None:
    """Catches a heater that does nothing, a weekend that brings less than a night, and a cold morning warmer than the room."""
    for share, (celsius, dissolved) in zip((LEAST, 0.69, MOST), SUMPS[sump], strict=True):
        start = sump(drawing(share), SITE)
        assert (start.oil_temperature_c, start.dissolved_fraction) == pytest.approx((celsius, dissolved))


def test_a_cold_sump_is_no_warmer_than_its_room_and_holds_no_more_than_a_full_one() -> None:
    """Catches a morning of 15 C in a room of 2, and more refrigerant than condenses into a sump."""
    cold = replace(SITE, oil_temperature_c=27.0)
    full = replace(SITE)
    object.__setattr__(full, "rested", lambda temperature_c, share: Start(temperature_c, share * 0.9))

    assert starting.bitter_cold(drawing(MOST), cold).oil_temperature_c == 2.0
    assert starting.without_heater(drawing(MOST), full).dissolved_fraction == 0.36


def test_a_drive_turns_between_its_own_speeds() -> None:
    """Catches ramps below what a drive can do, and a return to another speed than the site's."""
    driven = replace(SITE, speeds_rpm=(600.0, 1800.0), speed_rpm=1400.0)
    for share, speed in ((LEAST, 600.0), (MOST, 1800.0)):
        plan = driven.schedule()
        harmless.speed_ramps(Scene(drawing(share), driven, plan, 100.0, 700.0))
        values = [float(change.split()[2]) for change in told(plan).split("; ")]
        assert values == pytest.approx([speed] * 3 + [1400.0])


def test_head_and_load_keep_apart_whatever_is_done() -> None:
    """Catches a defrost whose load passes the head, and a head that floats below the load: neither is there."""
    near = replace(SITE, discharge_pa=500e3)
    for upset, channel, least, most in (
        (harmless.defrost, "load_pa", 475e3, 475e3),
        (harmless.floating_head, "discharge_pa", 472.5e3, 472.5e3),
        (starting.start_in_the_cold, "discharge_pa", 472.5e3, 472.5e3),
        (duty.DUTIES[2], "load_pa", 414e3, 475e3),
    ):
        for share, wanted in ((LEAST, least), (MOST, most)):
            plan = near.schedule()
            upset(Scene(drawing(share), near, plan, 100.0, 700.0))
            first = next(change for change in told(plan).split("; ") if f" {channel} " in change)
            assert float(first.split()[2]) == pytest.approx(wanted)


def test_a_start_at_the_beginning_of_a_trace_is_made_ready_at_its_beginning() -> None:
    """Catches a change before the trace begins."""
    for start, channel in (
        (starting.start_in_the_cold, "discharge_pa"),
        (starting.start_on_low_voltage, "speed_rpm"),
        (starting.start_unfed, "liquid_valve"),
    ):
        plan = SITE.schedule(running=False)
        start(Scene(drawing(LEAST), SITE, plan, 0.5, 700.0))
        assert told(plan).split("; ")[0].startswith(f"0 {channel} ")


def later(share: float, room_s: float, sump: Callable[[Draw, Site], Start], site: Site = SITE) -> tuple[Any, Schedule]:
    """Return what a start later in a trace does, at 100 s with so much room."""
    plan = site.schedule()
    family = starting.out_of(sump, starting.start)
    return family.upset(Scene(drawing(share), site, plan, 100.0, room_s)), plan


def test_a_start_later_in_a_trace_stands_as_long_as_there_is_room_and_takes_up_what_a_night_would_bring() -> None:
    """Room for 200 s of standing: the missing refrigerant comes as liquid; with room for a night it comes by itself."""
    lively = replace(SITE, oil_temperature_c=70.0)  # so warm that little is left in it: 0.02, by 0.1 less than at rest
    held = equilibrium_fraction(OIL, SITE.refrigerant, 70.0, 250e3)
    missing = 0.1 / 0.9 - held / (1.0 - held)  # no more than the warm oil holds at rest: 0.1, not 0.14
    rate = missing * 10.0 / 190.0
    span, plan = later(LEAST, 405.0, starting.flooded, lively)  # 405 - 25 - 180 = 200 s of standing

    assert rate > 0.004
    assert told(plan) == (
        f"100 liquid_valve 0 in 1; 105 run 0; 110 liquid_kg_s {rate:.6g}; 300 liquid_kg_s 0; "
        "303 liquid_valve 1 in 2; 305 run 1"
    )
    assert span == (305.0, 485.0)
    for share, night_s in ((LEAST, 8 * 3600), (MOST, 14 * 3600)):
        span, plan = later(share, 1e6, starting.with_heater)
        on_s = 105 + night_s
        assert told(plan) == f"100 liquid_valve 0 in 1; 105 run 0; {on_s - 2} liquid_valve 1 in 2; {on_s} run 1"
        assert span == (on_s, on_s + 180.0)


def test_a_running_oil_that_holds_more_than_a_night_would_bring_is_given_nothing() -> None:
    """Catches liquid drawn out of a sump."""
    _, plan = later(LEAST, 405.0, lambda _draw, _site: Start(30.0, 0.0))

    assert "liquid_kg_s 0; 300 liquid_kg_s 0" in told(plan)


@pytest.mark.parametrize(("share", "moments"), [(LEAST, [60.0, 960.0, 1860.0]), (MOST, [740.0, 1640.0, 2540.0])])
def test_each_space_of_a_trace_has_its_upset_a_minute_after_its_beginning_or_before_its_end(
    share: float, moments: list[float]
) -> None:
    """Of 100 s in spaces of 900; catches upsets that touch, rooms that run into the next space, and a last one cut off."""
    seen: list[tuple[float, float]] = []

    def upset(scene: Scene) -> tuple[float, float]:
        seen.append((scene.at_s, scene.room_s))
        return scene.at_s, scene.at_s + 100.0

    case = Harmless(upset, 100.0).case(drawing(share), Length(2700.0, 900.0))
    assert [at for at, _ in seen] == moments
    assert [at + room for at, room in seen] == [840.0, 1740.0, 2640.0]  # a minute of quiet before the next space
    assert case.upsets == tuple((at, at + 100.0) for at in moments)
    assert (case.duration_s, case.schedule.running, case.start) == (2700.0, True, SITE.start)
    cut = Harmless(upset, 100.0).case(drawing(share), Length(2700.0 - 900.0 + 159.0, 900.0))
    assert len(cut.upsets) == 2
    assert len(Harmless(upset, 100.0).case(drawing(LEAST), Length(1960.0, 900.0)).upsets) == 3


@pytest.mark.parametrize(("share", "at_s"), [(LEAST, 20.0), (MOST, 90.0)])
def test_a_trace_of_starts_begins_with_one_out_of_a_real_night(share: float, at_s: float) -> None:
    """Catches a machine that runs at the beginning, a first start in place of a later one, and a sump that is not its own."""
    case = starting.out_of(starting.with_heater, starting.start).case(drawing(share), Length(900.0, 900.0))

    assert not case.schedule.running
    assert case.start == starting.with_heater(drawing(share), SITE)
    assert case.upsets == ((at_s, at_s + 180.0),)


@pytest.mark.parametrize(
    ("share", "begins"),
    [(LEAST, [160.0 + 182.0 * i for i in range(8)]), (MOST, [500.0, 1290.0])],
)
def test_duty_comes_after_its_gap_and_is_over_before_what_follows(share: float, begins: list[float]) -> None:
    """From 100 to 2,000 s: at the least a stop of 122 s every 182 s, at the most a swing of 390 every 790."""
    plan = SITE.schedule()
    until_s = begins[-1] + 430.0 + 0.5
    duty.ordinary_duty(drawing(share), SITE, plan, 100.0, until_s)
    found = sorted(
        {
            float(change.split()[0])
            for change in told(plan).split("; ")
            if " liquid_valve 0 " in change or " load_pa 504000 " in change
        }
    )
    assert found == begins
    shorter = SITE.schedule()
    duty.ordinary_duty(drawing(share), SITE, shorter, 100.0, begins[-1] + 430.0)
    assert len(told(shorter)) < len(told(plan))


def test_a_machine_without_unloading_only_stops_and_swings() -> None:
    """Catches cylinders unloaded on a machine that cannot."""
    whole = replace(SITE, unloading=())
    for share in (LEAST, 0.34, 0.5, 0.67, MOST):
        plan = whole.schedule()
        duty.ordinary_duty(drawing(share), whole, plan, 0.0, 3000.0)
        assert "capacity" not in told(plan)
    plan = SITE.schedule()
    duty.ordinary_duty(drawing(0.5), SITE, plan, 0.0, 3000.0)
    assert "capacity" in told(plan)
