"""What the model must reproduce: facts of the trade. All of them: common practice, no source."""

import itertools

import numpy as np
import pytest

from replay.physics import MACHINES, OILS, simulate
from replay.physics.crankshaft import floor_pressure_pa
from replay.physics.families import case_of
from tests.physics_facts import FACTS, HOME, Site, combinations, morning_starts
from tests.support.physics_scenarios import (
    CLOSE_S,
    CUT_OUT_PA,
    PSI,
    between,
    first_time_s,
    run,
    schedule,
    shut,
)

pytestmark = pytest.mark.slow("simulates, scores or draws many traces")

LARGER = ("granite", "basalt")
SMALLER = ("pebble", "shale")
STILL = ("still-68", "still-32")
FOAMING = ("foaming-68", "foaming-32")
# R143a dissolves least: it foams in thick oil so little that the foam neither starves the pump much nor clears itself.
KNOWN_TO_FAIL = {
    "at_fifteen_inches": {("foaming-68", "R143a")},
    "more_dissolved": {("foaming-68", "R143a")},
}


@pytest.mark.parametrize("machine", LARGER + SMALLER)
@pytest.mark.parametrize("oil", STILL + FOAMING)
def test_healthy_net_oil_pressure_is_about_20_psi(machine, oil):
    """Catches a relief valve or a leakage that no real machine has."""
    result = run(machine, oil, schedule(machine), 120.0)

    assert np.all(np.abs(result.net_oil_pa / PSI - 20.0) < 1.5)
    assert result.damage.certainty == "none"


@pytest.mark.parametrize(("machines", "low_psi", "high_psi"), [(LARGER, 4.0, 5.0), (SMALLER, 0.8, 1.3)])
def test_floor_pressure_follows_from_crank_radius_and_speed(machines, low_psi, high_psi):
    """Catches a floor that is typed in, or radii that no crankshaft of that size has."""
    for name in machines:
        machine = MACHINES[name]
        assert machine.rated_speed_rpm in (1450.0, 1750.0)
        assert 0.02 <= machine.drilling_outlet_m <= 0.06
        floor = floor_pressure_pa(
            machine.drilling_inlet_m, machine.drilling_outlet_m, OILS["still-68"].density_kg_m3, machine.rated_speed_rpm
        )

        assert low_psi < floor / PSI < high_psi


@pytest.mark.outside(
    computation="pump, relief, leakage, inlet gas, foam, oil left in the bearings",
    source="none found: equations of any text, rates assumed (`replay/physics/behaviour.py`); common practice, no source",
    status="none",
    agreement="the facts of the trade come out: `python -m tests.physics_facts` prints where, and where not",
)
@pytest.mark.parametrize("fact", FACTS)
@pytest.mark.parametrize("machine", MACHINES)
def test_fact_of_the_trade_holds_for_every_oil_and_refrigerant(fact, machine):
    """The table of `tests.physics_facts` at its first design point; catches an inlet that only knows a ratio of pressures."""
    failing = {
        (site.oil, site.refrigerant)
        for site in combinations(*HOME)
        if site.machine == machine and (told := FACTS[fact](site)) and told.passed is False
    }

    assert failing == KNOWN_TO_FAIL.get(fact, set())


def test_forty_drawn_machines_start_in_the_morning_and_hold_their_pressure():
    """Still oil, heater on, 12 h of standing; catches a healthy start that a protection would stop."""
    found = morning_starts(40, seed=1)

    assert max(one.below_9_s for one in found) < 10.0
    assert all(one.recovered_s < 200.0 for one in found)


@pytest.mark.parametrize(("machine", "oil"), [("granite", "still-68"), ("pebble", "still-32")])
def test_net_oil_pressure_sinks_by_degrees_as_suction_is_throttled(machine, oil):
    """From 200 to 60 kPa in steps of 10; catches a cliff between 20 psi and none."""
    site = Site(machine, oil, "R134a")
    told = [site.throttled(pressure_pa) for pressure_pa in np.arange(200e3, 59e3, -10e3)]
    lowest = [one.lowest for one in told]

    assert lowest[0] > 19.0
    assert lowest[-1] < 5.0
    assert all(after < before + 0.5 for before, after in itertools.pairwise(lowest))
    assert all(before - after < 12.5 for before, after in itertools.pairwise(lowest))
    assert sum(one.below_9_s for one in told) > 3.0 * sum(one.below_floor_s for one in told)


@pytest.mark.parametrize("machine", LARGER + SMALLER)
@pytest.mark.parametrize("oil", STILL)
def test_still_oil_in_a_hard_vacuum_is_lost_by_gas_and_not_by_foam(machine, oil):
    """Catches a pump that re-primes under a deep vacuum, or still oil that foams."""
    result = shut(machine, oil)

    assert first_time_s(result, result.true_suction_pa < 50e3) < CLOSE_S + 10.0
    assert result.void.max() < 0.1
    assert between(result, result.net_oil_pa, 240.0, 900.0).max() < 1.0 * PSI


@pytest.mark.parametrize("machine", LARGER + SMALLER)
@pytest.mark.parametrize("oil", STILL)
def test_still_oil_reopened_after_several_minutes_is_damaged_at_the_reopening(machine, oil):
    """Catches a model in which a journal without film takes the returning load."""
    reopened_s = CLOSE_S + 390.0
    shut_until_then = shut(machine, oil, duration_s=reopened_s)
    result = shut(machine, oil, reopen_s=reopened_s)

    assert shut_until_then.damage.certainty == "none"
    assert result.damage.certainty == "certain"
    assert all(reopened_s <= time < reopened_s + 30.0 for time in result.damage.times_s)


@pytest.mark.parametrize("machine", LARGER + SMALLER)
@pytest.mark.parametrize("oil", FOAMING)
def test_suction_shut_foaming_oil_recovers_while_still_in_vacuum(machine, oil):
    """Catches a foam that never clears, a pump that cannot draw it, or a pull-down that foam does not slow."""
    result = shut(machine, oil)
    still = shut(machine, oil.replace("foaming", "still"), duration_s=200.0)
    limit = still.true_suction_pa.min()
    slow_s = first_time_s(result, result.true_suction_pa < 1.1 * limit)
    net = between(result, result.net_oil_pa, CLOSE_S, 900.0)

    assert result.void.max() > 0.74
    assert slow_s > 10.0 + first_time_s(still, still.true_suction_pa < 1.1 * limit)
    assert net.min() < CUT_OUT_PA
    assert between(result, result.net_oil_pa, 300.0, 900.0).min() > 19.0 * PSI
    assert between(result, result.true_suction_pa, 300.0, 900.0).max() < 50e3
    assert result.damage.certainty == "none"


@pytest.mark.slow("simulates three times 200 h")
def test_two_hundred_hours_of_pump_downs_leave_healthy_machines_healthy():
    """Three drawn machines; catches heat of starts that only ever grows (three of nine were lost)."""
    for index in (2, 3, 6):
        assert simulate(case_of("pump-down-and-stop", index, 3, hours=200.0)).damage.certainty == "none"
