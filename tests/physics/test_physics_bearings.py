"""Bearings short of oil: what drains, touches, heats and heals, which spell did it, and the label that follows."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from replay.physics import (
    MACHINES,
    OILS,
    REFRIGERANTS,
    Case,
    Channel,
    Damage,
    Plant,
    SensorChain,
    Spell,
    Start,
    layout,
    simulate,
)
from replay.physics.bearing import bearing_step, side_flow
from replay.physics.behaviour import USUAL
from replay.physics.families import case_of, generate, label_of, same_label, settled_label
from replay.physics.model import first_state, parameters
from tests.support.physics_scenarios import CLOSE_S, run, schedule, shut

pytestmark = pytest.mark.slow("simulates, scores or draws many traces")

DT = 0.1
PINS, MAINS = range(3), range(3, 6)


def journals(machine: str = "granite", **changed: float) -> tuple[np.ndarray, np.ndarray]:
    """Return (state, parameters) of a machine in steady running; changed: state by the lower-case name of its place."""
    plan = schedule(machine)
    p = parameters(MACHINES[machine], OILS["still-68"], REFRIGERANTS["R134a"], plan)
    s = first_state(MACHINES[machine], OILS["still-68"], REFRIGERANTS["R134a"], plan, Start(), p)
    s[layout.S_MEP] = p[layout.P_RATED_MEP]
    s[layout.S_SPEED] = 1.0
    for name, value in changed.items():
        s[getattr(layout, f"S_{name.upper()}")] = value
    return s, p


def each(s: np.ndarray, place: int) -> np.ndarray:
    """Return one figure of the six journals."""
    return s[place : place + 6]


def let(s: np.ndarray, p: np.ndarray, seconds: float, dt: float = DT) -> np.ndarray:
    """Let the bearings alone run for some seconds with everything else held."""
    for step in range(round(seconds / dt)):
        bearing_step(s, p, step * dt, dt)
    return s


def oil_lost(machine: str = "granite", **changed: float) -> float:
    """Return what the likely pin loses in a second without feed at half its oil."""
    s, p = journals(machine, net_pa=0.0, whole=0.0, **changed)
    each(s, layout.S_RESERVE)[:] = 0.5
    return 0.5 - float(each(let(s, p, 1.0), layout.S_RESERVE)[1])


def test_oil_is_lost_faster_under_load_at_speed_with_thin_oil_and_in_a_vacuum():
    """Each against the same steady machine; catches a drain that is one number, or goes the wrong way."""
    usual = oil_lost()

    assert oil_lost(mep=0.0) < 0.98 * usual
    assert oil_lost(speed=0.5) < 0.7 * usual
    assert oil_lost(viscosity=0.05) < usual < oil_lost(viscosity=0.008)
    assert oil_lost(crankcase_pa=30e3) > 1.3 * usual


def test_a_starved_film_leaks_by_the_cube_of_what_is_left():
    """Q at both ends by hand, at full oil and a fifth of it; catches a tank that drains evenly (240 s for every machine)."""
    s, p = journals(net_pa=0.0, whole=0.0)
    sommerfeld = p[layout.P_SOMMERFELD_SCALE] * s[layout.S_VISCOSITY]
    numbers, flows = p[layout.P_FILM_S : layout.P_FILM_FLOW], p[layout.P_FILM_FLOW : layout.B_FIRST]
    for left in (1.0, 0.2):
        each(s, layout.S_RESERVE)[:] = left
        film = float(np.interp(left**3 * sommerfeld, numbers[::-1], flows[::-1]))
        by_hand = 0.00122 * (film + 4.0) * 1450.0 / 60.0 / (2.0 * math.pi) * left**3
        before = float(each(s, layout.S_RESERVE)[1])
        lost = before - float(each(let(s.copy(), p, 0.1, 0.001), layout.S_RESERVE)[1])

        assert lost / 0.1 == pytest.approx(by_hand, rel=0.03)


def test_a_partial_pressure_leaves_an_oil_left_between():
    """A little over the floor the pin settles below full and above dry; catches feed that is all or nothing."""
    floor = journals()[0][layout.S_FLOOR_PA]
    settled = []
    for over in (0.001, 0.005, 0.02):
        s, p = journals(net_pa=floor + over * (USUAL.healthy_net_pa - floor))
        each(s, layout.S_RESERVE)[:] = 0.3
        s[layout.S_WHOLE] = 0.0
        settled.append(float(each(let(s, p, 3000.0, 0.5), layout.S_RESERVE)[1]))

    assert 0.2 < settled[0] < settled[1] < settled[2] <= 1.0
    assert settled[1] < 0.9


def test_pins_starve_at_the_floor_and_main_bearings_when_pressure_is_gone():
    """Just under the floor main bearings keep their oil; at none they lose it; catches main bearings left out."""
    floor = journals()[0][layout.S_FLOOR_PA]
    held, p = journals(net_pa=0.95 * floor)
    gone, _ = journals(net_pa=0.0)
    let(held, p, 120.0)
    let(gone, p, 120.0)

    assert max(each(held, layout.S_RESERVE)[PINS]) < 0.7
    assert min(each(held, layout.S_RESERVE)[MAINS]) > 0.95
    assert max(each(gone, layout.S_RESERVE)[MAINS]) < 0.7


def test_a_main_bearing_alone_spoils_the_machine():
    """Pins with oil, main bearings dry; catches a verdict that only asks the pins."""
    s, p = journals()
    each(s, layout.S_RESERVE)[MAINS] = 0.01
    each(s, layout.S_PASSAGE)[MAINS] = 0.0
    s[layout.S_NET_PA], s[layout.S_FLOOR_PA], s[layout.S_WHOLE] = 1e3, -140e3, 0.0
    let(s, p, 60.0)

    assert max(each(s, layout.S_HEAT)[PINS]) == 0.0
    assert s[layout.S_SPELLS] == 1.0


def test_heat_is_friction_less_what_body_and_oil_take():
    """By hand: a dry pin warms at load x speed/wipe time; a hot one cools in 240 s, fed in 1/(1/240 + 1/90) s."""
    s, p = journals(net_pa=0.0, speed=0.7, whole=0.0)
    each(s, layout.S_RESERVE)[:] = 1e-3
    each(let(s, p, 0.1, 0.001), layout.S_HEAT)
    assert each(s, layout.S_HEAT)[1] == pytest.approx(0.7 / 3.0 * 0.1, rel=5e-3)

    for net_pa, time_s in ((0.0, 240.0), (USUAL.healthy_net_pa, 1.0 / (1.0 / 240.0 + 1.0 / 90.0))):
        s, p = journals(net_pa=net_pa, whole=0.0)
        each(s, layout.S_HEAT)[:] = 0.8
        let(s, p, 20.0)
        assert each(s, layout.S_HEAT)[1] == pytest.approx(0.8 * math.exp(-20.0 / time_s), rel=5e-3)


def test_friction_comes_by_degrees_and_by_load():
    """Touching begins at nothing and grows as oil goes; unloaded it is far less; catches an on-off contact."""

    def warmed(left: float, load: float = 1.0) -> float:
        s, p = journals(net_pa=0.0, whole=0.0)
        s[layout.S_MEP] *= load
        each(s, layout.S_RESERVE)[:] = left
        return float(each(let(s, p, 0.1), layout.S_HEAT)[1])

    found = [warmed(left) for left in (0.4, 0.27, 0.24, 0.2, 0.1)]

    assert found[0] == 0.0
    assert all(a < b for a, b in itertools.pairwise(found))
    assert found[1] < 0.35 * found[4]
    assert 0.0 < warmed(0.02, load=0.0) < 0.1 * found[4]


def test_oil_reaches_a_dry_pin_seconds_after_its_pressure_and_heat_stays_for_minutes():
    """Passages first (7 s at full pressure), then the pin; catches oil that is there with the gauge, or minutes late."""
    s, p = journals(net_pa=USUAL.healthy_net_pa, mep=0.0, whole=0.0)
    each(s, layout.S_RESERVE)[:] = 0.2
    each(s, layout.S_PASSAGE)[:] = 0.0
    each(s, layout.S_HEAT)[:] = 0.5
    waiting = float(each(let(s, p, 6.5), layout.S_RESERVE)[1])
    filled = float(each(let(s, p, 5.0), layout.S_RESERVE)[1])
    let(s, p, 30.0)

    assert waiting <= 0.2
    assert filled > 0.9
    assert each(s, layout.S_HEAT)[1] > 0.25


def guarded(machine: str, oil: str, shut_s: float, over_s: float, react_s: float) -> tuple[Damage, Damage]:
    """Shut suction for shut_s and reopen it over over_s; returns damage alone, and with a plain script on guard.

    The script stops the machine when suction has risen by 15 kPa from its lowest, asking every react_s.
    """
    plan = schedule(machine).change(Channel.SUCTION_VALVE, CLOSE_S, 0.0, 1.0)
    plan.change(Channel.SUCTION_VALVE, CLOSE_S + shut_s, 1.0, over_s)
    end_s = CLOSE_S + shut_s + over_s + 100.0
    case = Case(MACHINES[machine], OILS[oil], REFRIGERANTS["R134a"], plan, end_s, chain=SensorChain(period_ms=500))
    plant, lowest, permitted = Plant(case), math.inf, True
    for moment_s in np.arange(react_s, end_s, react_s):
        suction_pa = plant.advance(float(moment_s), permission=permitted)[layout.R_SUCTION_PA]
        if moment_s > 2.0 * CLOSE_S:
            lowest = min(lowest, suction_pa)
            permitted = permitted and suction_pa < lowest + 15e3
    return simulate(case).damage, plant.damage


@pytest.mark.parametrize(("machine", "oil"), [("granite", "still-68"), ("granite", "still-32"), ("pebble", "still-68")])
def test_a_reload_with_a_debt_is_lost_alone_and_won_by_a_guard_that_stops_as_suction_rises(machine, oil):
    """Catches a reload whose harm is done before suction pressure says anything."""
    alone, stopped = guarded(machine, oil, 450.0, 20.0, react_s=1.0)

    assert alone.certainty == "certain"
    assert stopped.certainty == "none"


def test_a_fast_reload_onto_bearings_that_all_but_touch_is_lost_whatever_a_guard_does():
    """Asked ten times a second, and only coasting is left; catches a reload that a quick guard always wins."""
    _, in_time = guarded("pebble", "still-32", 405.0, 0.5, react_s=0.1)

    assert in_time.damage_s is not None
    assert in_time.damage_s > CLOSE_S + 405.0


def test_pressure_is_back_before_the_harm_of_a_fast_reload_is_done():
    """Net oil pressure over the floor within 5 s, every journal spoilt after that; catches a pressure that vouches for oil."""
    result = shut("granite", "still-68", reopen_s=CLOSE_S + 450.0, duration_s=CLOSE_S + 520.0)
    seconds = result.time_ms / 1000.0
    back_s = seconds[(seconds > CLOSE_S + 450.0) & (result.net_oil_pa > 3.0 * result.floor_pa)][0]

    assert back_s < CLOSE_S + 455.0
    assert result.damage.times_s[2] is not None
    assert result.damage.times_s[2] > back_s


@pytest.mark.parametrize("machine", MACHINES)
@pytest.mark.parametrize("oil", ["still-68", "still-32"])
def test_band_under_rated_load_and_unloaded(machine, oil):
    """Pump drive broken: columns in order, a quarter apart, half a minute to six; unloaded at least three times as long."""
    plan = schedule(machine).change(Channel.PUMP_DRIVE, CLOSE_S, 0.0)
    loaded = [time - CLOSE_S for time in run(machine, oil, plan, 600.0).damage.times_s if time is not None]
    unloaded = shut(machine, oil, duration_s=1300.0).damage.damage_s

    assert len(loaded) == 3
    assert 30.0 < loaded[0] < loaded[1] / 1.2
    assert loaded[1] < loaded[2] / 1.2 < 400.0 / 1.2
    assert unloaded is not None
    assert unloaded - CLOSE_S > 3.0 * loaded[0]


def two_events() -> Case:
    """Break the pump's drive for five minutes, mend it, and break it again after a quarter of an hour."""
    plan = schedule("granite")
    for at_s in (100.0, 1300.0):
        plan.change(Channel.PUMP_DRIVE, at_s, 0.0).change(Channel.PUMP_DRIVE, at_s + 300.0, 1.0)
    return Case(MACHINES["granite"], OILS["still-32"], REFRIGERANTS["R134a"], plan, 2400.0)


