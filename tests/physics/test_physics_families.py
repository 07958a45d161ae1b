"""Families of synthesised traces: drawn from ranges, labelled by the bearings, the same bytes for the same seed."""

from dataclasses import replace

import numpy as np
import pytest

from replay.physics import NO_READING, simulate
from replay.physics import layout as at
from replay.physics.drawing import FOAMING, STILL, Draw, draw_site, saturation_pa
from replay.physics.families import FAMILIES, FAULTS, HARMLESS, case_of, generate, label_of
from replay.physics.machines import REFRIGERANTS
from replay.physics.simulate import random_of_trace

pytestmark = pytest.mark.slow("simulates, scores or draws many traces")

# What the trade says of each must-trip family may be 'possible' in the middle: throttling, spells that add up.
MIDDLE = {"suction-throttled", "expansion-valve-stuck", "repeated-starved-spells"}
STARVED_STILL_OIL = {"suction-valve-shut", "liquid-solenoid-stuck", "liquid-valve-left-shut", "reload-before-film"}


@pytest.mark.parametrize("family", FAMILIES)
def test_three_traces_of_each_family_are_whole_and_labelled_as_meant(family):
    """Catches a family that cannot be drawn, arrays out of step, or a name that says the contrary of the label."""
    for index in range(3):
        trace = generate(family, index, seed=11)
        ((kind, content),) = trace.label.items()
        n = trace.time_ms.size

        assert kind in ("must_trip", "ride_through", "undecided")
        if family in FAULTS and family not in MIDDLE:
            assert kind == "must_trip"
        if family in HARMLESS:
            assert kind == "ride_through"
        if kind == "must_trip":
            ends = [content[edge] for edge in ("earliest_s", "deadline_s", "likely_s", "latest_s")]
            assert 0.0 <= ends[0] < ends[1] <= ends[2] <= ends[3] < trace.time_ms[-1] / 1000.0
        assert trace.time_ms.dtype == np.int64
        assert trace.time_ms[0] == 0
        assert np.all(np.diff(trace.time_ms) > 0)
        for column in (trace.oil_pa, trace.suction_pa, trace.running, trace.oil_temperature_c, trace.speed_rpm):
            assert column.size == n
        assert trace.oil_pa.dtype == trace.suction_pa.dtype == np.int64
        assert set(np.unique(trace.running)) <= {0, 1}
        read = trace.suction_pa[trace.suction_pa != NO_READING]
        assert read.min() > -15e3
        assert read.max() < 1100e3
        assert np.all((trace.oil_temperature_c > -20.0) & (trace.oil_temperature_c < 80.0))
        assert trace.id == f"{family}-{index:05d}"
        assert trace.origin.startswith("synthetic: seed 11, scenario ")


def test_every_family_that_must_be_there_is_there():
    """The list of the trade: nothing is dropped without notice."""
    assert len(FAULTS) >= 17
    assert len(HARMLESS) >= 13
    assert not set(FAULTS) & set(HARMLESS)


def test_label_states_onset_and_pessimistic_damage_less_the_stopping_allowance():
    """A broken pump drive: onset within seconds of the break, deadline 3 s before the first journal; restated here."""
    case = case_of("pump-drive-broken", 0, 3)
    result = simulate(case)
    broken_s = case.schedule.knots[12][1][0]  # type: ignore[index]  # channel 12 is the pump drive
    label = label_of(result)["must_trip"]

    assert broken_s < label["earliest_s"] < broken_s + 5.0
    assert label["deadline_s"] == pytest.approx(result.damage.times_s[0] - 3.0, abs=0.06)  # type: ignore[operator]


def test_trace_that_ends_starved_is_undecided():
    """Cut a pump failure short before its damage; catches a ride-through for want of time."""
    case = case_of("pump-drive-broken", 0, 3)
    broken_s = case.schedule.knots[12][1][0]  # type: ignore[index]
    result = simulate(replace(case, duration_s=broken_s + 80.0))

    assert result.damage.certainty == "none"
    assert result.rows[-1, at.R_RESERVE_LOW] < 0.8
    assert label_of(result) == {"undecided": True}


def test_fault_that_harms_nothing_is_not_called_a_fault():
    """Some throttled traces are only a nuisance: over 40 draws both labels occur, whatever the family's name."""
    kinds = {next(iter(label_of(simulate(case_of("suction-throttled", i, 1))))) for i in range(40)}

    assert kinds >= {"must_trip", "ride_through"}


def test_same_seed_same_trace_and_families_do_not_share_draws():
    """Catches seeds that hang on order, or two families that come out alike."""
    first = generate("suction-valve-shut", 4, seed=2)
    generate("normal-start", 0, seed=2)
    again = generate("suction-valve-shut", 4, seed=2)
    other = generate("suction-valve-shut", 5, seed=2)

    assert first.oil_pa.tobytes() == again.oil_pa.tobytes()
    assert first.label == again.label
    assert first.oil_pa.tobytes() != other.oil_pa.tobytes()
    assert case_of("noisy-sensors", 0, 2).schedule.speed_rpm != case_of("offset-sensors", 0, 2).schedule.speed_rpm


def test_hours_lengthen_harmless_traces_only():
    """Catches a fault trace diluted with healthy hours, or events that stop after the first quarter."""
    long = case_of("service-valve-shut-briefly", 0, 5, hours=4.0)

    assert long.duration_s == 4.0 * 3600.0
    assert long.schedule.knots[3][-1][0] > 3.0 * 3600.0  # type: ignore[index]  # channel 3 is the suction valve
    assert case_of("pump-drive-broken", 0, 5, hours=4.0) == case_of("pump-drive-broken", 0, 5)


def test_unknown_family_is_refused():
    """Catches a typing error that yields some other family."""
    with pytest.raises(KeyError):
        case_of("suction-valve-shutt", 0, 1)


def test_sites_cover_their_ranges():
    """Over 300 draws every machine, oil and refrigerant occurs; catches a choice that never falls."""
    sites = [draw_site(Draw(random_of_trace(1, (i,)))) for i in range(300)]

    assert len({site.machine.name for site in sites}) == 4
    assert {site.oil.name for site in sites} == set(STILL) | set(FOAMING)
    assert {site.refrigerant.name for site in sites} == {"R134a", "R143a", "R152a"}
    assert {site.chain.crankcase is None for site in sites} == {True, False}
    assert all(149e3 < site.suction_pa < site.load_pa < site.discharge_pa <= 1200e3 for site in sites)


@pytest.mark.parametrize(("celsius", "kpa"), [(-20, 132.735), (-15, 163.94), (20, 571.707)])
def test_saturation_between_grid_points(celsius, kpa):
    """CoolProp 8.0.0 for R134a; catches a table read in the wrong row."""
    assert saturation_pa(REFRIGERANTS["R134a"], celsius) / 1e3 == pytest.approx(kpa, rel=2e-3)


def test_to_stop_on_a_failed_sensor_is_never_early():
    """A frozen sensor seen before the pump fails was rightly stopped on; catches such a stop booked as a nuisance."""
    for index in range(5):
        case = case_of("oil-sensor-stuck", index, 3)
        window = label_of(simulate(case), case.chain.fault_s)["must_trip"]
        assert window["earliest_s"] == pytest.approx(case.chain.oil.stuck_s[0], abs=0.06)
