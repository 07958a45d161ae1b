"""The bench page of many traces in a real browser: the list stays a list, moves are undone, wrong fields are marked."""

from typing import Any

import pytest

from tests.conftest import SETTINGS, entry
from tests.support.bench_page import driven
from tests.support.command import lubetrip

pytestmark = pytest.mark.slow("runs a compiler, an emulator, another Python or a browser for each case")

MANY = 150
STEPS: list[tuple[str, tuple[Any, ...]]] = [
    ("on the skip link", ("tab",)),
    ("last", ("press", "[name=trace]:checked", ["ArrowUp"])),
    ("found", ("find", "t-14")),
    ("all", ("find", "")),
    ("skipped", ("press", ".skip", ["Enter"])),
    ("moved", ("type", "trip_delay", "30 s")),
    ("rested", ("pause", 700)),
    ("contradicted", ("type", "cut_in", "30 kPa")),
    ("rested again", ("pause", 700)),
    ("unmarked", ("type", "vacuum", "5 inHg")),
    ("misspelt", ("type", "cut_out", "7 PSI")),
    ("undone", ("click", "#undo")),
    ("undone twice", ("click", "#undo")),
    ("undone thrice", ("press", "#plot", ["Control+z"])),
    ("feet", ("type", "altitude", "130 ft")),
    ("higher", ("press", "#slider-altitude", ["ArrowRight"])),
    ("too high", ("type", "altitude", "130 km")),
    ("dark", ("scheme", "dark")),
    ("dark picture", ("picture", "1280-dark.png")),
    ("narrow", ("size", 390, 844)),
    ("narrow dark picture", ("picture", "390-dark.png")),
    ("light", ("scheme", "light")),
    ("narrow picture", ("picture", "390-light.png")),
]


@pytest.fixture(scope="module")
def states(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    """Return what the page showed after each step."""
    folder = tmp_path_factory.mktemp("many")
    library = folder / "library"
    library.mkdir()
    (library / "settings.toml").write_text(SETTINGS, encoding="utf-8")
    tables = ['settings = "settings.toml"\n']
    for number in range(MANY):
        rows = (
            f"{s},{420 + number * 0.37 + s * number % 7 * 0.1:.2f},{300 + s * (number + 1) % 11 * 0.1:.1f},1"
            for s in range(90)
        )
        (library / f"t-{number:03d}.csv").write_text(
            "time_s,oil_pressure_kpa,suction_pressure_kpa,running\n" + "\n".join(rows) + "\n", encoding="utf-8"
        )
        tables.append(entry(f"t-{number:03d}", "ride_through = true"))
    (library / "library.toml").write_text("".join(tables), encoding="utf-8")
    made = lubetrip("bench", library, "-o", folder / "bench.html")
    assert made.returncode == 0, made.stderr
    answer = driven(folder / "bench.html", folder, *(step for _, step in STEPS))
    assert answer["errors"] == []
    return dict(zip(["loaded", *(name for name, _ in STEPS)], answer["states"], strict=True))


def test_the_list_of_traces_does_not_grow_the_page(states: dict[str, dict[str, Any]]) -> None:
    """Catches hidden buttons of the list laid out below the page: 990 traces made it 58,526 px of blank paper."""
    assert len(states["loaded"]["outcomes"]) == MANY
    assert states["loaded"]["tall"] < 4000
    assert states["last"]["title"] == f"t-{MANY - 1:03d}"
    assert states["last"]["scrolled"] < 60


def test_the_skip_link_leads_past_the_traces(states: dict[str, dict[str, Any]]) -> None:
    """Catches a keyboard that has to walk through every trace to the settings."""
    assert states["on the skip link"]["focus"] == "A"
    assert states["skipped"]["focus"] == "settings"


def test_a_trace_is_found_by_part_of_its_id(states: dict[str, dict[str, Any]]) -> None:
    """Catches a list of a thousand that can only be scrolled."""
    assert [name for name, _, hidden in states["found"]["outcomes"] if not hidden] == [f"t-14{n}" for n in range(10)]
    assert not [name for name, _, hidden in states["all"]["outcomes"] if hidden]


def test_the_fields_that_are_wrong_are_marked(states: dict[str, dict[str, Any]]) -> None:
    """Catches a refusal whose field has to be looked for, and a suction value that is guessed."""
    assert states["moved"]["invalid"] == []
    assert states["contradicted"]["invalid"] == ["cut_out", "cut_in"]
    assert set(states["contradicted"]["wrong"]) == {"cut_out", "cut_in"}
    assert states["contradicted"]["described"] == ["cut_out", "cut_in"]
    assert states["contradicted"]["wrong"]["cut_in"] == states["contradicted"]["message"]
    assert states["undone thrice"]["wrong"] == {}
    assert "vacuum" in states["unmarked"]["invalid"]
    assert "5 inHg vac" in states["unmarked"]["message"]
    assert 'Did you mean "7 psi"?' in states["misspelt"]["message"]


def test_moves_are_undone_one_by_one(states: dict[str, dict[str, Any]]) -> None:
    """Catches an undo that forgets a field, and one that goes back to the file at once."""
    assert not states["loaded"]["undoes"]
    assert states["undone"]["texts"] == states["contradicted"]["texts"]
    assert states["undone"]["invalid"] == ["cut_out", "cut_in"]
    assert states["undone twice"]["texts"] == states["moved"]["texts"]
    assert states["undone thrice"]["texts"] == states["loaded"]["texts"]
    assert states["undone thrice"]["figures"] == states["loaded"]["figures"]
    assert not states["undone thrice"]["undoes"]


def test_an_altitude_is_shown_as_it_was_typed(states: dict[str, dict[str, Any]]) -> None:
    """Catches 130 ft that become 39.623999999999995 m."""
    assert states["feet"]["texts"]["altitude"] == "130 ft"
    assert 'altitude = "130 ft"' in states["feet"]["toml"]
    assert states["feet"]["message"] is None
    assert states["higher"]["texts"]["altitude"] == "160 ft"
    assert set(states["too high"]["wrong"]) == {"altitude"}


def test_light_and_dark_follow_the_reader_at_both_widths(states: dict[str, dict[str, Any]]) -> None:
    """Catches a white page at night, and a page that is cut at the width of a telephone."""
    assert states["loaded"]["paper"] == states["light"]["paper"] == "rgb(255, 255, 255)"
    assert states["light"]["inverted"] == "none" and "invert" in states["dark"]["inverted"]
    assert states["dark"]["paper"] == states["narrow"]["paper"] == "rgb(33, 33, 32)"
    assert {state["wide"] for state in states.values()} == {0}
