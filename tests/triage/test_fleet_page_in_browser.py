"""The page of a triage in a real browser: links by mouse and keyboard, two widths, light and dark, on paper."""

import subprocess
from pathlib import Path
from typing import Any

import pytest

from tests.report.test_fleet_page import library
from tests.support.bench_page import driven
from tests.support.command import lubetrip
from tests.support.toolchain import need

pytestmark = pytest.mark.slow("runs a compiler, an emulator, another Python or a browser for each case")

LONG = "Compressor 3 of the low-temperature rack behind the cold store, east"
FLEET: dict[str, dict[str, Any]] = {"K1": {}, "K2": {"starved": True}, LONG: {"zero": 60, "net": 200}}
STEPS: list[tuple[str, tuple[Any, ...]]] = [
    ("by mouse", ("click", "K1")),
    ("again", ("reload",)),
    ("table", ("key", "Tab")),
    ("first link", ("key", "Tab")),
    ("by keyboard", ("key", "Enter")),
    ("wide picture", ("picture", "1280.png")),
    ("dark", ("scheme", "dark")),
    ("dark picture", ("picture", "1280-dark.png")),
    ("narrow dark", ("size", 390, 844)),
    ("narrow dark picture", ("picture", "390-dark.png")),
    ("dark print", ("media", "print")),
    ("dark paper", ("paper", "dark.pdf")),
    ("screen again", ("media", None)),
    ("narrow", ("scheme", "light")),
    ("narrow picture", ("picture", "390.png")),
    ("paper", ("paper", "fleet.pdf")),
]
SCREENS = ("loaded", "dark", "narrow dark", "narrow")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the page of a fleet of three and the month before."""
    folder = tmp_path_factory.mktemp("fleet")
    for name in ("march", "february"):
        (folder / name).mkdir()
    library(folder / "march", 3, FLEET, days=3)
    library(folder / "february", 1, {"K1": {"net": 180}, "K2": {}})
    made = lubetrip("triage", folder / "march", "--before", folder / "february", "--html", folder / "fleet.html")
    assert made.returncode == 0, made.stderr
    return folder


@pytest.fixture(scope="module")
def told(folder: Path) -> dict[str, Any]:
    """Return what was told beside what the page showed, and that by the name of each step."""
    answer = driven(folder / "fleet.html", folder, *(step for _, step in STEPS), by="fleet.mjs")
    return {**answer, **dict(zip(["loaded", *(name for name, _ in STEPS)], answer["states"], strict=True))}


def test_a_row_leads_to_its_machine_by_mouse_and_by_keyboard(told: dict[str, Any]) -> None:
    """Catches a link that Tab passes over or shows no focus on, and one that leaves the machine off the screen."""
    assert told["by mouse"]["at"] == "#machine-3"
    assert told["table"]["focus"] == "Machines, the one to open first on top"
    assert (told["first link"]["focus"], told["first link"]["ring"], told["table"]["ring"]) == ("K2", True, True)
    assert told["by keyboard"]["at"] == "#machine-1"
    for state in ("by mouse", "by keyboard"):
        assert 0 <= told[state]["top"] < told[state]["tall"]


@pytest.mark.parametrize("state", SCREENS)
def test_nothing_is_wider_than_the_page_or_cut_off_in_a_plot(told: dict[str, Any], state: str) -> None:
    """Catches a table that scrolls the whole page sideways, a long name that runs out of its heading, and "kPa gau"."""
    assert (told[state]["wide"], told[state]["outside"], told[state]["cut"]) == (0, [], [])


@pytest.mark.parametrize("state", [*SCREENS, "dark print"])
def test_every_text_stands_out_from_its_paper(told: dict[str, Any], state: str) -> None:
    """Catches text of daylight on dark paper, and of the night on white, by the contrast that WCAG 2 asks for."""
    assert told[state]["worded"] > 100
    assert told[state]["pale"] == []


def test_paper_and_plots_are_dark_at_night_and_white_on_paper(told: dict[str, Any]) -> None:
    """Catches white sheets at night, and black ones out of the printer."""
    day, night, printed = (told[state] for state in ("loaded", "dark", "dark print"))

    assert day["paper"] == printed["paper"] == "rgb(255, 255, 255)"
    assert night["paper"] not in (day["paper"], "rgba(0, 0, 0, 0)")
    assert night["verdict"] != day["verdict"]
    for plot in ("plot", "spark"):
        assert day[plot] == printed[plot] == "none"
        assert "invert" in night[plot]
    assert told["narrow"]["paper"] == day["paper"]


def test_the_printed_page_is_the_same_from_a_dark_screen(folder: Path) -> None:
    """Catches a fleet cut off at the margin of the paper, and a print that hangs on the scheme of the screen."""
    printed = [words(folder / name) for name in ("fleet.pdf", "dark.pdf")]

    assert printed[0] == printed[1]
    assert "starts an hour" in " ".join(printed[0])
    assert all(name in " ".join(printed[0]) for name in ("K1", "K2", "OPEN FIRST"))


def words(file: Path) -> list[str]:
    """Return the words of a printed page."""
    return subprocess.run([need("pdftotext"), file, "-"], capture_output=True, text=True, check=True).stdout.split()


def test_fetches_nothing_and_complains_of_nothing(told: dict[str, Any]) -> None:
    """Catches a font or an icon from the network, and an error that only the console shows."""
    assert (told["console"], told["errors"], told["dialogs"]) == ([], [], [])
    assert [url for url in told["requests"] if not url.startswith(("file:", "data:"))] == []
