"""Two scores beside each other: what changed, by which rule the second is worse, and what is refused."""

import copy
import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from replay.display.comparison import comparison_view
from replay.display.terminal import plain
from replay.ground.shown import BAR, US
from replay.score import score_library
from replay.score.comparison import compare, compare_scores
from tests.conftest import SETTINGS
from tests.support.command import installed, lubetrip


def row(identity: str, outcome: str, margin: float | None = None, trips: int = 0) -> dict[str, Any]:
    """Return one trace of a score report."""
    stop = None if margin is None else 100.0 - margin
    values = {"id": identity, "family": "f", "outcome": outcome, "first_trip_s": stop}
    return {**values, "deadline_s": 100.0, "margin_s": margin, "trips": trips}


def report(*outcomes: str, margin: float = 50.0, verdict: str = "met", trips: int | None = None) -> dict[str, Any]:
    """Return a score report of traces with these outcomes, numbered."""
    traces = [row(str(n), outcome, margin if outcome == "hit" else None) for n, outcome in enumerate(outcomes)]
    nuisance = sum(outcome in ("nuisance", "early") for outcome in outcomes)
    return {
        "library": {"digest": "d"},
        "traces": traces,
        "undecided": [],
        "totals": {"nuisance_trips": nuisance if trips is None else trips},
        "acceptance": {"verdict": verdict, "limits": {"confidence": 0.95}},
    }


@pytest.mark.parametrize(
    ("a", "b", "worse"),
    [
        (report("hit"), report("hit"), []),
        (report("hit", margin=90.0), report("hit", margin=10.0), []),  # margin is for min_margin to judge
        (report("missed"), report("hit"), []),
        (report("nuisance"), report("rode_through"), []),
        (report("hit"), report("missed"), ["misses 1"]),
        (report("hit", "missed", "missed"), report("missed", "hit", "hit"), ["misses 1"]),  # a machine is not traded
        (report("early"), report("missed"), ["misses 1"]),
        (report("hit"), report("early"), ["1 nuisance trips, A has 0"]),
        (report("rode_through", "nuisance"), report("nuisance", "rode_through"), []),  # as many as before
        (report("nuisance", trips=1), report("nuisance", trips=2), ["2 nuisance trips, A has 1"]),
        (report("hit"), report("hit", verdict="not enough evidence"), ["acceptance not enough evidence"]),
        (report("hit", verdict="not enough evidence"), report("hit", verdict="not met"), ["acceptance not met"]),
        (report("hit", verdict="not met"), report("hit", verdict="not enough evidence"), []),
    ],
)
def test_b_is_worse_by_the_stated_rule_and_by_no_other(a: dict[str, Any], b: dict[str, Any], worse: list[str]) -> None:
    """Catches a lost machine set off against saved ones, a rule that fires on a gain, a rule that is not told."""
    found = compare(a, b).worse
    assert len(found) == len(worse)
    for said, wanted in zip(found, worse, strict=True):
        assert said.startswith(wanted)


def of_windows(*outcomes: str) -> dict[str, Any]:
    """Return a report of one trace with a window for each of these outcomes."""
    worst = next(kind for kind in ("missed", "early", "hit") if kind in outcomes)
    made = report(worst)
    margins = [50.0 if outcome == "hit" else None for outcome in outcomes]
    windows = [{"outcome": outcome, "margin_s": margin} for outcome, margin in zip(outcomes, margins, strict=True)]
    made["traces"][0]["windows"] = windows
    return made


def test_another_fault_missed_in_the_same_trace_is_a_lost_machine() -> None:
    """Catches two traces that are both missed taken for the same, though each misses what the other finds."""
    found = compare(of_windows("missed", "hit"), of_windows("hit", "missed"))

    assert (found.missed.only_a, found.missed.only_b) == (1, 1)
    assert found.worse == ("misses 1 fault that A does not miss",)
    assert len(found.changed) == 1
    assert compare(of_windows("missed", "hit"), of_windows("hit", "hit")).margins.pairs == 1
    assert not compare(of_windows("missed", "hit"), of_windows("missed", "hit")).changed


