"""A library that shows nothing, or shows it twice, is not met, on any face: terminal, JSON, JUnit, test runner, report."""

import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from replay.display.score import score_view, warnings
from replay.display.terminal import plain
from replay.library import Entry, read_library
from replay.report.junit import junit, unjudged
from replay.report.write import write_report
from replay.score import Score, once, score_library
from replay.score.once import look
from tests.conftest import SETTINGS, entry, trace_csv
from tests.support.command import lubetrip
from tests.support.fooling import FAULT, RIDE, broken_wire, faulty, healthy, made, noisy


def faces(folder: Path, result: Score) -> dict[str, bool]:
    """Return whether each face says that the acceptance is met."""
    library = read_library(folder)
    cases = ET.fromstring(junit(result, library))
    (case,) = [case for case in cases.iter("testcase") if case.get("name") == "acceptance"]
    write_report(folder / "report.html", library)
    return {
        "verdict": result.verdict == "met",
        "met": result.met,
        "terminal": "Acceptance: met" in plain(score_view(result)),
        "JSON": result.as_json()["acceptance"]["met"],
        "JUnit": case.find("failure") is None,
        "report": "Acceptance: met" in (folder / "report.html").read_text(),
    }


NOTHING_JUDGED = {
    "undecided alone": ({"a": (noisy(1, 400, faulty), "undecided = true")}, ["max_missed", "per_1000h", "min_margin"]),
    "no fault": ({"a": (noisy(1, 400, healthy), RIDE)}, ["max_missed", "min_margin"]),
    "no hour": ({"a": (noisy(1, 400, faulty), FAULT)}, ["max_nuisance_per_1000h"]),
    "a machine that never runs": (
        {"a": (noisy(1, 400, faulty), FAULT), "b": (noisy(2, 400, healthy).replace(",1\n", ",0\n"), RIDE)},
        ["max_nuisance_per_1000h"],
    ),
}


@pytest.mark.parametrize("name", NOTHING_JUDGED)
def test_nothing_judged_is_not_met_on_any_face_and_says_what_is_missing(name: str, tmp_path: Path) -> None:
    """Catches an empty set that keeps every rule: no confidence is stated here, so nothing but the counts is judged."""
    traces, rules = NOTHING_JUDGED[name]
    result = score_library(made(tmp_path, traces))

    assert result.verdict == "not enough evidence"
    assert not any(faces(tmp_path, result).values())
    told = plain(score_view(result))
    assert all(f"{rule}: no " in told for rule in rules if rule.startswith("m"))
    assert set(result.as_json()["acceptance"]["unjudged"]) >= {rule for rule in rules if rule.startswith("m")}


def test_a_library_that_judges_everything_is_met_on_every_face(tmp_path: Path) -> None:
    """Catches a judge that cannot be pleased, and a face that says otherwise than the others."""
    traces = {"fault": (noisy(1, 400, faulty), FAULT), "quiet": (noisy(2, 400, healthy), RIDE)}
    result = score_library(made(tmp_path, traces))

    assert all(faces(tmp_path, result).values())
    assert warnings(result) == []
    assert result.totals.hits_by_cause == {"oil": 1}
    assert "hits by cause oil 1" in " ".join(plain(score_view(result)).split())


def test_faults_missed_within_what_is_allowed_are_no_margin(tmp_path: Path) -> None:
    """Catches a rule about margins that is met because not one fault was hit."""
    lenient = SETTINGS.replace("max_missed = 0", "max_missed = 9").replace(
        'trip_delay = "60 s"', 'trip_delay = "15 min"'
    )
    traces = {"fault": (noisy(1, 400, faulty), FAULT), "quiet": (noisy(2, 400, healthy), RIDE)}
    result = score_library(made(tmp_path, traces, lenient))

    assert (result.totals.missed, result.failures, result.unjudged) == (1, (), ("min_margin",))
    assert not result.met


def test_the_command_exits_3_where_nothing_is_judged(tmp_path: Path) -> None:
    """Catches a script that goes on because a library of undecided traces broke no rule."""
    done = lubetrip("score", made(tmp_path, {"a": (noisy(1, 200, healthy), "undecided = true")}))
    assert (done.returncode, done.stderr) == (3, "")
    assert "Acceptance: NOT ENOUGH EVIDENCE" in done.stdout


# ---- hits on a sensor, units ------------------------------------------------------------------------------------


