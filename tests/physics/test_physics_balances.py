"""What goes in comes out: refrigerant, oil and heat are balanced step by step, to rounding, whatever is done."""

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from replay.physics import MACHINES, OILS, REFRIGERANTS, Channel, Schedule, Start, layout
from replay.physics.behaviour import USUAL
from replay.physics.kernel import one_step, read_inputs
from replay.physics.model import STEP_S, equilibrium_fraction, first_state, parameters, solubility_table
from tests.support.physics_ledger import BROUGHT_J, BROUGHT_KG, STORED_J, course, held_kg, new_ledger
from tests.support.physics_scenarios import run, schedule

pytestmark = pytest.mark.slow("steps the interpreted kernel")

CHANGES = st.lists(
    st.one_of(
        st.tuples(st.just(Channel.SUCTION_VALVE), st.floats(0.0, 1.0)),
        st.tuples(st.just(Channel.LIQUID_VALVE), st.floats(0.0, 1.0)),
        st.tuples(st.just(Channel.CAPACITY), st.sampled_from([0.34, 0.67, 1.0])),
        st.tuples(st.just(Channel.RUN), st.sampled_from([0.0, 1.0])),
        st.tuples(st.just(Channel.LIQUID_KG_S), st.floats(0.0, 0.02)),
        st.tuples(st.just(Channel.HEATER_K), st.floats(0.0, 20.0)),
        st.tuples(st.just(Channel.SCREEN_CLOG), st.floats(0.0, 0.99)),
    ),
    max_size=5,
)
SITES = st.tuples(st.sampled_from(list(MACHINES)), st.sampled_from(list(OILS)), st.sampled_from(list(REFRIGERANTS)))


def kept(site, changes, fraction, seconds):
    """Step a machine through changes 5 s apart; returns refrigerant and oil held before and after, and the books."""
    machine, oil, refrigerant = MACHINES[site[0]], OILS[site[1]], REFRIGERANTS[site[2]]
    plan = schedule(site[0])
    for i, (channel, value) in enumerate(changes):
        plan.change(channel, 5.0 * (i + 1), value)
    p = parameters(machine, oil, refrigerant, plan)
    s = first_state(machine, oil, refrigerant, plan, Start(dissolved_fraction=fraction), p)
    books = new_ledger()
    held = [(held_kg(s, p), s[layout.S_OIL_KG] + s[layout.S_SYSTEM_OIL_KG])]
    steps = round(seconds / STEP_S)
    course(s, p, solubility_table(oil, refrigerant), *plan.arrays(), steps, np.zeros(layout.INPUTS), books)
    held.append((held_kg(s, p), s[layout.S_OIL_KG] + s[layout.S_SYSTEM_OIL_KG]))
    return *held, books


@settings(max_examples=25, phases=[Phase.generate])  # an example takes half a second: none is made smaller
@given(SITES, CHANGES, st.floats(0.005, 0.35))
def test_refrigerant_oil_and_heat_are_balanced_to_rounding(site, changes, fraction):
    """Catches oil that comes back dry, a pocket filled from nowhere, and absorption that warms nothing."""
    (before_kg, before_oil_kg), (after_kg, after_oil_kg), books = kept(site, changes, fraction, 40.0)

    assert after_kg - before_kg == pytest.approx(books[BROUGHT_KG], abs=1e-9 * before_kg)
    assert after_oil_kg == pytest.approx(before_oil_kg, rel=1e-12)
    assert books[STORED_J] == pytest.approx(books[BROUGHT_J], rel=1e-6, abs=1e-3)


def test_oil_is_lost_at_the_rate_of_the_leak_and_never_below_what_remains_in_the_corners():
    """Catches oil made of nothing at the bottom of the sump."""
    machine, oil, refrigerant = MACHINES["pebble"], OILS["still-68"], REFRIGERANTS["R134a"]
    charge = machine.oil_charge_m3 * oil.density_kg_m3
    plan = schedule("pebble").change(Channel.OIL_LEAK_KG_S, 10.0, charge / 20.0)
    p = parameters(machine, oil, refrigerant, plan)
    s = first_state(machine, oil, refrigerant, plan, Start(), p)
    table, (times, values, slopes, steady) = solubility_table(oil, refrigerant), plan.arrays()
    u = np.zeros(layout.INPUTS)
    totals = [s[layout.S_OIL_KG] + s[layout.S_SYSTEM_OIL_KG]]
    for step in range(500):
        read_inputs(s, times, values, slopes, steady, step * STEP_S, u)
        one_step(s, p, u, 1.0, step * STEP_S, table)
        totals.append(s[layout.S_OIL_KG] + s[layout.S_SYSTEM_OIL_KG])

    assert totals[100] - totals[200] == pytest.approx(charge / 2.0, rel=1e-9)
    assert np.all(np.diff(totals) <= 1e-15)
    assert s[layout.S_OIL_KG] >= USUAL.least_oil * charge * (1.0 - 1e-9)
    assert s[layout.S_DISSOLVED_KG] > 0.0


@pytest.mark.parametrize("oil", OILS)
def test_a_running_sump_stays_at_its_equilibrium(oil):
    """Circulating oil brings back what it took; catches a sump that runs itself dry (it sat 16 % low)."""
    plan = Schedule(MACHINES["granite"].rated_speed_rpm)
    result = run("granite", oil, plan, 4 * 3600.0, period_ms=10_000)
    pressure = float(result.true_crankcase_pa[-1])
    wanted = equilibrium_fraction(OILS[oil], REFRIGERANTS["R134a"], float(result.oil_temperature_c[-1]), pressure)

    assert result.dissolved_fraction[-1] == pytest.approx(wanted, rel=0.01)