def test_two_events_in_a_trace_give_two_windows():
    """The second as long after its onset as the first; catches bearings spoilt once that hide all that follows."""
    result = simulate(two_events())
    first, second = label_of(result)["must_trip"]

    assert result.damage.certainty == "certain"
    for edge in first:
        assert second[edge] - first[edge] == pytest.approx(1200.0, abs=12.0)
    assert first["earliest_s"] < first["deadline_s"] < first["likely_s"] < first["latest_s"] < second["earliest_s"]


SURE = Spell(10.0, (50.0, 60.0, 70.0))
WINDOW = {"earliest_s": 10.0, "deadline_s": 47.0, "likely_s": 57.0, "latest_s": 67.0}
LATER = Spell(300.0, (350.0, 360.0, 370.0))
LATER_WINDOW = {"earliest_s": 300.0, "deadline_s": 347.0, "likely_s": 357.0, "latest_s": 367.0}
UNDECIDED = {"undecided": True}


@pytest.mark.parametrize(
    ("damage", "label"),
    [
        (Damage(), {"ride_through": True}),
        (Damage((Spell(10.0, (50.0, None, None)),)), UNDECIDED),
        (Damage((Spell(10.0, (50.0, 60.0, None)),)), UNDECIDED),
        (Damage((SURE,)), {"must_trip": WINDOW}),
        (Damage((SURE, LATER)), {"must_trip": [WINDOW, LATER_WINDOW]}),
        (Damage((SURE, Spell(300.0, (350.0, None, None)))), UNDECIDED),
        (Damage((Spell(10.0, (12.0, 60.0, 70.0)),)), UNDECIDED),
        (Damage((Spell(None, (50.0, 60.0, 70.0)),)), UNDECIDED),
        (Damage(least_reserve=0.39), UNDECIDED),
        (Damage(least_reserve=0.41), {"ride_through": True}),
        (Damage(most_heat=0.31), UNDECIDED),
        (Damage((SURE,), least_reserve=0.3), UNDECIDED),
        (Damage((SURE,), untold=1), UNDECIDED),
    ],
)
def test_label_follows_from_the_spells(damage, label):
    """What is possible, near harm or untold is judged neither way; catches doubtful traces sorted into the easy side."""
    healthy = simulate(case_of("normal-start", 0, 3))

    assert label_of(replace(healthy, damage=damage)) == label


