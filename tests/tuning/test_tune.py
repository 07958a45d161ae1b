"""Tuning: every candidate judged exactly, the Pareto set, what is held out, what is written."""

import json
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import optuna
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

from replay.drawing.plot_tuning import draw_pareto, pareto_png
from replay.engine import c_port, compiled, logic_digest, portable
from replay.engine.workers import one_by_one
from replay.ground.refusal import Refusal
from replay.library import Entry, Label, MustTrip, read_library
from replay.score import score
from replay.settings import read_settings
from replay.synth import recipe, synthesise
from replay.tuning.fresh import on_fresh_library, recipe_of
from replay.tuning.holdout import split
from replay.tuning.levers import levers
from replay.tuning.pareto import chosen, front
from replay.tuning.results import candidates_table, result_files, tuning_json
from replay.tuning.robustness import robustness
from replay.tuning.run import Moved
from replay.tuning.tolerance import USUAL_TOLERANCES, monte_carlo
from replay.tuning.tune import Tuning, tune
from replay.tuning.vary import read_space
from tests.support.command import lubetrip
from tests.support.tuning import write_library

pytestmark = pytest.mark.slow("simulates, scores or draws many traces")

GRID = ("trip_delay=40s..120s/5", "cut_out=40kPa..60kPa/3", "cut_in=cut_out+20kPa")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the library to tune on."""
    return write_library(tmp_path_factory.mktemp("tuning") / "library")


def tuned(folder: Path, varied: tuple[str, ...] = GRID, **options: int) -> Tuning:
    """Tune on the library."""
    space = read_space(folder / "settings.toml", varied, open_ranges="budget" in options)
    return tune(read_library(folder), space, one_by_one, lambda: None, **options)


@pytest.fixture(scope="module")
def grid(folder: Path) -> Tuning:
    """Return the grid, tuned."""
    return tuned(folder)


def figures_of(result) -> dict[str, object]:
    """Return every figure that a score and a candidate's line both have."""
    return {"totals": result.totals, "claims": result.claims, "failures": result.failures, "verdict": result.verdict}


def test_every_candidate_has_the_figures_of_its_own_score(folder: Path, grid: Tuning) -> None:
    """Catches a figure of tuning that scoring does not confirm: another logic, another trace, another candidate's place."""
    library = read_library(folder)
    lines = grid.lines[1:]

    assert len(lines) == 15
    assert len({repr(line.whole.totals) for line in lines}) > 5
    for line in lines:
        assert figures_of(line.whole) == figures_of(score(library, line.candidate.settings))
    assert figures_of(grid.base.whole) == figures_of(score(library, grid.space.base))


def test_the_parts_are_scored_as_libraries_of_their_own(folder: Path, grid: Tuning) -> None:
    """Catches a held-out trace that counts in the choice, and a part that is left out of both."""
    library = read_library(folder)
    for part, figures in ((grid.split.tuning, grid.chosen.tuning), (grid.split.held_out, grid.chosen.held_out)):
        half = replace(library, entries=tuple(library.entries[place] for place in part))

        assert figures_of(figures) == figures_of(score(half, grid.chosen.candidate.settings))