@pytest.mark.slow("tries many cases of a large space")
def test_healthy_traces_in_pa_are_no_faults_found(tmp_path: Path) -> None:
    """Catches a unit of a thousandth, on which every trace stops at once, by its sensor, and counts as a fault found."""
    settings = SETTINGS.replace("max_nuisance_per_1000h = 0.0", "max_nuisance_per_1000h = 1e6\nconfidence = 0.95")
    label = "must_trip = { earliest_s = 0.0, deadline_s = 90.0 }"
    traces = {f"t{n}": (noisy(n, 100, healthy, per=1000.0), label) for n in range(60)}
    traces |= {"quiet": (noisy(99, 600, healthy), RIDE)}
    result = score_library(made(tmp_path, traces, settings))
    told = warnings(result)

    assert result.totals.hits_by_cause == {"sensor": 60}
    assert (result.totals.sensor_hits, result.totals.doubted) == (60, 60)
    assert "max_missed" in result.unjudged
    assert any("oil pressure mostly beyond 6000 kPa: Pa or mbar taken for kPa?" in line for line in told)
    assert any(line.startswith("WARNING: 60 of 60 hits are stops on a sensor") for line in told)
    assert not any(faces(tmp_path, result).values())


@pytest.mark.parametrize(
    ("per", "said"), [(0.01, "bar or MPa"), (1e-3, "bar or MPa"), (10.0 * 3, "Pa or mbar"), (1.0, "")]
)
def test_units_are_doubted_by_size(per: float, said: str, tmp_path: Path) -> None:
    """Catches bar, MPa or Pa that pass for kPa, and kPa that are doubted."""
    traces = {"fault": (noisy(1, 400, faulty), FAULT), "quiet": (noisy(2, 400, healthy), RIDE)}
    traces["odd"] = (noisy(3, 300, healthy, per=per), RIDE)
    doubts = {verdict.id: verdict.doubt for verdict in score_library(made(tmp_path, traces)).verdicts}

    assert doubts.pop("odd").partition(": ")[2].partition(" taken")[0] == said
    assert set(doubts.values()) == {""}


def test_spikes_and_one_low_channel_are_no_doubt_of_the_unit(tmp_path: Path) -> None:
    """Catches a few readings beyond all reason, or a suction in deep vacuum, for which a whole trace is doubted."""
    head, *rows = noisy(3, 300, healthy).splitlines()
    cells = [row.split(",") for row in rows]
    spiked = [f"{at},{9000.0 if n % 100 == 50 else oil},{suction},1" for n, (at, oil, suction, _) in enumerate(cells)]
    deep = [f"{at},{float(oil) - 290:.3f},{float(suction) - 290:.3f},1" for at, oil, suction, _ in cells]
    mostly = [f"{at},{-9000.0 if n % 5 else oil},{suction},1" for n, (at, oil, suction, _) in enumerate(cells)]
    traces = {"fault": (noisy(1, 400, faulty), FAULT)}
    told = {"spiked": spiked, "deep": deep, "mostly": mostly}
    traces |= {name: ("\n".join([head, *lines]) + "\n", RIDE) for name, lines in told.items()}
    doubts = {verdict.id: verdict.doubt for verdict in score_library(made(tmp_path, traces)).verdicts}

    assert (doubts["spiked"], doubts["deep"]) == ("", "")
    assert doubts["mostly"].startswith("oil pressure mostly beyond 6000 kPa")


def test_psi_taken_for_kpa_is_a_question(tmp_path: Path) -> None:
    """Catches a library in psi, all of whose machines look short of oil in a vacuum, that is judged as it stands."""
    traces = {f"fault{n}": (noisy(n, 400, faulty, per=1 / 6.894757), FAULT) for n in range(2)}
    traces |= {f"quiet{n}": (noisy(9 + n, 400, healthy, per=1 / 6.894757), RIDE) for n in range(2)}
    result = score_library(made(tmp_path, traces))
    doubts = {verdict.id: verdict.doubt for verdict in result.verdicts}

    assert all("psi taken for kPa?" in doubts[name] for name in ("quiet0", "quiet1"))
    assert "traces in doubt" in result.unjudged
    assert any("psi taken for kPa?" in line for line in warnings(result))


