"""Damage read from a state, labels read from damage, readings sent through their own sensors: on values made by hand."""

import zlib
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
    Schedule,
    Sensor,
    SensorChain,
    Spell,
    Start,
    families,
    simulate,
)
from replay.physics import layout as at
from replay.physics.families import (
    CLEAR_HEAT,
    CLEAR_RESERVE,
    EDGE_HEAT,
    EDGE_RESERVE,
    FAMILIES,
    HALVINGS,
    OPEN_END_RESERVE,
    STOPPING_ALLOWANCE_S,
    TOLERANCE,
    TOLERANCE_S,
    case_of,
    generate_pieces,
    label_of,
    same_label,
    settled_label,
    trace_of,
)
from replay.physics.simulate import Result, damage_of, random_of_trace, simulate_pieces

UNDECIDED, HARMLESS = {"undecided": True}, {"ride_through": True}
SURE = Spell(10.0, (50.0, 60.0, 70.0))


def state(*spells: tuple[float, ...], count: int | None = None, **values: float) -> np.ndarray:
    """Return a kernel state in which these spells were noted; values: by the lower-case names of their places."""
    s = np.zeros(at.STATES)
    s[at.S_ONSET_S] = at.NEVER
    s[at.S_LEAST_RESERVE] = s[at.S_SPELL_RESERVE] = 1.0
    s[at.S_SPELLS] = len(spells) if count is None else count
    for number, spell in enumerate(spells):
        s[at.S_RECORD + number * at.SPELL :][: at.SPELL] = spell
    for name, value in values.items():
        s[getattr(at, f"S_{name.upper()}")] = value
    return s


def result(damage: Damage, *, running: float = 1.0, net_pa: float = 100e3, reserve: float = 1.0) -> Result:
    """Return a trace of one sample; its likely journal is full, reserve: of the pessimistic one."""
    rows = np.zeros((1, at.RECORDS))
    rows[0, [at.R_RUNNING, at.R_OIL_PA, at.R_CRANKCASE_PA]] = running, 300e3 + net_pa, 300e3
    rows[0, [at.R_FLOOR_PA, at.R_RESERVE, at.R_RESERVE_LOW]] = 30e3, 1.0, reserve
    nothing = np.zeros(1, np.int64)
    return Result(nothing, rows, nothing, nothing, None, damage)


def test_spells_are_told_in_their_order_with_what_never_came():
    """Catches a column that was not spoilt told as spoilt at -1 s, and an onset that nobody saw."""
    damage = damage_of(state((5.0, 50.0, 60.0, at.NEVER), (at.NEVER, 90.0, 91.0, 92.0)))

    assert damage.spells == (Spell(5.0, (50.0, 60.0, None)), Spell(None, (90.0, 91.0, 92.0)))
    assert [spell.certainty for spell in damage.spells] == ["possible", "certain"]
    assert (damage.untold, damage.unfinished) == (0, False)


def test_spells_beyond_the_last_that_is_kept_are_counted():
    """Catches a list read past its end, and spells that nobody hears of."""
    damage = damage_of(state(*[(1.0, 2.0, 3.0, 4.0)] * at.MOST_SPELLS, count=at.MOST_SPELLS + 3))

    assert len(damage.spells) == at.MOST_SPELLS
    assert damage.untold == 3


def test_a_spell_that_goes_on_counts_so_far_unless_it_spoilt_something():
    """Catches nearness to harm of a spell under way that is forgotten, and that of a spoilt one that makes it near harm."""
    going = {"onset_s": 7.0, "spell_reserve": 0.3, "spell_heat": 0.6, "least_reserve": 0.5, "most_heat": 0.2}
    damage, spoilt = damage_of(state(**going)), damage_of(state((7.0, 8.0, 9.0, 10.0), **going, spoiling=1.0))

    assert (damage.least_reserve, damage.most_heat, damage.unfinished) == (0.3, 0.6, False)
    assert (spoilt.least_reserve, spoilt.most_heat, spoilt.unfinished) == (0.5, 0.2, True)
    over = damage_of(state(**{**going, "onset_s": at.NEVER}))
    assert (over.least_reserve, over.most_heat, over.unfinished) == (0.5, 0.2, False)


def test_damage_is_as_sure_as_its_surest_spell_and_as_early_as_its_first():
    """Catches one doubtful spell that hides a certain one, and a first moment told by the last column or spell."""
    doubtful = Spell(1.0, (20.0, None, None))

    assert Damage((doubtful, SURE)).certainty == "certain"
    assert Damage((doubtful,)).certainty == "possible"
    assert Spell(1.0, (None, 20.0, 30.0)).certainty == Spell(1.0, (20.0, None, 30.0)).certainty == "possible"
    assert Damage((SURE, Spell(300.0, (310.0, 320.0, 330.0)))).times_s == (50.0, 60.0, 70.0)
    assert Damage((Spell(1.0, (None, 30.0, 20.0)),)).damage_s == 20.0
    assert Damage().damage_s is None