def test_a_trace_that_only_one_report_parts_into_windows_is_taken_whole() -> None:
    """Catches a lost machine that no pair tells of, since an older report knows no windows."""
    found = compare(report("hit"), of_windows("hit", "missed"))

    assert (found.missed.only_a, found.missed.only_b) == (0, 1)


def test_counts_of_pairs_are_those_of_mcnemar() -> None:
    """Catches pairs that agree among the discordant ones, early stops left out of the nuisance, A and B exchanged."""
    a = report(*["hit"] * 7, "missed", "missed", "early", "nuisance", "rode_through")
    b = report(*["missed"] * 7, "hit", "missed", "hit", "rode_through", "nuisance")
    found = compare(a, b)

    assert (found.missed.only_a, found.missed.only_b) == (1, 7)
    assert found.missed.p == pytest.approx(0.0703125)
    assert (found.nuisance.only_a, found.nuisance.only_b, found.nuisance.p) == (2, 1, 1.0)
    assert (len(found.changed), found.same) == (11, 1)


def test_margins_are_compared_over_the_traces_that_both_hit() -> None:
    """Catches means of different traces subtracted, which moves the margin when a hard trace is newly hit."""
    a, b = report("hit", "hit", "missed"), report("hit", "hit", "hit", margin=40.0)
    b["traces"][1]["margin_s"] = 46.0
    margins = compare(a, b).margins

    assert (margins.pairs, margins.mean_s) == (2, -7.0)
    assert margins.interval_s == (-10.0, -4.0)
    assert compare(report("missed"), report("missed")).margins.mean_s is None


def test_traces_are_paired_by_their_names_in_whatever_order_each_report_has_them() -> None:
    """Catches the first trace of A compared with the first of B: another order would make faults lost and won."""
    a = report("hit", "missed", "rode_through", "nuisance", "hit")
    b = copy.deepcopy(a)
    b["traces"].reverse()
    a["undecided"], b["undecided"] = (
        [row("u", "undecided"), row("v", "undecided", trips=2)],
        [
            row("v", "undecided", trips=2),
            row("u", "undecided"),
        ],
    )
    found = compare(a, b)

    assert (found.same, found.changed, found.undecided, found.worse) == (5, (), (), ())
    assert (found.missed.only_a, found.missed.only_b, found.nuisance.only_a, found.margins.mean_s) == (0, 0, 0, 0.0)
    b["traces"][0]["outcome"] = "missed"  # the last of A
    assert [(one["id"], two["outcome"]) for one, two in compare(a, b).changed] == [("4", "missed")]


def test_undecided_traces_are_apart() -> None:
    """Catches a trace nobody can call that makes B worse."""
    a, b = report("hit"), report("hit")
    a["undecided"], b["undecided"] = [row("u", "undecided")], [row("u", "undecided", trips=3)]
    found = compare(a, b)

    assert (found.worse, found.changed, len(found.undecided)) == ((), (), 1)


@pytest.mark.slow("starts workers or commands as processes of their own")
def test_the_same_comparison_gives_the_same_bytes(library: Path) -> None:
    """Catches an interval from an unseeded draw."""
    slow = library / "slow.toml"
    slow.write_text(SETTINGS.replace('"60 s"\nfloor_weight', '"90 s"\nfloor_weight'), encoding="utf-8")
    call = ("compare", library / "settings.toml", slow, "--library", library, "--json", "-")
    runs = [lubetrip(*call).stdout, installed(*call, PYTHONHASHSEED="7").stdout]
    assert runs[0] == runs[1]
    assert json.loads(runs[0])["schema"] == "lubetrip-compare/1"


def scores(library: Path) -> tuple[Path, Path]:
    """Return two score files: the library's settings, and a delay too long for its fault."""
    slow = library / "slow.toml"
    slow.write_text(SETTINGS.replace('"60 s"\nfloor_weight', '"30 min"\nfloor_weight'), encoding="utf-8")
    good, bad = library / "good.json", library / "bad.json"
    lubetrip("score", library, "--json", good)
    lubetrip("score", library, "--settings", slow, "--json", bad)
    return good, bad