@pytest.mark.parametrize(
    ("oil", "suction", "others", "psi"),
    [
        (100.0, 60.0, [], True),
        (160.0, 100.0, [], True),
        (160.001, 100.002, [], False),  # above all pressures of such a machine
        (120.0, 59.999, [], False),  # more net oil pressure than it holds
        (60.0, 20.0, [(300.0, 200.0)] * 2, True),
        (60.0, 20.0, [(300.0, 200.0)] * 3, False),  # more than seldom
        (60.0, 52.0, [], True),
        (60.0, 52.001, [], False),  # short of oil
        (60.0, 20.0, [(60.0, 59.0)] * 50, True),
        (60.0, 20.0, [(60.0, 59.0)] * 51, False),  # mostly
    ],
)
def test_what_looks_like_psi_lies_within_its_bounds(
    oil: float, suction: float, others: list[tuple[float, float]], psi: bool, tmp_path: Path
) -> None:
    """Catches a bound on the other side, either of two limits left out, and a machine that stands counted in."""
    rows = [*others, *[(oil, suction)] * (100 - len(others))]
    for runs, told in ((1, psi), (0, False)):
        lines = [f"{second},{one},{other},{runs}\n" for second, (one, other) in enumerate(rows)]
        lines += [f"{second},900,100,0\n" for second in range(100, 120)]
        (tmp_path / "t.csv").write_text("time_s,oil_pressure_kpa,suction_pressure_kpa,running\n" + "".join(lines))
        assert look(Entry("t", tmp_path / "t.csv", "f", "m", "o", "recorded: x", "ride_through", "")).psi is told


@pytest.mark.parametrize("well", [1, 2])
def test_a_machine_short_of_oil_in_a_vacuum_is_not_taken_for_psi(well: int, tmp_path: Path) -> None:
    """Catches a doubt of a harmless upset, or of a fault, that is as low as that among machines that are well."""
    head, *rows = noisy(5, 400, lambda _: 20.0).splitlines()
    cells = [row.split(",") for row in rows]  # the same under a suction of 25 kPa
    text = "\n".join(
        [head, *(f"{at},{float(oil) - 275:.3f},{float(suction) - 275:.3f},1" for at, oil, suction, _ in cells)]
    )
    traces = {"fault": (noisy(1, 400, faulty), FAULT), "low": (text + "\n", RIDE)}
    traces |= {f"quiet{n}": (noisy(9 + n, 400, healthy), RIDE) for n in range(well)}
    result = score_library(made(tmp_path, traces))

    assert [verdict.doubt for verdict in result.verdicts] == [""] * (2 + well)


@pytest.mark.parametrize(("name", "warned"), [("fault", True), ("sensor", False)])
def test_a_hit_by_a_sensor_where_none_fails_is_a_warning(name: str, warned: bool, tmp_path: Path) -> None:
    """Catches a fault called found by a stop that had nothing to do with it, and a warning about the sensor's own fault."""
    traces = {"real": (noisy(1, 400, faulty), FAULT), "quiet": (noisy(2, 400, healthy), RIDE)}
    result = score_library(made(tmp_path, {**traces, name: (noisy(3, 400, broken_wire), FAULT)}))

    assert result.totals.hits_by_cause == {"oil": 1, "sensor": 1}
    assert result.met  # one fault was found by its oil pressure
    assert [line for line in warnings(result) if "1 of 2 hits are stops on a sensor" in line] == warnings(result)
    assert bool(warnings(result)) == warned
    assert ("WARNING" in plain(score_view(result))) == warned
    properties = ET.fromstring(junit(result, read_library(tmp_path))).iter("property")
    assert ("warnings" in [item.get("name") for item in properties]) == warned


# ---- the same twice ---------------------------------------------------------------------------------------------


def test_the_same_file_twice_counts_once(tmp_path: Path) -> None:
    """Catches thirty copies of one fault that show thirty, and copies of a quiet hour that dilute a nuisance rate."""
    fault, quiet = noisy(1, 400, faulty), noisy(2, 3600, healthy)
    traces = {"fault": (fault, FAULT), "quiet": (quiet, RIDE)}
    traces |= {f"fault{n}": (fault, FAULT) for n in range(5)} | {f"quiet{n}": (quiet, RIDE) for n in range(5)}
    result = score_library(made(tmp_path, traces))

    assert (result.totals.must_trip, result.totals.hit, result.totals.ride_through) == (1, 1, 1)
    assert result.totals.ride_through_run_hours == pytest.approx(1.0)
    assert [verdict.outcome for verdict in result.verdicts].count("counted already") == 10
    assert "fault and fault0 are the same recording: counted once." in plain(score_view(result))
    assert len(result.as_json()["told_twice"]) == 10


