"""Every form in which a score is told, of drawn libraries, against the second account: terminal, JUnit, pytest, page, bench."""

import functools
import json
import tempfile
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from hypothesis import HealthCheck, given, settings

from replay.ground.wording import percent, rate
from replay.library import read_library
from replay.pytest_plugin import UnmetError, check_acceptance, check_trace, scored
from replay.score.once import counted_once
from replay.settings import read_settings
from tests.conftest import SETTINGS, entry, trace_csv
from tests.judge.account import NEITHER, WRONG, account
from tests.judge.libraries import libraries, written
from tests.support.bench_page import embedded, page_text, parts
from tests.support.command import lubetrip

pytestmark = pytest.mark.slow("draws whole reports and runs a script engine")

VERDICTS = {"met": "met", "not met": "NOT MET", "not enough evidence": "NOT ENOUGH EVIDENCE"}
STATUS = {"met": 0, "not met": 1, "not enough evidence": 3}
WORDS = {"rode_through": "rode through"}


class Tables(HTMLParser):
    """The tables of a page: caption -> rows of cells; and the terms that stand beside the verdict."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tables: dict[str, list[list[str]]] = {}
        self.terms: list[str] = []
        self.rows: list[list[str]] = []
        self.inside = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: object) -> None:
        """Begin a table, a row or a cell."""
        del attrs
        if tag == "caption":
            self.rows = []
        elif tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th") and self.rows:
            self.rows[-1].append("")
        elif tag in ("dt", "dd"):
            self.terms.append("")
        self.inside = tag if tag in ("caption", "td", "th", "dt", "dd") else self.inside

    def handle_endtag(self, tag: str) -> None:
        """End what collects text."""
        self.inside = "" if tag == self.inside else self.inside

    def handle_data(self, data: str) -> None:
        """Collect the text of a caption, a cell or a term."""
        if self.inside == "caption":
            self.tables[data] = self.rows
        elif self.inside in ("td", "th") and self.rows:
            self.rows[-1][-1] += data
        elif self.inside in ("dt", "dd"):
            self.terms[-1] += data


def tenths(value: float | None) -> str:
    """Return a number as tables have it."""
    return "-" if value is None else f"{value:.1f}"


def family_row(name: str, total: dict[str, Any], claims: list[dict[str, Any]]) -> list[str]:
    """Return the row of a family in the tables of evidence, from the account."""
    most = [show(claim["upper"]) for show, claim in zip((percent, rate), claims, strict=False)]
    faults, rides = ["-"] * 5, ["-"] * 4
    if total["must_trip"]:
        faults = [str(total[key]) for key in ("must_trip", "hit", "missed", "early")] + [most[0]]
    if total["ride_through"]:
        marked = total["upsets_stopped"] is not None
        upsets = f"{total['upsets_stopped']} of {total['upsets']}" if marked else "-"
        rides = [f"{total['ride_through_run_hours']:.2f}", str(total["nuisance_trips"]), most[1], upsets]
    elif total["nuisance_trips"]:
        rides[1] = str(total["nuisance_trips"])
    return [name, *faults, tenths(total["median_margin_s"]), tenths(total["worst_margin_s"]), *rides]


def claim_row(claim: dict[str, Any]) -> list[str]:
    """Return value, limit, what is wanted and the verdict of a claim, as a table has them."""
    show = rate if claim["rule"] == "max_nuisance_per_1000h" else percent
    return [show(claim["point"]), show(claim["upper"]), show(claim["wanted"]), claim["verdict"]]


def held_in_tables(page: Tables, own: dict[str, Any]) -> None:
    """Hold the tables of the page equal to the account."""
    told = [
        [cell.replace("\N{SOFT HYPHEN}", "") for cell in row]
        for row in page.tables["Evidence by family: margins of hits, run hours of ride-through traces"][1:]
    ]
    wanted = [family_row(name, part, own["family_claims"][name]) for name, part in own["families"].items()]
    assert told == [*wanted, family_row("all", own["total"], own["claims"])]
    claims = [[*row[2:5], row[6]] for row in page.tables["What these traces show"][1:]]
    assert claims[:4] == [claim_row(claim) for claim in own["claims"]]
    beside = {
        row[0].split(",")[0] if row[0].startswith("plain") else row[0]: row[1:6]
        for row in page.tables["Plain laws on the same traces"][1:]
    }
    for name, part in {"these settings": own["total"], **own["plain"]}.items():
        counts = [str(part[key]) for key in ("hit", "missed", "early")]
        assert beside[name] == [*counts, tenths(part["worst_margin_s"]), str(part["nuisance_trips"])]
    listed = {row[0]: row for row in page.tables["All traces, worst first"][1:] if row[0]}
    for row in own["rows"]:
        assert listed[row["id"]][2] in {WORDS.get(w["outcome"], w["outcome"]) for w in row["windows"]} | {
            WORDS.get(row["outcome"], row["outcome"])
        }
    terms = dict(zip(page.terms[::2], page.terms[1::2], strict=True))
    total = own["total"]
    assert terms["missed trips"] == f"{total['missed']} of {total['must_trip']} faults"
    assert terms["early stops"] == str(total["early"])
    assert terms["nuisance trips"].startswith(
        f"{total['nuisance_trips']} in {total['ride_through_run_hours']:.2f} run hours"
    )
    worst = total["worst_margin_s"]
    assert terms["worst margin of hits"] == ("-" if worst is None else f"{worst:.1f} s")
    late = total["missed"] - total["late"]["no stop"]
    below = f"{late} of the missed; worst margin {total['worst_late_margin_s'] or 0.0:.1f} s"
    assert terms["late stops"] == (below if late else "none")
    assert {int(part.split()[0]) for part in terms["labels rest"].split(", ") if part[0].isdigit()} == {
        count for count in own["rests"].values() if count
    }
    assert terms["unit of evidence"].startswith("a trace: " if own["by_machine"]["unit"] == "trace" else "a trace in")


def held_on_the_terminal(text: str, own: dict[str, Any]) -> None:
    """Hold what is printed, in columns wide enough for all, equal to the account."""
    lines = [" ".join(line.split()) for line in text.splitlines()]
    rows = [*((name, own["families"][name], own["family_claims"][name]) for name in own["families"])]
    for name, part, claims in (*rows, ("all", own["total"], own["claims"])):
        assert " ".join(family_row(name, part, claims)) in lines
    for claim in own["claims"]:
        assert any(line.endswith(claim["verdict"]) and " ".join(claim_row(claim)[:3]) in line for line in lines)
    assert any(line.startswith(f"Acceptance: {VERDICTS[own['verdict']]}, judged on") for line in lines)
    told = {
        line.split(":")[0]
        for line in lines[next(n for n, line in enumerate(lines) if line.startswith("Acceptance:")) + 1 :]
    }
    assert set(own["broken"] or own["lacking"]) <= told
    assert not told & (set(own["lacking"]) if own["broken"] else set()) - set(own["broken"])


def is_skipped(row: dict[str, Any]) -> bool:
    """Say whether a trace is neither right nor wrong: stood over, told by another, in doubt, or of a machine that never runs."""
    if row["outcome"] in WRONG:
        return False
    runs = bool(row["windows"]) or row["run_hours"] > 0
    return row["outcome"] in (*NEITHER, "stood") or bool(row["doubt"]) or not runs


def is_red(row: dict[str, Any], own: dict[str, Any]) -> bool:
    """Say whether a trace is wrong by its label, and a rule that counts such traces is broken."""
    misses = ("max_missed", "max_missed_probability", "min_margin_coverage")
    stops = ("max_nuisance_per_1000h", "max_nuisance_probability")
    counted = {"missed": misses, "early": stops, "nuisance": stops}.get(row["outcome"], ())
    return any(rule in own["broken"] for rule in counted)


def held_in_junit(text: str, own: dict[str, Any]) -> None:
    """Hold a report of a test runner equal to the account: red is what went wrong, and nothing else."""
    suite = ET.fromstring(text).find("testsuite")
    assert suite is not None
    ends = {}
    for case in suite.iter("testcase"):
        failure, skipped = case.find("failure"), case.find("skipped")
        ends[case.attrib["name"]] = (
            failure.attrib["type"] if failure is not None else "skipped" if skipped is not None else "passed"
        )
    wanted = {row["id"]: row["outcome"] if is_red(row, own) else "passed" for row in own["rows"]}
    assert own["verdict"] != "met" or set(wanted.values()) <= {"passed"}
    wanted |= {row["id"]: "skipped" for row in own["rows"] if is_skipped(row)}
    wanted["acceptance"] = "passed" if own["verdict"] == "met" else own["verdict"]
    assert ends == wanted
    counts = (
        len(ends),
        sum(end not in ("passed", "skipped") for end in ends.values()),
        list(ends.values()).count("skipped"),
    )
    assert tuple(int(suite.attrib[key]) for key in ("tests", "failures", "skipped")) == counts
    margins = {
        case.attrib["name"]: next(
            (float(p.attrib["value"]) for p in case.iter("property") if p.attrib["name"] == "margin_s"), None
        )
        for case in suite.iter("testcase")
    }
    near = lambda margin: None if margin is None else pytest.approx(margin, rel=1e-5)  # noqa: E731
    assert margins == {row["id"]: near(row["margin_s"]) for row in own["rows"]} | {"acceptance": None}


def held_by_the_plugin(folder: Path, own: dict[str, Any]) -> None:
    """Hold what the tests of the plugin come to equal to the account."""
    library, checked = read_library(folder), read_settings(folder / "settings.toml")
    whole = functools.cache(functools.partial(scored, library, checked, "portable"))
    rows = {row["id"]: row for row in own["rows"]}
    for one in counted_once(library).library.entries:
        stated, ended = check_trace(one, checked, "portable", whole)
        assert stated["outcome"] == rows[one.id]["outcome"]
        red = is_red(rows[one.id], own)
        assert (isinstance(ended, UnmetError), "admitted" in stated) == (
            red,
            rows[one.id]["outcome"] in WRONG and not red,
        )
        assert isinstance(ended, pytest.skip.Exception) == is_skipped(rows[one.id])
    assert (check_acceptance(whole)[1] is None) == (own["verdict"] == "met")


def held_on_the_bench(folder: Path, own: dict[str, Any], work: Path) -> None:
    """Hold what the page's own script judges equal to the account."""
    found = parts(embedded(page_text(read_library(folder), folder / "settings.toml")), work, tries=[[]], run=True)[
        "answers"
    ][0]["score"]
    total = own["total"]
    rows = {row["id"]: row for row in own["rows"]}
    for told in found["verdicts"]:
        row = rows[told["id"]]
        assert [told[key] for key in ("outcome", "firstS", "runHours", "trips", "nuisance")] == [
            row[key] for key in ("outcome", "first_trip_s", "run_hours", "trips", "nuisance_trips")
        ]
        assert told["marginS"] == row["margin_s"]
        assert [(w["outcome"], w["stopS"], w["late"], w["marginS"]) for w in told["windows"]] == [
            (w["outcome"], w["stop_s"], w["late"], w["margin_s"]) for w in row["windows"]
        ]
    names = {
        "mustTrip": "must_trip",
        "rides": "ride_through",
        "nuisance": "nuisance_trips",
        "worstMarginS": "worst_margin_s",
    }
    for key in ("mustTrip", "hit", "missed", "early", "stood", "rides", "nuisance", "upsets", "worstMarginS"):
        assert found["total"][key] == total[names.get(key, key)], key
    assert found["total"]["upsetsStopped"] == (total["upsets_stopped"] or 0)
    assert found["total"]["marked"] == (total["upsets_stopped"] is not None)
    assert found["total"]["hours"] == pytest.approx(total["ride_through_run_hours"], abs=1.1e-6)
    for told, claim in zip(found["claims"], own["claims"], strict=True):
        assert (told["rule"], told["events"], told["wanted"]) == (claim["rule"], claim["events"], claim["wanted"])
        assert told["verdict"] == (None if claim["verdict"] == "not judged" else claim["verdict"])
        upper = None if claim["upper"] == float("inf") else pytest.approx(claim["upper"], rel=1e-8)
        assert told["upper"] == upper
    assert (set(found["broken"]), found["lacking"], found["verdict"]) == (
        set(own["broken"]),
        own["lacking"],
        own["verdict"],
    )
    assert [(name, part["hit"], part["missed"], part["nuisance"]) for name, part in found["families"]] == [
        (name, part["hit"], part["missed"], part["nuisance_trips"]) for name, part in own["families"].items()
    ]