def test_compare_exits_1_when_b_is_worse(library: Path) -> None:
    """Catches an exit status that a build cannot rely on, and settings files scored otherwise than their reports."""
    good, bad = scores(library)
    worse, better = lubetrip("compare", good, bad), lubetrip("compare", bad, good)

    assert (worse.returncode, better.returncode, lubetrip("compare", good, good).returncode) == (1, 0, 0)
    assert "hit -> missed" in worse.stdout
    assert "B IS WORSE: misses 1 fault" in worse.stdout
    assert "B is not worse." in better.stdout
    assert max(map(len, worse.stdout.splitlines())) <= 80
    settings = lubetrip(
        "compare", library / "settings.toml", library / "slow.toml", "--library", library, "--json", "-"
    )
    assert settings.returncode == 1
    assert settings.stdout == lubetrip("compare", good, bad, "--json", "-").stdout


def test_what_cannot_be_compared_is_refused(library: Path) -> None:
    """Catches two libraries compared trace by trace, half a report, settings without a library."""
    good, bad = scores(library)
    whole = json.loads(bad.read_text())
    damages: list[tuple[str, Any]] = [("traces", []), ("totals", {}), ("schema", "other"), ("library", {"digest": "0"})]
    for key, value in damages:
        broken = copy.deepcopy(whole)
        broken[key] = value
        bad.write_text(json.dumps(broken))
        done = lubetrip("compare", good, bad)
        assert (done.returncode, done.stdout, len(done.stderr.splitlines())) == (2, "", 1), key
    for other in (library / "nowhere.json", library / "settings.toml", library / "quiet.csv", library):
        done = lubetrip("compare", good, other)
        assert (done.returncode, done.stdout, len(done.stderr.splitlines())) == (2, "", 1), other


def judged_by(settings: Path, library: Path, text: str) -> dict[str, Any]:
    """Return the report of a library under other rules."""
    settings.write_text(text, encoding="utf-8")
    return json.loads(json.dumps(score_library(library, settings).as_json()))


LOOSENED = {
    "max_missed": ("max_missed = 0", "max_missed = 3", "max_missed: 0, 3"),
    "rate": ("per_1000h = 0.0", "per_1000h = 0.5", "max_nuisance_per_1000h: 0, 0.5"),
    "margin": ('min_margin = "30 s"', 'min_margin = "0 s"', "min_margin_s: 30, 0"),
}


@pytest.mark.parametrize("name", LOOSENED)
def test_a_loosened_acceptance_is_said(name: str, library: Path, tmp_path: Path) -> None:
    """Catches B that is no worse because less was asked of it, without a word."""
    strict, loose, said = LOOSENED[name]
    a = judged_by(tmp_path / "a.toml", library, SETTINGS)
    b = judged_by(tmp_path / "b.toml", library, SETTINGS.replace(strict, loose))
    found, back = compare(a, b), compare(b, a)

    assert (found.loosened, back.loosened) == ((said,), ())
    assert f"B's ACCEPTANCE IS LOOSER than A's: {said}" in plain(comparison_view(found)).replace("\n", " ")
    assert found.as_json()["acceptance_loosened"] == [said]
    assert found.worse == ()  # it would be met as it was


@pytest.mark.parametrize(
    ("old", "new", "loosened"),
    [
        ("confidence = 0.95\n", "", True),
        ("confidence = 0.95", "confidence = 0.9", True),
        ("confidence = 0.9\n", "confidence = 0.95\n", False),
        ("confidence = 0.95\nmax_nuisance_probability = 0.5\n", "confidence = 0.95\n", True),
        ("confidence = 0.95\nmin_margin_coverage = 0.5\n", "confidence = 0.95\nmin_margin_coverage = 0.4\n", True),
    ],
)
def test_a_limit_that_is_judged_no_more_is_looser(
    old: str, new: str, loosened: bool, library: Path, tmp_path: Path
) -> None:
    """Catches a confidence that is given up, which no number tells."""
    a = judged_by(tmp_path / "a.toml", library, SETTINGS + old)
    b = judged_by(tmp_path / "b.toml", library, SETTINGS + new)
    assert bool(compare(a, b).loosened) == loosened


