"""Names from a library go to terminals, browsers, spreadsheets and build servers: none of them obeys them."""

import csv
import json
import re
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from click.testing import CliRunner

from replay.cli import main
from replay.ground.refusal import refusal
from replay.library import read_library
from replay.triage.report import FORMULA, _cell
from tests.conftest import SETTINGS, entry, trace_csv

pytestmark = pytest.mark.slow("simulates, scores or draws many traces")

MARKUP = "</script><script>alert(1)</script><!--\" onload='alert(2)' & \u2028 ]]>"
ESCAPES = "\x1b[2J\x1b]0;owned\x07\x9b31m\x08\x7f\u202egnp\u2066 \u2028"
HOSTILE = MARKUP + ESCAPES + "{{ 7 * 7 }} [bold]$x$"
OBEYED = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]")


@pytest.fixture
def library(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a library whose every text is hostile, with a missed and a nuisance trace."""
    monkeypatch.chdir(tmp_path)
    text = 'settings = "settings.toml"\n'
    for number, label in enumerate(("ride_through = true", "must_trip = { earliest_s = 1, deadline_s = 2 }")):
        item = entry("a", f"{label}\nnote = {json.dumps(HOSTILE)}", file="a.csv")
        item = item.replace('id = "a"', f"id = {json.dumps(HOSTILE + str(number))}")
        for key in ("family", "machine", "oil", "origin"):
            start = "synthetic: " if key == "origin" else "=" if key == "machine" else ""
            item = re.sub(f'{key} = "[^"]*"', lambda _, k=key, s=start: f"{k} = {json.dumps(s + HOSTILE)}", item)  # type: ignore[misc]
        text += item
    (tmp_path / "library.toml").write_text(text, encoding="utf-8")
    (tmp_path / "settings.toml").write_text(SETTINGS)
    (tmp_path / "a.csv").write_text(trace_csv(300, lambda s: 120.0 if s < 50 else 5.0))
    return tmp_path


COMMANDS = [
    ["score", "."],
    ["score", ".", "--json", "-"],
    ["explain", "a.csv"],
    ["triage", "."],
    ["triage", ".", "--json", "-"],
    ["label", ".", HOSTILE + "0", "--undecided", "--by", ESCAPES, "--note", ESCAPES],
    ["label", ".", ESCAPES, "--undecided", "--by", "me"],
    ["compare", "score.json", "other.json"],
    ["export", ESCAPES, "--to", "c"],
    ["tune", ".", "--vary", ESCAPES, "--out", "x"],
    ["score", ".", "--settings", "bad.toml"],
    ["import", "--guess", "bad.csv"],
    ["record", "check", "kept"],
]


@pytest.mark.parametrize("arguments", COMMANDS, ids=lambda words: " ".join(words)[:20])
def test_nothing_that_a_terminal_obeys_is_printed(arguments: list[str], library: Path) -> None:
    """Catches an id that clears the screen, a note that hides a line, a refusal that quotes an escape."""
    (library / "bad.toml").write_text(SETTINGS.replace('"60 kPa"', json.dumps(ESCAPES)) + f"{json.dumps(ESCAPES)} = 1")
    (library / "bad.csv").write_text(f"t;p{ESCAPES};q\n1;2;3\n2;3;4\n")
    CliRunner().invoke(main, ["score", ".", "--json", "score.json", "--record", "kept"])
    (library / "other.json").write_text((library / "score.json").read_text().replace('"nuisance"', '"rode_through"'))
    about = json.loads((library / "kept" / "record.json").read_text())
    about |= {"verdict": ESCAPES, "versions": {ESCAPES: ESCAPES}}
    (library / "kept" / "record.json").write_text(json.dumps(about))
    done = CliRunner().invoke(main, arguments)

    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    assert done.output.strip()
    assert not OBEYED.search(done.output), ascii(OBEYED.search(done.output))


class _Page(HTMLParser):
    """Counts elements and the attributes that run something."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.scripts, self.handlers = 0, []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.scripts += tag == "script"
        self.handlers += [name for name, _ in attrs if name.startswith("on")]


@pytest.mark.parametrize("command", ["report", "bench"])
def test_a_page_runs_nothing_that_a_library_says(command: str, library: Path) -> None:
    """Catches text that ends a script, an attribute or a comment, in the page and in the JSON that it carries."""
    CliRunner().invoke(main, [command, ".", "-o", "hostile.html"], catch_exceptions=False)
    hostile = (library / "hostile.html").read_text(encoding="utf-8")
    (library / "library.toml").write_text(
        'settings = "settings.toml"\n'
        + entry("a", "ride_through = true")
        + entry("b", "undecided = true", file="a.csv")
    )
    CliRunner().invoke(main, [command, ".", "-o", "plain.html"], catch_exceptions=False)
    plain = _Page((library / "plain.html").read_text(encoding="utf-8"))

    assert _Page(hostile).scripts == plain.scripts
    assert _Page(hostile).handlers == plain.handlers
    assert "alert(1)</script>" not in hostile
    assert "49" in hostile or "{{ 7" in hostile or "7 * 7" in hostile
    scripts = re.findall(r"<script[^>]*>(.*?)</script>", hostile, re.DOTALL)
    assert not any("\u2028" in script or "<!--" in script for script in scripts)


def test_junit_holds_any_name(library: Path) -> None:
    """Catches XML that a build server cannot read."""
    CliRunner().invoke(main, ["score", ".", "--junit", "out.xml"])
    cases = ET.parse(library / "out.xml").findall(".//testcase")

    assert len(cases) == 3
    assert all("alert(1)</script>" in case.attrib["name"] for case in cases[:2])
    assert "\x1b" not in (library / "out.xml").read_text(encoding="utf-8")


def test_no_cell_of_the_csv_is_a_formula(library: Path) -> None:
    """Catches a machine, a file or a kind that a spreadsheet would run."""
    CliRunner().invoke(main, ["triage", ".", "--csv", "out.csv"])
    rows = list(csv.reader((library / "out.csv").read_text(encoding="utf-8").splitlines()))

    assert len(rows) > 1
    assert all(row[0].startswith("'=") for row in rows[1:])
    for mark in FORMULA:
        assert str(_cell(f"{mark}1+1")).startswith("'")
    assert set(FORMULA) >= {"=", "+", "-", "@", "\t", "\r"}


@pytest.mark.parametrize("key", ["id", "family", "machine", "oil"])
def test_a_name_is_one_line(key: str, library: Path) -> None:
    """Catches a name that writes lines of its own into a report: VERDICT: met."""
    text = entry("a", "undecided = true")
    (library / "library.toml").write_text(re.sub(f'{key} = "[^"]*"', f'{key} = "a\\\\nverdict met"', text))

    done = CliRunner().invoke(main, ["score", "."])
    assert done.exit_code == 2
    assert "a name of several lines" in done.output
    assert len(done.output.splitlines()) == 1


def test_a_refusal_is_one_short_line() -> None:
    """Catches a refusal that fills the screen with what it refuses."""
    told = str(refusal("a.toml", ESCAPES * 100, "x" * 9000, "y" * 9000, "z" * 9000))

    assert not OBEYED.search(told)
    assert len(told) < 4500


def test_hostile_names_are_kept_as_they_are(library: Path) -> None:
    """Catches a reader that mends names in silence, so that ids of a report no longer fit the library."""
    assert [entry.id for entry in read_library(library).entries] == [f"{HOSTILE}0", f"{HOSTILE}1"]
