"""From a machine to the kernel's parameters, and the two gas equations, against what they say by hand.

A machine at its design point is in balance: what the load feeds, the valve lets through and the pistons move is one
flow. Every conductance follows from that, and what a leak or a share adds is its own share of that flow.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from replay.physics import MACHINES, OILS, REFRIGERANTS, Schedule, Start
from replay.physics import layout as at
from replay.physics.behaviour import USUAL, Behaviour
from replay.physics.gas import gas_step, limiting_vacuum_pa
from replay.physics.model import (
    clear_bearing,
    equilibrium_fraction,
    first_state,
    liquid_opening,
    parameters,
    solubility_table,
    throttle_opening,
)

GRANITE, STILL, R134A = MACHINES["granite"], OILS["still-68"], REFRIGERANTS["R134a"]
POINT = Schedule(1450.0)  # 250 kPa suction, 900 kPa head, 450 kPa load
TIGHT = replace(USUAL, blow_by_share=0.0)  # nothing leaks past the pistons
MOVED = 0.055 / (8314.46261815324 / R134A.molar_mass_g_mol * 288.15)  # kg/s at rated speed, per Pa


def filling(suction_pa: float, head_pa: float = 900e3) -> float:
    """Return the volumetric efficiency of granite, with 3.5 % of clearance."""
    return float(1.035 - 0.035 * (head_pa / suction_pa) ** (1.0 / R134A.isentropic_exponent))


FLOW = MOVED * filling(250e3) * 250e3


def gas(behaviour: Behaviour = USUAL, **inputs: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the state, parameters and inputs of the gas at the design point; inputs: by lower-case names."""
    p = parameters(GRANITE, STILL, R134A, POINT, behaviour=behaviour)
    s, u = np.zeros(at.STATES), np.zeros(at.INPUTS)
    s[at.S_SPEED], s[at.S_SUCTION_PA] = 1.0, 250e3
    s[at.S_EVAPORATOR_PA] = 250e3 * (1.0 + behaviour.valve_drop)
    u[at.U_CAPACITY] = u[at.U_SUCTION_VALVE] = u[at.U_LIQUID_VALVE] = 1.0
    u[at.U_LOAD_PA], u[at.U_DISCHARGE_PA] = 450e3, 900e3
    for name, value in inputs.items():
        u[getattr(at, f"U_{name.upper()}")] = value
    return s, p, u


# -------------------------------------------------------------------------------------------------------------- gas


def test_a_machine_at_its_design_point_stays_there() -> None:
    """Catches a load, a valve or pistons that move another flow than the others, or one that is not the machine's."""
    s, p, u = gas(TIGHT)
    before = s[[at.S_SUCTION_PA, at.S_EVAPORATOR_PA]].copy()
    gas_step(s, p, u, 0.1)

    assert s[[at.S_SUCTION_PA, at.S_EVAPORATOR_PA]] == pytest.approx(before, rel=1e-12)
    assert s[at.S_CRANKCASE_PA] == s[at.S_SUCTION_PA]
    assert s[at.S_FLOW] == pytest.approx(FLOW, rel=1e-9)
    assert p[at.P_DESIGN_FLOW] == pytest.approx(FLOW, rel=1e-9)
    assert s[at.S_MEP] == pytest.approx(p[at.P_RATED_MEP], rel=1e-9)


@pytest.mark.parametrize(
    ("evaporator_pa", "valve", "choked"),
    [(300e3, 1.0, False), (400e3, 0.3, False), (700e3, 0.5, True), (510e3, 1.0, True)],
)
def test_both_gas_volumes_gain_what_flows_in_at_the_pressures_after_the_step(
    evaporator_pa: float, valve: float, choked: bool
) -> None:
    """C dp/dt = flow in - flow out, out of the machine; catches a sign, a term left out, and a volume for another's."""
    dt, release = 0.1, 0.004
    s, p, u = gas(suction_valve=valve, liquid_valve=0.7)
    s[at.S_EVAPORATOR_PA], s[at.S_RELEASE] = evaporator_pa, release
    gas_step(s, p, u, dt)
    e, c = float(s[at.S_EVAPORATOR_PA]), float(s[at.S_SUCTION_PA])
    rt = 8314.46261815324 / R134A.molar_mass_g_mol * 288.15

    fed = 0.7 * FLOW / (450e3 - 1.02 * 250e3) * (450e3 - e)
    through = valve * FLOW / (0.02 * 250e3) * (0.5 * e if choked else e - c)
    moved = lambda suction: MOVED * filling(suction) * suction  # noqa: E731
    slope = (moved(250.1e3) - moved(249.9e3)) / 200.0
    pistons = moved(250e3) + slope * (c - 250e3)
    leaked = 0.0005 * FLOW  # past pistons, at the design point's pressures
    assert (0.5 * evaporator_pa >= 250e3) == choked
    assert 0.30 / rt * (e - evaporator_pa) / dt == pytest.approx(fed - through, rel=1e-6)
    assert 0.040 / rt * (c - 250e3) / dt == pytest.approx(through - pistons + leaked + release, rel=1e-6)
    assert s[at.S_FLOW] == pytest.approx(pistons, rel=1e-6)
    # The vent: 1 % over suction at a tenth of the design flow.
    assert s[at.S_CRANKCASE_PA] - c == pytest.approx(0.01 * 250e3 * (release + leaked) / (0.1 * FLOW), rel=1e-9)