def test_near_harm_by_oil_or_by_heat_is_judged_neither_way():
    """Catches a label that asks for both, one that leaves out the spells nobody could keep, and a bound on its wrong side."""
    assert label_of(result(Damage(least_reserve=EDGE_RESERVE, most_heat=EDGE_HEAT))) == HARMLESS
    assert label_of(result(Damage(least_reserve=EDGE_RESERVE - 0.01))) == UNDECIDED
    assert label_of(result(Damage(most_heat=EDGE_HEAT + 0.01))) == UNDECIDED
    assert label_of(result(Damage(untold=1))) == UNDECIDED


def test_windows_end_before_the_harm_by_the_time_a_stop_takes_and_each_has_its_beginning():
    """Catches an allowance left out or added, and a failed sensor that moves a window over the one before it."""
    third = Spell(500.0, (550.0, 560.0, 570.0))
    damage = Damage((SURE, Spell(300.0, (350.0, 360.0, 370.0)), third))
    windows = label_of(result(damage), 400.0)["must_trip"]

    assert [window["earliest_s"] for window in windows] == [10.0, 300.0, 400.0]
    assert windows[0]["deadline_s"] == 50.0 - STOPPING_ALLOWANCE_S
    assert [window["earliest_s"] for window in label_of(result(damage), 330.0)["must_trip"]] == [10.0, 300.0, 500.0]
    assert label_of(result(Damage((Spell(10.0, (10.0 + STOPPING_ALLOWANCE_S, 60.0, 70.0)),)))) == UNDECIDED


@pytest.mark.parametrize(
    ("damage", "how", "label"),
    [
        (Damage(), {}, UNDECIDED),
        (Damage(), {"running": 0.0}, HARMLESS),
        (Damage(), {"net_pa": 30e3}, HARMLESS),
        (Damage(), {"reserve": OPEN_END_RESERVE}, HARMLESS),
        (Damage((SURE,)), {}, UNDECIDED),
        (Damage((SURE,), unfinished=True), {}, "must_trip"),
        (Damage((Spell(10.0, (50.0, None, None)),), unfinished=True), {}, UNDECIDED),
    ],
)
def test_a_trace_that_ends_starved_is_undecided_unless_that_spell_has_spoilt_all(damage, how, label):
    """Catches a spell cut off by the end of its trace that counts as ridden through, or hides a fault that is told."""
    told = label_of(result(damage, **{"net_pa": 29.9e3, "reserve": OPEN_END_RESERVE - 0.01} | how))

    assert told == label or list(told) == [label]


def test_labels_are_the_same_within_seconds_or_a_share_of_the_window_whichever_is_more():
    """Catches a tolerance that is the lesser of the two, which no long window keeps."""
    long_s = 2.0 * TOLERANCE_S / TOLERANCE

    def window(deadline_s: float) -> dict[str, dict[str, float]]:
        return {"must_trip": {"earliest_s": 0.0, "deadline_s": deadline_s}}

    assert same_label(window(long_s), window(long_s + 2.0 * TOLERANCE_S))
    assert not same_label(window(long_s), window(long_s + 2.1 * TOLERANCE_S))
    assert same_label(window(10.0), window(10.0 + TOLERANCE_S))
    assert not same_label(window(10.0), window(10.1 + TOLERANCE_S))


CASE = Case(MACHINES["granite"], OILS["still-68"], REFRIGERANTS["R134a"], Schedule(1450.0, running=False), 20.0)


@pytest.mark.parametrize(("near", "asked"), [({}, 0), ({"least_reserve": 0.5}, 1), ({"most_heat": 0.2}, 1)])
def test_what_came_near_harm_is_integrated_again_and_a_failed_sensor_counts_there_too(near, asked, monkeypatch):
    """Catches a doubt by oil or by heat that is not looked into, and a finer label of another rule."""
    assert (CLEAR_RESERVE, CLEAR_HEAT) > (0.5, 0.1)
    found: list[Case] = []

    def again(finer: Case):
        found.append(finer)
        yield result(Damage(**near))

    monkeypatch.setattr("replay.physics.families.simulate_pieces", again)
    assert settled_label(CASE, result(Damage(**near))) == HARMLESS
    assert len(found) == asked

    failed = replace(CASE, chain=SensorChain(oil=Sensor(stuck_s=(5.0, 6.0))))
    monkeypatch.setattr("replay.physics.families.simulate_pieces", lambda _: iter([result(Damage((SURE,)))]))
    assert settled_label(failed, result(Damage((SURE,))))["must_trip"]["earliest_s"] == 5.0


