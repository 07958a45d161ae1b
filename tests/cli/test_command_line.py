"""The console command as a user meets it: what it prints, its JSON, its exit status, broken input."""

import contextlib
import json
import os
import pty
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from replay.ground.cache import project_cache
from replay.ground.compiling import COMPILING
from tests.conftest import SETTINGS, entry, trace_csv
from tests.support.command import lubetrip


def test_score_prints_families_and_the_verdict(library: Path) -> None:
    """Catches a table that drops a family or a count, and a verdict that contradicts the exit status.

    The fault is starved from 100 s at weight 2: full after 30 s, at 129 s; 121 s before the deadline.
    """
    done = lubetrip("score", library)

    assert done.returncode == 0, done.stderr
    assert re.search(r"^starved +1 +1 +0 +0 +121\.0 +121\.0 +- +- *$", done.stdout, re.MULTILINE)
    assert re.search(r"^steady +- +- +- +- +- +- +1\.00 +0 *$", done.stdout, re.MULTILINE)
    assert re.search(r"^all +1 +1 +0 +0 +121\.0 +121\.0 +1\.00 +0 *$", done.stdout, re.MULTILINE)
    assert "Acceptance: met" in done.stdout
    assert "Not a certified safety device" in done.stdout
    assert done.stderr == ""


def test_score_exits_1_and_says_which_rule_when_the_delay_is_too_long(library: Path, tmp_path: Path) -> None:
    """Catches a command that reports success because it ran."""
    slow = tmp_path / "slow.toml"
    slow.write_text(SETTINGS.replace('"60 s"\nfloor_weight', '"30 min"\nfloor_weight'), encoding="utf-8")
    done = lubetrip("score", library, "--settings", slow)

    assert done.returncode == 1
    assert "Acceptance: NOT MET" in done.stdout
    assert "max_missed: 1 missed trips, wanted at most 0" in done.stdout


def test_score_as_json_holds_the_whole_report_and_nothing_else(library: Path) -> None:
    """Catches a table mixed into the JSON, or a key of the agreed form that is missing.

    Starved on and on, the machine stops at 129 s, and after 60 s at rest and 10 s of
    grace again at 207 s and 285 s, each time 8 s into what is left of the integral.
    """
    done = lubetrip("score", library, "--json", "-")
    report = json.loads(done.stdout)

    assert done.returncode == 0
    assert report["schema"] == "lubetrip-score/1"
    assert re.fullmatch("[0-9a-f]{64}", report["settings"]["digest"])
    assert re.fullmatch("[0-9a-f]{64}", report["logic"]["digest"])
    assert report["traces"] == [
        {
            "id": "fault",
            "family": "starved",
            "outcome": "hit",
            "first_trip_s": 129.0,
            "cause": "oil",
            "deadline_s": 250.0,
            "margin_s": 121.0,
            "run_hours": round((129 + 18 + 18) / 3600, 6),
            "trips": 3,
            "locked_out": True,
            "late_ticks": 0,
            "doubts": [],
            "nuisance_trips": 0,
            "repeats": 0,
            "windows": [
                {
                    "earliest_s": 100.0,
                    "deadline_s": 250.0,
                    "likely_s": None,
                    "latest_s": None,
                    "outcome": "hit",
                    "stop_s": 129.0,
                    "margin_s": 121.0,
                    "likely_margin_s": None,
                    "late": None,
                }
            ],
            "upsets": None,
        },
        {
            "id": "quiet",
            "family": "steady",
            "outcome": "rode_through",
            "first_trip_s": None,
            "cause": None,
            "deadline_s": None,
            "margin_s": None,
            "run_hours": 1.0,
            "trips": 0,
            "locked_out": False,
            "late_ticks": 0,
            "doubts": [],
            "nuisance_trips": 0,
            "repeats": 0,
            "windows": [],
            "upsets": {"rode_through": 0, "stopped": 0, "stood": 0, "stops_outside": 0, "hours_outside": 1.0},
        },
    ]
    assert report["undecided"] == []
    totals = {
        "must_trip": 1,
        "hit": 1,
        "missed": 0,
        "early": 0,
        "ride_through_run_hours": 1.0,
        "nuisance_trips": 0,
        "undecided": 0,
    }
    assert {name: report["totals"][name] for name in totals} == totals
    assert (report["acceptance"]["met"], report["acceptance"]["failures"]) == (True, [])


