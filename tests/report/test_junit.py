"""The library in QA's own test runner: JUnit XML and the pytest plugin say the same as the score."""

import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from replay.library import read_library
from replay.report.junit import junit
from replay.score import score
from replay.settings import read_settings
from tests.conftest import SETTINGS, entry, trace_csv
from tests.support.command import lubetrip


@pytest.fixture
def mixed(library: Path) -> Path:
    """Return the small library with a nuisance trace and one that nobody can call."""
    (library / "dip.csv").write_text(trace_csv(200, lambda s: 5.0 if 50 < s < 90 else 120.0), encoding="utf-8")
    more = entry("dip", "ride_through = true", "steady") + entry("doubt", "undecided = true", "steady", "dip.csv")
    path = library / "library.toml"
    path.write_text(path.read_text() + more)
    return library


def cases(text: str) -> dict[str, ET.Element]:
    """Return the cases of a report by their name."""
    return {case.attrib["name"]: case for case in ET.fromstring(text).iter("testcase")}


def said(case: ET.Element) -> dict[str, str]:
    """Return the properties of a case."""
    return {item.attrib["name"]: item.attrib["value"] for item in case.iter("property")}


def shape(text: str) -> set[tuple[str, ...]]:
    """Return every path of elements of a report, and every attribute with the path of its element."""

    def below(path: tuple[str, ...], element: ET.Element) -> set[tuple[str, ...]]:
        here = (*path, element.tag)
        inner = [below(here, child) for child in element]
        return {here, *((*here, "@" + name) for name in element.attrib)}.union(*inner)

    return below((), ET.fromstring(text))


def test_one_case_for_each_trace_and_one_for_the_acceptance(mixed: Path, tmp_path: Path) -> None:
    """Catches a trace that is not told, a count that contradicts the cases, an undecided trace that passes."""
    out = tmp_path / "report.xml"
    assert lubetrip("score", mixed, "--junit", out).returncode == 1
    text = out.read_text(encoding="utf-8")
    found = cases(text)
    suite = ET.fromstring(text).find("testsuite")

    assert list(found) == ["fault", "quiet", "dip", "doubt", "acceptance"]
    assert [name for name, case in found.items() if case.find("failure") is not None] == ["dip", "acceptance"]
    assert [name for name, case in found.items() if case.find("skipped") is not None] == ["doubt"]
    assert suite is not None
    assert {key: suite.attrib[key] for key in ("tests", "failures", "errors", "skipped")} == {
        "tests": "5",
        "failures": "2",
        "errors": "0",
        "skipped": "1",
    }


def test_a_failure_tells_what_happened(mixed: Path, tmp_path: Path) -> None:
    """Catches a red case without the decisions that made it so."""
    lubetrip("score", mixed, "--junit", tmp_path / "report.xml")
    found = cases((tmp_path / "report.xml").read_text(encoding="utf-8"))
    failure = found["dip"].find("failure")

    assert failure is not None
    assert failure.attrib == {"type": "nuisance", "message": "nuisance: ride through, first stop at 80 s"}
    assert "starved     tripped     oil" in (failure.text or "")
    assert "max_nuisance_per_1000h" in (found["acceptance"].findtext("failure") or "")


def test_a_case_carries_what_it_was_judged_with(mixed: Path) -> None:
    """Catches a report that cannot be traced to settings and logic, and a plot that does not exist."""
    library, settings = read_library(mixed), read_settings(mixed / "settings.toml")
    result = score(library, settings)
    plain = said(cases(junit(result, library))["fault"])

    assert plain["settings_digest"] == settings.digest
    assert (plain["label"], plain["margin_s"], plain["outcome"]) == ("must trip from 100 s to 250 s", "121", "hit")
    assert "plot" not in plain
    assert said(cases(junit(result, library, {"fault": "plots/fault.png"}))["fault"])["plot"] == "plots/fault.png"


