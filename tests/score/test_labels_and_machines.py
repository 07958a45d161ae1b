"""What the labels of a score rest on, and the unit of its evidence: a trace, or a machine with several."""

from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from replay.display.score import score_view, summary
from replay.display.terminal import plain
from replay.library import MustTrip
from replay.library.labels import relabel
from replay.report.write import write_report
from replay.score import score_library
from tests.conftest import SETTINGS
from tests.support.command import lubetrip
from tests.support.fooling import FAULT, RIDE, faulty, healthy, made, noisy

LOOSE = SETTINGS.replace("max_missed = 0", "max_missed = 1").replace(
    "max_nuisance_per_1000h = 0.0", "max_nuisance_per_1000h = 1e6"
)


def recorded(folder: Path, machine: str = "m") -> Path:
    """Make the traces of a library recordings of a machine."""
    path = folder / "library.toml"
    lines = path.read_text().splitlines()
    lines = [f'machine = "{machine}"' if line.startswith("machine") else line for line in lines]
    path.write_text("\n".join(lines).replace("synthetic: by hand", "recorded: store 4") + "\n")
    return folder


def ten(folder: Path) -> Path:
    """Return a library of ten faults and ten that ride through, no two alike."""
    traces = {f"f{n}": (noisy(n, 300, faulty), FAULT) for n in range(10)}
    return made(folder, traces | {f"q{n}": (noisy(50 + n, 300, healthy), RIDE) for n in range(10)})


@pytest.mark.slow("simulates, scores or draws many traces")
def test_many_recordings_of_one_machine_are_one_trial(tmp_path: Path) -> None:
    """Catches a limit that falls with every further recording of the machine that is known already."""
    folder = recorded(ten(tmp_path))
    found = score_library(folder)
    plainly, told = found.claims[0], found.by_machine

    assert (plainly.events, plainly.of) == (0, 10)
    assert plainly.upper == pytest.approx(1 - 0.05**0.1)
    assert (told.unit, told.machines) == ("machine", 1)
    assert (told.claims[0].events, told.claims[0].of, told.claims[0].upper) == (0, 1, pytest.approx(0.95))
    text = " ".join(plain(score_view(found)).split())
    assert "By machine, since traces of one machine are not independent: with a missed fault 0 of 1, at most" in text
    assert "a trace in these limits, a machine in those by machine (1 of them)" in text
    assert found.verdict == score_library(folder).verdict


def test_synthesised_traces_and_machines_of_their_own_count_by_themselves(tmp_path: Path) -> None:
    """Catches an invented machine whose draws are taken for one, and a second limit that says what the first does."""
    found = score_library(ten(tmp_path))
    assert (found.by_machine.unit, found.by_machine.machines) == ("trace", 20)
    assert [claim.upper for claim in found.by_machine.claims[:1]] == [pytest.approx(found.claims[0].upper)]
    assert "By machine" not in plain(score_view(found))
    assert dict(summary(found))["unit of evidence"] == "a trace: no two are recordings of one machine"


def test_a_score_says_what_its_labels_rest_on(tmp_path: Path) -> None:
    """Catches a label of one reviewer that looks like one of two, in terminal, JSON or report."""
    folder = recorded(ten(tmp_path))
    relabel(folder, "f0", MustTrip(100.0, 200.0), "A. Smith")
    relabel(folder, "f1", MustTrip(100.0, 200.0), "A. Smith")
    relabel(folder, "f1", MustTrip(100.0, 200.0), "J. Doe")
    relabel(folder, "f2", MustTrip(100.0, 200.0), "J. Doe", inspection="wiped")
    relabel(folder, "q0", "ride_through", "J. Doe")
    relabel(folder, "q0", "undecided", "A. Smith")
    path = folder / "library.toml"
    path.write_text(path.read_text().replace("recorded: store 4", "synthetic: by hand", 1))
    found = score_library(folder)
    told = "1 on an inspection, 1 on two reviewers or more, 1 on one reviewer, 16 on no named person"

    assert found.as_json()["labels_rest"] == {
        "inspection": 1,
        "two reviewers": 1,
        "one reviewer": 1,
        "physics": 0,
        "nobody named": 16,
        "reviewers differ": 1,
    }
    wanted = f"{told}, 1 undecided because reviewers differ"
    assert dict(summary(found))["labels rest"] == wanted
    assert [verdict.id for verdict in found.undecided] == ["q0"]
    write_report(tmp_path / "out.html", folder)
    page = (tmp_path / "out.html").read_text()
    assert wanted in page
    assert "reviewers differ: J. Doe: ride through; A. Smith: undecided" in page