def test_score_writes_json_beside_the_table(library: Path, tmp_path: Path) -> None:
    """Catches a file that differs from standard output, or leftovers of an unfinished write."""
    out = tmp_path / "out"
    out.mkdir()
    done = lubetrip("score", library, "--json", out / "score.json")

    assert "Acceptance" in done.stdout
    assert [path.name for path in out.iterdir()] == ["score.json"]
    assert json.loads((out / "score.json").read_text()) == json.loads(lubetrip("score", library, "--json", "-").stdout)


def test_undecided_traces_are_shown_apart(library: Path) -> None:
    """Catches an undecided trace among the judged ones."""
    text = (library / "library.toml").read_text().replace("ride_through = true", "undecided = true")
    (library / "library.toml").write_text(text)
    report = json.loads(lubetrip("score", library, "--json", "-").stdout)

    assert [item["id"] for item in report["undecided"]] == ["quiet"]
    assert report["totals"]["undecided"] == 1
    assert "Undecided, judged neither way" in lubetrip("score", library).stdout


def test_of_many_undecided_traces_those_that_stop_are_listed(library: Path) -> None:
    """Catches a year of logs that nobody labelled yet, line by line before the verdict."""
    entries = [entry("fault", "undecided = true"), *(entry(f"quiet-{n}", "undecided = true") for n in range(25))]
    for n in range(25):  # none like another, which would be counted already
        (library / f"quiet-{n}.csv").write_text(trace_csv(60, lambda _, n=n: 120.0 + n), encoding="utf-8")
    (library / "library.toml").write_text('settings = "settings.toml"\n' + "".join(entries), encoding="utf-8")

    told = " ".join(lubetrip("score", library).stdout.split())
    assert "Undecided, judged neither way, 25 more without a stop (-v)" in told
    assert ("quiet-7" in told, "fault undecided 129.0 oil" in told) == (False, True)
    assert "quiet-7" in lubetrip("score", library, "-v").stdout


def test_of_very_many_undecided_traces_that_stop_the_first_are_listed(library: Path) -> None:
    """Catches a year of logs with a frozen sensor, two hundred lines of it before the verdict; and a rule told twice."""
    entries = [entry("quiet", "must_trip = { earliest_s = 40, deadline_s = 50 }")]
    for n in range(23):
        (library / f"dry-{n}.csv").write_text(trace_csv(300, lambda _, n=n: 1.0 + n / 10), encoding="utf-8")
        entries.append(entry(f"dry-{n}", "undecided = true"))
    (library / "quiet.csv").write_text(trace_csv(400, lambda s: 1.0 if s < 300 else 120.0), encoding="utf-8")
    text = 'settings = "settings.toml"\n' + "".join(entries)
    (library / "library.toml").write_text(
        text.replace("earliest_s = 40, deadline_s = 50", "earliest_s = 350, deadline_s = 390")
    )

    told = " ".join(lubetrip("score", library).stdout.split())
    assert "Undecided, judged neither way, 3 more with a stop (-v)" in told
    assert ("dry-19 " in told, "dry-20 " in told) == (True, False)
    assert "dry-22 " in lubetrip("score", library, "-v").stdout
    assert "Acceptance: NOT MET" in told
    assert told.count("max_nuisance_per_1000h:") == 1


def test_an_early_stop_is_said_to_be_no_trial(library: Path) -> None:
    """Catches 0 of 0 beside 1 fault without a word on why the two differ."""
    path = library / "library.toml"
    assert "1 early: such a stop shows nothing" not in lubetrip("score", library).stdout
    path.write_text(path.read_text().replace("earliest_s = 100.0", "earliest_s = 140.0"))

    assert "1 early: an early stop does not show that its fault is found" in lubetrip("score", library).stdout