def test_text_of_the_user_does_not_break_the_xml(library: Path) -> None:
    """Catches markup in a family's name taken for markup of the report, and characters that XML cannot hold."""
    path = library / "library.toml"
    path.write_text(path.read_text().replace('"steady"', '"<b>&\\u0001\\"x"'))
    loaded = read_library(library)
    text = junit(score(loaded, read_settings(library / "settings.toml")), loaded)

    assert cases(text)["quiet"].attrib["classname"] == '<b>&?"x'


def test_a_report_that_cannot_be_written_is_refused_before_the_work(library: Path) -> None:
    """Catches a report that is lost after a long run."""
    done = lubetrip("score", library, "--junit", library / "nowhere" / "x.xml")
    assert (done.returncode, done.stdout) == (2, "")


def run_pytest(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run pytest of this installation, as QA would, in a folder of its own."""
    (folder / "pytest.ini").write_text("[pytest]\n")
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-p", "no:hypothesispytest", *arguments]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False, timeout=120)


@pytest.fixture
def lab(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a test lab, with a test of its own."""
    folder = tmp_path_factory.mktemp("lab")
    (folder / "test_own.py").write_text("def test_own():\n    pass\n")
    return folder


@pytest.mark.outside(
    computation="JUnit XML",
    source="pytest's own writer; there is no standard",
    status="consulted",
    agreement="no element or attribute beyond its own but `type` of a failure",
)
@pytest.mark.slow("starts workers or commands as processes of their own")
def test_the_plugin_runs_one_test_for_each_trace(mixed: Path, lab: Path) -> None:
    """Catches a plugin that is not installed, one that passes a nuisance trip, one that hides the decisions.

    And a report of `score --junit` with an element or attribute that readers do not know. JUnit XML has no standard: what
    pytest writes stands for it, and `type` of a failure, which other writers have (common practice, no source).
    """
    done = run_pytest(lab, "--lubetrip-library", str(mixed), "--junitxml", "own.xml")
    text = (lab / "own.xml").read_text(encoding="utf-8")
    found = cases(text)
    loaded = read_library(mixed)
    ours = junit(score(loaded, read_settings(mixed / "settings.toml")), loaded)

    assert done.returncode == 1, done.stdout + done.stderr
    assert "2 failed, 2 passed, 1 skipped" in done.stdout
    assert "nuisance: ride through, first stop at 80 s" in done.stdout
    assert "starved     tripped     oil" in done.stdout
    assert "Acceptance: NOT MET" in done.stdout
    assert "Traceback" not in done.stdout
    assert said(found["fault"])["margin_s"] == "121"
    assert set(found) == {"fault", "quiet", "dip", "doubt", "acceptance"}
    assert shape(ours) - shape(text) == {("testsuites", "testsuite", "testcase", "failure", "@type")}


@pytest.mark.slow("starts workers or commands as processes of their own")
def test_the_plugin_takes_other_settings_selections_and_tests_beside(library: Path, lab: Path) -> None:
    """Catches settings that are ignored, tests that cannot be chosen, tests of the lab that are lost when named."""
    slow = lab / "slow.toml"
    slow.write_text(SETTINGS.replace('"60 s"\nfloor_weight', '"30 min"\nfloor_weight'), encoding="utf-8")
    named = ("--lubetrip-library", str(library), "--lubetrip-settings", "slow.toml")

    assert "missed: must trip from 100 s to 250 s, no stop" in run_pytest(lab, *named, "-k", "fault").stdout
    assert "1 passed, 2 deselected" in run_pytest(lab, *named, "-k", "quiet").stdout
    assert "2 passed, 2 deselected" in run_pytest(lab, "test_own.py", *named, "-k", "quiet or own").stdout
    assert "1 passed" in run_pytest(lab).stdout


@pytest.mark.slow("starts workers or commands as processes of their own")
def test_the_plugin_refuses_in_one_line(library: Path, lab: Path) -> None:
    """Catches a traceback, or a green run over no traces."""
    for arguments in (
        ["--lubetrip-library", "nowhere"],
        ["--lubetrip-library", str(library), "--lubetrip-settings", "x"],
    ):
        done = run_pytest(lab, *arguments)
        assert done.returncode == pytest.ExitCode.USAGE_ERROR
        assert "lubetrip: " in done.stderr and "Traceback" not in done.stdout + done.stderr
