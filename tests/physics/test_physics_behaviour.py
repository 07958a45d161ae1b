"""What the model must reproduce: facts of the trade. All of them: common practice, no source."""

import numpy as np
import pytest

from replay.physics import MACHINES, OILS
from replay.physics.crankshaft import floor_pressure_pa
from tests.support.physics_scenarios import (
    CLOSE_S,
    CUT_OUT_PA,
    PSI,
    between,
    first_time_s,
    pulses,
    run,
    schedule,
    shut,
    throttled,
)

pytestmark = pytest.mark.slow("simulates, scores or draws many traces")

LARGER = ("granite", "basalt")
SMALLER = ("pebble", "shale")
STILL = ("still-68", "still-32")
FOAMING = ("foaming-68", "foaming-32")


def deficit_pa_s(result) -> float:
    """Net oil pressure short of 20 psi, integrated over the trace (Pa s)."""
    return float(np.maximum(20.0 * PSI - result.net_oil_pa, 0.0).sum() * 0.5)


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


@pytest.mark.parametrize("machine", LARGER + SMALLER)
@pytest.mark.parametrize("oil", STILL)
def test_suction_shut_still_oil_pressure_gone_for_good(machine, oil):
    """Catches a model in which a pump re-primes under a deep vacuum, or in which still oil foams."""
    result = shut(machine, oil)
    vacuum = result.true_suction_pa < 50e3

    assert first_time_s(result, vacuum) < CLOSE_S + 5.0
    assert result.void.max() < 0.1
    assert between(result, result.pocket, CLOSE_S, 120.0).max() > 1.0
    assert between(result, result.net_oil_pa, 150.0, 900.0).max() < 1.0 * PSI


@pytest.mark.parametrize("machine", LARGER + SMALLER)
@pytest.mark.parametrize("oil", STILL)
def test_still_oil_reopened_after_ten_seconds_recovers_without_harm(machine, oil):
    """Catches a pocket or a journal that remembers a short closure."""
    result = shut(machine, oil, reopen_s=CLOSE_S + 11.0, duration_s=240.0)

    assert between(result, result.net_oil_pa, CLOSE_S, 80.0).min() < CUT_OUT_PA
    assert between(result, result.net_oil_pa, 90.0, 240.0).min() > 19.0 * PSI
    assert result.damage.certainty == "none"


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
@pytest.mark.parametrize("oil", STILL)
def test_still_oil_throttled_to_0_psi_gauge_pulses_and_may_be_damaged(machine, oil):
    """Catches a model without middle ground between a shut valve and an open one."""
    result = throttled(machine, oil, reopen_s=800.0, duration_s=1000.0)
    net = between(result, result.net_oil_pa, CLOSE_S, 800.0)

    assert abs(between(result, result.true_suction_pa, 200.0, 800.0).mean() - 101e3) < 6e3
    assert pulses(net, CUT_OUT_PA, 15.0 * PSI) >= 4
    assert net.min() < CUT_OUT_PA
    assert result.damage.certainty == "possible"
    assert between(result, result.net_oil_pa, 810.0, 1000.0).min() > 19.0 * PSI


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


@pytest.mark.outside(
    computation="pump, relief, leakage, pocket, foam, film reserve",
    source="none found: equations of any text, rates assumed (`replay/physics/constants.py`); common practice, no source",
    status="none",
    agreement="the facts of the trade come out, here and in the whole file",
)
@pytest.mark.parametrize("machine", LARGER)
def test_foaming_oil_pulses_around_the_floor_of_a_larger_machine(machine):
    """Catches a net oil pressure that falls in one smooth dip."""
    result = shut(machine, "foaming-68")
    floor = result.floor_pa[0]

    assert pulses(between(result, result.net_oil_pa, CLOSE_S, 300.0), floor, floor) >= 2


@pytest.mark.parametrize("machine", LARGER + SMALLER)
@pytest.mark.parametrize("oil", FOAMING)
def test_foaming_oil_throttled_to_0_psi_gauge_hardly_notices(machine, oil):
    """Catches foam that starves a pump at atmospheric pressure."""
    result = throttled(machine, oil, reopen_s=400.0, duration_s=500.0)

    assert result.net_oil_pa.min() > 15.0 * PSI
    assert result.damage.certainty == "none"


@pytest.mark.parametrize(("machine", "oil"), [("granite", "foaming-68"), ("shale", "foaming-32")])
def test_more_dissolved_refrigerant_means_smaller_drop_and_quicker_recovery(machine, oil):
    """Catches a foam that only grows with the gas it gets."""
    suctions_pa = (150e3, 250e3, 350e3)
    results = [shut(machine, oil, suction_pa=suction) for suction in suctions_pa]
    dissolved = [result.dissolved_fraction[0] for result in results]
    drops = [deficit_pa_s(result) for result in results]
    recovered = [result.time_ms[np.flatnonzero(result.net_oil_pa < CUT_OUT_PA)[-1]] for result in results]

    assert dissolved == sorted(dissolved)
    assert drops == sorted(drops, reverse=True)
    assert recovered == sorted(recovered, reverse=True)
    assert recovered[-1] < recovered[0]