@pytest.mark.parametrize("settles", range(1, HALVINGS + 2))
def test_a_label_is_that_of_the_first_two_steps_that_agree(settles, monkeypatch):
    """At the n-th halving; catches one compared with the coarsest only, the same step asked again, one halving too few."""
    spells = [Damage((Spell(10.0, (50.0 * (1 + min(n, settles - 1)), 900.0, 950.0)),)) for n in range(HALVINGS + 2)]
    steps: list[float] = []

    def again(finer: Case):
        steps.append(CASE.step_s / finer.step_s)
        yield result(spells[len(steps)])

    monkeypatch.setattr("replay.physics.families.simulate_pieces", again)
    label = settled_label(CASE, result(spells[0]))

    assert steps == [2.0**n for n in range(1, min(settles, HALVINGS) + 1)]
    if settles <= HALVINGS:
        assert label["must_trip"]["deadline_s"] == 50.0 * settles - STOPPING_ALLOWANCE_S
    else:
        assert label == UNDECIDED


def test_only_a_harmless_trace_is_undecided_for_an_untrue_reading(monkeypatch):
    """Catches a fault that is no longer one because a sensor failed too."""
    failed = replace(CASE, chain=SensorChain(oil=Sensor(stuck_s=(5.0, 6.0))))
    monkeypatch.setattr("replay.physics.families.settled_label", lambda _, one: label_of(one))

    assert trace_of("f", 0, failed, result(Damage())).label == UNDECIDED
    assert "must_trip" in trace_of("f", 0, failed, result(Damage((SURE,)))).label
    assert trace_of("f", 0, CASE, result(Damage())).label == HARMLESS


@pytest.mark.slow("compiles what only it runs")
def test_each_pressure_goes_through_a_sensor_of_its_own():
    """Catches noise, chance or memory shared by the channels, the wrong pressure, and traces of one seed that are alike."""
    sticky = Sensor(noise_pa=400.0, lag_s=2.0, dead_band_pa=5.0, resolution_pa=1.0, lost_chance=0.2)
    chain = SensorChain(oil=sticky, suction=sticky, crankcase=sticky, period_ms=100)
    case = replace(CASE, chain=chain, schedule=Schedule(1450.0), start=Start(dissolved_fraction=0.2))
    one, other = simulate(case), simulate(replace(case, key=(1,)))
    read = np.array([one.oil_pa, one.suction_pa, one.crankcase_pa, other.oil_pa])
    true = np.array([one.true_oil_pa, one.true_suction_pa, one.true_crankcase_pa, other.true_oil_pa])
    lost = read < -(2**30)
    errors = np.where(lost, 0.0, read - true)

    assert np.abs(errors).max() < 4.0 * 400.0
    assert np.abs(np.corrcoef(lost) - np.eye(4)).max() < 0.35
    assert np.abs(np.corrcoef(errors) - np.eye(4)).max() < 0.35
    quiet = Sensor(noise_pa=0.0, lag_s=0.0, resolution_pa=1.0)
    exact = simulate(replace(case, chain=SensorChain(oil=quiet, suction=quiet, crankcase=quiet, period_ms=100)))
    assert np.array_equal(exact.oil_pa, np.rint(exact.true_oil_pa))
    assert np.array_equal(exact.suction_pa, np.rint(exact.true_suction_pa))
    assert np.array_equal(exact.crankcase_pa, np.rint(exact.true_crankcase_pa))
    assert not np.array_equal(exact.crankcase_pa, exact.suction_pa)


@pytest.mark.slow("compiles what only it runs")
def test_a_machine_without_permission_stands():
    """Catches a plant that runs on whatever it is told."""
    plant = Plant(replace(CASE, schedule=Schedule(1450.0)))

    assert plant.advance(10.0)[at.R_SPEED_RPM] > 1400.0
    assert plant.advance(40.0, permission=False)[at.R_SPEED_RPM] < 1.0


def short(chain: SensorChain, seconds: float = 60.0) -> Case:
    """Return a minute of a machine that stands, starts and runs."""
    plan = Schedule(1450.0, running=False).change(Channel.RUN, 10.0, 1.0)
    return Case(MACHINES["granite"], OILS["still-68"], REFRIGERANTS["R134a"], plan, seconds, Start(30.0), chain, seed=3)


