"""`lubetrip triage`: which logs are whose, which machine comes first and why, how often, and the forms of the report."""

import csv
import dataclasses
import io
import json
import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner
from rich.console import Console

from replay.cli import main
from replay.display.triage import moment, triage_view
from replay.engine import logic_digest
from replay.ground.refusal import Refusal
from replay.settings import Settings, read_settings
from replay.triage.clock import Clock
from replay.triage.events import AT_START, DOUBT, STARVED, VACUUM
from replay.triage.exposure import Rate, rates
from replay.triage.findings import Findings
from replay.triage.logs import Part, find_logs
from replay.triage.ranking import ADVICE, RULE, rank
from replay.triage.report import Triage, event_json, triage
from replay.triage.run import examine
from tests.conftest import entry, trace_csv
from tests.support.command import lubetrip
from tests.support.triage_logs import found, made, outcome, pieces, write

STARVED_LOG = made(600, lambda s: 10 if 100 < s <= 170 else 120, lambda s: 300 if s <= 100 else 50 if s <= 160 else 110)


@pytest.fixture
def site(settings_file: Path) -> Settings:
    """Return the settings that the tests share."""
    return read_settings(settings_file)


def test_machines_are_named_by_library_file_or_folder(tmp_path: Path) -> None:
    """Catches logs of two machines that are put together, and one machine torn into its days in silence."""
    quiet = made(10, lambda s: 120)
    for name in ("K1/jan.csv", "K1/feb.parquet", "K2/jan.csv", "K3.csv"):
        write(tmp_path / "logs" / name, quiet)
    (tmp_path / "logs" / "readme.txt").write_text("no log")
    (tmp_path / "settings.toml").write_text("")
    for name in ("a.csv", "b.csv", "other.csv"):
        write(tmp_path / "lib" / name, quiet)
    text = "".join(entry(name, "undecided = true").replace('"m"', '"granite"') for name in "ab")
    (tmp_path / "lib" / "library.toml").write_text(text)

    def names(*paths: str, by_folder: bool = False) -> dict[str, list[str]]:
        logs = find_logs([tmp_path / path for path in paths], by_folder=by_folder)
        return {
            name.replace(str(tmp_path) + "/", ""): [part.path.name for part in parts]
            for name, parts in logs.machines.items()
        }

    assert names("logs") == {
        "logs/K1/jan.csv": ["jan.csv"],
        "logs/K2/jan.csv": ["jan.csv"],
        "feb": ["feb.parquet"],
        "K3": ["K3.csv"],
    }
    assert names("logs", by_folder=True) == {
        "K1": ["feb.parquet", "jan.csv"],
        "K2": ["jan.csv"],
        "logs": ["K3.csv"],
    }
    assert names("lib") == {"granite": ["a.csv", "b.csv"]}
    assert names("lib/b.csv", "lib/other.csv", "lib/b.csv") == {"granite": ["b.csv"], "other": ["other.csv"]}


@pytest.mark.parametrize("cut", [50, 130, 165, 171, 400])
@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_a_file_that_goes_on_where_another_ended_is_the_same_log(
    cut: int, kind: str, site: Settings, tmp_path: Path
) -> None:
    """Catches a spell over midnight that is told as two, or days that are put together in the order of their names."""
    begin, end = pieces(STARVED_LOG, [cut])
    first = write(tmp_path / f"z.{kind}", begin, 1_790_000_000.0)
    shifted = dataclasses.replace(end, time_ms=end.time_ms - end.time_ms[0])
    second = write(tmp_path / f"a.{kind}", shifted, 1_790_000_000.0 + cut)
    findings = examine(site, ("m", [Part(second), Part(first)]), fast=False)
    whole = found(STARVED_LOG, site)

    skip = {"files": None, "gravest": None, "pieces": None, "days": None}
    assert outcome(findings) | skip == outcome(whole) | skip
    assert findings.days.total() == whole.days.total()
    for event, other in zip(findings.gravest.all(), whole.gravest.all(), strict=True):
        where = {"file": "", "log_start_s": 0.0, "clock": Clock()}
        assert dataclasses.replace(event, **where) == dataclasses.replace(other, **where)
        assert event.file == str(first if event.start_ms < 1000 * cut else second)
        assert event.seconds(event.start_ms) == 1_790_000_000.0 + event.start_ms / 1000


