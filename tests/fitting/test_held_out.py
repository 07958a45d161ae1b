"""What is told of a run that no fit has seen, by hand: errors, times below a level, the stop, intervals, misfits."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from protect.ranges import CUT_IN, CUT_OUT, FLOOR, NO_READING
from replay.engine import replay_trace
from replay.fitting import holdout, inspections
from replay.fitting.fitting import Fit
from replay.fitting.holdout import Figure, Prediction, fitted, predict
from replay.fitting.inspections import bearings_of
from replay.fitting.members import Errors
from replay.fitting.runs import FALLEN, MIDST_S, MOMENT_S, SETTLED_S, Run, refuse_midst, run_of
from replay.fitting.words import LEAST_S, MOST_TOLD, OFF_PA, SIZES, misfits_of
from replay.ground.refusal import Refusal
from replay.ground.shown import KPA, shown_in
from replay.ground.units import PSI_PA
from replay.machine import machine_from
from replay.machine.found import Inspection
from replay.physics.simulate import Damage
from replay.settings import Settings, read_settings
from replay.trace import Trace
from tests.conftest import SETTINGS
from tests.support.made_machines import made_machine

SUCTION_PA, SECONDS = 300_000, 400
Values = NDArray[np.float64]


def a_run(net_pa: Values, *, running: Any = None, unread: slice | None = None, sigma_pa: float = 0.0) -> Run:
    """Return a run of one sample a second whose readings hold this net oil pressure over a steady suction."""
    count = len(net_pa)
    oil = net_pa + SUCTION_PA
    told = np.rint(oil).astype(np.int64)
    read = np.ones(count, bool)
    if unread is not None:
        read[unread] = False
        told[unread] = NO_READING
    suction = np.full(count, SUCTION_PA)
    runs = np.ones(count, np.uint8) if running is None else np.asarray(running, np.uint8)
    trace = Trace("r", 0.0, np.arange(count) * 1000, told, suction, suction, runs, np.zeros(count, np.uint8))
    return Run(
        trace, np.arange(count) * 1.0, suction * 1.0, oil, read, np.full(count, sigma_pa), 0.0, oil_c=None, speed_rpm=None
    )  # fmt: skip


def predicted(
    run: Run,
    made_pa: list[Values],
    settings: Settings | None,
    monkeypatch: pytest.MonkeyPatch,
    errors: Errors = Errors(),  # noqa: B008 - frozen
) -> Prediction:
    """Return what is told of a run by members that make this net oil pressure."""
    monkeypatch.setattr(holdout, "_driven", lambda *_: np.array(made_pa) + SUCTION_PA)
    problem: Any = SimpleNamespace(seed=1, errors=(errors,))
    return predict(problem, (), run, settings)


@pytest.fixture
def settings(tmp_path: Any) -> Settings:
    """Return settings of the tests."""
    (tmp_path / "settings.toml").write_text(SETTINGS)
    return read_settings(tmp_path / "settings.toml")


def flat(net_pa: float) -> Values:
    """Return a net oil pressure that stays."""
    return np.full(SECONDS, net_pa)


def test_the_error_is_that_of_the_middle_member_where_there_is_a_reading(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a mean for the median, a mean error for the root of squares, and readings that were never there."""
    run = a_run(flat(100e3), unread=slice(0, 100))
    members = [flat(97e3), flat(96e3), flat(500e3)]
    members[0][:100], members[1][:100] = 0.0, 0.0
    members[0][250:], members[1][250:] = 101e3, 101e3
    told = predicted(run, members, None, monkeypatch)

    assert told.net_error_pa == pytest.approx(np.sqrt((3e3**2 + 1e3**2) / 2))


def test_time_below_a_level_is_that_of_the_settled_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches time at the level itself, of a standstill or of a start counted, and levels that are not the settings'."""
    net = flat(100e3)
    level = np.ceil(9.0 * PSI_PA)
    net[200:250], net[250:300] = level - 1.0, level
    net[40:60] = 0.0  # at the start
    running = np.ones(SECONDS)
    running[:35], running[390:] = 0, 0
    net[390:] = 0.0
    run = a_run(net, running=running)
    told = predicted(run, [net, flat(0.0), flat(100e3)], None, monkeypatch)
    lasts_s = 390 - 35 - SETTLED_S

    assert [one.name for one in told.below_s] == ["4.5 psi", "7 psi", "9 psi"]
    assert [one.read for one in told.below_s] == [0.0, 0.0, 50.0]
    assert (told.below_s[2].median, told.below_s[2].low, told.below_s[2].high) == (50.0, 0.0, lasts_s)
    assert told.trip_s is None