def test_overlapping_recordings_of_one_machine_count_each_hour_once(tmp_path: Path) -> None:
    """Catches 4.83 run hours for 3.33 real ones, of a machine that is spelt three ways and says when it was recorded."""
    entries = ""
    for name, machine, start, seconds in (("a", "K1", "00", 6000), ("b", "k1 ", "50", 6000), ("c", "K1", "55", 5400)):
        (tmp_path / f"{name}.csv").write_text(noisy(ord(name), seconds, healthy))
        own = entry(name, RIDE).replace('machine = "m"', f'machine = "{machine}"')
        entries += own + f"start_utc = 2026-03-01T00:{start}:00Z\n"
    traces = {"fault": (noisy(1, 400, faulty), FAULT)}
    result = score_library(made(tmp_path, traces, more=entries))
    hours = {verdict.id: verdict.run_hours for verdict in result.verdicts}

    assert sum((6000, 6000, 5400)) / 3600 == pytest.approx(4.83, abs=0.01)
    assert result.totals.ride_through_run_hours == pytest.approx(9000 / 3600)
    assert (hours["a"], hours["b"]) == (pytest.approx(6000 / 3600), pytest.approx(3000 / 3600))
    told = " ".join(plain(score_view(result)).split())
    assert "a and b record the same 3000.0 s: counted once." in told
    assert "One machine by several spellings: 'K1', 'k1 '." in told


def test_a_nuisance_stop_in_an_overlap_counts_once(tmp_path: Path) -> None:
    """Catches one stop told by two recordings that is two, and one outside of the overlap that is none."""
    dips = lambda s: 5.0 if 800 <= s < 870 or 1900 <= s < 1970 else 120.0  # noqa: E731
    (tmp_path / "b.csv").write_text(noisy(7, 2400, dips, from_s=600))
    later = entry("b", RIDE)
    traces = {"fault": (noisy(1, 400, faulty), FAULT), "a": (noisy(7, 1500, dips), RIDE)}
    result = score_library(made(tmp_path, traces, more=later))
    stops = {verdict.id: verdict.nuisance_trips for verdict in result.verdicts}

    assert stops == {"fault": 0, "a": 1, "b": 1}
    assert {verdict.id: verdict.trips for verdict in result.verdicts}["b"] == 2


def test_rows_that_stand_in_two_recordings_count_once_without_a_clock(tmp_path: Path) -> None:
    """Catches a recording cut in two with a stretch in both, under two names and with times of their own."""
    whole = noisy(5, 3000, healthy)
    later = noisy(5, 3000, healthy, from_s=1200)
    (tmp_path / "later.csv").write_text(later)
    traces = {"fault": (noisy(1, 400, faulty), FAULT), "first": ("\n".join(whole.splitlines()[:1802]) + "\n", RIDE)}
    other = entry("later", RIDE).replace('machine = "m"', 'machine = "another"')
    result = score_library(made(tmp_path, traces, more=other))

    assert result.totals.ride_through_run_hours == pytest.approx(3000 / 3600, abs=0.01)
    assert any(pair.kind == "overlap" for pair in result.once.twice)


def test_recordings_that_are_alike_by_nature_are_not_taken_for_one(tmp_path: Path) -> None:
    """Catches two traces of a simulation, both without noise, or steady ones, whose hours are thrown away."""
    traces = {name: (trace_csv(3600, lambda s: 120.0), RIDE) for name in ("one",)}
    traces["two"] = (trace_csv(3500, lambda s: 120.0), RIDE)
    traces["fault"] = (noisy(1, 400, faulty), FAULT)
    result = score_library(made(tmp_path, traces))

    assert result.once.twice == ()
    assert result.totals.ride_through_run_hours == pytest.approx(7100 / 3600)


def test_a_pattern_that_comes_again_and_again_tells_no_recording_from_another(tmp_path: Path) -> None:
    """Catches two machines that pulsate alike taken for one, because their pulsation stands in both."""
    beat = [120.0 + (n * 37 % 101) / 4 for n in range(101)]
    traces = {
        name: (trace_csv(length, lambda s: beat[s % 101]), RIDE) for name, length in (("one", 1800), ("two", 1750))
    }
    traces["fault"] = (noisy(1, 400, faulty), FAULT)

    assert score_library(made(tmp_path, traces)).once.twice == ()


def test_readings_that_hardly_move_tell_no_recording_from_another(tmp_path: Path) -> None:
    """Catches two logs of coarse digits taken for one, because the same steps stand in both."""
    found = {}
    for rows in (1, 5):
        steps = "".join(f"{s},{400 + s // rows},{300 + s // rows},1\n" for s in range(2000))
        (tmp_path / "t.csv").write_text(f"time_s,oil_pressure_kpa,suction_pressure_kpa,running\n{steps}")
        found[rows] = len(look(Entry("t", tmp_path / "t.csv", "f", "m", "o", "recorded: x", RIDE, "")).hashes)
    assert found[1] > 100
    assert found[5] == 0