@pytest.mark.parametrize("shift", [0.0, 599.0, 600.0, 603.001, 100_000.0])
def test_files_with_time_between_them_are_logs_of_their_own(shift: float, site: Settings, tmp_path: Path) -> None:
    """Catches a pause between two recordings that is told as a sensor doubt, and two clocks taken for one."""
    files = [write(tmp_path / "a.csv", STARVED_LOG), write(tmp_path / "b.csv", STARVED_LOG, shift)]
    findings = examine(site, ("m", list(map(Part, files))), fast=False)

    assert (findings.logs, findings.rows, findings.run_ms) == (2, 1202, 1_200_000)
    assert dict(findings.events) == {STARVED: 2, VACUUM: 2}
    assert dict(findings.stops) == {"oil": 2}


def test_a_file_within_max_gap_of_another_goes_on_with_it(site: Settings, tmp_path: Path) -> None:
    """Catches a limit that the logic itself does not have: a tick of just max_gap is not late."""
    files = [write(tmp_path / "a.csv", STARVED_LOG), write(tmp_path / "b.csv", STARVED_LOG, 603.0)]
    findings = examine(site, ("m", list(map(Part, files))), fast=False)

    assert (findings.logs, findings.run_ms, findings.doubted_ms) == (1, 1_203_000, 0)


def test_the_report_names_the_engine_that_ran(site: Settings, tmp_path: Path) -> None:
    """Catches a report that says a digest of the logic and not who ran it, or always the same."""
    findings = examine(site, ("m", [Part(write(tmp_path / "a.csv", STARVED_LOG))]), fast=False)

    assert triage([findings], site).as_json()["logic"] == {"engine": "portable", "digest": logic_digest()}
    assert triage([some("m", logs=1, engine="compiled")], site).as_json()["logic"]["engine"] == "compiled"


def some(machine: str, **values: object) -> Findings:
    """Return findings with these values."""
    made_up = Findings(machine, (), doubts=())
    for name, value in values.items():
        setattr(made_up, name, value)
    return made_up


def test_the_machine_to_open_first_stands_on_top(site: Settings) -> None:
    """Catches a machine with many harmless findings above one that was loaded without oil, and a rule not kept."""
    machines = [
        some("quiet", run_ms=10**7),
        some("blind", run_ms=10**7, doubted_ms=10**6),
        some("starved long", run_ms=10**7, starved_ms=900_000),
        some("starved", run_ms=10**7, starved_ms=1000),
        some("stood"),
        some("ran on", run_ms=10**7, past_stop=1, ran_on_ms=10_000, starved_ms=60_000),
        some("ran on longer", run_ms=10**7, past_stop=1, ran_on_ms=20_000, starved_ms=60_000),
        some("loaded once", run_ms=10**7, reloads=1, past_stop=1, ran_on_ms=5_000),
        some("loaded twice", run_ms=10**7, reloads=2, past_stop=2, ran_on_ms=3_000),
        some("loaded twice, ran on", run_ms=10**7, reloads=2, past_stop=2, ran_on_ms=4_000),
    ]
    for machine in machines:
        machine.events[STARVED] = int(machine.starved_ms > 0)
        machine.events[DOUBT] = int(machine.doubted_ms > 0)
    report = triage(machines, site)

    assert [(found.machine, ADVICE[rank(found)]) for found in report.machines] == [
        ("loaded twice, ran on", "open first"),
        ("loaded twice", "open first"),
        ("loaded once", "open first"),
        ("ran on longer", "open next"),
        ("ran on", "open next"),
        ("starved long", "watch"),
        ("starved", "watch"),
        ("blind", "check the sensors"),
        ("quiet", "not starved"),
        ("stood", "did not run"),
    ]


# Garwood (1936): U and L for a count of x in one unit of exposure, as scipy's chi2.ppf and statsmodels'
# confint_poisson(method="exact-c") give them; 90, 95 and 99 %.
GARWOOD = [
    (0, 0.90, 0.0, 2.9957),
    (0, 0.95, 0.0, 3.6889),
    (1, 0.95, 0.0253, 5.5716),
    (5, 0.90, 1.9701, 10.5130),
    (5, 0.95, 1.6235, 11.6683),
    (10, 0.99, 3.7169, 21.3978),
    (100, 0.95, 81.3640, 121.6268),
]


@pytest.mark.parametrize(("events", "confidence", "low", "high"), GARWOOD)
def test_rates_have_exact_limits(events: int, confidence: float, low: float, high: float) -> None:
    """Catches limits of large numbers, one-sided ones, and a rate per hour instead of per 1000."""
    rate = Rate("spells", events, 250.0, confidence)

    assert rate.seen == 4 * events
    assert rate.interval == pytest.approx((4 * low, 4 * high), abs=4e-4)