@pytest.mark.slow("lets a machine settle, which is machine code")
def test_pieces_of_a_trace_are_the_whole_of_it():
    """Slow, sticky and losing sensors; catches one that begins anew with each piece, and damage of the last piece alone."""
    sensor = Sensor(lag_s=5.0, dead_band_pa=2e3, lost=((20.0, 25.0), (30.0, 35.0)), drift_from_s=40.0, drift_pa_s=500.0)
    case = short(SensorChain(sensor, sensor, sensor))
    whole, pieces = simulate(case), list(simulate_pieces(case, 7))

    assert len(pieces) == 9
    for name in ("time_ms", "oil_pa", "suction_pa", "crankcase_pa", "running", "oil_temperature_c"):
        assert np.concatenate([getattr(piece, name) for piece in pieces]).tolist() == getattr(whole, name).tolist()
    assert pieces[-1].damage == whole.damage


@pytest.mark.slow("lets a machine settle, which is machine code")
def test_a_trace_tells_the_sump_in_degrees_celsius():
    """A sump that begins at 30 C; catches kelvins in a column of degrees."""
    assert simulate(short(SensorChain(), 5.0)).oil_temperature_c[0] == pytest.approx(30.0, abs=0.1)


def test_every_trace_has_noise_of_its_own_and_not_the_draws_of_its_installation():
    """Catches one seed used twice, for the site and for its sensors, or for every trace of a library."""
    cases = {(family, index): case_of(family, index, 3) for family in FAMILIES for index in (0, 1)}
    draws = [random_of_trace(3, case.key).random() for case in cases.values()]

    assert len({case.key for case in cases.values()}) == len(set(draws)) == len(cases)
    for (family, index), case in cases.items():
        site = random_of_trace(3, (zlib.crc32(family.encode()), index, 0)).random()
        assert case.seed == 3
        assert random_of_trace(3, case.key).random() != site
    assert len({random_of_trace(3, key).random() for key in ((1, 2, 3), (1, 2, 4), (1, 2), (1,), (2, 1))}) == 5


def test_a_sensor_that_failed_while_the_window_before_lasted_belongs_to_that_one():
    """Between the deadline and the last of the first window; catches a second window that begins in the first."""
    later = Spell(300.0, (350.0, 360.0, 370.0))
    for failed_s, begins_s in ((60.0, 300.0), (66.9, 300.0), (67.0, 67.0), (299.0, 299.0), (300.0, 300.0)):
        _, second = label_of(result(Damage((SURE, later))), failed_s)["must_trip"]
        assert second["earliest_s"] == begins_s


@pytest.mark.parametrize("channel", ["oil", "suction", "crankcase"])
def test_a_harmless_trace_with_an_untrue_reading_of_any_channel_is_judged_neither_way(monkeypatch, channel):
    """Catches a failed suction or crankcase sensor on which a stop would be a nuisance."""
    monkeypatch.setattr(families, "settled_label", lambda *_: HARMLESS)
    for sensor, label in ((Sensor(), HARMLESS), (Sensor(broken_s=(5.0, 9.0)), UNDECIDED)):
        case = short(SensorChain(**{channel: sensor}))
        assert trace_of("x", 0, case, result(Damage())).label == label


def test_the_other_machines_of_a_trace_have_its_failed_sensor_too(monkeypatch):
    """Catches windows of the others that begin with the spell where this one's begins with its sensor."""
    asked: list[float] = []

    def label(_result: Result, fault_s: float = 1e18) -> dict:
        asked.append(fault_s)
        return HARMLESS

    case = short(SensorChain(Sensor(stuck_s=(7.0, 9.0))))
    monkeypatch.setattr(families, "case_of", lambda *_, **__: case)
    monkeypatch.setattr(families, "simulate_pieces", lambda _case: iter([result(Damage())]))
    monkeypatch.setattr(families, "label_of", label)
    (made,) = generate_pieces("x", 0, 1, others=[None, None])

    assert asked == [7.0, 7.0, 7.0]
    assert made.origin.endswith("of 3 machines damage is certain on 0, none on 2, possible on 1")


def test_a_label_that_stands_is_that_of_the_trace_as_it_is_kept(monkeypatch):
    """A second apart at half the step; catches a window of another integration than the readings beside it."""
    finer = result(Damage((replace(SURE, times_s=(51.0, 61.0, 71.0)),)))
    monkeypatch.setattr(families, "simulate_pieces", lambda _case: iter([finer]))
    kept = result(Damage((SURE,)))

    assert settled_label(short(SensorChain()), kept) == label_of(kept)
    assert label_of(kept) != label_of(finer)