def test_a_sensor_that_failed_before_a_spell_moves_the_beginning_of_that_window_only():
    """Catches a second window that reaches back over the first."""
    healthy = simulate(case_of("normal-start", 0, 3))
    first, second = label_of(replace(healthy, damage=Damage((SURE, LATER))), 5.0)["must_trip"]

    assert first["earliest_s"] == 5.0
    assert second["earliest_s"] == 300.0


def test_came_near_and_got_away_is_undecided():
    """Pump drive broken until just before the pessimistic journal goes; catches a reserve of 0.24 booked as harmless."""
    plan = schedule("granite").change(Channel.PUMP_DRIVE, 60.0, 0.0).change(Channel.PUMP_DRIVE, 124.0, 1.0)
    result = run("granite", "still-32", plan, 600.0)

    assert result.damage.certainty == "none"
    assert 0.2 < result.damage.least_reserve < 0.4
    assert label_of(result) == UNDECIDED


def test_labels_stand_as_the_step_is_halved():
    """Drawn cases of the families nearest the edges, at half and a quarter; catches a label that hangs on the step."""
    for family in ("suction-throttled", "expansion-valve-stuck", "suction-valve-shut", "pump-drive-broken"):
        for index in range(3):
            case = case_of(family, index, 23)
            label = settled_label(case, simulate(case))
            if label == UNDECIDED:
                continue
            quarter = label_of(simulate(replace(case, step_s=case.step_s / 4.0)), case.chain.fault_s)
            assert label.keys() == quarter.keys(), (family, index)
            if "must_trip" in label:
                window, again = label["must_trip"], quarter["must_trip"]
                assert again["deadline_s"] == pytest.approx(window["deadline_s"], abs=8.0), (family, index)


