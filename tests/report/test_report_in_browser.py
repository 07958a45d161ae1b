"""The report in a real browser: many traces found, kept and sorted, two widths, dark, on paper, and without its script."""

import subprocess
from pathlib import Path
from typing import Any

import pytest

from tests.conftest import SETTINGS, entry, trace_csv
from tests.support.bench_page import driven
from tests.support.command import lubetrip
from tests.support.toolchain import need

pytestmark = pytest.mark.slow("runs a compiler, an emulator, another Python or a browser for each case")

MANY = 210  # more than are shown at once
STEPS: list[tuple[str, tuple[Any, ...]]] = [
    ("opened", ("open",)),
    ("found", ("find", "T-20")),
    ("all", ("find", "")),
    ("kept", ("keep", "hit")),
    ("sorted", ("click", "margin s")),
    ("turned round", ("press", "margin s", "Enter")),
    ("as it came", ("press", "margin s", "Space")),
    ("paper", ("paper", "report.pdf")),
    ("plain", ("plain",)),
    ("picture", ("picture", "1280.png")),
    ("dark", ("scheme", "dark")),
    ("dark paper", ("paper", "dark.pdf")),
    ("narrow", ("size", 390, 844)),
    ("narrow picture", ("picture", "390-dark.png")),
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a library of many traces and its report."""
    folder = tmp_path_factory.mktemp("read")
    library = folder / "library"
    library.mkdir()
    (library / "settings.toml").write_text(SETTINGS, encoding="utf-8")
    (library / "quiet.csv").write_text(trace_csv(60, lambda s: 120.0))
    tables = ['settings = "settings.toml"\n']
    tables += [entry(f"t-{number:03d}", "ride_through = true", "f", "quiet.csv") for number in range(MANY)]
    for number, begin in enumerate((100, 60, 140)):
        (library / f"fault-{number}.csv").write_text(trace_csv(400, lambda s, begin=begin: 120.0 if s < begin else 5.0))
        label = "must_trip = { earliest_s = 50.0, deadline_s = 250.0 }"
        tables.append(entry(f"fault-{number}", label, "starved", f"fault-{number}.csv"))
    (library / "library.toml").write_text("".join(tables), encoding="utf-8")
    made = lubetrip("report", library, "-o", folder / "report.html")
    assert made.returncode == 0, made.stderr
    return folder


@pytest.fixture(scope="module")
def told(folder: Path) -> dict[str, Any]:
    """Return what was told beside what the page showed, and that by the name of each step."""
    answer = driven(folder / "report.html", folder, *(step for _, step in STEPS), by="report.mjs")
    assert answer["errors"] == answer["console"] == []
    assert [url for url in answer["requests"] if not url.startswith(("file:", "data:"))] == []
    return {**answer, **dict(zip(["loaded", *(name for name, _ in STEPS)], answer["states"], strict=True))}


def test_many_traces_are_folded_found_and_kept_by_outcome(told: dict[str, Any]) -> None:
    """Catches a thousand rows that can only be scrolled, a search that minds capitals, and fields deaf to the keyboard."""
    assert told["fields"] == ["find", "keep"]
    assert told["loaded"]["rows"] == []
    assert len(told["opened"]["rows"]) == MANY + 3
    assert told["found"]["rows"] == [f"t-20{digit}" for digit in range(10)]
    assert told["found"]["told"] == f"10 of {MANY + 3} rows"
    assert set(told["kept"]["rows"]) == {"fault-0", "fault-1", "fault-2"}


def test_rows_are_sorted_by_mouse_and_keyboard_and_put_back(told: dict[str, Any]) -> None:
    """Catches numbers sorted as words, a head that only a mouse moves, and an order that cannot be had again."""
    margins = [float(margin) for margin in told["sorted"]["margins"]]

    assert len(set(margins)) == 3
    assert margins == sorted(margins)
    assert told["sorted"]["sorted"] == [["margin s", "ascending"]]
    assert [float(margin) for margin in told["turned round"]["margins"]] == margins[::-1]
    assert told["turned round"]["sorted"] == [["margin s", "descending"]]
    assert told["as it came"]["rows"] == told["kept"]["rows"]
    assert told["as it came"]["sorted"] == []


def test_without_its_script_the_table_stands_as_it_is(told: dict[str, Any]) -> None:
    """Catches a page that shows nothing, or buttons that do nothing, where scripts are forbidden."""
    assert told["forbidden"]["controls"] == 0
    assert told["forbidden"]["rows"] == MANY + 3


def test_verdict_and_plots_are_whole_on_a_telephone_and_dark_at_night(told: dict[str, Any]) -> None:
    """Catches a plot cut at the edge, a page that scrolls sideways, and white paper at night."""
    for state in ("opened", "narrow"):
        assert told[state]["wide"] == 0
        assert told[state]["verdict"]
        assert told[state]["plots"] and all(told[state]["plots"])
    assert told["opened"]["paper"] == "rgb(255, 255, 255)"
    assert told["opened"]["plot"] == "none"
    assert told["dark"]["paper"] != "rgb(255, 255, 255)"
    assert told["dark"]["box"] != told["opened"]["box"]
    assert "invert" in told["dark"]["plot"]


def test_two_plots_stand_on_a_printed_page(folder: Path, told: dict[str, Any]) -> None:
    """Catches a page of paper for each plot, half of it empty, a heading parted from its plot, and black paper."""
    pages = printed(folder / "report.pdf")
    with_plots = [sum(page.count(f"family {name}") for name in ("f;", "starved;")) for page in pages]

    assert told["paper"]
    assert sum(with_plots) == 10
    assert max(with_plots) == 2
    assert [count for count in with_plots if count][:-1] == [2] * (len([count for count in with_plots if count]) - 1)
    assert [len(page.split()) for page in printed(folder / "dark.pdf")] == [len(page.split()) for page in pages]


def printed(file: Path) -> list[str]:
    """Return the words of each page."""
    done = subprocess.run([need("pdftotext"), "-layout", file, "-"], capture_output=True, text=True, check=True)
    return done.stdout.split("\f")[:-1]