def test_a_log_that_nobody_looked_at_is_called_just_that(tmp_path: Path) -> None:
    """Catches an import that reads like somebody's judgement that it cannot be told."""
    folder = recorded(
        made(tmp_path, {"u": (noisy(1, 300, faulty), "undecided = true"), "f": (noisy(2, 300, faulty), FAULT)})
    )
    write_report(tmp_path / "out.html", folder)
    assert "imported, and nobody has looked at it" in (tmp_path / "out.html").read_text()
    relabel(folder, "u", "undecided", "A. Smith", "cannot tell")
    write_report(tmp_path / "out.html", folder)
    assert "imported, and nobody" not in (tmp_path / "out.html").read_text()


def test_late_stops_are_told_with_their_negative_margin(tmp_path: Path) -> None:
    """Catches a worst margin of the hits that is read as that of all: the fault that was stopped too late has none."""
    late = FAULT.replace("deadline_s = 250.0", "deadline_s = 110.0")
    assert late != FAULT
    folder = made(tmp_path, {"hit": (noisy(1, 300, faulty), FAULT), "late": (noisy(2, 300, faulty), late)})
    found = score_library(folder)
    told = dict(summary(found))

    (missed,) = [v for v in found.verdicts if v.id == "late"]
    assert missed.margin_s is not None
    assert missed.margin_s < 0
    assert found.totals.worst_late_margin_s == missed.margin_s
    assert told["late stops"] == f"1 of the missed; worst margin {missed.margin_s:.1f} s"
    assert told["worst margin of hits"] == f"{found.totals.worst_margin_s:.1f} s"
    assert found.as_json()["totals"]["worst_late_margin_s"] == missed.margin_s


@pytest.mark.parametrize(
    ("options", "settings", "red"),
    [
        ((), LOOSE, []),
        (("--strict",), LOOSE, ["dip", "late"]),
        ((), LOOSE.replace("max_missed = 1", "max_missed = 0"), ["acceptance", "late"]),
        ((), LOOSE.replace("1e6", "0.0"), ["acceptance", "dip"]),
    ],
)
def test_what_the_acceptance_admits_is_not_red(
    options: tuple[str, ...], settings: str, red: list[str], tmp_path: Path
) -> None:
    """Catches a verdict of met beside a red run, a stop that is red for a miss, and a strict run that is green."""
    late = FAULT.replace("deadline_s = 250.0", "deadline_s = 110.0")
    dip = lambda s: 5.0 if 100 <= s < 190 else 120.0  # noqa: E731
    traces = {
        "hit": (noisy(1, 300, faulty), FAULT),
        "late": (noisy(2, 300, faulty), late),
        "dip": (noisy(3, 300, dip), RIDE),
    }
    folder = made(tmp_path, traces, settings)
    lubetrip("score", folder, "--junit", tmp_path / "out.xml", *options)
    cases = {case.attrib["name"]: case for case in ET.fromstring((tmp_path / "out.xml").read_text()).iter("testcase")}

    assert sorted(name for name, case in cases.items() if case.find("failure") is not None) == red
    for name in {"dip", "late"} - set(red):
        out = cases[name].findtext("system-out") or ""
        assert "but within the acceptance" in out
        assert "tripped" in out
        assert "admitted" in {item.attrib["name"] for item in cases[name].iter("property")}
