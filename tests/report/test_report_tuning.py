"""A tuning run in the report: its plots as they are, its Pareto set, and whether it is about these settings."""

import json
from pathlib import Path

import pytest

from replay.display.tuning import MOST_ROWS, pareto_table
from replay.ground.refusal import Refusal
from replay.library import library_digest, read_library
from replay.report.tuning_view import read_tuning
from replay.report.write import write_report
from replay.settings import read_settings
from replay.sweep import account

pytestmark = pytest.mark.slow("simulates, scores or draws many traces")

PNG = bytes.fromhex("89504e470d0a1a0a")  # the mark that every PNG begins with


def line(number: int, digest: str, verdict: str = "met") -> dict[str, object]:
    """Return a candidate as a report of `tune` has it."""
    whole = {"missed_limit": 0.0593, "nuisance_limit_per_1000h": 423.5, "worst_margin_s": 46.8, "verdict": verdict}
    return {"number": number, "given": {"trip_delay": f"{number} s<i>"}, "digest": digest, "whole": whole}


@pytest.fixture
def tuned(library: Path) -> Path:
    """Return the folder of a tuning run on the small library."""
    folder = library / "tuned"
    folder.mkdir()
    base = read_settings(library / "settings.toml").digest
    report = {
        "schema": "lubetrip-tune/1",
        "judged": 60,
        "rule": "the least missed-trip limit",
        "logic": account(),
        "library": {"digest": library_digest(read_library(library))},
        "base": {"digest": base},
        "base_settings": line(0, base, "not met"),
        "pareto": [line(number, f"{number:064x}") for number in range(1, 31)],
        "chosen": 7,
    }
    (folder / "report.json").write_text(json.dumps(report))
    (folder / "pareto.png").write_bytes(PNG + b"pareto")
    (folder / "tornado.svg").write_text("<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>")
    return folder


def page(library: Path, tuned: Path) -> str:
    """Return the report with the tuning in it."""
    path = library / "report.html"
    write_report(path, read_library(library), read_settings(library / "settings.toml"), tuning=tuned)
    return path.read_text(encoding="utf-8")


def test_plots_and_pareto_set_stand_in_the_page(library: Path, tuned: Path) -> None:
    """Catches plots that are only linked, without words for them, and a script within one that would run."""
    text = page(library, tuned)

    assert text.count('<img src="data:image/png;base64,') == 1
    assert text.count('<img src="data:image/svg+xml;base64,') == 1
    assert text.count(' alt="Pareto set') == text.count(' alt="Tornado') == 1
    assert text.count("<script") == 1  # the table of all traces, let in by its digest
    assert "7 s&lt;i&gt;" in text
    assert '<a href="#tuning">' in text
    assert "candidate 7, by the least missed-trip limit." in text
    assert "The settings of this report are the base settings of the tuning." in text
    assert "ANOTHER" not in text


def test_the_chosen_candidate_comes_first_and_the_base_last(tuned: Path) -> None:
    """Catches a chosen candidate that falls off the end of a long table."""
    table = pareto_table(read_tuning(tuned), ("whole",))

    assert table.rows[0] == ["7 chosen", "trip delay 7 s<i>", "5.93 %", "423.5", "46.8", "-", "met"]
    assert (table.foot[0], table.foot[-1]) == ("0 base", "not met")
    assert len(table.rows) == MOST_ROWS


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("library", {"digest": "0"}, "on ANOTHER library"),
        ("logic", {"digest": "0"}, "with ANOTHER logic"),
        ("base", {"digest": "0"}, "neither the base of the tuning nor in its Pareto set"),
    ],
)
def test_a_tuning_of_something_else_is_called_that(
    key: str, value: dict[str, str], said: str, library: Path, tuned: Path
) -> None:
    """Catches the plots of one library lent to the verdict on another."""
    report = json.loads((tuned / "report.json").read_text())
    (tuned / "report.json").write_text(json.dumps({**report, key: value}))

    assert said in page(library, tuned)


@pytest.mark.parametrize("content", [None, "nonsense", '{"schema": "lubetrip-score/1"}', "[]"])
def test_a_folder_that_is_no_tuning_is_refused_before_the_work(content: str | None, library: Path, tuned: Path) -> None:
    """Catches a traceback, and a report without the tuning that was asked for."""
    (tuned / "report.json").unlink()
    if content is not None:
        (tuned / "report.json").write_text(content)

    with pytest.raises(Refusal, match=r"report\.json"):
        page(library, tuned)
    assert not (library / "report.html").exists()