def test_label_that_hangs_on_the_step_is_undecided(monkeypatch):
    """Every finer integration says the contrary of the last; catches the first answer taken for the right one."""
    case = case_of("pump-drive-broken", 0, 3)
    result = simulate(case)
    certain, none = result.damage, Damage()
    asked: list[float] = []

    def flips(finer: Case):
        asked.append(finer.step_s)
        yield replace(result, damage=none if len(asked) % 2 else certain)

    monkeypatch.setattr("replay.physics.families.simulate_pieces", flips)

    assert settled_label(case, result) == UNDECIDED
    assert asked == [0.05, 0.025, 0.0125]


def test_same_label_asks_kind_number_and_every_edge():
    """Catches a comparison that looks at the deadline alone."""
    assert same_label({"must_trip": WINDOW}, {"must_trip": {**WINDOW, "latest_s": 68.9}})
    assert not same_label({"must_trip": WINDOW}, {"must_trip": {**WINDOW, "latest_s": 69.1}})
    assert not same_label({"must_trip": WINDOW}, {"must_trip": [WINDOW, LATER_WINDOW]})
    assert not same_label({"must_trip": WINDOW}, UNDECIDED)
    assert same_label(UNDECIDED, UNDECIDED)


def test_a_well_trace_is_not_integrated_twice(monkeypatch):
    """Catches a cost that doubles for every harmless hour."""
    case = case_of("unloader-steps", 0, 3)
    result = simulate(case)
    monkeypatch.setattr("replay.physics.families.simulate", None)

    assert settled_label(case, result) == {"ride_through": True}


