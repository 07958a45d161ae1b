"""A machine file fitted to measured runs: what is learnt, what is refused, and what is written."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from protect.ranges import NO_READING
from replay.fitting import fitting, members, words
from replay.fitting.driven import drive
from replay.fitting.members import Errors, Problem, fit_member
from replay.fitting.runs import run_of
from replay.fitting.unknowns import RunStart, figures_of, site_with, unknowns_of
from replay.fitting.words import misfits_of
from replay.machine import read_machine
from replay.physics.drawing import STILL
from replay.physics.simulate import simulate
from replay.trace import Trace, read_trace
from tests.support.command import lubetrip
from tests.support.made_machines import BENCH, RUNS, STUCK, THROTTLED, Made, made_machine, run_from
from tests.support.toolchain import ROOT

pytestmark = pytest.mark.slow("simulates machines, some hundred times each")


@pytest.fixture(scope="module")
def still() -> Made:
    """Return a made machine whose oil does not foam."""
    return made_machine(3, foaming=False)


@pytest.fixture
def hasty(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a fit look at few places, as long as only its form matters."""
    monkeypatch.setattr(members, "SCOUTS", 2)
    monkeypatch.setattr(members, "PASSES", 1)
    monkeypatch.setattr(members, "SCOUT_PASSES", 1)
    monkeypatch.setattr(fitting, "SCOUTING", 2)
    monkeypatch.setattr(fitting, "GROSS", 1.0)


def folder_of(made: Made, folder: Path, names: tuple[str, ...] = RUNS) -> tuple[Path, Path]:
    """Write a made machine's file and library."""
    file = folder / "machine.toml"
    file.write_text(made.text, encoding="utf-8")
    return file, made.library(folder / "library", names)


@pytest.mark.parametrize("name", RUNS)
def test_a_model_driven_by_suction_does_what_the_machine_did(name: str) -> None:
    """Catches a drive that adds a valve course, a lag or an offset of its own: the machine itself has to fit its run."""
    made = off(made_machine(3, foaming=False))
    case = made.cases[name]
    run = run_from(made, name)

    driven = drive(made.site, RunStart(case.start.oil_temperature_c, 1.0), run)

    true = simulate(case).net_oil_pa
    assert np.median(np.abs(driven.net_pa - true)) < 1e3
    assert np.quantile(np.abs(driven.net_pa - true), 0.95) < 12e3
    assert np.median(np.abs(driven.oil_pa - run.oil_pa)) < 1.2e3


def off(made: Made) -> Made:
    """Return a made machine whose sensors are off, each its own way."""
    chain = made.site.chain
    chain = replace(
        chain, oil=replace(chain.oil, offset_pa=-6e3), suction=replace(chain.suction, offset_pa=5e3, gain=1.01)
    )
    cases = {name: replace(case, chain=chain) for name, case in made.cases.items()}
    return replace(made, site=replace(made.site, chain=chain), cases=cases)


def test_suction_noise_moves_no_oil(still: Made) -> None:
    """Catches a following of suction that takes its noise for flow, which carries the oil out of the sump."""
    run = run_from(still, BENCH)
    rough = replace(run, suction_pa=run.suction_pa + 1500.0 * (-1.0) ** np.arange(len(run.time_s)))
    start = RunStart(still.cases[BENCH].start.oil_temperature_c, 1.0)

    calm, shaken = (drive(still.site, start, one).net_pa for one in (run, rough))

    assert np.quantile(np.abs(calm - shaken), 0.9) < 1e3


def test_a_lone_spike_and_lost_readings_are_no_pressures(still: Made) -> None:
    """Catches interference that the model is made to follow."""
    told = still.trace(BENCH)
    suction = told.suction_pa.copy()
    suction[100] += 150_000
    suction[200:205] = NO_READING
    crankcase, reset = told.suction_pa, np.zeros_like(told.running)
    clean, spiked = (
        run_of(Trace("a", 0.0, told.time_ms, told.oil_pa, pascals, crankcase, told.running, reset)).suction_pa
        for pascals in (told.suction_pa, suction)
    )

    assert np.max(np.abs(spiked - clean)) < 5e3