def test_a_published_rate_with_its_limits() -> None:
    """R's poisson.test(5, 94.32) as a public course text prints it: 0.01721254 to 0.12371005. Catches a wrong tail."""
    assert Rate("failures", 5, 94_320.0, 0.95).interval == pytest.approx((0.01721254, 0.12371005), abs=1e-8)


def test_without_hours_there_is_no_rate(site: Settings) -> None:
    """Catches a division by nothing, and an infinity in JSON."""
    report = triage([found(made(100, lambda s: 0, running=lambda s: 0), site)], site)
    exposure = json.loads(json.dumps(report.as_json(), allow_nan=False))["exposure"][0]
    assert (exposure["events"], exposure["per_1000h"], exposure["low"], exposure["high"]) == (0, None, None, None)


def test_rates_count_over_credible_hours_of_all_machines(site: Settings) -> None:
    """Catches hours in which nobody could have seen a spell, and events that are counted in the wrong line."""
    starts = made(200, lambda s: 5 if s <= 100 else 120, running=lambda s: int(30 < s <= 70 or s > 100))
    lost = made(3600, lambda s: 120)
    lost.oil_pa[1800:] = -1_000_000_000
    findings = [found(log, site) for log in (STARVED_LOG, starts, lost)]
    told = {rate.what: (rate.events, round(rate.hours * 3600)) for rate in rates(findings, 0.95)}

    hours = 600 + 140 + 1799
    assert told == {
        "starved spells": (2, hours),
        "of these past a stop": (2, hours),
        "of these loaded too early": (1, hours),
        "of these at a start": (1, hours),
        "vacuum running": (1, hours),
        "sensor doubts": (1, hours),
    }
    assert findings[1].events[AT_START] == 1


def test_csv_holds_an_event_a_line_and_no_formula(site: Settings) -> None:
    """Catches a machine's name that a spreadsheet runs, and a number turned into text."""
    findings = found(made(300, lambda s: -20 if 100 < s <= 170 else 120), site)
    report = triage([dataclasses.replace(findings, machine="=HYPERLINK(1)"), some("-1"), some("quiet")], site)
    (line,) = csv.DictReader(io.StringIO(report.as_csv()))

    assert line["machine"] == "'=HYPERLINK(1)"
    assert line["net_oil_pressure_least_kpa"] == "-20.0"
    assert (line["kind"], line["start_s"], line["end_s"], line["ends_with_log"]) == (STARVED, "100.0", "170.0", "0")
    assert line["reload_at_s"] == ""
    assert list(line) == ["machine", *event_json(findings.gravest.all()[0])]


def test_json_tells_it_all(site: Settings) -> None:
    """Catches a figure of the terminal that no other program can get at."""
    (machine,) = triage([found(STARVED_LOG, site)], site).as_json()["machines"]

    assert (machine["machine"], machine["place"], machine["advice"]) == ("m", 1, "open first")
    assert machine["why"] == [
        "loaded again once before the oil film was back",
        "ran on 50.0 s past a stop by these settings, in 1 spell",
        "70.0 s short of oil in 1 spell",
        "no standstill of over a minute with readings in 10.0 min: zero of the oil pressure not checked",
    ]
    assert (machine["starved_s"], machine["ran_on_s"], machine["reload_s"], machine["vacuum_s"]) == (
        70.0,
        50.0,
        40.0,
        60.0,
    )
    obeyed = {"stops": {"oil": 1}, "lockouts": 0, "reset_after_h": 1.0, "run_hours": 0.15}
    assert machine["under_these_settings"] == obeyed
    assert machine["events"][0] == {
        "kind": STARVED,
        "start": "",
        "end": "",
        "file": "made.csv",
        "source": "",
        "start_s": 100.0,
        "end_s": 170.0,
        "length_s": 70.0,
        "short_of_oil_s": 70.0,
        "net_oil_pressure_least_kpa": 10.0,
        "integral_percent": 100,
        "suction_least_kpa": 50.0,
        "vacuum_s": 60.0,
        "full_at_s": 120.0,
        "ran_on_s": 50.0,
        "reload_at_s": 161.0,
        "reload_s": 40.0,
        "reload_suction_kpa": 110.001,
        "doubt_s": 0.0,
        "doubts": "",
        "ends_with_log": False,
    }