@pytest.mark.parametrize(
    ("one", "other"),
    [(FAULT, RIDE), (FAULT, FAULT.replace("100.0", "150.0")), (FAULT, "undecided = true"), (RIDE, FAULT)],
)
def test_labels_that_contradict_each_other_show_nothing(one: str, other: str, tmp_path: Path) -> None:
    """Catches a recording that is a fault and harmless at once, of which one is right whatever the logic does."""
    fault = noisy(1, 400, faulty)
    traces = {"real": (noisy(3, 400, faulty), FAULT), "quiet": (noisy(2, 400, healthy), RIDE)}
    lenient = SETTINGS.replace("max_nuisance_per_1000h = 0.0", "max_nuisance_per_1000h = 1e6")
    result = score_library(made(tmp_path, {**traces, "x": (fault, one), "y": (fault, other)}, lenient))

    assert not result.met
    assert any("contradicts " in line for line in warnings(result) + list(result.unjudged)) or result.failures
    told = " ".join(plain(score_view(result)).split())
    assert "record the same 400.0 s, and their labels there contradict each other." in told


def test_of_two_deadlines_of_one_fault_the_careful_one_counts(tmp_path: Path) -> None:
    """Catches a fault that is found in time because its recording stands there again with a later deadline."""
    fault = noisy(1, 400, faulty)
    late, soon = FAULT, FAULT.replace("250.0", "120.0")
    traces = {"quiet": (noisy(2, 400, healthy), RIDE), "late": (fault, late), "soon": (fault, soon)}
    result = score_library(made(tmp_path, traces))

    assert (result.totals.must_trip, result.totals.missed, result.verdict) == (1, 1, "not met")


def test_a_fault_behind_an_overlap_is_told_by_two_and_counts_once(tmp_path: Path) -> None:
    """Catches one fault in two overlapping recordings that is two hits, and a harmless recording of it that counts."""
    second = noisy(4, 900, lambda s: 120.0 if s < 500 else 5.0, from_s=300)
    traces = {"quiet": (noisy(2, 400, healthy), RIDE)}
    traces["a"] = (
        noisy(4, 900, lambda s: 120.0 if s < 500 else 5.0),
        "must_trip = { earliest_s = 500, deadline_s = 700 }",
    )
    traces["b"] = (second, "must_trip = { earliest_s = 200, deadline_s = 400 }")
    result = score_library(made(tmp_path, traces))
    assert (result.totals.must_trip, result.totals.hit, result.met) == (1, 1, True)

    text = (tmp_path / "library.toml").read_text()
    for other in (RIDE, "must_trip = { earliest_s = 200, deadline_s = 300 }"):  # harmless, and of an earlier deadline
        (tmp_path / "library.toml").write_text(
            text.replace("must_trip = { earliest_s = 200, deadline_s = 400 }", other)
        )
        again = score_library(tmp_path)
        assert {verdict.id for verdict in again.verdicts if verdict.doubt} == {"a", "b"}
        assert not again.met


@pytest.mark.parametrize("clock", [True, False], ids=["by their clocks", "by their rows"])
@pytest.mark.parametrize(("before_s", "until_s"), [(470, 980), (400, 1050)], ids=["for nothing", "in the same fault"])
def test_a_stop_about_a_fault_that_two_recordings_tell_counts_once(
    before_s: int,
    until_s: int,
    clock: bool,
    tmp_path: Path,
) -> None:
    """Catches a stop for nothing, and one in the same fault again, that count in both since one recording has a fault more."""

    def net(second: int) -> float:
        return 5.0 if 400 <= second < before_s or 900 <= second < until_s or 2600 <= second < 2900 else 120.0

    label = "must_trip = { earliest_s = 900, deadline_s = 1100 }"
    both = "must_trip = [ { earliest_s = 600, deadline_s = 800 }, { earliest_s = 2300, deadline_s = 2500 } ]"
    starts = [f"\nstart_utc = 2026-01-01T00:0{minute}:00Z\n" if clock else "" for minute in (0, 5)]
    traces = {"quiet": (noisy(2, 400, healthy), RIDE), "a": (noisy(4, 2400, net), label + starts[0])}
    traces["b"] = (noisy(4, 2900, net, from_s=300), both + starts[1])
    result = score_library(made(tmp_path, traces))
    a, b = (next(verdict for verdict in result.verdicts if verdict.id == name) for name in "ab")

    assert (a.trips, b.trips) == (2, 3)
    assert a.nuisance_trips == (before_s > 400)
    assert (b.nuisance_trips, b.repeats) == (0, 0)
    assert [window.outcome for window in b.windows] == ["hit"]