def test_explain_shows_the_decisions_in_time(library: Path) -> None:
    """Catches a timeline that lacks a change, its cause or the values it was decided on."""
    done = lubetrip("explain", library / "fault.csv")

    assert done.returncode == 0, done.stderr
    lines = [line.split() for line in done.stdout.splitlines()]
    assert ["0.0", "stopped", "lubricated", "-", "120.0", "198.7", "kPa", "gauge", "0"] in lines
    assert ["100.0", "lubricated", "starved", "-", "5.0", "198.7", "kPa", "gauge", "3"] in lines
    assert ["129.0", "starved", "tripped", "oil", "5.0", "198.8", "kPa", "gauge", "100"] in lines
    assert "must trip from 100 s to 250 s" in done.stdout
    assert "outcome hit" in done.stdout


def test_explain_as_json(library: Path) -> None:
    """Catches a JSON timeline in other units than it names."""
    report = json.loads(lubetrip("explain", library / "fault.csv", "--json", "-").stdout)

    assert report["schema"] == "lubetrip-explain/1"
    assert report["timeline"][2] == {
        "time_s": 129.0,
        "from": "starved",
        "to": "tripped",
        "cause": "oil",
        "doubts": [],
        "net_oil_pressure_pa": 5000,
        "suction_pressure_pa": 300100,
        "integral_percent": 100,
    }
    assert report["stops"][0] == {"time_s": 129.0, "cause": "oil", "doubts": []}
    assert report["verdict"]["outcome"] == "hit"


def test_explain_needs_no_library(library: Path, tmp_path: Path, settings_file: Path) -> None:
    """Catches a command that only works on traces somebody has labelled."""
    alone = tmp_path / "alone"
    alone.mkdir()
    (library / "library.toml").unlink()
    (alone / "t.csv").write_text((library / "fault.csv").read_text())

    assert lubetrip("explain", alone / "t.csv", "--settings", settings_file).returncode == 0
    refused = lubetrip("explain", alone / "t.csv")
    assert (refused.returncode, refused.stdout) == (2, "")
    assert "--settings" in refused.stderr


def break_line(name: str, old: str, new: str) -> object:
    """Return what replaces text in one file of the library."""

    def change(folder: Path) -> None:
        path = folder / name
        text = path.read_text()
        assert old in text
        path.write_text(text.replace(old, new, 1))

    return change


BROKEN = {
    "no such folder": (lambda folder: (folder / "library.toml").unlink(), ["library.toml", "no such library"]),
    "toml is broken": (break_line("library.toml", "[[trace]]", "[[trace"), ["library.toml", "line 2"]),
    "trace file is missing": (
        lambda folder: (folder / "quiet.csv").unlink(),
        ["library.toml", "quiet.csv", "no such file"],
    ),
    "file leads outside": (
        break_line("library.toml", '"fault.csv"', '"../../etc/hosts"'),
        ["leads out of the library"],
    ),
    "label is missing": (break_line("library.toml", "ride_through = true", ""), ['id "quiet"', "no label"]),
    "label is contradictory": (
        break_line("library.toml", "earliest_s = 100.0", "earliest_s = 300.0"),
        ["later than the deadline"],
    ),
    "id stands twice": (break_line("library.toml", '"quiet"', '"fault"'), ["earlier trace"]),
    "settings are missing": (lambda folder: (folder / "settings.toml").unlink(), ["settings", "no such file"]),
    "a setting is missing": (
        break_line("settings.toml", "recovery = 1.0\n", ""),
        ["[integral] recovery", "missing key", "accepted"],
    ),
    "a setting is out of range": (
        break_line("settings.toml", '"60 s"', '"45 min"'),
        ["trip_delay", '"45 min"', '"30 min"'],
    ),
    "settings contradict": (
        break_line("settings.toml", 'cut_in = "80 kPa"', 'cut_in = "50 kPa"'),
        ["cut_out", "less than cut in"],
    ),
    "a unit is missing": (break_line("settings.toml", '"60 kPa"', "60"), ["cut_out", "unit"]),
    "a cell is no number": (break_line("fault.csv", "\n7,", "\n7,x"), ["fault.csv", "line 9", "not a number"]),
    "a cell is missing": (break_line("fault.csv", "\n7,", "\n"), ["fault.csv", "line 9", "3 cells"]),
    "time goes back": (break_line("fault.csv", "\n7,", "\n5,"), ["fault.csv", "line 9", "does not increase"]),
    "the header is another": (
        break_line("fault.csv", "oil_pressure_kpa", "oil_psi"),
        ["fault.csv", "line 1", "oil_psi"],
    ),
    "the trace is empty": (lambda folder: (folder / "fault.csv").write_text(""), ["fault.csv", "line 1"]),
}