def test_with_settings_the_levels_and_the_stop_are_theirs(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a stop of other readings than the log's, one of a member called the log's, and levels that are nobody's."""
    net = np.where(np.arange(SECONDS) < 100, 120e3, 5e3)
    net[300:] = 60e3  # the cut-out itself, which is not below it
    told = predicted(a_run(net), [net, flat(120e3), net], settings, monkeypatch)
    read_s = told.trip_s and told.trip_s.read

    assert [one.name for one in told.below_s] == ["floor", "cut-out", "cut-in"]
    assert [settings.values[key] for key in (FLOOR, CUT_OUT, CUT_IN)] == [30_000, 60_000, 80_000]
    assert [one.read for one in told.below_s] == [200.0, 200.0, 299.0]
    assert read_s == replay_trace(a_run(net).trace, settings).stops[0].time_ms / 1000.0
    assert 100.0 < read_s < 250.0
    assert told.trip_s is not None
    assert told.trip_s.median == pytest.approx(read_s, abs=3.0)
    assert told.trip_s.high is None  # one of three never stops


def test_a_member_reads_with_the_noise_of_the_log(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches members whose readings stand still, at which settings stop them as at a sensor that is stuck."""
    net = np.full(900, 120e3)
    run = a_run(net + np.random.default_rng(1).normal(0.0, 50.0, 900))
    moving = SUCTION_PA + np.arange(900) % 3
    run = replace(run, trace=replace(run.trace, suction_pa=moving, crankcase_pa=moving))
    told = predicted(run, [net, net], settings, monkeypatch)
    assert told.trip_s is not None
    assert (told.trip_s.read, told.trip_s.median, told.trip_s.low) == (None, None, None)


@pytest.mark.parametrize(
    ("fitted_s", "held_s", "told"),
    [
        ([(100.0, 60.0), (80.0, 90.0)], (105.0, 99.0), {}),
        ([(100.0, 60.0), (80.0, 90.0)], (111.0, 99.0), {"held": ("cut-out", 111.0, 100.0)}),
        ([(100.0, 60.0), (80.0, 90.0)], (111.0, 120.0), {"held": ("floor", 120.0, 90.0)}),
        ([(None, 60.0)], (30.0, 60.0), {"held": ("cut-out", 30.0, 0.0)}),
        ([(100.0, 60.0)], (None, None), {}),
    ],
)
def test_a_held_out_run_without_oil_for_longer_than_any_fitted_one_is_told(
    fitted_s: list[tuple[float | None, ...]], held_s: tuple[float | None, ...], told: dict[str, Any]
) -> None:
    """Catches an interval that nothing fitted stands for and nobody is warned of; the longest fitted run counts."""

    def a_prediction(name: str, read_s: tuple[float | None, ...]) -> Any:
        levels = zip(("cut-out", "floor"), read_s, strict=True)
        return SimpleNamespace(
            run=SimpleNamespace(id=name), below_s=[Figure(level, read, None, None, None) for level, read in levels]
        )

    fit: Any = SimpleNamespace(
        runs=[a_prediction("fitted", read_s) for read_s in fitted_s], held_out=[a_prediction("held", held_s)]
    )

    assert Fit.beyond.fget(fit) == told  # type: ignore[attr-defined]


def test_an_interval_leaves_out_a_twentieth_at_each_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches another share than nine tenths, an end that is one member further in or out, and a mean for the median."""
    members = [flat(100e3) for _ in range(39)]
    for number, net in enumerate(members):
        net[100 : 100 + number + 1] = 0.0
    told = predicted(a_run(flat(100e3)), members[::-1], None, monkeypatch).below_s[0]

    assert (told.read, told.low, told.median, told.high) == (0.0, 2.0, 20.0, 38.0)  # the 2nd and the 2nd last of 39


@pytest.mark.parametrize("members", [8, 12])
def test_an_interval_of_few_members_is_as_sure_as_one_of_many(members: int) -> None:
    """Catches nine in ten said of the span of eight, which holds the next one 7 times in 9."""
    generator = np.random.default_rng(5)
    held, spanned, tries = 0, 0, 4000
    for _ in range(tries):
        *made, read = generator.normal(200.0, 10.0, members + 1).tolist()
        its = holdout._figure("trip", read, made)  # noqa: SLF001
        assert its.low is not None
        assert its.high is not None
        held += its.low <= read <= its.high
        spanned += min(made) <= read <= max(made)
    assert spanned / tries == pytest.approx((members - 1) / (members + 1), abs=0.02)
    assert held / tries == pytest.approx(0.9, abs=0.025)
    never = holdout._figure("trip", None, [100.0, 110.0, None, *[105.0] * 5])  # noqa: SLF001
    assert never.high is None
    assert never.low == pytest.approx(105.0 - 1.401 * 5.0, abs=0.01)
    at_samples = holdout._figure("trip", None, [100.0, 110.0, *[105.0] * 6], tick_s=0.5)  # noqa: SLF001
    assert (at_samples.low, at_samples.high) == (97.5, 112.5)


def test_readings_are_off_by_what_those_of_the_fitted_runs_were(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches an interval of the machine alone, where what is read is off by more than its members differ."""
    level = np.ceil(9.0 * PSI_PA)
    net = flat(100e3)
    net[100:200] = level + 3e3
    made = [net.copy() for _ in range(39)]
    run = a_run(net, sigma_pa=1500.0)

    near, far = (predicted(run, made, None, monkeypatch, Errors(scale, 8.0)).below_s[2] for scale in (0.2, 2.0))

    assert (near.low, near.high) == (0.0, 0.0)
    assert far.median is not None
    assert far.high is not None
    assert 5.0 < far.median < 30.0  # one in six of a hundred seconds
    assert far.high > far.median + 5.0  # what is remembered differs from draw to draw by more than its share


def test_what_no_member_makes_is_told_with_its_side_and_its_worst_moment() -> None:
    """Catches a misfit of the wrong sign, held against the far member, of one reading, or told without its reading."""
    net = flat(100e3)
    net[50:60], net[200:220], net[300:305] = 80e3, 130e3, 10e3
    net[210] = 140e3
    found = misfits_of(a_run(net), np.array([flat(95e3), flat(105e3)]) + SUCTION_PA)

    assert [(one.begin_s, one.end_s) for one in found] == [(200.0, 219.0), (50.0, 59.0)]  # the largest first
    assert [(one.read_pa, one.made_pa) for one in found] == [(140e3, 105e3), (80e3, 95e3)]
    with shown_in(KPA):
        assert found[0].text == (
            "r, 200 to 219 s: this log shows a recovery, or oil pressure held, that the model cannot reproduce: net 140.0 kPa,"
            " where no member has more than 105.0 kPa"
        )
        assert found[1].text == (
            "r, 50 to 59 s: this log shows a loss of oil pressure that the model cannot reproduce: net 80.0 kPa,"
            " where no member has less than 95.0 kPa"
        )
    assert misfits_of(a_run(net, unread=slice(200, 220)), np.array([flat(95e3), flat(105e3)]) + SUCTION_PA) == [
        found[1]
    ]


def test_the_largest_misfit_is_told_first_whatever_its_side() -> None:
    """Catches losses told behind every gain, however large."""
    net = flat(100e3)
    net[50:60], net[200:240] = 130e3, 40e3
    found = misfits_of(a_run(net), np.array([flat(95e3), flat(105e3)]) + SUCTION_PA)
    assert [one.begin_s for one in found] == [200.0, 50.0]


def test_what_is_near_enough_or_short_is_no_misfit() -> None:
    """Catches a bound on the wrong side: as far as is allowed, as many sizes of the error, a moment less than lasts."""
    made = np.array([flat(100e3)]) + SUCTION_PA
    for off, count, sigma, told in (
        (OFF_PA, 50, 1.0, 0),
        (OFF_PA + 1.0, 50, 1.0, 1),
        (OFF_PA + 1.0, int(LEAST_S) + 1, 1.0, 1),
        (OFF_PA + 1.0, int(LEAST_S), 1.0, 0),
        (SIZES * 5e3, 50, 5e3, 0),
        (SIZES * 5e3 + 1.0, 50, 5e3, 1),
    ):
        for sign in (1.0, -1.0):
            net = flat(100e3)
            net[100 : 100 + count] += sign * off
            assert len(misfits_of(a_run(net, sigma_pa=sigma), made)) == told, (sign * off, count, sigma)
    last = flat(100e3)
    last[-20:] += 20e3
    assert [(one.begin_s, one.end_s) for one in misfits_of(a_run(last), made)] == [(380.0, 399.0)]
    many = flat(100e3)
    for number in range(5):
        many[60 * number + 20 : 60 * number + 40] += 20e3
    assert len(misfits_of(a_run(many), made)) == MOST_TOLD


def test_a_stop_comes_when_readings_that_are_off_would_bring_it(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a stop foretold to the second where members are alike and readings are not."""
    net = np.interp(np.arange(SECONDS), [50, 350], [120e3, 0.0])
    spans = []
    for scale in (0.1, 3.0):
        told = predicted(a_run(net, sigma_pa=1500.0), [net] * 12, settings, monkeypatch, Errors(scale, 8.0)).trip_s
        assert told is not None
        assert told.low is not None
        assert told.high is not None
        assert (told.low % 1.0, told.high % 1.0) == (0.0, 0.0)  # at a sample
        spans.append(told.high - told.low)
    assert spans[0] < 4.0
    assert spans[1] > 8.0


def test_of_a_long_run_what_lies_about_its_falls_is_fitted(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches hours of quiet simulated for nothing, a cut into a standstill, a recovery cut off, and times of no log."""
    net = np.full(7200, 100e3)
    net[5000:5060], net[5200:5230] = 5e3, 40e3
    run = a_run(net)
    cut = run.about_event()

    assert (cut.time_s[0], cut.time_s[-1]) == (0.0, 828.0)
    assert cut.trace.start_s == 4700.0
    assert (cut.trace.time_ms[0], cut.trace.time_ms[-1]) == (0, 828_000)
    assert np.array_equal(cut.oil_pa, run.oil_pa[4700:5529])
    assert np.array_equal(cut.trace.oil_pa, run.trace.oil_pa[4700:5529])
    assert cut.has_event
    assert misfits_of(cut, np.array([cut.oil_pa + 50e3]))[0].begin_s >= 4700.0
    part = predicted(cut, [cut.net_pa] * 3, settings, monkeypatch).trip_s
    assert part is not None
    assert part.read is not None
    assert 5000.0 < part.read < 5060.0
    stood = np.ones(7200)
    stood[4800:4900] = 0
    assert len(a_run(net, running=stood).about_event().time_s) == 5529
    assert a_run(net[4000:5700]).about_event().time_s[-1] == 1699.0


def begun(low_s: float, net_pa: float = 14e3, *, stands_s: int = 0) -> Run:
    """Return a run whose net oil pressure is low at its beginning, or that stands there."""
    count = np.arange(SECONDS)
    return a_run(np.where(count < low_s, net_pa, 200e3), running=count >= stands_s)


def test_a_run_that_begins_in_the_midst_of_a_loss_is_refused() -> None:
    """Catches what a gap has left of a run, begun by every member with a sound pump: "never trips" of one that did."""
    told = r"^r: begins in the midst .* net 14\.0 kPa where it has 200\.0 kPa: .*; accepted: "
    with shown_in(KPA), pytest.raises(Refusal, match=told):
        refuse_midst(begun(90.0))
    refuse_midst(begun(MIDST_S - 1.0))
    refuse_midst(begun(90.0, FALLEN * 200e3))
    refuse_midst(begun(90.0, stands_s=60))
    with pytest.raises(Refusal):
        refuse_midst(begun(90.0, FALLEN * 200e3 - 1e3))


def test_a_short_dip_is_told_and_an_edge_that_comes_early_is_not() -> None:
    """Catches a dip of seconds that its own steep edges excuse, and a fall two seconds early called a loss."""
    net = flat(100e3)
    net[100:110] = [80e3, 60e3, 40e3, 30e3, 25e3, 25e3, 30e3, 40e3, 60e3, 80e3]
    sigma = np.sqrt(1.6e3**2 + (MOMENT_S * np.gradient(net)) ** 2)
    dip = replace(a_run(net), sigma_pa=sigma)
    made = np.array([flat(100e3)]) + SUCTION_PA

    assert [(one.begin_s, one.end_s, one.read_pa) for one in misfits_of(dip, made)] == [(100.0, 109.0, 25e3)]
    fall = [np.interp(np.arange(SECONDS), [at, at + 12], [100e3, 10e3]) for at in (200, 202, 212)]
    early = a_run(fall[0])
    assert misfits_of(early, np.array([fall[1]]) + SUCTION_PA) == []
    assert len(misfits_of(early, np.array([fall[2]]) + SUCTION_PA)) == 1


def test_a_member_makes_the_run_that_it_is_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches another run than the one that is told, its start taken from another, and members that share a draw."""
    runs = [a_run(flat(100e3)), a_run(flat(110e3))]
    members: Any = [SimpleNamespace(number=number, place=(float(number), 9.0)) for number in (3, 5)]
    problem: Any = SimpleNamespace(seed=7, site="site", unknowns=("values",), runs=runs, errors=(Errors(), Errors()))
    driven: list[tuple[Any, Any, Run]] = []

    def drive(site: Any, start: Any, run: Run) -> Any:
        driven.append((site, start, run))
        return SimpleNamespace(oil_pa=run.oil_pa + 1e3 * len(driven))

    monkeypatch.setattr(holdout, "drive", drive)
    monkeypatch.setattr(holdout, "site_with", lambda site, values: (site, *values))
    monkeypatch.setattr(holdout, "start_of", lambda values, number: (number, *values))
    monkeypatch.setattr(holdout, "values_of", lambda unknowns, z: (*unknowns, *z.tolist()))
    monkeypatch.setattr(holdout, "run_unknowns", lambda site, run, name: [name, site])
    told = fitted(problem, members, 2, None)

    assert told.run is runs[1]
    assert [(site, start) for site, start, _ in driven] == [
        (("site", "values", *one.place), (2, "values", *one.place)) for one in members
    ]
    assert [run for *_, run in driven] == [runs[1]] * 2
    assert told.net_error_pa == 1500.0
    driven.clear()
    told = predict(problem, members, runs[0], None)
    draws = [np.random.default_rng([7, one.number, 1]).standard_normal(2).tolist() for one in members]
    assert told.run is runs[0]
    assert [(site, start) for site, start, _ in driven] == [
        (("site", "values", *one.place), (1, "run 1", "site", *drawn))
        for one, drawn in zip(members, draws, strict=True)
    ]


@pytest.mark.parametrize(
    ("seconds", "said"), [(59, "a run of 59 s"), (60, None), (14_400, None), (14_401, "a run of 14401 s")]
)
def test_a_run_is_of_a_minute_to_four_hours(seconds: int, said: str | None) -> None:
    """Catches a bound that refuses what it states, or takes a whole season for a run."""
    trace = a_run(np.full(seconds + 1, 100e3)).trace
    if said is None:
        assert run_of(trace).id == "r"
        return
    with pytest.raises(Exception, match=said):
        run_of(trace)


@pytest.mark.parametrize(
    ("spells", "heat", "found"),
    [(1, 0.1, "failed"), (0, 0.3, "scuffed"), (0, 0.299, "sound"), (1, 1.0, "failed")],
)
def test_a_bearing_is_found_as_its_heat_left_it(
    spells: int, heat: float, found: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a scuffed bearing called sound or failed, and inspections that count by something else."""
    told: Any = SimpleNamespace(spells=(1,) * spells, most_heat=heat, damage_s=None)
    asked_s: list[tuple[float, bool]] = []

    def dry_run(_site: Any, dry_s: float, *, reloaded: bool) -> Damage:
        asked_s.append((dry_s, reloaded))
        return told

    monkeypatch.setattr(inspections, "dry_run", dry_run)
    monkeypatch.setattr(inspections, "_lasts_s", lambda _site: 100.0)
    monkeypatch.setattr(inspections, "DRAWS", 3)
    site = machine_from("m", made_machine(3, foaming=False).text).middle()
    seen = [Inspection("b", 200.0, reloaded=True, found=one) for one in ("failed", "scuffed", "sound")]  # type: ignore[arg-type]
    taken = []
    for one in seen:
        try:
            bearings_of(site, [one], 2, 1, "m")
        except Refusal:  # no bearing is found so
            continue
        taken.append(one.found)

    assert taken == [found]
    assert [one for one in asked_s if one[1]][:3] == [
        (160.0, True),
        (200.0, True),
        (250.0, True),
    ]  # a quarter either way
