"""Tuning that has nothing to judge says so, and what is held out is held out from something that is told."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from replay.display.terminal import plain
from replay.display.tuning import tolerances_view, tuning_view
from replay.library import Entry, MustTrip, read_library
from replay.library.labels import relabel
from replay.score import score
from replay.score.once import CONTRADICT, OVERLAP, Twice
from replay.tuning.holdout import split
from replay.tuning.run import find_tolerances, tune_settings
from tests.conftest import SETTINGS, entry
from tests.support.command import lubetrip
from tests.support.fooling import FAULT, RIDE, faulty, healthy, made, noisy

pytestmark = pytest.mark.slow("simulates, scores or draws many traces")

RIDDEN = "ride_through"
VARY = ("trip_delay=30s..90s/3",)
LIBRARIES = {
    "no fault": ({"q": (noisy(1, 300, healthy), RIDE)}, {"max_missed", "min_margin"}, {"missed"}),
    "no hour": (
        {"f": (noisy(1, 300, faulty), FAULT.replace("100.0", "0.0"))},
        {"max_nuisance_per_1000h"},
        {"nuisance"},
    ),
    "undecided": (
        {"u": (noisy(1, 300, faulty), "undecided = true")},
        {"max_missed", "min_margin", "max_nuisance_per_1000h"},
        {"missed", "nuisance"},
    ),
}


@pytest.mark.parametrize("name", LIBRARIES)
def test_tuning_without_anything_to_judge_is_not_met_and_says_what_is_missing(name: str, tmp_path: Path) -> None:
    """Catches 915 s chosen and called met on a library without a fault, and 'missed 0 %' of no faults."""
    traces, rules, events = LIBRARIES[name]
    folder = made(tmp_path, traces)
    if name != "undecided":  # which is refused
        found = tune_settings(folder, VARY, quick=True)
        assert found.tuning.chosen.whole.verdict == "not enough evidence"
        assert set(found.as_json()["unjudged"]) == rules
        assert all(f"NOT JUDGED, {rule}: no " in plain(tuning_view(found)) for rule in rules)
    moved = find_tolerances(folder, draws=5)
    told, shares = plain(tolerances_view(moved)), moved.as_json()["monte_carlo"]["shares"]

    assert set(moved.unjudged) == events
    for event, share in shares.items():
        nothing = event in events
        assert (share["of"], share["point"], share["upper"]) == (0, None, 1) if nothing else share["of"] == 5
        assert (f"NOT JUDGED, {event} trips: no" in told) == nothing
    if len(events) == 2:
        assert "none to" not in told


def test_a_library_that_nobody_has_decided_cannot_be_tuned_on(tmp_path: Path) -> None:
    """Catches settings that are chosen, and written, on no evidence at all; reviewers who differ decide nothing either."""
    folder = made(tmp_path, {"u": (noisy(1, 300, faulty), "undecided = true")})
    for _ in ("imported", "reviewers differ"):
        done = lubetrip("tune", folder, "--vary", VARY[0], "--out", tmp_path / "out", "--quick")
        assert (done.returncode, done.stdout) == (2, "")
        assert "no trace is decided: nothing to choose settings by; accepted: labels" in done.stderr
        assert not (tmp_path / "out" / "chosen.toml").exists()
        assert not (tmp_path / "out" / "report.json").exists()
        relabel(folder, "u", "ride_through", "A. Smith")
        relabel(folder, "u", MustTrip(100.0, 200.0), "J. Doe")


def test_the_commands_exit_3_where_nothing_is_judged(tmp_path: Path) -> None:
    """Catches a script that takes settings that nothing was held against."""
    folder = made(tmp_path, {"q": (noisy(1, 300, healthy), RIDE)})
    out = tmp_path / "out"
    tuned = lubetrip("tune", folder, "--vary", VARY[0], "--out", out, "--quick")
    moved = lubetrip("tolerances", folder, "--draws", "3")

    assert (tuned.returncode, moved.returncode, tuned.stderr, moved.stderr) == (3, 3, "", "")
    assert json.loads((out / "report.json").read_text())["unjudged"].keys() == {"max_missed", "min_margin"}


def test_a_candidate_moves_what_its_settings_file_leaves_out(tmp_path: Path) -> None:
    """Catches a standstill zero that stays where the base file has it, and is another in the candidate's own file."""
    traces = {"f": (noisy(1, 300, faulty), FAULT), "q": (noisy(2, 300, healthy), RIDE)}
    folder = made(tmp_path, traces, SETTINGS)
    out = tmp_path / "out"
    assert lubetrip("tune", folder, "--vary", "cut_out=40kPa,41kPa", "--out", out, "--quick").returncode == 0
    for one in (report := json.loads((out / "report.json").read_text()))["pareto"]:
        found = lubetrip("score", folder, "--settings", out / one["file"], "--json", "-")
        assert json.loads(found.stdout)["settings"]["digest"] == one["digest"], report["chosen"]


# ---- what is held out -------------------------------------------------------------------------------------------


def traces_of(*rows: tuple[str, str, bool]) -> list[Entry]:
    """Return entries of machine, family and whether it is a fault."""
    window = MustTrip(1.0, 2.0)
    return [
        Entry(str(n), Path("t.csv"), family, machine, "o", "synthetic: made", (window,) if fault else RIDDEN, "")
        for n, (machine, family, fault) in enumerate(rows)
    ]


ALL = [(machine, f"{kind}-{n}", kind == "fault") for machine in "abcd" for kind in ("fault", "dip") for n in range(3)]


def machines(entries: list[Entry], places: tuple[int, ...]) -> set[str]:
    """Return the machines of a part."""
    return {entries[place].machine for place in places}