@pytest.mark.parametrize("name", BROKEN)
def test_broken_input_exits_2_with_one_line_that_helps(name: str, library: Path) -> None:
    """Catches a traceback, half a report before the error, or a score over what happened to be readable."""
    damage, said = BROKEN[name]
    damage(library)  # type: ignore[operator]
    done = lubetrip("score", library)

    assert done.returncode == 2
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert len(done.stderr.splitlines()) == 1
    for part in said:
        assert part in done.stderr


@pytest.mark.parametrize("target", ["nowhere/score.json", "."])
def test_an_output_that_cannot_be_written_is_refused_before_the_work(target: str, library: Path) -> None:
    """Catches a report that is lost after a long run."""
    done = lubetrip("score", library, "--json", library / target)

    assert (done.returncode, done.stdout) == (2, "")
    assert "cannot be written" in done.stderr


@pytest.mark.parametrize("arguments", [["score"], ["score", "x", "--nonsense"], ["nonsense"], ["explain"], ["floor"]])
def test_wrong_usage_exits_2(arguments: list[str]) -> None:
    """Catches a misspelt option that is ignored."""
    assert lubetrip(*arguments).returncode == 2


@pytest.mark.parametrize("command", ["score", "explain", "floor", "compare", "record"])
def test_every_command_has_help(command: str) -> None:
    """Catches a command without a word on what it does."""
    done = lubetrip(command, "--help")

    assert done.returncode == 0
    assert len(done.stdout.split("Options:")[0].split()) > 8


def test_help_imports_nothing_heavy() -> None:
    """Catches a start-up that loads numpy, pyarrow or pint to print a page of help."""
    code = (
        "import sys, replay.cli; print([m for m in ('numpy', 'scipy', 'pyarrow', 'pint', 'rich') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_text_of_the_user_is_shown_as_it_stands(library: Path) -> None:
    """Catches square brackets or colons of a family taken for markup."""
    text = (library / "library.toml").read_text().replace('"steady"', '"[red]st:smile:"')
    (library / "library.toml").write_text(text)
    assert "[red]st:smile:" in lubetrip("score", library).stdout


def test_a_logger_slower_than_max_gap_is_named(library: Path) -> None:
    """Catches a library whose stops all come of a slow logger, without a word on it."""
    assert "max_gap" not in lubetrip("score", library).stdout

    settings = library / "settings.toml"
    settings.write_text(settings.read_text().replace('max_gap = "3 s"', 'max_gap = "0.5 s"'))
    assert re.search(r"[1-9]\d* rows of 2 traces come more than max_gap after", lubetrip("score", library).stdout)


@pytest.mark.parametrize("columns", ["40", "72", "80", "160"])
def test_the_table_fits_the_terminal(columns: str, library: Path) -> None:
    """Catches numbers cut or left out on a narrow terminal; under 72 columns lines wrap instead."""
    family = "a family with a name as long as families may come to have in practice"
    text = (library / "library.toml").read_text() + entry("long", "ride_through = true", family)
    (library / "library.toml").write_text(text)
    (library / "long.csv").write_text(trace_csv(60, lambda s: 120.0))
    done = lubetrip("score", library, COLUMNS=columns)

    assert max(len(line) for line in done.stdout.splitlines()) <= max(72, int(columns))
    assert re.search(r"starved +1 +1 +0 +0 +(95 % +)?121\.0 +121\.0 +- +-", done.stdout)


def on_a_terminal(*arguments: str) -> bytes:
    """Run `lubetrip`, which finds all work long, with a terminal as its standard error; return what it showed there."""
    code = (
        "import replay.cli.working; replay.cli.working.Progress.PATIENCE_S = 0.0; import replay.cli; replay.cli.main()"
    )
    leader, follower = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-c", code, *arguments], stdout=subprocess.DEVNULL, stderr=follower
    ) as process:
        os.close(follower)
        shown = b""
        with contextlib.suppress(OSError):  # the way a closed terminal ends
            while part := os.read(leader, 65536):
                shown += part
    os.close(leader)
    assert process.returncode == 0
    return shown