def test_the_test_runner_and_junit_call_no_trace_right_that_was_not_judged(tmp_path: Path) -> None:
    """Catches green for a twin, for a machine that never ran, and for a window that an earlier stop stood over."""
    quiet = noisy(2, 400, healthy)
    traces = {"fault": (noisy(1, 400, faulty), FAULT), "quiet": (quiet, RIDE), "twin": (quiet, RIDE)}
    traces["never"] = (noisy(3, 400, healthy).replace(",1\n", ",0\n"), RIDE)
    result = score_library(made(tmp_path, traces))
    suite = ET.fromstring(junit(result, read_library(tmp_path)))[0]
    skipped = {case.get("name") for case in suite.iter("testcase") if case.find("skipped") is not None}

    why = {item.get("message") for item in suite.iter("skipped")}

    assert skipped == {"twin", "never"}
    assert "recorded in another trace too, and judged there" in why
    assert "an earlier stop held" in unjudged(replace(result.verdicts[0], outcome="stood"))
    assert "in doubt: x" in unjudged(replace(result.verdicts[0], doubt="x"))
    assert unjudged(result.verdicts[0]) == ""
    assert suite.get("skipped") == "2"


# ---- files that try it ------------------------------------------------------------------------------------------

HOSTILE = {
    "an unknown table of traces": ("[[traces]]\n" + entry("b", FAULT).partition("\n")[2], "[[traces]]", "trace"),
    "an unknown key": (entry("b", FAULT) + "mustrip = true\n", "mustrip", "must_trip"),
    "two labels": (entry("b", FAULT + "\n" + RIDE), "2 labels", "one of"),
    "a deadline that is no number": (entry("b", FAULT.replace("250.0", "nan")), "deadline_s = nan", "not a finite"),
    "a window that begins behind its deadline": (
        entry("b", FAULT.replace("100.0", "251.0")),
        "earliest_s",
        "later than",
    ),
    "an id that is used already": (entry("a", RIDE), "id", "earlier trace"),
    "an id that reads like another": (entry("a ", RIDE).replace("a .csv", "a.csv"), "id", "reads like"),
    "a mix of no family there is": (entry("b", RIDE) + "[mix]\nnobody = 1.0\n", "[mix] nobody", "unknown key"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_library_that_cannot_be_meant_is_refused(name: str, tmp_path: Path) -> None:
    """Catches a fault that vanishes with a table nobody reads, and a label that may be read two ways."""
    more, *said = HOSTILE[name]
    (tmp_path / "b.csv").write_text(noisy(2, 400, faulty))
    done = lubetrip("score", made(tmp_path, {"a": (noisy(1, 400, healthy), RIDE)}, more=more))

    assert (done.returncode, done.stdout) == (2, "")
    assert all(word in done.stderr for word in said), done.stderr


def test_an_unreadable_fault_is_no_harmless_library(tmp_path: Path) -> None:
    """Catches the only fault of a library passed over because its file cannot be read."""
    folder = made(tmp_path, {"a": ("time_s\n", FAULT), "b": (noisy(1, 400, healthy), RIDE)})
    done = lubetrip("score", folder)
    assert (done.returncode, done.stdout) == (2, "")
    assert "a.csv" in done.stderr


def test_a_window_of_no_length_and_files_that_were_swapped_are_judged_as_they_stand(tmp_path: Path) -> None:
    """Catches a window that no stop can hit taken for hit, and swapped files that come out met."""
    point = FAULT.replace("250.0", "100.0")
    result = score_library(made(tmp_path, {"a": (noisy(1, 400, faulty), point), "b": (noisy(2, 400, healthy), RIDE)}))
    assert (result.totals.missed, result.verdict) == (1, "not met")

    swapped = score_library(made(tmp_path, {"a": (noisy(2, 400, healthy), FAULT), "b": (noisy(1, 400, faulty), RIDE)}))
    assert (swapped.totals.missed, swapped.totals.nuisance_trips > 0, swapped.verdict) == (1, True, "not met")


@pytest.mark.parametrize(
    "key", ["confidence = 0", "confidence = 1", "confidence = nan", "max_mised = 0", "max_missed = 1.5"]
)
def test_an_acceptance_that_asks_for_nothing_is_refused(key: str, tmp_path: Path) -> None:
    """Catches a confidence of nothing or of certainty, and a rule that is spelt so that nobody judges it."""
    text = SETTINGS.replace("max_missed = 0\n", "") if key.startswith("max_missed =") else SETTINGS
    folder = made(tmp_path, {"a": (noisy(1, 200, healthy), RIDE)}, text + key + "\n")
    done = lubetrip("score", folder)
    assert (done.returncode, done.stdout) == (2, "")
    assert key.partition(" ")[0] in done.stderr


def test_the_digest_of_a_twin_is_that_of_its_file(tmp_path: Path) -> None:
    """Catches counting once that changes what a library is known by."""
    traces = {"fault": (noisy(1, 400, faulty), FAULT), "quiet": (noisy(2, 400, healthy), RIDE)}
    before = score_library(made(tmp_path, traces)).library_digest
    (tmp_path / "twin.csv").write_text(traces["quiet"][0])
    (tmp_path / "library.toml").write_text((tmp_path / "library.toml").read_text() + entry("twin", RIDE))
    assert score_library(tmp_path).library_digest != before
    assert json.loads(json.dumps(score_library(tmp_path).as_json(), allow_nan=False))["totals"]["ride_through"] == 1


@pytest.mark.parametrize("clock", [True, False], ids=["by their clocks", "by their rows"])
@pytest.mark.parametrize("fault_first", [True, False], ids=["fault's first", "harmless one first"])
def test_a_stop_that_a_harmless_recording_and_one_of_a_fault_tell_counts_once(
    fault_first: bool,
    clock: bool,
    tmp_path: Path,
) -> None:
    """Catches a stop for nothing that is a nuisance of the one and an early stop of the other, and one that is neither's."""
    fault_s, dip_s = (2500, 900) if fault_first else (2000, 1200)

    def net(second: int) -> float:
        return 5.0 if dip_s <= second < dip_s + 70 or fault_s <= second < fault_s + 300 else 120.0

    whole, later = (2900, (600, 1500)) if fault_first else (1500, (600, 2400))
    at = fault_s - (0 if fault_first else later[0])
    labels = [f"must_trip = {{ earliest_s = {at}, deadline_s = {at + 200} }}", RIDE]
    starts = [f"\nstart_utc = 2026-01-01T00:{minute}:00Z\n" if clock else "" for minute in ("00", "10")]
    quiet = {"quiet": (noisy(2, 400, healthy), RIDE)}
    traces = {
        "a": (noisy(4, whole, net), labels[not fault_first] + starts[0]),
        "b": (noisy(4, later[1], net, from_s=later[0]), labels[fault_first] + starts[1]),
    }
    result = score_library(made(tmp_path, quiet | traces))
    found = {verdict.id: verdict for verdict in result.verdicts}
    fault, harmless = (found[name] for name in ("ab" if fault_first else "ba"))

    assert fault.trips > harmless.trips == 1
    assert (fault.nuisance_trips, harmless.nuisance_trips) == (0, 1)
    assert [window.outcome for window in fault.windows] == ["hit"]
    assert harmless.run_hours == pytest.approx((1500 if not fault_first else 900) / 3600, abs=0.05)
    assert [pair.kind for pair in result.once.twice] == ["overlap"]


@pytest.mark.parametrize(("begins", "kinds"), [("00:24:59", ["overlap"]), ("00:25:00", []), ("00:25:30", [])])
def test_recordings_that_follow_each_other_tell_nothing_twice(begins: str, kinds: list[str], tmp_path: Path) -> None:
    """Catches a recording that begins where the one before ended, or later, taken for one that overlaps it."""
    traces = {"fault": (noisy(1, 400, faulty), FAULT)}
    traces["a"] = (noisy(7, 1500, healthy), RIDE + "\nstart_utc = 2026-01-01T00:00:00Z\n")
    traces["b"] = (noisy(8, 1500, healthy), RIDE + f"\nstart_utc = 2026-01-01T{begins}Z\n")
    result = score_library(made(tmp_path, traces))

    assert [pair.kind for pair in result.once.twice] == kinds
    assert result.totals.ride_through_run_hours == pytest.approx((3000 - len(kinds)) / 3600, abs=1e-6)


def cut(whole: str, *spans: tuple[int, int]) -> str:
    """Return a trace of some stretches of another one's rows, one behind the other, with times of its own from 0."""
    head, *rows = whole.splitlines()
    kept = [row.split(",", 1)[1] for begin, end in spans for row in rows[begin:end]]
    return "\n".join([head, *(f"{second},{row}" for second, row in enumerate(kept))]) + "\n"


@pytest.mark.parametrize("listed", [("late", "early"), ("early", "late")])
def test_of_two_recordings_without_a_clock_the_one_that_began_first_counts(
    listed: tuple[str, str], tmp_path: Path
) -> None:
    """Catches the first of the list taken for the first in time, whose own clock says nothing of the other's."""
    whole = noisy(5, 3000, lambda s: 5.0 if 1400 <= s < 1470 else 120.0)
    parts = {"early": cut(whole, (0, 1800)), "late": cut(whole, (1200, 3000))}
    traces = {"fault": (noisy(1, 400, faulty), FAULT), **{name: (parts[name], RIDE) for name in listed}}
    result = score_library(made(tmp_path, traces))
    found = {verdict.id: verdict for verdict in result.verdicts}

    assert [(pair["first"], pair["second"]) for pair in result.once.as_json()] == [("early", "late")]
    assert (found["early"].nuisance_trips, found["late"].nuisance_trips) == (1, 0)


def test_a_stretch_that_stands_there_twice_does_not_hide_the_longer_one(tmp_path: Path) -> None:
    """Catches the first distance at which rows are alike taken for that of the recordings."""
    whole = noisy(5, 3000, healthy)
    parts = {"a": cut(whole, (0, 2600)), "b": cut(whole, (1200, 2900), (100, 300))}
    traces = {"fault": (noisy(1, 400, faulty), FAULT), **{name: (part, RIDE) for name, part in parts.items()}}
    result = score_library(made(tmp_path, traces))

    (pair,) = result.once.twice
    assert (pair.kind, pair.seconds) == ("overlap", pytest.approx(1400, abs=60))


@pytest.mark.parametrize("rows", [1, 7, 64])
def test_what_a_trace_is_known_by_does_not_hang_on_the_blocks_it_is_read_in(
    rows: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a stretch across two blocks of a long trace that is forgotten, and a block that counts its own start."""
    (tmp_path / "t.csv").write_text(noisy(5, 400, healthy, from_s=3))
    trace = Entry("t", tmp_path / "t.csv", "f", "m", "o", "recorded: x", "ride_through", "")
    whole = look(trace)
    monkeypatch.setattr(once, "ROWS", rows)
    parts = look(trace)

    assert len(whole.hashes) > 20
    assert [parts.hashes.tolist(), parts.times.tolist()] == [whole.hashes.tolist(), whole.times.tolist()]
    assert (parts.start_s, parts.end_s, parts.step_s, parts.unit) == (0.0, 397.0, 1.0, "")


@pytest.mark.parametrize(("earliest", "one"), [(101.0, True), (101.001, False), (99.0, True), (98.999, False)])
def test_windows_that_begin_within_a_second_are_one(earliest: float, one: bool, tmp_path: Path) -> None:
    """Catches one fault told a moment later that is two or a quarrel, and two faults taken for one."""
    fault = noisy(1, 400, faulty)
    other = f"must_trip = {{ earliest_s = {earliest}, deadline_s = 260.0 }}"
    traces = {"a": (fault, FAULT), "b": (fault, other), "quiet": (noisy(2, 400, healthy), RIDE)}
    result = score_library(made(tmp_path, traces))

    assert result.totals.must_trip == (1 if one else 2)
    assert [verdict.doubt != "" for verdict in result.verdicts] == [not one, not one, False]


@pytest.mark.parametrize("every_s", [3, 5])
def test_stops_of_a_log_too_slow_for_the_settings_are_said_to_be_that(every_s: int, tmp_path: Path) -> None:
    """Catches a nuisance trip booked on settings that only want rows closer to each other than a log has them."""
    slow = trace_csv(600, lambda s: 120.0 + s % 7, every_s=every_s)
    result = score_library(made(tmp_path, {"slow": (slow, RIDE), "fault": (noisy(1, 400, faulty), FAULT)}))
    told = [line for line in warnings(result) if "come further apart than max_gap = 3.0 s," in line]

    assert bool(told) == (every_s > 3)
    assert all("1 of 2 traces are stopped because their rows" in line and "(slow)" in line for line in told)
    assert ("whatever they read" in " ".join(plain(score_view(result)).split())) == (every_s > 3)