def held_everywhere(folder: Path) -> dict[str, Any]:
    """Hold every form of the score of a library equal to its account; return that."""
    own = account(folder, folder / "settings.toml")
    done = lubetrip("score", folder, "--junit", folder / "out.xml", "--json", folder / "out.json", COLUMNS="240")
    assert done.returncode == STATUS[own["verdict"]]
    assert json.loads((folder / "out.json").read_text())["acceptance"]["verdict"] == own["verdict"]
    assert lubetrip("report", folder, "-o", folder / "out.html").stderr == ""
    held_on_the_terminal(done.stdout, own)
    held_in_junit((folder / "out.xml").read_text(encoding="utf-8"), own)
    held_by_the_plugin(folder, own)
    held_in_tables(Tables((folder / "out.html").read_text(encoding="utf-8")), own)
    held_on_the_bench(folder, own, folder)
    return own


@settings(max_examples=3, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(libraries())
def test_every_form_of_a_score_tells_the_second_account(files: dict[str, str]) -> None:
    """Catches a form that colours, counts, rounds or leaves out otherwise than the score: each of terminal, JUnit, pytest, pages."""
    with tempfile.TemporaryDirectory() as place:
        held_everywhere(written(files, Path(place)))


def test_each_outcome_shows_in_every_form(tmp_path: Path) -> None:
    """Catches an early stop that is green in JUnit or pytest, and any outcome that one form has not got."""
    dry = lambda begin, end: lambda s: 5.0 if begin <= s < end else 120.0  # noqa: E731
    texts = {
        "hit": trace_csv(400, dry(100, 400)),
        "early": trace_csv(401, dry(50, 401)),
        "missed": trace_csv(402, dry(100, 115)),
        "late": trace_csv(403, dry(100, 403)),
        "nuisance": trace_csv(404, dry(60, 110)),
        "rode": trace_csv(3600, dry(60, 70)),
        "doubt": trace_csv(405, dry(100, 405)),
    }
    labels = {
        "hit": "must_trip = { earliest_s = 100, deadline_s = 250 }",
        "early": "must_trip = { earliest_s = 200, deadline_s = 300 }",
        "missed": "must_trip = { earliest_s = 100, deadline_s = 250, likely_s = 300 }",
        "late": "must_trip = { earliest_s = 100, deadline_s = 110, likely_s = 300 }",
        "nuisance": "ride_through = true",
        "rode": "ride_through = true\nupsets = [[60, 80]]",
        "doubt": "undecided = true",
    }
    files = {f"{name}.csv": text for name, text in texts.items()}
    files["library.toml"] = 'settings = "settings.toml"\n' + "".join(
        entry(name, label, name).replace('machine = "m"', f'machine = "m-{name}"') for name, label in labels.items()
    )
    own = held_everywhere(written({**files, "settings.toml": SETTINGS}, tmp_path))

    outcomes = {row["id"]: row["outcome"] for row in own["rows"]}
    assert outcomes == {name: name for name in labels} | {
        "rode": "rode_through",
        "late": "missed",
        "doubt": "undecided",
    }


ASKED = {
    "met": "max_missed_probability = 0.9999\nmin_margin_coverage = 0.0001\n",
    "not enough evidence": "max_missed_probability = 0.1\nmin_margin_coverage = 0.0001\n",
    "not met": "max_missed_probability = 0.9999\nmin_margin_coverage = 0.0001\nmax_nuisance_probability = 0.4\n",
}


@pytest.mark.parametrize("verdict", ASKED)
def test_each_verdict_shows_in_every_form(verdict: str, tmp_path: Path) -> None:
    """Catches a lack of evidence that is green in a test runner, and any verdict that one form takes for another."""
    rules = (
        SETTINGS.replace("max_nuisance_per_1000h = 0.0", "max_nuisance_per_1000h = 1000000.0") + "confidence = 0.95\n"
    )
    upset = "ride_through = true\nupsets = [[60, 110]]" if verdict == "not met" else "ride_through = true"
    files = {
        "settings.toml": rules + ASKED[verdict],
        "hit.csv": trace_csv(400, lambda s: 5.0 if s >= 100 else 120.0),
        "rode.csv": trace_csv(3600, lambda s: 5.0 if 60 <= s < 110 and verdict == "not met" else 120.0),
    }
    files["library.toml"] = 'settings = "settings.toml"\n' + entry(
        "hit", "must_trip = { earliest_s = 100, deadline_s = 250 }"
    )
    files["library.toml"] += entry("rode", upset).replace('machine = "m"', 'machine = "n"')

    assert held_everywhere(written(files, tmp_path))["verdict"] == verdict