def test_pistons_move_by_speed_and_by_the_cylinders_that_are_loaded() -> None:
    """Catches a speed or a share of cylinders left out, squared, or that does not reach the load on the pins."""
    flows = {}
    for name, speed, capacity in (("whole", 1.0, 1.0), ("half speed", 0.5, 1.0), ("half loaded", 1.0, 0.5)):
        s, p, u = gas(TIGHT, capacity=capacity)
        s[at.S_SPEED] = speed
        gas_step(s, p, u, 1e-9)
        flows[name] = (s[at.S_FLOW] / FLOW, s[at.S_MEP] / p[at.P_RATED_MEP])

    assert flows["whole"] == pytest.approx((1.0, 1.0), rel=1e-6)
    assert flows["half speed"] == pytest.approx((0.5, 1.0), rel=1e-6)
    assert flows["half loaded"] == pytest.approx((0.5, 0.5), rel=1e-6)


def test_nothing_is_moved_and_no_pin_is_loaded_below_the_limiting_vacuum() -> None:
    """Catches pistons that push gas back, a load of the sign of nothing, and a limit that is passed without a word."""
    assert limiting_vacuum_pa(900e3, 0.5, 2.0) == pytest.approx(900e3 / 3.0**2)
    for over, moves in ((0.999, False), (1.01, True)):
        s, p, u = gas(TIGHT, suction_valve=0.0)
        s[at.S_SUCTION_PA] = over * limiting_vacuum_pa(900e3, 0.035, R134A.isentropic_exponent)
        before = float(s[at.S_SUCTION_PA])
        gas_step(s, p, u, 0.1)
        assert (s[at.S_FLOW] > 0.0) == (s[at.S_MEP] > 0.0) == (s[at.S_SUCTION_PA] < before) == moves


def test_below_the_limiting_vacuum_suction_rises_by_what_leaks_past_the_pistons() -> None:
    """C dp/dt = blow-by alone; catches a pressure that is held, and one that goes on falling."""
    s, p, u = gas(suction_valve=0.0)
    s[at.S_SUCTION_PA] = before = 0.9 * limiting_vacuum_pa(900e3, 0.035, R134A.isentropic_exponent)
    gas_step(s, p, u, 0.1)
    leaked = 0.0005 * FLOW * (900e3 - before) / 650e3
    rt = 8314.46261815324 / R134A.molar_mass_g_mol * 288.15

    assert s[at.S_SUCTION_PA] - before == pytest.approx(0.1 * leaked / (0.040 / rt), rel=1e-6)


def test_a_measured_suction_is_followed_and_moves_the_gas_that_it_then_has() -> None:
    """Catches a measured pressure that the valves bend, and its noise taken for a flow."""
    s, p, u = gas(TIGHT, suction_pa=240e3, suction_valve=0.0)
    gas_step(s, p, u, 0.1)

    assert s[at.S_SUCTION_PA] == pytest.approx(240e3, rel=1e-12)
    assert s[at.S_FLOW] == pytest.approx(FLOW, rel=1e-9)


def test_gas_that_the_oil_takes_up_does_not_draw_on_the_vent() -> None:
    """Catches a crankcase below suction, and blow-by that a release outweighs."""
    s, p, u = gas(TIGHT)
    s[at.S_RELEASE] = -0.01
    gas_step(s, p, u, 0.1)

    assert s[at.S_CRANKCASE_PA] == s[at.S_SUCTION_PA]


def test_pressures_are_kept_above_nought() -> None:
    """Catches an evaporator or a crankcase emptied to nothing, in which the next step divides by it."""
    s, p, u = gas(TIGHT, liquid_valve=0.0, suction_pa=1.0)
    s[at.S_EVAPORATOR_PA] = s[at.S_SUCTION_PA] = 600.0
    u[at.U_LOAD_PA] = 0.0
    u[at.U_LIQUID_VALVE] = 1e3
    gas_step(s, p, u, 0.1)

    assert s[at.S_SUCTION_PA] == 500.0
    assert s[at.S_EVAPORATOR_PA] == 500.0