def test_the_reports_name_the_sweep_and_nothing_else_ran(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a report that names an engine which replayed nothing: here all the others are out of order."""

    def out_of_order(*_: object) -> None:
        raise AssertionError

    for engine in (portable, compiled, c_port):
        monkeypatch.setattr(engine, "replay_trace", out_of_order)
    library, settings = read_library(folder), read_settings(folder / "settings.toml")
    robust = robustness(library.entries[:2], settings, levers(settings)[:3], one_by_one, lambda: None)
    drawn = monte_carlo(library.entries[:2], settings, USUAL_TOLERANCES, 1, 3, one_by_one, lambda: None)
    reports = tuning_json(tuned(folder)), Moved(robust, drawn, "").as_json()

    assert [report["logic"] for report in reports] == 2 * [{"engine": "sweep", "digest": logic_digest()}]


def test_every_file_of_the_pareto_set_is_ready_to_use(grid: Tuning, tmp_path: Path) -> None:
    """Catches a file that reads back as other settings than were judged, and comments of the user's that are lost."""
    files = result_files(grid, tuning_json(grid), {})
    numbers = [one.candidate for one in grid.front]

    assert {name for name in files if name.endswith(".toml")} == {
        "chosen.toml",
        *(f"settings-{n:05d}.toml" for n in numbers),
    }
    for number in numbers:
        path = tmp_path / f"{number}.toml"
        path.write_bytes(files[f"settings-{number:05d}.toml"])
        assert read_settings(path).digest == grid.lines[number].candidate.settings.digest
        assert read_settings(path).acceptance == grid.space.base.acceptance
        assert "# a guess" in path.read_text()
    assert files["chosen.toml"] == files[f"settings-{grid.chosen.number:05d}.toml"]


@dataclass(frozen=True)
class Made:
    """Figures that are made up."""

    objectives: tuple[float, float, float]

    @property
    def rank(self) -> tuple[float, ...]:
        """Rank by the figures alone."""
        return (0, *self.objectives)


SOME = st.sampled_from([0.0, 1.0, 2.0, 3.0, float("inf")])


@given(st.lists(st.tuples(SOME, SOME, SOME), min_size=1, max_size=30))
def test_the_pareto_set_is_that_of_comparing_all_with_all(rows: list[tuple[float, float, float]]) -> None:
    """Catches a candidate that another beats, and one that is dropped though nothing beats it."""
    places = np.arange(len(rows), dtype=float)[:, None]
    found = front([Made(row) for row in rows], places)
    beaten = {
        row for row in rows for other in rows if other != row and all(a <= b for a, b in zip(other, row, strict=True))
    }

    assert {rows[one.candidate] for one in found} == set(rows) - beaten
    assert len({rows[one.candidate] for one in found}) == len(found)
    assert [one.alike for one in found] == [rows.count(rows[one.candidate]) for one in found]
    assert rows[chosen([Made(row) for row in rows], places).candidate] == min(rows)


@pytest.mark.outside(
    computation="Pareto set",
    source="optuna 5.0, best trials of a study; all pairs compared",
    status="consulted",
    agreement="the same set. No hypervolume is computed",
)
def test_the_pareto_set_is_that_of_an_independent_library() -> None:
    """Catches what a test that restates the definition shares with the code; library: optuna, best trials of a study."""
    draw = np.random.default_rng(5)
    rows = [tuple(map(float, row)) for row in draw.integers(0, 1000, (150, 3))]
    study = optuna.create_study(directions=["minimize"] * 3)
    study.add_trials([optuna.trial.create_trial(values=list(row)) for row in rows])
    found = front([Made(row) for row in rows], np.zeros((len(rows), 1)))

    assert {rows[one.candidate] for one in found} == {tuple(trial.values) for trial in study.best_trials}
    assert len(found) > 10


def test_among_alike_candidates_the_one_in_their_middle_is_taken() -> None:
    """Catches a choice at the edge of a plateau, where the next step of a setting is already worse."""
    places = np.array([[0.0], [0.2], [0.4], [0.6], [0.8], [1.0]])
    rows = [Made((1.0, 1.0, 1.0))] * 5 + [Made((2.0, 2.0, 2.0))]

    assert [one.candidate for one in front(rows, places)] == [2]
    assert chosen(rows, places).candidate == 2


def made_entry(number: int, family: str, machine: str, *, fault: bool) -> Entry:
    """Return an entry of which only names and label are looked at."""
    label: Label = (MustTrip(1.0, 2.0),) if fault else "ride_through"
    return Entry(f"{number}", Path("t.csv"), family, machine, "o", "synthetic: made", label, "")


@given(
    st.lists(st.tuples(st.sampled_from("abcdef"), st.sampled_from("xyz"), st.booleans()), min_size=1, max_size=40),
    st.randoms(use_true_random=False),
)
def test_the_parts_are_disjoint_cover_the_library_and_share_no_machine_and_family(rows, shuffle) -> None:
    """Catches a trace in both parts or in none, twins on both sides, and parts that follow the order of the list."""
    entries = [made_entry(number, *row[:2], fault=row[2]) for number, row in enumerate(rows)]
    parts = split(entries)
    groups = [
        {(entries[place].machine, entries[place].family) for place in part} for part in (parts.tuning, parts.held_out)
    ]

    assert sorted(parts.tuning + parts.held_out) == list(range(len(entries)))
    assert not groups[0] & groups[1]
    for part in (parts.tuning, parts.held_out) if parts.held_out else ():
        assert {type(entries[place].label) for place in part} == {tuple, str}
    others = list(entries)
    shuffle.shuffle(others)
    assert {entries[place].id for place in parts.held_out} == {others[place].id for place in split(others).held_out}


def test_a_library_too_small_to_be_parted_is_not_parted(library: Path) -> None:
    """Catches a choice on faults alone, and figures of an empty part that look perfect."""
    result = tuned(library, ("trip_delay=40s,60s",))

    assert result.split.held_out == ()
    assert result.chosen.held_out is None


def test_a_search_judges_exactly_stays_within_its_budget_and_follows_its_seed(folder: Path, grid: Tuning) -> None:
    """Catches a search that approximates, judges one candidate twice, or comes out otherwise each time."""
    found = tuned(folder, budget=10, seed=3)
    known = {line.candidate.choice: line for line in grid.lines[1:]}
    choices = [line.candidate.choice for line in found.lines[1:]]

    assert len(choices) == len(set(choices)) == 10
    for line in found.lines[1:]:
        assert line.whole == known[line.candidate.choice].whole
    assert [line.candidate.choice for line in tuned(folder, budget=10, seed=3).lines[1:]] == choices
    assert [line.candidate.choice for line in tuned(folder, budget=10, seed=4).lines[1:]] != choices


def test_a_budget_for_all_is_the_grid(folder: Path, grid: Tuning) -> None:
    """Catches a search that guesses where everything can be judged."""
    assert tuned(folder, budget=15).lines == grid.lines


@pytest.mark.outside(
    computation="search of large spaces",
    source="none: the search (NSGA-II) is optuna's",
    status="none",
    agreement="only that it beats chance is tested",
)
def test_a_search_finds_good_candidates_more_often_than_chance(folder: Path) -> None:
    """Catches a search that draws at random, learns nothing, or takes a figure the wrong way round."""
    varied = ("trip_delay=20s..120s/51", "cut_out=35kPa..75kPa/21", "cut_in=cut_out+20kPa")
    ranks = sorted(line.tuning.rank for line in tuned(folder, varied).lines[1:])
    good = ranks[len(ranks) // 10]
    chance = sum(rank <= good for rank in ranks) / len(ranks)
    found = [
        line.tuning.rank <= good for seed in (1, 2) for line in tuned(folder, varied, budget=120, seed=seed).lines[1:]
    ]

    assert sum(found) / len(found) > 1.4 * chance


def test_a_missing_search_package_is_named(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a traceback where the extra is not installed."""
    monkeypatch.setitem(sys.modules, "optuna", None)
    with pytest.raises(Refusal, match="pip install 'optuna>="):
        tuned(folder, budget=5)


def test_a_fresh_library_is_the_recipe_under_another_seed(tmp_path: Path, settings_file: Path) -> None:
    """Catches a fresh library that is the old one, or figures of another library than `lubetrip synth` would make."""
    wanted = recipe("pump-drive-broken,normal-start", 4, 5, None, "csv")
    synthesise(tmp_path / "old", wanted)
    synthesise(tmp_path / "new", replace(wanted, seed=6))
    settings = read_settings(settings_file)
    known = recipe_of(read_library(tmp_path / "old"))
    fresh = on_fresh_library(replace(known, seed=6), [settings], lambda: None)

    assert known == wanted
    assert figures_of(fresh.figures[0]) == figures_of(score(read_library(tmp_path / "new"), settings))
    assert fresh.figures[0].totals != score(read_library(tmp_path / "old"), settings).totals


def test_a_library_of_recordings_has_no_recipe(folder: Path) -> None:
    """Catches a fresh library by a recipe that somebody else's traces do not come from."""
    assert recipe_of(read_library(folder)) is None


def test_the_table_holds_every_candidate(grid: Tuning) -> None:
    """Catches a table of the Pareto set alone, and a column that belongs to another candidate."""
    rows = candidates_table(grid).to_pylist()

    assert [row["number"] for row in rows] == list(range(16))
    assert rows[0]["trip_delay"] == "60 s"
    assert rows[0]["trip_delay_ms"] == 60000
    assert {row["number"] for row in rows if row["alike"]} == {one.candidate for one in grid.front}
    for row, line in zip(rows, grid.lines, strict=True):
        assert row["whole_missed"] == line.whole.totals.missed
        assert row["tuning_missed_limit"] == pytest.approx(line.tuning.missed_limit, rel=1e-8)
        assert row["digest"] == line.candidate.settings.digest


def test_the_plot_shows_candidates_front_held_out_part_base_and_choice(grid: Tuning) -> None:
    """Catches a mark without a name, a candidate of the front that is not drawn, an axis that counts something else."""
    figure = draw_pareto(grid)
    marked = {text.get_text() for text in figure.legends[0].get_texts()}
    (points,) = [drawn for drawn in figure.axes[0].collections if drawn.get_label() == "Pareto set, tuning part"]
    shown = {(round(x, 6), round(y, 6)) for x, y in points.get_offsets().tolist()}

    assert marked == {
        "candidates, tuning part",
        "Pareto set, tuning part",
        "the same, held-out part",
        "base settings",
        f"chosen, no. {grid.chosen.number}",
    }
    assert shown == {
        (round(100 * figures.missed_limit, 6), round(figures.nuisance_limit, 6))
        for figures in (grid.lines[one.candidate].tuning for one in grid.front)
    }
    assert "no other is as good" in figure.get_suptitle()
    for axes in figure.axes:  # nothing is cut at an edge
        ends = np.array([drawn.get_offsets().max(axis=0) for drawn in axes.collections])
        lines = np.array([[max(line.get_xdata()), max(line.get_ydata())] for line in axes.lines])
        most = np.vstack([ends, lines]).max(axis=0)
        assert axes.get_xlim()[1] > 1.01 * most[0]
        assert axes.get_ylim()[1] > 1.01 * most[1]
    assert figure.axes[0].get_xlabel() == "missed-trip probability, % (upper limit, 95 % sure)"
    assert pareto_png(grid) == pareto_png(grid)


def test_the_command_tunes_prints_and_writes(folder: Path, tmp_path: Path) -> None:
    """Catches results that are printed and not kept, a chosen file that scores otherwise, a name that leads nowhere."""
    out = tmp_path / "out"
    varied = [word for text in GRID for word in ("--vary", text)]
    done = lubetrip("tune", folder, *varied, "--out", out, "--quick")
    report = json.loads((out / "report.json").read_text())
    alone = json.loads(lubetrip("score", folder, "--settings", out / "chosen.toml", "--json", "-").stdout)
    (best,) = [one for one in report["pareto"] if one["number"] == report["chosen"]]

    assert (done.returncode, done.stderr) == (0, "")
    assert alone["settings"]["digest"] == best["digest"]
    for name in ("missed", "hit", "early", "nuisance_trips", "worst_margin_s"):
        assert alone["totals"][name] == best["whole"][name]
    assert alone["evidence"]["claims"][0]["upper"] == best["whole"]["missed_limit"]
    assert alone["evidence"]["claims"][1]["upper"] == best["whole"]["nuisance_limit_per_1000h"]
    assert {path.name for path in out.iterdir()} == {
        "report.json",
        "candidates.parquet",
        "pareto.png",
        "chosen.toml",
        *(one["file"] for one in report["pareto"]),
    }
    assert pq.read_table(out / "candidates.parquet").num_rows == 16
    for word in ("15 candidates", "held out", "rule of choice", "not a certified safety device"):
        assert word in done.stdout.lower()
    assert max(len(line) for line in done.stdout.splitlines()) <= 80
    assert "…" not in done.stdout


def test_a_folder_in_use_is_refused_before_any_work(folder: Path, tmp_path: Path) -> None:
    """Catches results of two runs in one folder, and an hour of work that cannot be written."""
    (tmp_path / "mine.txt").write_text("mine")
    done = lubetrip("tune", folder, "--vary", "trip_delay=30s,40s", "--out", tmp_path)

    assert done.returncode == 2
    assert "a new or empty folder" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_a_fresh_seed_needs_a_recipe(folder: Path, tmp_path: Path) -> None:
    """Catches a seed that is read and not used."""
    done = lubetrip("tune", folder, "--vary", "trip_delay=30s,40s", "--out", tmp_path / "out", "--fresh-seed", "9")

    assert done.returncode == 2
    assert "not synthesised" in done.stderr