def test_a_member_comes_nearer_and_keeps_its_draw_where_the_runs_are_silent(
    still: Made, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a search that goes the wrong way, an unknown that nothing tells where the search left it, chance that stays."""
    monkeypatch.setattr(members, "SCOUTS", 10)
    monkeypatch.setattr(members, "PASSES", 4)
    site, run = still.described.middle(), run_from(still, BENCH)
    unknowns = unknowns_of(site, still.described.stated, [run])
    problem = Problem(site, unknowns, (run,), (Errors(),), ((0.0,) * len(unknowns),))

    found, opposite = (fit_member(problem, number) for number in (4, 5))

    generator = np.random.default_rng([problem.seed, 2])
    generator.integers(1)
    drawn = members.draw(generator, problem).place
    assert found.likelihood > 0.6 * problem.likelihood(np.zeros(len(unknowns)))
    assert found.silent
    assert opposite.silent
    assert [found.place[i] for i in found.silent] == [drawn[i] for i in found.silent]
    assert [opposite.place[i] for i in opposite.silent] == [-drawn[i] for i in opposite.silent]
    assert "compressor.healthy_net_pressure" in figures_of(site, unknowns, np.array(found.place))


def test_a_scout_looks_for_the_middle(still: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches errors that were drawn taken for what the model cannot make, which widens every ensemble after it."""
    monkeypatch.setattr(members, "SCOUTS", 4)
    monkeypatch.setattr(members, "SCOUT_PASSES", 2)
    site, run = still.described.middle(), run_from(still, BENCH)
    problem = Problem(site, unknowns_of(site, still.described.stated, [run]), (run,), (Errors(),))

    found = fit_member(problem, 1)

    assert found.silent
    assert {found.place[i] for i in found.silent} == {0.0}


def test_all_that_oil_pressure_hangs_on_may_move() -> None:
    """Catches a constant that decides when pressure goes and that no fit moves, and a range that leaves the truth out."""
    made = made_machine(11009)
    run, true, middle = run_from(made, STUCK), made.site, made.described.middle(STILL)
    unknowns = [one for one in unknowns_of(middle, made.described.stated, []) if one.part != "sensors"]
    parts = {"oil": true.oil, "machine": true.machine, "behaviour": true.behaviour}
    values = {one.key: getattr(parts[one.part], one.name) for one in unknowns}
    found = replace(site_with(middle, values), chain=true.chain)
    start = RunStart(made.cases[STUCK].start.oil_temperature_c, 1.0)

    net, as_it_is = (drive(site, start, run).net_pa for site in (found, true))

    assert np.sqrt(np.mean((net - as_it_is) ** 2)) < 5e3
    assert all(one.low <= values[one.key] <= one.high for one in unknowns)


def test_a_figure_that_is_stated_is_no_unknown(still: Made) -> None:
    """Catches a fit that moves what was measured."""
    run, site = run_from(still, BENCH), still.described.middle()
    stated = {**still.described.stated, "behaviour.drying_time_s": (7.0, 7.0), "oil.release_time": (300.0, 320.0)}
    site = replace(site, oil=replace(site.oil, release_time_s=310.0))

    found = {one.path: one for one in unknowns_of(site, stated, [run])}

    assert "behaviour.drying_time_s" not in found
    assert (found["oil.release_time"].low, found["oil.release_time"].high) == (300.0, 320.0)


@pytest.mark.usefixtures("hasty")
def test_what_is_found_stands_in_the_file_whole(still: Made, tmp_path: Path) -> None:
    """Catches an ensemble in other units than the file is read in, a lost comment, work left behind, an old fit kept."""
    file, library = folder_of(still, tmp_path)
    file.write_text("# rack 2\n" + still.text, encoding="utf-8")
    to = tmp_path / "fitted.toml"

    done = lubetrip("fit", file, library, BENCH, "--to", to, "--members", "8", "--plot", tmp_path / "fit.svg")

    assert done.returncode == 0, done.stderr
    found = read_machine(to)
    assert found.text.startswith("# rack 2\n")
    assert len(found.members) == 8
    assert found.fitted["traces"] == [BENCH]
    for member in found.members:
        low, high = member["behaviour.drying_time_s"]
        assert low == high
        assert 2.0 <= low <= 30.0
        assert 100e3 <= member["compressor.healthy_net_pressure"][0] <= 200e3
    assert sorted(path.name for path in tmp_path.iterdir()) == ["fit.svg", "fitted.toml", "library", "machine.toml"]
    assert "not settled" in done.stdout
    told = " ".join(done.stdout.split())
    assert "pressures alone cannot tell whether yours did" in told
    low, high = still.described.ends()
    run = run_from(still, BENCH)
    shown = re.findall(
        r"net ([\d.]+)(?: kPa to ([\d.]+))? kPa over a suction of ([\d.]+)(?: kPa gauge to ([\d.]+))?", told
    )
    read, lets_in = [[float(one) * 1e3 for one in group if one] for group in shown[-2:]]
    assert read == pytest.approx([run.usual_pa[0], run.usual_pa[1] - 101325], abs=100)
    assert lets_in == pytest.approx([100e3, 200e3, low.suction_pa - 101325], abs=100)
    assert high.suction_pa == pytest.approx(low.suction_pa)

    again = lubetrip("fit", to, library, THROTTLED, "--to", to, "--members", "8", "--hold-out", STUCK)
    assert again.returncode == 0, again.stderr
    assert read_machine(to).fitted["traces"] == [THROTTLED]
    assert len(read_machine(to).members) == 8


@pytest.mark.usefixtures("hasty")
def test_figures_are_in_the_units_of_the_settings_or_those_asked_for(
    still: Made, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches kPa beside settings in psi, levels in psi under --units bar, and a machine file that hangs on what is shown."""
    monkeypatch.setattr(words, "OFF_PA", 0.0)  # so that there is a misfit to tell of
    monkeypatch.setattr(words, "SIZES", 0.0)
    file, library = folder_of(still, tmp_path, (BENCH,))
    own = ("--settings", ROOT / "fixtures" / "settings.toml")
    told = {}
    for name, asked in (("psi", own), ("bar", ("--units", "bar"))):
        told[name] = lubetrip("fit", file, library, "--to", tmp_path / f"{name}.toml", "--members", "8", *asked).stdout

    seen = {name: set(re.findall(r"\b(?:psi|kPa|bar)\b", text)) for name, text in told.items()}
    assert seen == {name: {name} for name in told}
    assert "below 0.31 bar" in told["bar"]
    assert "below cut-out" in told["psi"]
    assert len({(tmp_path / f"{name}.toml").read_bytes() for name in told}) == 1
    assert "no member has" in (tmp_path / "bar.toml").read_text(encoding="utf-8")


@pytest.mark.usefixtures("hasty")
def test_an_interrupted_fit_goes_on(still: Made, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a fit that begins anew, and one that comes to another end than one that was never interrupted."""
    file, library = folder_of(still, tmp_path, (BENCH,))
    whole = fitting.fit_machine(file, library, to=tmp_path / "whole.toml", members=4)
    fit_once, count = fitting.fit_member, []

    def interrupted(problem: Problem, number: int) -> members.Member:
        if len(count) == 4:
            raise KeyboardInterrupt
        count.append(number)
        return fit_once(problem, number)

    monkeypatch.setattr(fitting, "fit_member", interrupted)
    with pytest.raises(KeyboardInterrupt):
        fitting.fit_machine(file, library, to=tmp_path / "parts.toml", members=4)
    assert not (tmp_path / "parts.toml").exists()
    monkeypatch.setattr(
        fitting, "fit_member", lambda problem, number: count.append(number) or fit_once(problem, number)
    )
    fitting.fit_machine(file, library, to=tmp_path / "parts.toml", members=4)

    assert len(count) == 2 + 4
    assert (tmp_path / "parts.toml").read_bytes() == (tmp_path / "whole.toml").read_bytes()
    assert whole.text == (tmp_path / "whole.toml").read_text(encoding="utf-8")


def test_runs_without_an_event_teach_nothing(tmp_path: Path) -> None:
    """Catches an ensemble that is nothing but its ranges, sold as a fit."""
    file, library = folder_of(made_machine(3, foaming=False, still_running=True), tmp_path)

    done = lubetrip("fit", file, library, "--to", tmp_path / "fitted.toml")

    assert done.returncode == 2
    assert "nothing to learn from 3 runs" in done.stderr
    assert not (tmp_path / "fitted.toml").exists()


def test_a_run_that_is_fitted_to_is_not_held_out(still: Made, tmp_path: Path) -> None:
    """Catches a prediction of a run that the fit has seen, sold as one it has not."""
    file, library = folder_of(still, tmp_path)
    done = lubetrip("fit", file, library, BENCH, "--hold-out", BENCH, "--to", tmp_path / "fitted.toml")

    assert done.returncode == 2
    assert f'--hold-out = "{BENCH}": named among the runs to fit, too' in done.stderr


@pytest.mark.usefixtures("hasty")
@pytest.mark.parametrize(
    ("factor", "told"),
    [(6.894757, "net oil pressure"), (0.145038, "net oil pressure")],
    ids=["kPa as psi", "psi as kPa"],
)
def test_wrong_units_are_refused(still: Made, tmp_path: Path, factor: float, told: str) -> None:
    """Catches pressures of another unit that a fit takes for a strange machine."""
    file, library = folder_of(still, tmp_path, (BENCH,))
    path = library / "traces" / f"{BENCH}.csv"
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    names = head.replace('"', "").split(",")
    for i, row in enumerate(rows):
        cells = row.split(",")
        for name in ("oil_pressure_kpa", "suction_pressure_kpa", "crankcase_pressure_kpa"):
            if name in names:
                cells[names.index(name)] = f"{factor * float(cells[names.index(name)] or 'nan'):.3f}".replace("nan", "")
        rows[i] = ",".join(cells)
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")

    done = lubetrip("fit", file, library, "--to", tmp_path / "fitted.toml")

    assert done.returncode == 2
    assert told in done.stderr
    assert "another machine's log" in done.stderr
    assert not (tmp_path / "fitted.toml").exists()


@pytest.mark.parametrize("wrong", ["no-such-run", "", "BENCH_valve_shut"])
def test_a_run_that_is_not_there_is_named(still: Made, tmp_path: Path, wrong: str) -> None:
    """Catches a typing error that leaves a run out in silence."""
    file, library = folder_of(still, tmp_path, (BENCH,))

    done = lubetrip("fit", file, library, wrong, "--to", tmp_path / "fitted.toml")

    assert done.returncode == 2
    assert "no such trace in this library; accepted: bench-valve-shut" in done.stderr


def test_runs_of_two_machines_are_no_runs_of_one(still: Made, tmp_path: Path) -> None:
    """Catches a fleet's library fitted as if it were one machine."""
    file, library = folder_of(still, tmp_path, (BENCH, THROTTLED))
    told = library / "library.toml"
    told.write_text(told.read_text(encoding="utf-8").replace('"made"', '"other"', 1), encoding="utf-8")

    done = lubetrip("fit", file, library, "--to", tmp_path / "fitted.toml")

    assert done.returncode == 2
    assert 'fit = "other, made": runs of more than one machine' in done.stderr


def test_runs_that_no_machine_makes_are_refused(still: Made, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a broken pump, or another machine's log, turned into an ensemble."""
    monkeypatch.setattr(members, "SCOUTS", 8)
    monkeypatch.setattr(members, "PASSES", 3)
    monkeypatch.setattr(members, "SCOUT_PASSES", 3)
    monkeypatch.setattr(fitting, "SCOUTING", 2)
    file, library = folder_of(still, tmp_path, (BENCH,))
    path = library / "traces" / f"{BENCH}.csv"
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    for i in range(len(rows) * 6 // 10, len(rows)):
        time, oil, suction, *rest = rows[i].split(",")
        if i // 100 % 2:
            rows[i] = ",".join([time, suction or oil, suction, *rest])
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")

    done = lubetrip("fit", file, library, "--to", tmp_path / "fitted.toml", "--members", "8")

    assert done.returncode == 2
    assert "of the readings are far from anything that this machine file allows" in done.stderr
    assert "a loss of oil pressure that the model cannot reproduce" in done.stderr
    assert not (tmp_path / "fitted.toml").exists()


def test_what_the_model_cannot_make_is_said(still: Made) -> None:
    """Catches a recovery, or a loss, that only an average of errors would show."""
    run = run_from(still, BENCH)
    start = RunStart(still.cases[BENCH].start.oil_temperature_c, 1.0)
    made = np.array([drive(still.site, start, run).oil_pa] * 2)
    away = (run.time_s > 600.0) & (run.time_s < 640.0)
    lost = replace(run, oil_pa=np.where(away, run.suction_pa, run.oil_pa))
    found = replace(run, oil_pa=run.oil_pa + np.where(away, 60e3, 0.0))

    assert not [one for one in misfits_of(run, made) if one.begin_s > 590.0]
    assert "a loss of oil pressure that the model cannot reproduce" in misfits_of(lost, made)[0].text
    recovery = misfits_of(found, made)[0]
    assert "a recovery, or oil pressure held, that the model cannot reproduce" in recovery.text
    assert recovery.begin_s == pytest.approx(600.0, abs=3.0)
    assert recovery.end_s == pytest.approx(640.0, abs=3.0)


def test_a_trace_is_read_with_its_oil_temperature(still: Made, tmp_path: Path) -> None:
    """Catches a logged oil temperature that nobody looks at."""
    library = still.library(tmp_path / "library", (BENCH,))
    path = library / "traces" / f"{BENCH}.csv"

    run = run_of(read_trace(path), path)

    assert run.oil_c == pytest.approx(still.cases[BENCH].start.oil_temperature_c, abs=1.0)
    assert run.speed_rpm == pytest.approx(still.site.speed_rpm, rel=0.01)