def test_the_power_of_the_ratio_is_that_of_the_ratio_however_it_was_reached() -> None:
    """Two parts in 10^8 within 1 % of the last, exact beyond; catches a series about the wrong point or a reach too far."""
    k = R134A.isentropic_exponent
    for moved, within in ((1.0, 1e-12), (1.0099, 3e-8), (0.9901, 3e-8), (1.011, 1e-12), (0.989, 1e-12)):
        s, p, u = gas(TIGHT)
        gas_step(s, p, u, 1e-9)
        ratio = float(s[at.S_RATIO])
        u[at.U_DISCHARGE_PA] = s[at.S_SUCTION_PA] * ratio * moved
        s[at.S_FLOW] = 0.0
        gas_step(s, p, u, 1e-12)
        filled = (1.035 - s[at.S_FLOW] / (MOVED * s[at.S_SUCTION_PA])) / 0.035
        assert filled == pytest.approx((ratio * moved) ** (1.0 / k), rel=max(within, 1e-9) if within < 1e-9 else within)
        fresh = abs(moved - 1.0) > 0.01
        assert s[at.S_RATIO] == pytest.approx(ratio * (moved if fresh else 1.0), rel=1e-12)


# ------------------------------------------------------------------------------------------------------- parameters


def test_pump_leakage_slip_and_relief_share_the_sweep_as_the_behaviour_says() -> None:
    """At the healthy pressure and the reference viscosity, 15 mPa s; catches a share of another flow or pressure."""
    p = parameters(GRANITE, STILL, R134A, POINT)
    mu, net, sweep = 0.015, 138e3, 2.0e-4
    omega = 2.0 * math.pi * 1450.0 / 60.0
    floor = 945.0 * omega**2 * (0.055**2 - 0.010**2) / 2.0

    assert p[at.P_SLIP] * net / mu == pytest.approx(0.08 * sweep)
    assert p[at.P_PIN_LEAK] * (net - floor) / mu == pytest.approx(0.45 * 0.35 * sweep)
    assert p[at.P_MAIN_LEAK] * net / mu == pytest.approx(0.55 * 0.35 * sweep)
    assert p[at.P_RELIEF_SLOPE] * (net - p[at.P_RELIEF_PA]) == pytest.approx((1.0 - 0.35 - 0.08) * sweep)
    assert p[at.P_RELIEF_SLOPE] * 0.08 * p[at.P_RELIEF_PA] == pytest.approx(sweep)
    assert p[at.P_SCREEN] * mu * sweep == pytest.approx(1.5e3)
    assert p[at.P_STUCK_SLOPE] * 4e3 == pytest.approx(sweep)


def test_oil_holds_gas_by_its_volume_and_touches_by_its_void() -> None:
    """3.6 volumes at one atmosphere by mass of oil, void 0.52 as gas over liquid; catches a mass for a volume."""
    p = parameters(GRANITE, STILL, R134A, POINT)
    density = 101325.0 * R134A.molar_mass_g_mol / (8314.46261815324 * 288.15)

    assert p[at.P_HELD_FRACTION] == pytest.approx(3.6 * density / 945.0)
    assert p[at.P_TOUCHING] == pytest.approx(0.52 / 0.48)


def test_the_sommerfeld_number_of_a_pin_is_that_of_its_machine() -> None:
    """S = mu N/P (r/c)^2 by hand, of the load that pistons lay on it; catches a diameter for a radius or rev/min."""
    p = parameters(GRANITE, STILL, R134A, POINT)
    k, ratio = R134A.isentropic_exponent, 900.0 / 250.0
    mep = 250e3 * k / (k - 1.0) * (ratio ** (1.0 - 1.0 / k) - 1.0) * filling(250e3)
    pressure = 0.0127 * mep / (2.0 * 0.030 * 0.060)

    assert p[at.P_RATED_MEP] == pytest.approx(mep)
    assert p[at.P_SOMMERFELD_SCALE] * 0.010 == pytest.approx(0.010 * (1450.0 / 60.0) / pressure * (0.030 / 30e-6) ** 2)
    least = p[at.P_LEAST_SOMMERFELD : at.P_LEAST_SOMMERFELD + 3]
    assert least[0] > least[1] > least[2] > 0.0  # a pessimistic journal touches at a thicker film