def test_the_command_says_first_which_machine_to_open_and_why(tmp_path: Path, settings_file: Path) -> None:
    """Catches a report that has to be searched for its answer, and files that differ from what is shown."""
    write(tmp_path / "logs" / "aaa.csv", made(900, lambda s: 120))
    write(tmp_path / "logs" / "zzz.parquet", STARVED_LOG)
    out, table = tmp_path / "t.json", tmp_path / "t.csv"
    done = lubetrip("triage", tmp_path / "logs", "--settings", settings_file, "--json", out, "--csv", table)

    assert done.returncode == 0, done.stderr
    lines = [line.rstrip() for line in done.stdout.splitlines()]
    assert max(map(len, lines)) <= 80
    first = next(line for line in lines if line.startswith(("aaa", "zzz")))
    assert re.match(r"zzz +OPEN FIRST: loaded again once before", first)
    text = " ".join(" ".join(lines).split())
    for part in (
        "zzz.parquet, 100.0 s: starved spell of 70.0 s",
        "net oil pressure down to 10.0 kPa (1.5 psi), integral 100 %",
        "suction down to -51.3 kPa gauge (15.2 inHg vac), 60.0 s in vacuum",
        "LOADED AGAIN at 161.0 s for 40.0 s before the oil film was back, suction up to 8.7 kPa gauge (1.3 psig)",
        "these settings would have stopped it 20.0 s into the spell; it ran on for 50.0 s",
        "under these settings: 1 on oil",
        "Not a certified safety device",
        RULE,
    ):
        assert part in text
    assert [machine["machine"] for machine in json.loads(out.read_text())["machines"]] == ["zzz", "aaa"]
    assert len(table.read_text().splitlines()) == 3


def test_a_library_brings_its_settings_and_its_machines(library: Path) -> None:
    """Catches labels that triage would follow, and settings asked for that are there."""
    done = CliRunner().invoke(main, ["triage", str(library), "--json", "-"])
    (machine,) = json.loads(done.stdout)["machines"]
    assert (machine["machine"], machine["logs"], machine["events"][0]["start_s"]) == ("m", 2, 99.0)


REFUSED = [
    (["nowhere"], "nowhere: no such trace"),
    (["empty"], "empty: no logs in this folder"),
    (["broken.csv"], "broken.csv: line 3, time_s = 0: time does not increase"),
    (["log.csv", "--settings", ""], "triage: no settings; accepted: --settings FILE"),
    (["log.csv", "--csv", "nowhere/t.csv"], "cannot be written"),
]


@pytest.mark.parametrize(("arguments", "said"), REFUSED, ids=[row[1] for row in REFUSED])
def test_what_cannot_be_read_is_refused(arguments: list[str], said: str, tmp_path: Path, settings_file: Path) -> None:
    """Catches a folder without logs that counts as a healthy machine, and a log that is read halfway."""
    (tmp_path / "empty").mkdir()
    (tmp_path / "log.csv").write_text(trace_csv(100, lambda s: 120.0))
    (tmp_path / "broken.csv").write_text("time_s,oil_pressure_kpa,suction_pressure_kpa,running\n0,1,1,1\n0,1,1,1\n")
    given = [] if "--settings" in arguments else ["--settings", settings_file]
    names = [tmp_path / name if not name.startswith("-") and name else name for name in arguments if name]
    done = CliRunner().invoke(main, ["triage", *map(str, [name for name in names if name != "--settings"] + given)])

    assert (done.exit_code, done.stdout) == (2, "")
    assert said in done.stderr
    assert not list(tmp_path.glob("*.json"))


def test_two_libraries_with_settings_of_their_own_are_not_mixed(tmp_path: Path, library: Path) -> None:
    """Catches machines of one site judged by the settings of another in silence."""
    other = tmp_path / "other"
    write(other / "a.csv", made(10, lambda s: 120))
    (other / "s.toml").write_text((library / "settings.toml").read_text())
    (other / "library.toml").write_text('settings = "s.toml"\n' + entry("a", "undecided = true"))
    done = CliRunner().invoke(main, ["triage", str(library), str(other)])

    assert done.exit_code == 2
    assert "2 libraries name settings of their own" in done.stderr


def test_a_path_without_logs_is_refused_in_python_too(tmp_path: Path) -> None:
    """Catches an empty report that reads as good news."""
    with pytest.raises(Refusal, match="no logs in this folder"):
        find_logs([tmp_path], by_folder=True)


