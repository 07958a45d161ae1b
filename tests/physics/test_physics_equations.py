"""Each law of sump and pump by itself, one step on a state made by hand, against the sum written out here.

A machine that stands is brought to the state in question; nothing is simulated, so that each figure has one cause.
"""

import math
from typing import Any

import numpy as np
import pytest

from replay.physics import MACHINES, OILS, REFRIGERANTS, Schedule, Start, constants
from replay.physics import layout as at
from replay.physics.model import first_state, parameters, solubility_table
from replay.physics.pump import gas_drawn_by_level, liquid_drawn, pump_step
from replay.physics.sump import henry_pressure_pa, refresh, sump_step

DT = 0.1
GRANITE, R134A = MACHINES["granite"], REFRIGERANTS["R134a"]


def made(oil: str = "still-68", fraction: float = 0.1, **state: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return state, parameters and inputs of a machine that stands; state: by the lower-case names of its places."""
    plan = Schedule(GRANITE.rated_speed_rpm, running=False)
    p = parameters(GRANITE, OILS[oil], R134A, plan)
    s = first_state(GRANITE, OILS[oil], R134A, plan, Start(dissolved_fraction=fraction), p)
    s[at.S_CRANKCASE_PA] = state.pop("crankcase_pa", 250e3)
    refresh(s, p, solubility_table(OILS[oil], R134A))
    s[at.S_SYSTEM_OIL_KG] = s[at.S_SYSTEM_DISSOLVED_KG] = 0.0
    s[at.S_HEAT_CAPACITY] = 40e3
    for name, value in state.items():
        s[getattr(at, f"S_{name.upper()}")] = value
    u = np.zeros(at.INPUTS)
    u[at.U_PUMP_DRIVE] = u[at.U_ROTATION] = u[at.U_CAPACITY] = 1.0
    u[at.U_AMBIENT_K] = s[at.S_TEMPERATURE_K]
    return s, p, u


def settled(oil: str = "still-68", **state: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return a machine whose oil is at equilibrium with the pressure over it: nothing leaves or enters."""
    s, p, u = made(oil, **state)
    s[at.S_HENRY_PA] = s[at.S_CRANKCASE_PA] / s[at.S_FRACTION]
    return s, p, u


def given_up(speed: float, over: float, oil: str = "still-68") -> float:
    """Return what the oil gives up in a step, kg, holding so much more than it would at rest."""
    s, p, u = made(oil, speed=speed)
    s[at.S_HENRY_PA] = s[at.S_CRANKCASE_PA] / (s[at.S_FRACTION] - over)
    before = s[at.S_DISSOLVED_KG]
    sump_step(s, p, u, DT)
    return float(before - s[at.S_DISSOLVED_KG])


# ------------------------------------------------------------------------------------------------------------- sump


def test_solubility_goes_on_below_the_coldest_of_its_table_and_is_held_elsewhere():
    """Catches a cold sump that boils like a warmer one, and figures made of nothing beyond the other three edges."""
    table = solubility_table(OILS["still-68"], R134A)
    rows, columns = table.shape
    hottest, most = 233.15 + 10.0 * (rows - 1), 0.025 * (columns - 1)

    assert math.log(henry_pressure_pa(table, 223.15, 0.0)) == pytest.approx(2.0 * table[0, 0] - table[1, 0])
    assert henry_pressure_pa(table, hottest + 30.0, 0.1) == henry_pressure_pa(table, hottest, 0.1)
    assert henry_pressure_pa(table, 300.0, most + 0.2) == henry_pressure_pa(table, 300.0, most)
    middle = math.log(henry_pressure_pa(table, 238.15, 0.0125))
    assert middle == pytest.approx(table[:2, :2].mean())
    last = math.log(henry_pressure_pa(table, hottest - 5.0, most - 0.0125))
    assert last == pytest.approx(table[-2:, -2:].mean())


def test_volumes_add_up_and_foam_lasts_by_viscosity_and_pressure_to_two_thirds():
    """Catches masses weighed by share instead of volume, and a foam that a vacuum clears too soon or not at all."""
    table = solubility_table(OILS["foaming-68"], R134A)
    s, p, _ = made("foaming-68", fraction=0.3)
    by_hand = 1.0 / (0.3 / R134A.liquid_density_kg_m3 + 0.7 / 945.0)
    life = s[at.S_FOAM_LIFE_S]
    s[at.S_CRANKCASE_PA] /= 8.0
    refresh(s, p, table)

    assert s[at.S_DENSITY] == pytest.approx(by_hand, rel=1e-12)
    grade, p_grade, _ = made(fraction=0.3)
    grade[at.S_TEMPERATURE_K] = 313.15  # 68 mm2/s with nothing in it
    refresh(grade, p_grade, solubility_table(OILS["still-68"], R134A))
    thinned = 68.0**0.7 * R134A.liquid_viscosity_mm2_s**0.3
    assert grade[at.S_VISCOSITY] == pytest.approx(1e-6 * by_hand * thinned, rel=1e-6)
    assert s[at.S_FOAM_LIFE_S] == pytest.approx(life / 4.0, rel=1e-9)
    s[at.S_CRANKCASE_PA] = 100e3
    refresh(s, p, table)
    assert s[at.S_FOAM_LIFE_S] == pytest.approx(600.0 * s[at.S_VISCOSITY] / 0.015, rel=1e-9)


def test_refrigerant_leaves_slowly_through_the_surface_and_boils_beyond_what_is_held():
    """Catches a sump that stands and gives up as if stirred, one that boils whatever is over, and one that never boils."""
    s, p, _ = made()
    liquid, held = s[at.S_OIL_KG] + s[at.S_DISSOLVED_KG], p[at.P_HELD_FRACTION]
    slow = lambda share, over: DT * share * liquid * over / (350.0 + share * DT)  # noqa: E731

    assert 0.01 < held < 0.05
    assert given_up(1.0, 0.9 * held) == pytest.approx(slow(1.0, 0.9 * held), rel=1e-9)
    assert given_up(0.0, 0.9 * held) == pytest.approx(slow(0.05, 0.9 * held), rel=1e-9)
    assert given_up(0.05, 0.9 * held) == given_up(0.0, 0.9 * held)  # a crawl stirs nothing
    assert given_up(0.051, 0.9 * held) == given_up(1.0, 0.9 * held)
    boiling = DT * liquid * 0.01 / (4.0 + DT)
    assert given_up(1.0, held + 0.01) == pytest.approx(slow(1.0, held + 0.01) + boiling, rel=1e-9)


def test_refrigerant_enters_the_oil_out_of_the_gas_at_a_rate_of_its_own():
    """Catches absorption that adds to what is released, one as fast as release, and one beyond what there are data for."""
    for speed, stirred in ((1.0, 1.0), (0.0, 0.05)):
        for at_rest, under in ((0.15, 0.05), (0.8, 0.35)):
            s, p, u = made(speed=speed)
            s[at.S_HENRY_PA] = s[at.S_CRANKCASE_PA] / at_rest
            liquid, before = s[at.S_OIL_KG] + s[at.S_DISSOLVED_KG], s[at.S_DISSOLVED_KG]
            sump_step(s, p, u, DT)
            taken = DT * stirred * liquid * under / (900.0 + stirred * DT)
            assert s[at.S_DISSOLVED_KG] - before == pytest.approx(taken, rel=1e-9)
            assert s[at.S_RELEASE] * DT == pytest.approx(-taken, rel=1e-9)


def test_what_leaves_the_oil_cools_it_and_what_enters_warms_it():
    """Catches refrigerant that boils away at once and takes no heat with it."""
    for fraction, at_rest in ((0.1, 0.3), (0.1, 0.05), (0.5, 0.1)):
        s, p, u = made(fraction=0.3, speed=1.0)
        s[at.S_DISSOLVED_KG] = s[at.S_OIL_KG] * fraction / (1.0 - fraction)
        s[at.S_HENRY_PA] = s[at.S_CRANKCASE_PA] / at_rest
        u[at.U_AMBIENT_K] -= 25.0  # what running adds
        before, warm = s[at.S_DISSOLVED_KG], s[at.S_TEMPERATURE_K]
        capacity = 2000.0 * (s[at.S_OIL_KG] + before + 0.011 * 945.0)
        sump_step(s, p, u, DT)
        entered = s[at.S_DISSOLVED_KG] - before
        assert s[at.S_TEMPERATURE_K] - warm == pytest.approx(200e3 * entered / capacity, rel=1e-6)


def test_beyond_the_end_of_the_table_it_boils_at_once_unless_cold_holds_it_as_liquid():
    """Catches liquid that vanishes from a cold sump, and a sump that holds more than there are data for."""
    for at_rest, left in ((0.1, constants.LARGEST_FRACTION), (0.6, 0.5)):
        s, p, u = made(fraction=0.3)
        s[at.S_DISSOLVED_KG] = s[at.S_OIL_KG]  # half of the mass
        s[at.S_HENRY_PA] = s[at.S_CRANKCASE_PA] / at_rest
        sump_step(s, p, u, DT)
        assert s[at.S_DISSOLVED_KG] / (s[at.S_DISSOLVED_KG] + s[at.S_OIL_KG]) == pytest.approx(left, abs=2e-3)

    s, p, u = made(fraction=constants.LARGEST_FRACTION)  # liquid that runs into a sump as full as there are data for
    s[at.S_HENRY_PA] = s[at.S_CRANKCASE_PA] / 0.449
    u[at.U_LIQUID_KG_S] = 0.1
    sump_step(s, p, u, DT)
    share = s[at.S_DISSOLVED_KG] / (s[at.S_DISSOLVED_KG] + s[at.S_OIL_KG])
    assert share == pytest.approx(constants.LARGEST_FRACTION, abs=1e-9)


def test_released_gas_makes_a_foam_coarse_and_a_coarse_foam_breaks_up_by_the_cube():
    """Catches coarseness counted in masses of gas, one that lasts for ever, and a foam whose life it hardly shortens."""
    s, p, u = made("foaming-68", speed=1.0)
    s[at.S_HENRY_PA] = s[at.S_CRANKCASE_PA] / 0.09
    liquid, before = s[at.S_OIL_KG] + s[at.S_DISSOLVED_KG], s[at.S_DISSOLVED_KG]
    sump_step(s, p, u, DT)
    volumes = (before - s[at.S_DISSOLVED_KG]) * p[at.P_GAS_RT] / 101325.0 / (liquid / s[at.S_DENSITY])
    assert s[at.S_COARSE] == pytest.approx(volumes * 150.0 / (150.0 + DT), rel=1e-9)

    s, p, u = settled("foaming-68", foam_kg=1e-3, coarse=3.0)
    coarse = 1.0 + 3.0 * 150.0 / (150.0 + DT) / 3.0
    life = s[at.S_FOAM_LIFE_S] / coarse**3
    sump_step(s, p, u, DT)
    assert s[at.S_FOAM_KG] == pytest.approx(1e-3 * life / (life + DT), rel=1e-12)


def test_gas_that_is_released_goes_into_the_foam_by_its_share_and_rises_otherwise():
    """Catches gas counted in both, and boiling beyond the table that passes the pump as if it were foam."""
    s, p, u = made("foaming-68", speed=1.0)
    s[at.S_HENRY_PA] = s[at.S_CRANKCASE_PA] / 0.05
    before = s[at.S_DISSOLVED_KG]
    sump_step(s, p, u, DT)
    life = s[at.S_FOAM_LIFE_S] / (1.0 + s[at.S_COARSE] / 3.0) ** 3
    given = before - s[at.S_DISSOLVED_KG]
    assert s[at.S_FOAM_KG] == pytest.approx(0.7 * given * life / (life + DT), rel=1e-9)
    assert s[at.S_RELEASE] * DT == pytest.approx(given - s[at.S_FOAM_KG], rel=1e-9)

    s, p, u = made(fraction=0.3, speed=1.0)  # half of the mass: what is beyond the table boils
    s[at.S_DISSOLVED_KG] = s[at.S_OIL_KG]
    s[at.S_HENRY_PA] = s[at.S_CRANKCASE_PA] / 0.1
    liquid = 2.0 * s[at.S_OIL_KG]
    boiling = liquid * (0.4 - p[at.P_HELD_FRACTION]) / (4.0 + DT)
    slow = liquid * 0.4 / (350.0 + DT)
    boiled = (s[at.S_DISSOLVED_KG] - 0.45 / 0.55 * s[at.S_OIL_KG]) / DT - boiling - slow
    sump_step(s, p, u, DT)
    gas = s[at.S_FOAM_KG] * p[at.P_GAS_RT] / s[at.S_CRANKCASE_PA]
    rising = 0.99 * (boiling + boiled) * 0.3 * p[at.P_GAS_RT] / s[at.S_CRANKCASE_PA]
    volume = s[at.S_LEVEL] * GRANITE.oil_charge_m3
    life = s[at.S_FOAM_LIFE_S] / (1.0 + s[at.S_COARSE] / 3.0) ** 3
    assert boiled > 0.0
    assert s[at.S_FOAM_KG] == pytest.approx(0.01 * (slow + boiling) * DT * life / (life + DT), rel=1e-9)
    assert s[at.S_BUBBLES] == pytest.approx((gas + rising) / volume, rel=1e-6)


def test_void_is_the_share_of_gas_in_gas_and_liquid_and_the_level_that_of_liquid_alone():
    """Catches a void beyond 1, and foam that lifts the oil level."""
    s, p, u = settled("foaming-68", foam_kg=0.05)
    level = s[at.S_LEVEL]
    sump_step(s, p, u, DT)
    gas = s[at.S_FOAM_KG] * p[at.P_GAS_RT] / s[at.S_CRANKCASE_PA]

    assert s[at.S_VOID] == pytest.approx(gas / (gas + 0.011 * level), rel=1e-9)
    assert s[at.S_BUBBLES] == pytest.approx(gas / (0.011 * level), rel=1e-9)
    assert s[at.S_LEVEL] == pytest.approx(level, rel=1e-9)


def test_foam_beyond_three_charges_takes_oil_along_by_the_speed():
    """Catches oil that foam carries off a machine that stands, or out of a crankcase that is not full."""

    def lost(foam_kg: float, speed: float) -> float:
        s, p, u = settled("foaming-68", foam_kg=foam_kg, speed=speed)
        before = s[at.S_OIL_KG]
        sump_step(s, p, u, DT)
        return float((before - s[at.S_OIL_KG]) / before)

    s, p, u = settled("foaming-68", foam_kg=0.4)
    sump_step(s, p, u, DT)
    whole = s[at.S_FOAM_KG] * p[at.P_GAS_RT] / s[at.S_CRANKCASE_PA] + 0.011 * s[at.S_LEVEL]
    assert whole > 0.033
    assert lost(0.4, 0.5) == pytest.approx(DT * 0.004 * 0.5 * (whole - 0.033) / whole, rel=1e-9)
    assert lost(0.4, 0.0) == 0.0
    room = 0.026 * s[at.S_CRANKCASE_PA] / p[at.P_GAS_RT]  # with the liquid between three charges and four
    assert lost(room, 1.0) > 0.0
    assert lost(0.7 * room, 1.0) == 0.0


def test_oil_goes_round_with_the_gas_and_comes_back_with_it():
    """Catches oil that comes back to a machine that moves no gas, and a sump that gives what it has not."""
    s, p, u = settled(flow=0.0, system_oil_kg=0.5)
    before = s[at.S_OIL_KG]
    sump_step(s, p, u, DT)
    assert s[at.S_OIL_KG] == before

    s, p, u = settled(system_oil_kg=0.5)
    s[at.S_FLOW] = 0.5 * p[at.P_DESIGN_FLOW]
    sump_step(s, p, u, DT)
    assert s[at.S_OIL_KG] == pytest.approx(before + DT * (0.5 * 0.5 / 240.0 - 0.004 * s[at.S_FLOW]), rel=1e-12)

    s, p, u = settled()
    s[at.S_OIL_KG] = 0.01 * 0.011 * 945.0
    s[at.S_FLOW] = p[at.P_DESIGN_FLOW]
    sump_step(s, p, u, DT)
    assert s[at.S_OIL_KG] == pytest.approx(0.01 * 0.011 * 945.0, rel=1e-12)

    s, p, u = settled()
    u[at.U_OIL_LEAK_KG_S] = -0.02  # from a neighbour
    sump_step(s, p, u, DT)
    assert s[at.S_OIL_KG] == pytest.approx(before + 0.002, rel=1e-12)


def test_what_is_dissolved_goes_round_with_the_oil_that_holds_it():
    """By hand, a fifth in the sump and a third on its way; catches oil that leaves dry, or comes back dry or twice."""
    for share, returned in ((0.5, 0.5), (2.0, 1.0)):  # no more comes back than at the design flow
        s, p, u = settled(fraction=0.2, system_oil_kg=0.6, system_dissolved_kg=0.3)
        s[at.S_FLOW], u[at.U_OIL_LEAK_KG_S] = share * p[at.P_DESIGN_FLOW], 0.02
        oil, dissolved = float(s[at.S_OIL_KG]), float(s[at.S_DISSOLVED_KG])
        sump_step(s, p, u, DT)
        carried, leaked, back = DT * 0.004 * s[at.S_FLOW], DT * 0.02, DT / 240.0 * returned
        assert s[at.S_OIL_KG] == pytest.approx(oil - carried - leaked + back * 0.6, rel=1e-12)
        assert s[at.S_DISSOLVED_KG] == pytest.approx(dissolved - (carried + leaked) / 4.0 + back * 0.3, rel=1e-12)
        assert s[at.S_SYSTEM_OIL_KG] == pytest.approx(0.6 + carried - back * 0.6, rel=1e-12)
        assert s[at.S_SYSTEM_DISSOLVED_KG] == pytest.approx(0.3 + carried / 4.0 - back * 0.3, rel=1e-12)

    s, p, u = settled(fraction=0.2)
    u[at.U_OIL_LEAK_KG_S] = -0.02  # from a neighbour, as thin as here
    oil, dissolved = float(s[at.S_OIL_KG]), float(s[at.S_DISSOLVED_KG])
    sump_step(s, p, u, DT)
    assert s[at.S_DISSOLVED_KG] / s[at.S_OIL_KG] == pytest.approx(dissolved / oil, rel=1e-12)
    assert s[at.S_DISSOLVED_KG] > dissolved

    s, p, u = settled()  # a leak that would take more than there is
    u[at.U_OIL_LEAK_KG_S], least = 1e3, 0.01 * 0.011 * 945.0
    s[at.S_FLOW] = p[at.P_DESIGN_FLOW]
    sump_step(s, p, u, DT)
    assert s[at.S_OIL_KG] == pytest.approx(least, rel=1e-9)


def test_liquid_that_comes_back_is_in_the_oil_and_what_boils_out_of_it_is_in_the_gas():
    """Catches liquid that thins nothing or comes out of the sump, and gas that is lost on its way from oil to crankcase."""
    s, p, u = settled()
    u[at.U_LIQUID_KG_S], before = 0.01, float(s[at.S_DISSOLVED_KG])
    sump_step(s, p, u, DT)
    assert s[at.S_DISSOLVED_KG] - before == pytest.approx(0.001, rel=1e-9)

    s, p, u = made(fraction=0.3, speed=1.0)  # half of the mass: beyond the table, it boils
    s[at.S_DISSOLVED_KG] = before = float(s[at.S_OIL_KG])
    s[at.S_HENRY_PA] = s[at.S_CRANKCASE_PA] / 0.1
    sump_step(s, p, u, DT)
    assert s[at.S_RELEASE] * DT == pytest.approx(before - s[at.S_DISSOLVED_KG] - s[at.S_FOAM_KG], rel=1e-9)


def test_the_sump_warms_towards_ambient_heater_and_what_running_adds():
    """Catches a heater that warms nothing, and a machine that stands and is warmed as if it ran."""
    for speed, heater in ((0.0, 0.0), (0.0, 12.0), (0.4, 0.0)):
        s, p, u = settled(speed=speed)
        u[at.U_AMBIENT_K], u[at.U_HEATER_K] = s[at.S_TEMPERATURE_K] - 10.0, heater
        before = s[at.S_TEMPERATURE_K]
        sump_step(s, p, u, DT)
        assert s[at.S_TEMPERATURE_K] - before == pytest.approx(DT / 1800.0 * (heater - 10.0 + 25.0 * speed), rel=1e-6)


def test_the_floor_pressure_goes_with_the_square_of_the_speed():
    """Catches a floor that a machine running down keeps."""
    s, p, u = settled(speed=0.5)
    sump_step(s, p, u, DT)
    half = s[at.S_FLOOR_PA]
    s[at.S_SPEED] = 1.0
    sump_step(s, p, u, DT)

    assert s[at.S_FLOOR_PA] == pytest.approx(4.0 * half, rel=1e-9)
    omega = 2.0 * math.pi * 1450.0 / 60.0
    assert s[at.S_FLOOR_PA] == pytest.approx(s[at.S_DENSITY] * omega**2 * (0.055**2 - 0.010**2) / 2.0, rel=1e-9)


# ------------------------------------------------------------------------------------------------------------- pump


def drawn(sweep: float = 2e-4, clog: float = 0.0, **state: Any) -> tuple[float, float, np.ndarray, np.ndarray]:
    """Return liquid (m3/s) and bubbles that a pump draws, the state after it, and the parameters."""
    s, p, u = settled(**{"fraction": 0.05, "speed": 1.0, **state})
    u[at.U_SCREEN_CLOG] = clog
    liquid, bubbles = liquid_drawn(s, p, u, sweep, DT)
    return liquid, bubbles, s, p


def test_a_sound_pump_delivers_its_sweep_and_less_as_its_inlet_draws_gas():
    """Catches an oil level that tells nothing of what is drawn."""
    assert drawn()[0] == pytest.approx(2e-4)
    low, _, _, p = drawn(level=0.275)
    assert low == pytest.approx(2e-4 * (1.0 - gas_drawn_by_level(p, 0.275)))
    assert gas_drawn_by_level(p, 0.275) == pytest.approx(0.5)
    assert drawn(bubbles=0.25)[0] == pytest.approx(2e-4 / 1.25)


def test_a_clogged_screen_passes_what_the_pressure_over_the_oil_can_push():
    """Catches a drop by the open share and not its square, and one that thick oil does not raise."""
    for clog, thick in ((0.93, 1.0), (0.96, 1.0), (0.93, 2.0)):
        _, _, s, p = drawn()
        viscosity = thick * s[at.S_VISCOSITY]
        drop = p[at.P_SCREEN] * viscosity * 2e-4 / (1.0 - clog) ** 2
        liquid, bubbles, *_ = drawn(clog=clog, viscosity=viscosity)
        assert drop > 0.9 * 250e3
        assert liquid * (1.0 + bubbles) == pytest.approx(2e-4 * 0.9 * 250e3 / (drop + 1.0), rel=1e-9)
    shut, nearly, less = (drawn(clog=clog)[0] for clog in (1.0, 0.999, 0.9985))  # a thousandth always lets through
    assert shut == pytest.approx(nearly, rel=1e-9)
    assert nearly == pytest.approx(less / 1.5**2, rel=1e-3)


def test_a_pump_draws_against_its_lift_with_a_share_of_the_absolute_pressure():
    """Catches a dry pump that lifts out of a deep vacuum, and a wet one that a usual pressure lets down."""
    for wet, share in ((1.0, 0.5), (0.0, 0.04), (0.5, 0.27)):
        for pressure, intake in ((8e3, 0.1 + 0.9 * wet), (400e3, 0.1 + 0.9 * wet)):
            liquid, _, _, p = drawn(crankcase_pa=pressure, wet=wet)
            follows = min(max(share * pressure / p[at.P_LIFT_PA] - 1.0, 0.0), 1.0)
            assert liquid == pytest.approx(2e-4 * intake * follows, rel=1e-9)


@pytest.mark.parametrize("fill", [1.0, 0.4])
def test_bubbles_at_the_inlet_are_what_the_oil_gives_up_there_in_the_time_it_has(fill):
    """By hand: lift, capillary tension, sites awake, time in the line; catches gas told at the crankcase's pressure."""
    s, p, u = made(crankcase_pa=60e3, nuclei=0.5, fraction=0.2, fill=fill)
    inlet = 60e3 - p[at.P_LIFT_PA] - fill * p[at.P_SCREEN] * s[at.S_VISCOSITY] * 2e-4
    nuclei = (0.5 + DT / 40.0) / (1.0 + DT / 40.0)
    due = nuclei * (s[at.S_FRACTION] - (inlet + 10e3) / s[at.S_HENRY_PA])
    due *= p[at.P_POCKET_M3] / (p[at.P_POCKET_M3] + 0.05 * 2e-4)
    by_hand = due * s[at.S_DENSITY] * p[at.P_GAS_RT] / inlet
    dissolved = s[at.S_DISSOLVED_KG]
    liquid, bubbles = liquid_drawn(s, p, u, 2e-4, DT)

    assert due > 0.0
    assert bubbles == pytest.approx(by_hand, rel=1e-9)
    assert liquid == pytest.approx(2e-4 * fill / (1.0 + by_hand), rel=1e-9)
    assert s[at.S_NUCLEI] == nuclei
    assert dissolved - s[at.S_DISSOLVED_KG] == pytest.approx(DT * due * s[at.S_DENSITY] * liquid, rel=1e-6)


def test_sites_wake_while_oil_is_drawn_and_fall_asleep_when_it_stands():
    """Catches sites that wake in oil at rest, which makes every start after a standstill a starved one."""
    state = {"crankcase_pa": 60e3, "nuclei": 0.5, "fraction": 0.2}
    s, p, u = made(**state)
    liquid_drawn(s, p, u, 0.0, DT)
    assert s[at.S_NUCLEI] == pytest.approx(0.5 / (1.0 + DT / 40.0))

    s, p, u = made(**{**state, "nuclei": 1e-31})  # so few that they are none
    liquid_drawn(s, p, u, 0.0, DT)
    assert s[at.S_NUCLEI] == 0.0

    s, p, u = made(**{**state, "nuclei": 0.0})  # all of them asleep
    liquid_drawn(s, p, u, 2e-4, DT)
    assert s[at.S_NUCLEI] == pytest.approx(DT / 40.0 / (1.0 + DT / 40.0))

    s, p, u = made(**{**state, "crankcase_pa": 400e3, "fraction": 0.05})  # nothing is due
    liquid_drawn(s, p, u, 2e-4, DT)
    assert s[at.S_NUCLEI] == pytest.approx(0.5 / (1.0 + DT / 40.0))


def pocket(cover: float, primed: float, **state: float) -> tuple[float, float, float]:
    """Return cover, priming and filling after a step of a pump with a pocket of so many of its places."""
    s, p, u = settled(fraction=0.05, speed=1.0, primed=primed, fill=1.0 if primed else 1.0 - min(cover, 1.0), **state)
    whole = p[at.P_POCKET_M3] * s[at.S_CRANKCASE_PA] / p[at.P_GAS_RT]
    s[at.S_POCKET_KG] = cover * whole
    liquid_drawn(s, p, u, 2e-4, DT)
    return float(s[at.S_POCKET_KG] / whole), float(s[at.S_PRIMED]), float(s[at.S_FILL])


def test_a_pocket_is_drawn_in_as_a_slug_once_full_and_until_little_is_left():
    """Catches a pocket that chokes the pump before it is full, or lets go of it half way; cover, primed -> primed, fill."""
    assert pocket(0.8, 1.0)[1:] == (1.0, 1.0)
    assert pocket(1.35, 1.0)[1:] == (0.0, 0.0)
    cover, primed, fill = pocket(0.8, 0.0)
    assert (primed, fill) == (0.0, pytest.approx(1.0 - cover))
    assert pocket(0.2, 0.0)[1:] == (1.0, 1.0)


def test_a_slug_is_swallowed_by_what_the_pump_has_room_for():
    """Catches a primed pump that eats the pocket that clings, and a slug that is gone in one step."""
    assert pocket(0.8, 1.0)[0] == 0.8
    cover, *_ = pocket(0.8, 0.0)  # filled to 0.2
    assert cover == pytest.approx(0.8 - DT * 0.2 * 0.8 * 2e-4 / GRANITE.inlet_pocket_m3, rel=1e-9)
    assert pocket(1.9, 1.0)[0] == 1.5


def test_gas_that_gathers_comes_from_the_line_first_and_then_from_the_foam():
    """What leaves oil and foam is in pocket and crankcase; catches gas counted twice, and heat taken for a part of it."""
    s, p, u = made("foaming-68", fraction=0.2, crankcase_pa=30e3, nuclei=1.0, foam_kg=2e-4, bubbles=4.0, speed=1.0)
    dissolved, foam, temperature = s[at.S_DISSOLVED_KG], s[at.S_FOAM_KG], s[at.S_TEMPERATURE_K]
    s[at.S_RELEASE] = 0.0
    liquid, bubbles = liquid_drawn(s, p, u, 2e-4, DT)
    inlet = 30e3 - p[at.P_LIFT_PA] - p[at.P_SCREEN] * s[at.S_VISCOSITY] * 2e-4
    evolved = dissolved - s[at.S_DISSOLVED_KG]
    gathered = DT * 0.25 * (bubbles - 0.74 / 0.26) * liquid * inlet / p[at.P_GAS_RT]
    from_line = min(gathered, evolved)
    from_foam = min(gathered - from_line, 0.5 * foam)
    bubbled = 0.7 * (evolved - from_line)

    assert evolved > 0.0
    assert gathered > 0.0
    assert s[at.S_POCKET_KG] == pytest.approx(from_line + from_foam, rel=1e-6)
    assert s[at.S_FOAM_KG] == pytest.approx(foam - from_foam + bubbled, rel=1e-6)
    assert s[at.S_RELEASE] * DT == pytest.approx(evolved - from_line - bubbled, rel=1e-6)
    assert temperature - s[at.S_TEMPERATURE_K] == pytest.approx(200e3 * evolved / 40e3, rel=1e-6)


def test_gas_gathers_out_of_a_foam_where_the_line_gives_less_and_half_of_it_at_most():
    """By hand, with much foam and with little; catches a foam that grows by what it gives, and one that is taken whole."""
    for foam_kg in (1e-2, 1e-7):
        s, p, u = made(
            "foaming-68", fraction=0.2, crankcase_pa=100e3, nuclei=1e-6, foam_kg=foam_kg, bubbles=20.0, speed=1.0
        )
        dissolved = float(s[at.S_DISSOLVED_KG])
        liquid, bubbles = liquid_drawn(s, p, u, 2e-4, DT)
        inlet = 100e3 - p[at.P_LIFT_PA] - p[at.P_SCREEN] * s[at.S_VISCOSITY] * 2e-4
        gathered = DT * 0.25 * (bubbles - 0.74 / 0.26) * liquid * inlet / p[at.P_GAS_RT]
        from_foam = min(gathered - (dissolved - s[at.S_DISSOLVED_KG]), 0.5 * foam_kg)
        assert gathered > 10.0 * (dissolved - s[at.S_DISSOLVED_KG])
        assert (from_foam == 0.5 * foam_kg) == (foam_kg == 1e-7)
        assert s[at.S_POCKET_KG] == pytest.approx(dissolved - s[at.S_DISSOLVED_KG] + from_foam, rel=1e-6)
        assert s[at.S_FOAM_KG] == pytest.approx(foam_kg - from_foam, rel=1e-6)

    gathered_kg = []
    for bubbles in (2.8, 2.85, 2.95, 3.05):  # volumes; 0.74/0.26 = 2.846 touch one another
        s, p, u = settled("foaming-68", fraction=0.05, foam_kg=1e-2, bubbles=bubbles, speed=1.0)
        liquid, _ = liquid_drawn(s, p, u, 2e-4, DT)
        gathered_kg.append(s[at.S_POCKET_KG] / liquid)
    assert gathered_kg[0] == 0.0
    assert (gathered_kg[3] - gathered_kg[2]) / gathered_kg[1] == pytest.approx(0.1 / (2.85 - 0.74 / 0.26), rel=1e-6)


def test_clearances_dry_slowly_and_are_wet_at_once_and_foam_keeps_them_wet():
    """Catches seconds exchanged, and a foam under which a pump loses its seal."""
    dry = {"crankcase_pa": 250e3, "level": 0.1}  # draws gas alone
    wetness = {name: drawn(**{**dry, **more})[2][at.S_WET] for name, more in {"dry": {}, "foam": {"void": 0.5}}.items()}
    assert wetness["dry"] == pytest.approx(1.0 / (1.0 + DT / 7.0))
    assert wetness["foam"] == 1.0
    assert drawn(wet=0.2, level=1.0)[2][at.S_WET] == pytest.approx((0.2 + DT / 1.0) / (1.0 + DT / 1.0))


def net_after(seconds: float = 60.0, **inputs: float) -> float:
    """Return the net oil pressure that a pump comes to, kPa; inputs: by the lower-case names of their places."""
    state = {key: inputs.pop(key) for key in ("viscosity", "speed", "bubbles") if key in inputs}
    s, p, u = settled(**{"fraction": 0.05, "speed": 1.0, "net_pa": 0.0, "floor_pa": 30e3, **state})
    for name, value in inputs.items():
        u[getattr(at, f"U_{name.upper()}")] = value
    for _ in range(round(seconds / DT)):
        pump_step(s, p, u, DT)
    return float(s[at.S_NET_PA] / 1000.0)


def test_oil_pressure_is_what_leakage_slip_and_relief_leave_of_the_flow():
    """By hand, below the relief valve: a worn pump with thin oil; catches wear that helps, and a leak that viscosity leaves alone."""
    s, p, _ = settled(fraction=0.05, speed=1.0, floor_pa=30e3)
    for viscosity, wear in ((0.002, 0.0), (0.002, 2.0), (0.004, 3.0)):
        main = (p[at.P_MAIN_LEAK] + p[at.P_SLIP] * (1.0 + wear)) / viscosity
        pin, floor = p[at.P_PIN_LEAK] / viscosity, s[at.S_FLOOR_PA]
        by_hand = (2e-4 + pin * floor) / (main + pin)
        assert by_hand < p[at.P_RELIEF_PA]
        assert net_after(viscosity=viscosity, pump_wear=wear) == pytest.approx(by_hand / 1000.0, rel=1e-3)
    assert net_after() == pytest.approx(138.0, abs=4.0)
    assert net_after(rotation=-1.0) == pytest.approx(0.0, abs=1e-6)
    assert net_after(pump_drive=0.0) == pytest.approx(0.0, abs=1e-6)
    assert net_after(relief_stuck=1.0) == pytest.approx(4.0, abs=0.5)


def test_oil_pressure_follows_after_a_lag_that_bubbles_and_thick_oil_lengthen():
    """The first step by hand; catches a lag that is longest with no bubbles at all."""
    for bubbles in (0.0, 1.0):
        _, _, s, _ = drawn()
        viscosity = s[at.S_VISCOSITY]
        lag = 0.6 * (1.0 + 0.05 * viscosity / 0.015) + 2.0 * (1.0 - 1.0 / (1.0 + bubbles))
        reached, first = net_after(bubbles=bubbles), net_after(DT, bubbles=bubbles)
        assert first == pytest.approx(reached * (DT / lag) / (1.0 + DT / lag), rel=2e-2)