def test_slow_things_are_looked_at_every_half_second_at_any_step() -> None:
    """Catches viscosity that follows ten times as often, and a step that is not the one asked for."""
    for step_s, steps in ((0.1, 5), (0.05, 10), (0.5, 1)):
        p = parameters(GRANITE, STILL, R134A, POINT, step_s)
        assert (p[at.P_STEP_S], p[at.P_SLOW_STEPS], p[at.P_RATED_RPM]) == (step_s, steps, 1450.0)


# --------------------------------------------------------------------------------------------------------- openings


@pytest.mark.parametrize("opening", [throttle_opening, liquid_opening])
def test_a_valve_is_open_at_the_design_point(opening: object) -> None:
    """Catches an opening of another machine's flow."""
    assert opening(GRANITE, R134A, POINT, 250e3, TIGHT) == pytest.approx(1.0, rel=1e-9)  # type: ignore[operator]


@pytest.mark.parametrize("speed_rpm", [1450.0, 1000.0])
@pytest.mark.parametrize("suction_pa", [60e3, 100e3, 200e3])
def test_an_opening_holds_the_suction_that_was_asked_for(suction_pa: float, speed_rpm: float) -> None:
    """The gas stands still at it, choked or not, blow-by and speed counted; catches an opening that drifts off."""
    plan = replace(POINT, speed_rpm=speed_rpm, knots={})
    flow = speed_rpm / 1450.0 * MOVED * filling(suction_pa) * suction_pa - 0.0005 * FLOW * (900e3 - suction_pa) / 650e3
    throttled = throttle_opening(GRANITE, R134A, plan, suction_pa)
    starved = liquid_opening(GRANITE, R134A, plan, suction_pa)
    for evaporator_pa, valves in (
        (450e3 - flow / (FLOW / (450e3 - 255e3)), {"suction_valve": throttled}),
        (suction_pa + flow / (FLOW / 5e3), {"liquid_valve": starved}),
    ):
        s, p, u = gas(**valves)
        s[at.S_SPEED], s[at.S_SUCTION_PA], s[at.S_EVAPORATOR_PA] = speed_rpm / 1450.0, suction_pa, evaporator_pa
        gas_step(s, p, u, 0.1)
        assert s[at.S_SUCTION_PA] == pytest.approx(suction_pa, rel=1e-9)
        assert s[at.S_EVAPORATOR_PA] == pytest.approx(evaporator_pa, rel=1e-9)
    assert 0.0 < throttled < 1.0
    assert 0.0 < starved < 1.0


def test_no_valve_opens_further_than_it_can() -> None:
    """Catches an opening beyond 1 where a slower machine needs less, or more suction is asked for."""
    assert throttle_opening(GRANITE, R134A, POINT, 250.5e3) == 1.0
    assert liquid_opening(GRANITE, R134A, POINT, 251e3) == 1.0
    for opening in (throttle_opening, liquid_opening):
        for pressure_pa in (20e3, 460e3):
            with pytest.raises(ValueError, match="no steady suction"):
                opening(GRANITE, R134A, POINT, pressure_pa)


# ------------------------------------------------------------------------------------------------------ first state


def test_a_machine_that_stands_begins_with_its_whole_charge_under_the_pressure_of_the_load() -> None:
    """Volumes by hand; catches a charge by mass, a pressure of a running machine, and a pump that turns."""
    plan = Schedule(1450.0, running=False)
    p = parameters(GRANITE, STILL, R134A, plan)
    s = first_state(GRANITE, STILL, R134A, plan, Start(30.0, 0.2, 0.5, 0.4), p)

    assert s[at.S_DISSOLVED_KG] / R134A.liquid_density_kg_m3 + s[at.S_OIL_KG] / 945.0 == pytest.approx(0.5 * 0.011)
    assert s[at.S_DISSOLVED_KG] / (s[at.S_DISSOLVED_KG] + s[at.S_OIL_KG]) == pytest.approx(0.2)
    assert s[at.S_SYSTEM_OIL_KG] == pytest.approx(0.004 * FLOW * 240.0)
    assert s[at.S_SYSTEM_DISSOLVED_KG] == pytest.approx(s[at.S_SYSTEM_OIL_KG] / 4.0)
    assert s[at.S_TEMPERATURE_K] == 303.15
    assert s[at.S_LEVEL] == 0.5
    for name in ("EVAPORATOR", "SUCTION", "CRANKCASE"):
        assert s[getattr(at, f"S_{name}_PA")] == 450e3
    assert s[at.S_SPEED] == s[at.S_NET_PA] == s[at.S_STEP] == 0.0
    assert s[[at.S_PRIMED, at.S_FILL, at.S_WET]].tolist() == [1.0, 1.0, 1.0]
    assert s[at.S_RESERVE : at.S_HEAT].tolist() == [0.4] * 6
    rest = first_state(GRANITE, STILL, R134A, plan, Start(30.0), p)
    wanted = equilibrium_fraction(STILL, R134A, 30.0, 450e3)
    assert rest[at.S_DISSOLVED_KG] / (rest[at.S_DISSOLVED_KG] + rest[at.S_OIL_KG]) == pytest.approx(wanted)