def test_a_log_slower_than_max_gap_is_said_to_be_unjudged(site: Settings) -> None:
    """Catches a slow logger's week that reads as bad sensors, its starved spell never looked for, with no word why."""
    slow = dataclasses.replace(STARVED_LOG, time_ms=STARVED_LOG.time_ms * 60)
    late, seen = (triage([found(trace, site)], site) for trace in (slow, STARVED_LOG))

    def shown(report: Triage) -> str:
        console = Console(width=200, file=io.StringIO())
        console.print(triage_view(report, 3))
        return str(console.file.getvalue())  # type: ignore[attr-defined]

    assert shown(late).startswith("1 machine NOT JUDGED: rows are further apart than max_gap")
    assert "CANNOT TELL: rows further apart than max_gap: NOT JUDGED" in shown(late)
    assert "NOT JUDGED" not in shown(seen)


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(59.0, "59.0 s"), (47796.0, "47796.0 s (13:16:36)"), (90061.5, "90061.5 s (day 1, 01:01:01)")],
)
def test_a_time_in_a_log_can_be_found_on_a_chart(seconds: float, text: str) -> None:
    """Catches a spell in the fourteenth hour that is told in seconds alone, and hours that run past a day."""
    assert moment(seconds) == text


BROKEN = {
    "header": "time,oil\n1,2\n",
    "first row": "time_s,oil_pressure_kpa,suction_pressure_kpa,running\n0,x,300,1\n",
    "last row": "",  # made below: sound but for its end
    "parquet": "PAR1 and no more",
}


@pytest.fixture
def fleet(tmp_path: Path, settings_file: Path) -> Path:
    """Return a folder with logs of a starved machine and a sound one, and broken ones of others."""
    folder = tmp_path / "logs"
    write(folder / "starved" / "a.csv", STARVED_LOG)
    write(folder / "sound" / "a.csv", made(600, lambda s: 120 * (s < 400), running=lambda s: int(s < 400)))
    text = (folder / "sound" / "a.csv").read_text()
    for name, content in BROKEN.items():
        file = folder / name / ("b.parquet" if name == "parquet" else "b.csv")
        file.parent.mkdir()
        file.write_text(content or text + "601,x,300,1\n")
    shutil.copy(folder / "sound" / "a.csv", folder / "last row" / "a.csv")
    assert settings_file.parent == tmp_path
    return folder


@pytest.mark.parametrize(
    "jobs", [1, pytest.param(2, marks=pytest.mark.slow("starts workers as processes of their own"))]
)
def test_a_broken_log_is_named_and_the_others_are_ranked(jobs: int, fleet: Path, settings_file: Path) -> None:
    """Catches one bad file that ends a triage of thousands, one left out without a word, its machine called healthy."""
    out = fleet.parent / "out.json"
    done = lubetrip("triage", fleet, "--by-folder", "--settings", settings_file, "--json", out, "--jobs", str(jobs))
    told = json.loads(out.read_text())
    machines = {machine["machine"]: machine for machine in told["machines"]}

    assert done.returncode == 2
    assert sorted(line.split(": ")[1] for line in done.stderr.splitlines()) == sorted(
        str(path) for path in fleet.rglob("b.*")
    )
    assert [f"lubetrip: {line}" for line in told["refused"]] == done.stderr.splitlines()
    assert told["machines"][0]["machine"] == "starved"
    assert machines.keys() == {"starved", "sound", *BROKEN}
    for name in BROKEN:
        assert machines[name]["advice"] == "cannot tell", name
        assert machines[name]["why"][0] == "1 of its logs cannot be read and are left out"
    assert machines["last row"]["rows"] == machines["sound"]["rows"] == 601  # of its other log, and nothing twice


def test_where_no_log_can_be_read_there_is_no_report(fleet: Path, settings_file: Path) -> None:
    """Catches a report on nothing where the only log is broken, and a page beside it."""
    page = fleet.parent / "out.html"
    done = lubetrip("triage", fleet / "header", "--settings", settings_file, "--html", page)

    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 1
    assert not page.exists()


def test_a_page_of_a_fleet_shows_machines_without_a_log_that_can_be_read(fleet: Path, settings_file: Path) -> None:
    """Catches a page that fails on a machine of which nothing is known."""
    page = fleet.parent / "out.html"
    done = lubetrip("triage", fleet, "--by-folder", "--settings", settings_file, "--html", page, "--before", fleet)

    assert done.returncode == 2
    assert "cannot be read" in page.read_text()