def test_b_that_is_met_only_by_its_own_looser_rules_is_worse(library: Path, tmp_path: Path) -> None:
    """Catches a margin of which half is gone, hidden by a rule that was moved after it."""
    a = judged_by(tmp_path / "a.toml", library, SETTINGS)
    slower = SETTINGS.replace('trip_delay = "60 s"', 'trip_delay = "270 s"')
    b = judged_by(tmp_path / "b.toml", library, slower.replace('min_margin = "30 s"', 'min_margin = "1 s"'))
    assert (a["acceptance"]["verdict"], b["acceptance"]["verdict"]) == ("met", "met")
    assert b["totals"]["worst_margin_s"] < 30

    assert compare(a, b).worse == ("acceptance not met under A's rules, A has met",)


def test_scores_of_different_judges_say_so(library: Path, tmp_path: Path) -> None:
    """Catches a change that is the judge's and is taken for the settings'."""
    a = judged_by(tmp_path / "a.toml", library, SETTINGS)
    b = copy.deepcopy(a)
    b["judge"]["digest"] = "other"
    said = "A and B were judged by DIFFERENT VERSIONS OF THE JUDGE"

    assert said in plain(comparison_view(compare(a, b)))
    assert said not in plain(comparison_view(compare(a, a)))
    del b["judge"]  # of an older version
    assert said in plain(comparison_view(compare(a, b)))


def test_two_reports_are_compared_without_what_scores() -> None:
    """Catches an import by which a comparison of two files waits for all that replays traces."""
    code = "import sys, replay.display.comparison; print({'numpy', 'replay.engine', 'replay.score.scoring'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "set()"


def test_the_settings_that_differ_stand_first_and_changed_outcomes_on_top(library: Path, tmp_path: Path) -> None:
    """Catches a change that nobody can lay to a setting, A and B swapped, and a lost fault among a hundred margins."""
    a = judged_by(tmp_path / "a.toml", library, SETTINGS)
    moved = SETTINGS.replace('trip_delay = "60 s"', 'trip_delay = "280 s"').replace('"0 m"', '"100 m"')
    b = judged_by(tmp_path / "b.toml", library, moved)
    found = compare(a, b)
    lines = [line.split() for line in plain(comparison_view(found)).splitlines()]

    assert found.settings == (("trip_delay", 60000, 280000), ("altitude_m", 0.0, 100.0))
    assert found.as_json()["settings"] == {"trip_delay": [60000, 280000], "altitude_m": [0.0, 100.0]}
    assert lines.index(["integral.trip_delay", "1", "min", "280", "s"]) < lines.index(
        ["site.altitude", "0", "m", "100", "m"]
    )
    assert compare(a, a).settings == ()
    assert "the same settings" in plain(comparison_view(compare(a, a)))
    del b["settings"]  # of a report that does not say
    assert compare(a, b).settings[0][2] is None


def test_pressures_are_shown_in_the_units_of_b(library: Path) -> None:
    """Catches a change shown in the units of the settings that are left behind."""
    one = score_library(library)
    two = replace(one, settings=replace(one.settings, units=US))
    metric = replace(one, settings=replace(one.settings, units=BAR))

    assert compare_scores(metric, two).units == US
    assert compare_scores(two, metric).units == BAR


def test_a_lost_fault_stands_on_top_of_changed_margins(library: Path, tmp_path: Path) -> None:
    """Catches outcomes in the order of the library: one lost fault somewhere among a hundred margins."""
    a = judged_by(tmp_path / "a.toml", library, SETTINGS)
    a["traces"] = [{**a["traces"][0], "id": name} for name in ("margin", "nuisance", "lost", "same")]
    b = copy.deepcopy(a)
    b["traces"][0]["margin_s"] = 1.0
    b["traces"][1]["outcome"] = "nuisance"
    b["traces"][2]["outcome"] = "missed"
    told = plain(comparison_view(compare(a, b))).splitlines()

    assert [line.split()[0] for line in told if line.startswith(("margin ", "nuisance ", "lost "))][:3] == [
        "lost",
        "nuisance",
        "margin",
    ]
