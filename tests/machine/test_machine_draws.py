"""What is stated stands in every draw, what is left out lies in its range; extremes run finite, or are refused in words."""

from dataclasses import replace

import numpy as np
import pytest
import tomli
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from replay.ground.refusal import Refusal
from replay.machine.draw import Fixed
from replay.machine.keys import FIGURES
from replay.machine.oils import CHI, CLASS
from replay.physics import Channel, Plant, layout, simulate
from replay.physics.behaviour import TABLE, USUAL
from replay.physics.drawing import ANY, FOAMING, STILL, Draw, Site
from replay.physics.duty import made
from replay.physics.families import FAMILIES, case_of
from replay.physics.simulate import random_of_trace
from tests.support.machines import LARGE, SMALL, machine
from tests.support.physics_ledger import compiled_course, held_kg, new_ledger

pytestmark = pytest.mark.slow("simulates many traces")

BASES = {"small": SMALL, "large": LARGE}


def drawn(described, number: int = 0, oils=ANY) -> Site:
    """Return one installation of a machine file."""
    return described.site(Draw(random_of_trace(9, (number,))), oils)


def described_or_refused(base, changed, words):
    """Return a machine file, or None where it is refused with these words."""
    try:
        return machine(base, **changed)
    except Refusal as refused:
        if words not in str(refused):
            raise
    return None


@st.composite
def extremes(draw):
    """Return a base and one to four of its figures at an end of what is admitted, or anywhere between."""
    changed = {}
    for path in draw(st.lists(st.sampled_from(sorted(FIGURES)), min_size=1, max_size=4, unique=True)):
        row = FIGURES[path]
        share = draw(st.one_of(st.sampled_from((0.0, 1.0)), st.floats(0.0, 1.0)))
        value = row.least + (row.most - row.least) * share
        changed[path.replace(".", "__")] = tomli.loads("x = " + row.kind.write(value))["x"]
    return draw(st.sampled_from(sorted(BASES))), changed


@settings(max_examples=60, suppress_health_check=list(HealthCheck))
@given(extremes(), st.integers(0, 1000), st.sampled_from((STILL, FOAMING)))
def test_extremes_of_the_keys_run_finite_or_are_refused_in_words(case, number, oils):
    """Suction shut for five minutes; catches NaN, a negative mass or pressure, and a traceback where a reason is due."""
    base, changed = case
    described = described_or_refused(BASES[base], changed, "accepted")
    if described is None:
        return
    site = drawn(described, number, oils)
    plan = site.schedule().change(Channel.SUCTION_VALVE, 30.0, 0.0, 1.0).change(Channel.SUCTION_VALVE, 260.0, 1.0, 1.0)
    plant = Plant(made(site, plan, 300.0))
    for second in range(0, 300, 5):
        row = plant.advance(float(second))
        masses = plant.state[[layout.S_OIL_KG, layout.S_DISSOLVED_KG, layout.S_FOAM_KG, layout.S_POCKET_KG]]
        assert np.isfinite(row).all()
        assert np.isfinite(plant.state).all()
        assert masses.min() >= 0.0
        assert row[[layout.R_OIL_PA, layout.R_SUCTION_PA, layout.R_CRANKCASE_PA]].min() > 0.0


@pytest.mark.parametrize("base", BASES)
def test_every_family_that_suits_draws_without_a_fault(base):
    """Each twice; catches a family that is kept on a machine it cannot be run on."""
    described = machine(BASES[base])
    left_out = described.left_out()
    for family in FAMILIES:
        for index in range(2):
            if family not in left_out:
                case = case_of(family, index, 3, sites=described.site)
                assert np.isfinite(case.parameters).all()
                assert case.source == described.source


@pytest.mark.parametrize(
    ("changed", "families", "words"),
    [
        ({"oil__behaviour": "foaming"}, {"suction-valve-shut", "suction-reopened-in-time"}, "still"),
        ({"oil__behaviour": "still"}, {"foaming-oil-lost", "foaming-oil-recovers"}, "foaming"),
        ({"compressor__unloading": []}, {"unloader-steps"}, "no unloading"),
        ({"compressor__speed": "1700 rpm"}, {"speed-ramps", "speed-low-for-a-while"}, "mains"),
        ({"site__neighbours": False}, {"oil-drawn-to-neighbour", "level-shifts"}, "shares its crankcase"),
        ({"compressor__reversible_pump": True}, {"rotation-reversed"}, "either way"),
        ({"site__evaporating": "-30 C"}, {"suction-throttled", "suction-throttled-for-a-while"}, "cannot be held"),
    ],
)
def test_a_family_that_makes_no_sense_is_left_out_with_the_reason(changed, families, words):
    """And no other for that reason; catches a family run where the machine has nothing to do it with."""
    usual, found = machine(SMALL).left_out(), machine(SMALL, **changed).left_out()

    assert families <= {family for family, reason in found.items() if words in reason}
    assert not usual


def test_a_stated_figure_stands_and_leaves_the_others_of_a_seed_as_they_were():
    """Clearance stated; catches draws that hang on what else the file says."""
    plain, stated = (drawn(machine(SMALL, **its)) for its in ({}, {"compressor__clearance": 0.037}))

    assert stated.machine.clearance_ratio == 0.037
    assert replace(stated.machine, clearance_ratio=plain.machine.clearance_ratio) == plain.machine
    assert (stated.oil, stated.behaviour, stated.chain) == (plain.oil, plain.behaviour, plain.chain)