def test_a_generated_label_is_the_settled_one():
    """Catches a library that is written with the label of the coarse step."""
    case = case_of("pump-drive-broken", 1, 3)

    assert generate("pump-drive-broken", 1, 3).label == settled_label(case, simulate(case))


def test_a_dip_that_costs_no_oil_opens_no_spell_for_later_ones():
    """Catches a spell that a partial pressure opens and nothing ends, so that a fault hours later seems to begin there."""
    s, p = journals()
    net = s[layout.S_NET_PA]
    s[layout.S_NET_PA] = p[layout.B_ONSET_SHARE] * p[layout.P_RELIEF_PA] - 100.0
    let(s, p, 2.0)
    opened = s[layout.S_ONSET_S]
    s[layout.S_NET_PA] = net
    let(s, p, 2.0)

    assert (opened, s[layout.S_ONSET_S]) == (0.0, layout.NEVER)
    assert s[layout.S_RESERVE] == 1.0


def stepped(seconds: float = DT, **changed: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the state after a step or more of a machine that is not whole, and the parameters; reserve, passage, heat: of all."""
    all_six = {name: changed.pop(name) for name in ("reserve", "passage", "heat") if name in changed}
    s, p = journals(**{"net_pa": 0.0, "whole": 0.0, **changed})
    for name, value in all_six.items():
        each(s, getattr(layout, f"S_{name.upper()}"))[:] = value
    return let(s, p, seconds), p


def test_side_flow_between_points_of_the_table_and_beyond_its_lightest_load():
    """Catches the next lower point taken for what lies between, and a flow that no light load makes smaller."""
    _, p = journals()
    s0, s1 = p[layout.P_FILM_S], p[layout.P_FILM_S + 1]
    q0, q1 = p[layout.P_FILM_FLOW], p[layout.P_FILM_FLOW + 1]

    assert side_flow(p, 2.0 * s0) == pytest.approx(q0 / 2.0)
    assert side_flow(p, 0.25 * s0 + 0.75 * s1) == pytest.approx(0.25 * q0 + 0.75 * q1)
    assert side_flow(p, 0.0) == p[layout.P_FILM_FLOW + layout.FILM_POINTS - 1]


@pytest.mark.parametrize(("fraction", "crankcase_pa"), [(0.1, 30e3), (0.0, 30e3), (0.1, 400e3)])
def test_gas_that_comes_out_of_the_oil_drives_it_out_by_the_void_it_takes_up(fraction, crankcase_pa):
    """By hand at full oil; catches what is held at rest counted as gas, and volumes counted for the void."""
    s, p = journals(net_pa=0.0, whole=0.0, fraction=fraction, crankcase_pa=crankcase_pa, henry_pa=2e6)
    over = max(fraction - crankcase_pa / 2e6, 0.0)
    volumes = over * s[layout.S_DENSITY] * p[layout.P_GAS_RT] / crankcase_pa
    flow = side_flow(p, p[layout.P_SOMMERFELD_SCALE] * s[layout.S_VISCOSITY])
    lost = 0.00122 * (flow + 4.0 + 4.0 * volumes / (1.0 + volumes)) * 1450.0 / 60.0 / (2.0 * math.pi)
    let(s, p, 1e-3, 1e-3)

    assert (1.0 / each(s, layout.S_RESERVE)[1] - 1.0) / 1e-3 == pytest.approx(lost, rel=1e-6)


def test_the_load_of_the_moment_is_the_pins_and_a_lighter_one_the_main_bearings():
    """Their film by S over their load; catches one load for both, and a film that knows no load."""
    for mep, loads in ((1.0, (1.0, 0.7)), (0.0, (0.07, 0.08)), (0.5, (0.535, 0.39))):
        s, p = journals(net_pa=0.0, whole=0.0)
        s[layout.S_MEP] *= mep
        s[layout.S_FRACTION] = 0.0
        unladen = p[layout.P_SOMMERFELD_SCALE] * s[layout.S_VISCOSITY]
        let(s, p, 1e-3, 1e-3)
        for kind, load in enumerate(loads):
            lost = 0.00122 * (side_flow(p, unladen / load) + 4.0) * 1450.0 / 60.0 / (2.0 * math.pi)
            left = each(s, layout.S_RESERVE)[3 * kind + 1]
            assert (1.0 / left - 1.0) / 1e-3 == pytest.approx(lost, rel=1e-6)


def test_a_well_machine_whose_pins_alone_touch_is_not_left_alone():
    """Full pressure, oil thin for the pins only; catches a look at the lighter loaded bearing before nothing is done."""
    s, p = journals(net_pa=USUAL.healthy_net_pa)
    s[layout.S_VISCOSITY] = 0.85 * p[layout.P_LEAST_SOMMERFELD] / p[layout.P_SOMMERFELD_SCALE]
    let(s, p, DT)

    assert each(s, layout.S_HEAT)[0] > 0.0
    assert max(each(s, layout.S_HEAT)[MAINS]) == 0.0


def test_each_column_touches_at_a_film_of_its_own():
    """Between the films at which the pessimistic and the optimistic touch; catches the first one's for all."""
    s, p = journals(net_pa=0.0, whole=0.0)
    least = p[layout.P_LEAST_SOMMERFELD :][:3]
    between = 0.5 * (least[1] + least[2])
    each(s, layout.S_RESERVE)[:] = (between / (p[layout.P_SOMMERFELD_SCALE] * s[layout.S_VISCOSITY])) ** (1.0 / 3.0)
    heat = each(let(s, p, 0.01, 0.01), layout.S_HEAT)[PINS]

    assert heat[0] > heat[1] > 0.0
    assert heat[2] == 0.0


def test_a_machine_that_stands_keeps_its_oil_and_its_passages():
    """At 4 % of its speed for a minute; catches passages that run dry by themselves, and a crank that flings at rest."""
    s, _ = stepped(60.0, speed=0.04, reserve=0.5, passage=0.6)

    assert each(s, layout.S_RESERVE).tolist() == [0.5] * 6
    assert each(s, layout.S_PASSAGE).tolist() == [0.6] * 6


def test_passages_run_dry_in_their_time_and_oil_waits_until_they_are_full():
    """Catches oil that arrives through passages half full."""
    assert each(stepped(3.0, passage=1.0)[0], layout.S_PASSAGE)[1] == pytest.approx(1.0 - 3.0 / 15.0)
    half, _ = stepped(1.0, net_pa=USUAL.healthy_net_pa, reserve=0.3, passage=0.3)
    full, _ = stepped(1.0, net_pa=USUAL.healthy_net_pa, reserve=0.3, passage=1.0)
    assert each(half, layout.S_PASSAGE)[1] == pytest.approx(0.3 + 1.0 / 8.0)
    assert each(half, layout.S_RESERVE)[1] < 0.3 < each(full, layout.S_RESERVE)[1]


def test_a_spell_goes_on_until_the_pessimistic_main_bearings_too_have_their_oil_and_are_cool():
    """Pressure is back; catches a spell that ends with the pins, or by the journals that last longest."""
    for kind in (PINS, MAINS):
        for place, left in ((layout.S_RESERVE, 0.9), (layout.S_HEAT, 0.2)):
            s, p = journals(net_pa=USUAL.healthy_net_pa, whole=0.0, onset_s=5.0)
            each(s, place)[kind.start] = left
            let(s, p, 1e-3, 1e-3)
            assert s[layout.S_ONSET_S] == 5.0
    s, p = journals(net_pa=USUAL.healthy_net_pa, whole=0.0, onset_s=5.0)
    each(s, layout.S_HEAT)[[2, 5]] = 0.2  # the optimistic ones
    let(s, p, 1e-3, 1e-3)
    assert s[layout.S_ONSET_S] == layout.NEVER


def test_a_spell_begins_below_a_share_of_the_relief_setting():
    """Catches a spell in every dip that a relief valve makes, and one that waits for the floor."""
    for share, begun in ((0.71, False), (0.69, True)):
        s, p = journals()
        s[layout.S_NET_PA] = share * p[layout.P_RELIEF_PA]
        let(s, p, DT)
        assert (s[layout.S_ONSET_S] != layout.NEVER) == begun


def test_how_near_spells_came_is_that_of_the_nearest_and_each_begins_anew():
    """Two harmless ones, the lesser last; catches the last told for the worst, and heat of the first told of the second."""
    s, p = journals()
    found = []
    for reserve, heat in ((0.5, 0.2), (0.8, 0.1)):
        each(s, layout.S_RESERVE)[:] = reserve
        each(s, layout.S_HEAT)[:] = heat
        s[layout.S_WHOLE], s[layout.S_NET_PA] = 0.0, 0.0
        let(s, p, DT)
        found.append((s[layout.S_SPELL_RESERVE], s[layout.S_SPELL_HEAT]))
        each(s, layout.S_RESERVE)[:], each(s, layout.S_HEAT)[:] = 1.0, 0.0
        s[layout.S_NET_PA] = USUAL.healthy_net_pa
        let(s, p, DT)
        assert s[layout.S_ONSET_S] == layout.NEVER

    assert found == [
        (pytest.approx(0.5, abs=0.01), pytest.approx(0.2, abs=0.01)),
        (pytest.approx(0.8, abs=0.01), pytest.approx(0.1, abs=0.01)),
    ]
    assert s[layout.S_LEAST_RESERVE] == pytest.approx(0.5, abs=0.01)
    assert s[layout.S_MOST_HEAT] == pytest.approx(0.2, abs=0.01)


def test_the_moment_of_harm_lies_within_its_step_and_is_that_of_the_first_journal_of_a_column():
    """Pins spoilt half way through a step of 2 s, main bearings later; catches whole steps, and the last one's time."""
    s, p = journals(net_pa=0.0, whole=0.0, onset_s=1.0)
    each(s, layout.S_RESERVE)[:] = 1e-3
    each(s, layout.S_HEAT)[:] = 1.0 - 1.0 / 2.5  # the pessimistic pins make as much in a second, full load
    each(s, layout.S_HEAT)[MAINS] -= 0.3
    for step in range(4):
        bearing_step(s, p, 10.0 + 2.0 * step, 2.0)
    onset, first, *_ = s[layout.S_RECORD :][:4]

    assert onset == 1.0
    assert first == pytest.approx(11.0, abs=0.02)
    assert s[layout.S_SPELLS] == 1.0


def test_of_two_journals_spoilt_in_one_step_the_first_in_time_is_told():
    """The main bearings' after half a second, the pins' after one and a half; catches the one that is looked at first."""
    s, p = journals(net_pa=0.0, whole=0.0, onset_s=1.0)
    each(s, layout.S_RESERVE)[:] = 1e-3
    each(s, layout.S_HEAT)[0], each(s, layout.S_HEAT)[3] = 1.0 - 1.5 / 2.5, 1.0 - 0.5 * 0.7 / 2.5
    bearing_step(s, p, 10.0, 2.0)

    assert s[layout.S_RECORD + 1] == pytest.approx(10.5, abs=0.02)


def test_the_last_spell_that_can_be_kept_is_kept():
    """Catches a record one short, and one written past its end."""
    for before, kept in ((layout.MOST_SPELLS - 1, True), (layout.MOST_SPELLS, False)):
        s, p = journals(net_pa=0.0, whole=0.0, onset_s=7.0, spells=float(before))
        each(s, layout.S_RESERVE)[:] = 1e-3
        each(s, layout.S_HEAT)[:] = 0.999
        let(s, p, DT)
        last = layout.S_RECORD + (layout.MOST_SPELLS - 1) * layout.SPELL
        assert s[layout.S_SPELLS] == before + 1
        assert (s[last] == 7.0) == kept