@pytest.mark.slow("starts workers or commands as processes of their own")
def test_a_progress_bar_is_shown_on_a_terminal_when_it_takes_long(library: Path) -> None:
    """Catches a silent wait at a terminal, and control characters where nobody looks."""
    assert b"replaying" in on_a_terminal("score", str(library))
    assert lubetrip("score", library).stderr == ""


@pytest.mark.slow("starts workers or commands as processes of their own")
def test_a_short_command_loads_nothing_that_it_does_not_need(library: Path) -> None:
    """Catches a start that takes twice as long: pyarrow loads all of pandas for some calls, pint all units there are."""
    code = "import sys, replay.cli; replay.cli.main(standalone_mode=False); print(sorted({'pandas', 'pint', 'numba'} & {*sys.modules}))"
    call = [sys.executable, "-c", code, "score", str(library), "--json", str(library / "score.json")]
    done = subprocess.run(call, capture_output=True, text=True, check=True)

    assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.slow("starts workers or commands as processes of their own")
@pytest.mark.parametrize(
    "arguments",
    [
        ("floor", "--outer-radius", "55 mm", "--speed", "1450 rpm", "--density", "900 kg/m^3"),
        ("compare", "score.json", "score.json"),
    ],
)
def test_what_takes_no_time_to_compute_takes_none_to_start(arguments: tuple[str, ...], library: Path) -> None:
    """Catches a second of waiting for all the units there are, or for a library of statistics, to print a few figures."""
    lubetrip("score", library, "--json", library / "score.json")
    code = "import sys, replay.cli; replay.cli.main(standalone_mode=False); print(sorted({'pint', 'scipy', 'numba'} & {*sys.modules}))"
    call = [sys.executable, "-c", code, *arguments]
    done = subprocess.run(call, capture_output=True, text=True, check=True, cwd=library)

    assert done.stdout.splitlines()[-1] == "[]"


SMALL = 60_000  # bytes of machine code: that of the plant is larger


@pytest.mark.slow("compiles anew")
def test_the_first_compile_is_told_and_the_next_command_is_silent(
    tmp_path: Path, tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches half a minute of silence on a new machine, and the same words each time after; here only small code is missing."""
    one = ("--count", "1", "--seed", "1", "--families", "power-dip")
    assert lubetrip("synth", tmp_path / "before", *one).returncode == 0  # compiles what this machine lacks
    cache = tmp_path_factory.mktemp("cache")
    shutil.copytree(project_cache(), cache / "lubetrip", ignore=shutil.ignore_patterns(".*"))
    small = [path for path in cache.rglob("*.nbc") if path.stat().st_size < SMALL]
    assert small
    for path in small:
        path.unlink()
    monkeypatch.setenv("XDG_CACHE_HOME", str(cache))
    assert COMPILING.encode() in on_a_terminal("synth", str(tmp_path / "first"), *one)
    assert COMPILING.encode() not in on_a_terminal("synth", str(tmp_path / "next"), *one)