def test_no_machine_stands_in_both_parts_where_that_can_be() -> None:
    """Catches all machines of a synthesised library in both halves, of which nobody hears."""
    entries = traces_of(*ALL)
    parts = split(entries)

    assert parts.held_out
    assert not machines(entries, parts.tuning) & machines(entries, parts.held_out)
    assert parts.apart == "held out from the machines of the tuning part: none stands in both"


@pytest.mark.parametrize("names", ["abc", "abcde", "pqrstuvwxyz"])
def test_of_an_odd_number_of_machines_the_tuning_part_has_one_more(names: str) -> None:
    """Catches a part that settings are chosen on with fewer machines than the part they are only tried on."""
    rows = [(name, f"{kind}-{n}", kind == "fault") for name in names for kind in ("fault", "dip") for n in range(2)]
    entries = traces_of(*rows)
    parts = split(entries)

    told = [len(machines(entries, places)) for places in (parts.tuning, parts.held_out)]
    assert told == [len(names) // 2 + 1, len(names) // 2]


def test_machines_that_stand_in_both_parts_are_named() -> None:
    """Catches a part that is called held out, and is the same machine again."""
    entries = traces_of(*[row for row in ALL if row[0] == "a"])
    parts = split(entries)

    assert parts.held_out
    assert parts.shared == ("a",)
    assert "NOT other machines" in parts.apart
    assert parts.apart.endswith("families of a")


@pytest.mark.parametrize("twin", ["K1 ", "k1", "\u212a1", "K1\u00a0"])
def test_twins_by_spelling_stay_together(twin: str) -> None:
    """Catches a machine in both halves because somebody pressed the space bar."""
    rows = [
        (name, f"{kind}{n}", kind == "fault")
        for name in ("K1", twin, "x", "y")
        for kind in ("fault", "dip")
        for n in "ab"
    ]
    entries = traces_of(*rows)
    parts = split(entries)
    both = [{"K1", twin} & machines(entries, part) for part in (parts.tuning, parts.held_out)]

    assert parts.held_out
    assert sorted(map(len, both)) == [0, 2]


def test_families_of_one_machine_stay_together_by_any_spelling() -> None:
    """Catches a family chosen on under one spelling and held out under another, where the machine stands in both parts."""
    rows = [("a", f"{kind} {n}", kind == "fault") for kind in ("fault", "dip") for n in range(6)]
    rows += [("A ", family.upper(), fault) for _, family, fault in rows]
    entries = traces_of(*rows)
    parts = split(entries)

    assert parts.held_out
    tuning, held_out = ({entries[place].family.lower() for place in part} for part in (parts.tuning, parts.held_out))
    assert not tuning & held_out


@pytest.mark.parametrize("kind", [OVERLAP, CONTRADICT])
def test_traces_that_tell_the_same_stay_together(kind: str) -> None:
    """Catches a recording chosen on and held out at once, under the names of two machines."""
    entries = traces_of(*ALL)
    apart = split(entries)
    one, other = apart.tuning[0], apart.held_out[0]
    parts = split(entries, [Twice(kind, one, other, 10.0)])

    assert parts.held_out
    assert (one in parts.tuning) == (other in parts.tuning)


def test_every_figure_of_tuning_counts_the_same_moment_once(tmp_path: Path) -> None:
    """Catches a choice that counts what the score of the same file does not."""
    fault, quiet = noisy(1, 300, faulty), noisy(2, 300, healthy)
    traces = {"f": (fault, FAULT), "f2": (fault, FAULT), "q": (quiet, RIDE), "q2": (quiet, RIDE)}
    library = read_library(made(tmp_path, traces))
    found = tune_settings(library, VARY, quick=True)

    assert found.tuning.chosen.whole.totals.must_trip == 1
    for line in found.tuning.lines:
        result = score(library, line.candidate.settings)
        assert (line.whole.totals, line.whole.verdict) == (result.totals, result.verdict)


def test_the_report_says_what_the_held_out_part_is_held_out_from(tmp_path: Path) -> None:
    """Catches figures of a held-out part of which nobody knows what it has to do with the other."""
    text = ""
    for n, (machine, kind) in enumerate((m, k) for m in ("K1", "k1 ", "x") for k in (FAULT, RIDE)):
        (tmp_path / f"t{n}.csv").write_text(noisy(n, 300, faulty if kind == FAULT else healthy))
        text += entry(f"t{n}", kind, f"family {n}").replace('machine = "m"', f'machine = "{machine}"')
    found = tune_settings(made(tmp_path, {}, more=text), VARY, quick=True)

    assert (
        found.as_json()["parts"]["held_out_from"]
        == "held out from the machines of the tuning part: none stands in both"
    )
    assert found.as_json()["parts"]["machines_in_both"] == []
    assert "held out from the machines of the tuning part" in " ".join(plain(tuning_view(found)).split())


def test_a_choice_at_the_end_of_what_was_varied_says_so(tmp_path: Path) -> None:
    """Catches a best value that lies beyond what was tried, shown as the best there is; and one in the middle called so."""
    folder = made(tmp_path, {"hit": (noisy(1, 300, faulty), FAULT), "dip": (noisy(2, 300, healthy), RIDE)})
    found = tune_settings(folder, ["trip_delay=30s..90s/3", "floor_weight=1,2"], quick=True)
    told = {}
    for line in found.tuning.lines[1:]:
        chosen = replace(found.tuning, best=replace(found.tuning.best, candidate=line.number))
        text = " ".join(plain(tuning_view(replace(found, tuning=chosen))).split())
        told[str(line.candidate.given["trip_delay"])] = "at the end of what was varied: trip delay" in text
        assert "floor weight" not in text.partition("at the end of what was varied")[2].partition(";")[0]

    assert told == {"30 s": True, "60 s": False, "90 s": True}