def test_a_sump_is_full_warm_and_at_rest_unless_it_is_told_otherwise() -> None:
    """Catches a level, a temperature or bearings that a case has without saying so."""
    assert Start() == Start(45.0, None, 1.0, 1.0)


@pytest.mark.slow("lets a machine settle, which is machine code")
def test_a_machine_that_runs_has_run_for_half_a_minute_before_its_first_sample() -> None:
    """Catches a trace that begins with the machine's coming to rest, or with a spell or a clock from before it."""
    p = parameters(GRANITE, STILL, R134A, POINT)
    s = first_state(GRANITE, STILL, R134A, POINT, Start(45.0, film_reserve=0.5), p)
    wanted = equilibrium_fraction(STILL, R134A, 45.0, 250e3)

    assert s[at.S_STEP] == 0.0
    assert s[at.S_SPEED] == pytest.approx(1.0)
    assert s[at.S_SUCTION_PA] == pytest.approx(250e3, rel=0.01)
    assert s[at.S_NET_PA] == pytest.approx(138e3, rel=0.05)
    assert s[at.S_FLOW] == pytest.approx(FLOW, rel=0.02)
    assert s[at.S_MEP] == pytest.approx(p[at.P_RATED_MEP], rel=0.02)
    assert s[at.S_FRACTION] == pytest.approx(wanted, rel=0.01)
    assert s[at.S_DISSOLVED_KG] / (s[at.S_DISSOLVED_KG] + s[at.S_OIL_KG]) == pytest.approx(wanted, rel=0.01)
    assert s[at.S_RESERVE : at.S_HEAT].tolist() == [0.5] * 6
    assert s[at.S_ONSET_S] == at.NEVER


def test_dissolved_refrigerant_is_admitted_to_the_end_of_the_table() -> None:
    """Catches a bound to either side, and one that the refusal does not name."""
    plan = Schedule(1450.0, running=False)
    p = parameters(GRANITE, STILL, R134A, plan)
    for fraction in (0.0, 0.45):
        first_state(GRANITE, STILL, R134A, plan, Start(30.0, fraction), p)
    for fraction in (-0.001, 0.451):
        with pytest.raises(ValueError, match=r"must be 0 \.\. 0\.45"):
            first_state(GRANITE, STILL, R134A, plan, Start(30.0, fraction), p)


def test_a_cleared_bearing_is_cool_and_remembers_nothing() -> None:
    """Catches heat, a spell or a passage left from before, and bearings called whole that lack oil."""
    for reserve, whole in ((1.0, 1.0), (0.3, 0.0)):
        s = np.full(at.STATES, 7.0)
        clear_bearing(s, reserve)
        assert set(s[at.S_RESERVE : at.S_HEAT]) == {reserve}
        assert set(s[at.S_HEAT : at.S_PASSAGE]) == {0.0}
        assert set(s[at.S_PASSAGE : at.S_WHOLE]) == {1.0}
        assert (s[at.S_WHOLE], s[at.S_ONSET_S]) == (whole, -1.0)
        assert not s[[at.S_SPELLS, at.S_SPOILING, at.S_SPELL_HEAT, at.S_MOST_HEAT]].any()
        assert (s[at.S_SPELL_RESERVE], s[at.S_LEAST_RESERVE]) == (1.0, 1.0)


def test_an_oil_with_a_table_of_its_own_is_read_from_it() -> None:
    """Catches a user's oil whose solubility is an ester's, and a pair without data that is given some."""
    own = replace(STILL, solubility=((1.0, 2.0), (3.0, 4.0)))

    assert solubility_table(own, R134A).tolist() == [[1.0, 2.0], [3.0, 4.0]]
    with pytest.raises(ValueError, match="no solubility table"):
        solubility_table(replace(STILL, ester="none"), R134A)


def test_equilibrium_is_nothing_without_pressure_and_the_most_there_is_beyond_the_table() -> None:
    """Catches a search that turns the wrong way or ends too soon."""
    assert equilibrium_fraction(STILL, R134A, 45.0, 1e-3) == pytest.approx(0.0, abs=1e-9)
    assert equilibrium_fraction(STILL, R134A, 45.0, 5e6) == pytest.approx(0.45, abs=1e-12)