def test_a_pocket_that_is_said_to_spill_before_it_is_drawn_in_does():
    """Catches a fitted member turned into another machine: what is stated of both stands, what is drawn of one gives way."""
    both = drawn(machine(SMALL, behaviour__slug_from_cover=1.45, behaviour__pocket_limit=1.35)).behaviour
    one = machine(SMALL, behaviour__slug_from_cover=1.45)
    some = [drawn(one, i).behaviour for i in range(12)]

    assert (both.slug_from_cover, both.pocket_limit) == (1.45, 1.35)
    assert [its.slug_from_cover for its in some] == [min(1.45, 0.97 * its.pocket_limit) for its in some]
    assert min(its.slug_from_cover for its in some) < 1.45


def test_a_range_is_drawn_from_and_what_is_left_out_lies_in_its_own():
    """Two hundred draws; catches an end that is never reached, a figure that is not drawn, one outside its range."""
    described = machine(SMALL, compressor__clearance=[0.02, 0.03])
    sites = [drawn(described, i) for i in range(200)]
    clearances = [site.machine.clearance_ratio for site in sites]
    healthy = [site.behaviour.healthy_net_pa for site in sites]

    assert 0.02 <= min(clearances) < 0.0203
    assert 0.0297 < max(clearances) <= 0.03
    assert 110e3 <= min(healthy) < 113e3
    assert 167e3 < max(healthy) <= 170e3
    for name, told in TABLE.items():
        values = {np.atleast_1d(getattr(site.behaviour, name))[0] for site in sites}
        fixed = name in ("onset_share", "spell_over_reserve", "spell_over_heat", "least_oil", "gas_temperature_k")
        assert (len(values) == 1) == fixed, name
        assert told.text


def test_what_a_fit_finds_is_what_the_machine_does():
    """Three kinds of value in [behaviour]; catches one that is drawn over, and columns that do not move together."""
    described = machine(SMALL, behaviour__capillary_pa=20e3, behaviour__lost_share=0.001, behaviour__spread=0.0)
    behaviour = drawn(described).behaviour

    assert behaviour.capillary_pa == 20e3
    assert behaviour.lost_share == pytest.approx([one * 0.001 / 0.00122 for one in USUAL.lost_share])
    assert behaviour.drying_time_s == USUAL.drying_time_s


def test_measured_published_and_assumed_are_told_apart():
    """Catches a figure that is assumed and not named, and one that is named and never used."""
    described = machine(
        SMALL,
        oil__viscosity_points=[["40 C", "68 mm2/s"], ["100 C", "8.7 mm2/s"]],
        site__oil_temperature="45 C",
        origin__published=["compressor.displacement"],
        origin__assumed=["site.oil_temperature"],
    )

    assert described.status("compressor.displacement") == "published"
    assert described.status("compressor.rated_speed") == "measured"
    assert described.status("site.oil_temperature") == described.status("compressor.clearance") == "assumed"
    assert {described.status(key) for key in ("oil.grade", "oil.viscosity_40", "site.ambient")} == {""}
    assert "clearance" in described.source
    assert "grade" not in described.source
    assert drawn(described).oil.viscosity_40_mm2_s == pytest.approx(68.0, rel=1e-9)


@pytest.mark.parametrize("base", BASES)
def test_mass_and_heat_of_a_drawn_machine_balance(base):
    """Refrigerant and heat kept in books for ten minutes with suction shut; catches gas that comes from nowhere."""
    site = drawn(machine(BASES[base]), oils=STILL)
    case = made(site, site.schedule().change(Channel.SUCTION_VALVE, 60.0, 0.0), 600.0)
    plant = Plant(case)
    before, books = held_kg(plant.state, plant.parameters), new_ledger()
    table = np.array(site.oil.solubility)
    steps = round(600.0 / case.step_s)
    compiled_course(
        plant.state, plant.parameters, table, *case.schedule.arrays(), steps, np.zeros(layout.INPUTS), books
    )
    brought, stored, heat = books[:3]

    assert held_kg(plant.state, plant.parameters) - before == pytest.approx(brought, abs=1e-9 * before)
    assert stored == pytest.approx(heat, rel=1e-6, abs=1e-3)
    assert abs(heat) > 10.0


@pytest.mark.parametrize("kind", sorted({kind for kind, _ in CHI}))
@pytest.mark.parametrize("refrigerant", sorted(CLASS))
def test_every_refrigerant_in_every_oil_draws_or_is_refused(refrigerant, kind):
    """A pull-down at three corners of each; catches a table of solubility that cannot be read, or a sump of nothing else."""
    changed = {"refrigerant__name": refrigerant, "oil__kind": kind}
    if refrigerant == "R744":
        changed |= {"site__evaporating": ["-35 C", "-28 C"], "site__condensing": ["-10 C", "5 C"]}
    described = described_or_refused(SMALL, changed, "oil")
    assert (described is None) == (refrigerant == "R717" and kind != "PAG")
    if described is None:
        return
    for share in (0.0, 0.5, 1.0):
        site = described.site(Fixed(share), STILL)
        result = simulate(made(site, site.schedule().change(Channel.SUCTION_VALVE, 20.0, 0.0), 120.0))
        assert np.isfinite(result.rows).all()
        assert 0.001 < result.dissolved_fraction[0] < 0.4
