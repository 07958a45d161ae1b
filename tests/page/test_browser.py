"""The bench page in a real browser, from a file: what a user moves, sees, copies and hears, and that nothing is fetched."""

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from replay.ground.units import atmosphere_pa
from replay.ground.wording import seconds, tenths
from replay.library import read_library
from replay.score import score
from replay.settings import read_settings
from tests.page.test_bench_page import HOSTILE, hostile_library
from tests.support.bench_page import FIXTURES, driven, page_text, some
from tests.support.command import lubetrip

pytestmark = pytest.mark.slow("runs a compiler, an emulator, another Python or a browser for each case")

# What the user does, in turn, and the name of what the page shows after it.
STEPS: list[tuple[str, tuple[Any, ...]]] = [
    ("tabbed", ("tabs", 14)),
    ("named", ("unnamed",)),
    ("slid", ("press", "#slider-trip_delay", ["PageUp", "PageUp", "PageUp", "ArrowLeft"])),
    ("stepped", ("press", "#text-cut_out", ["ArrowUp"])),
    ("typed", ("type", "trip_delay", "30 min")),
    ("clicked", ("click", "#copy")),
    ("pasted", ("paste",)),
    ("metric", ("click", "[name=system][value=kPa]")),
    ("wrong only", ("choose", "#show", "wrong")),
    ("other trace", ("press", "[name=trace]:checked", ["ArrowDown"])),
    ("pointed", ("hover", 0.4)),
    ("stepped in the plot", ("press", "#plot", ["Home", "ArrowRight", "ArrowRight"])),
    ("contradicted", ("type", "cut_in", "30 kPa")),
    ("misspelt", ("type", "cut_in", "30 furlongs")),
    ("best", ("click", "#best")),
    ("before the best", ("click", "#undo")),
    ("reset", ("click", "#reset")),
    ("all again", ("choose", "#show", "all")),
    *[(f"trace {number}", ("press", "[name=trace]:checked", ["ArrowDown"])) for number in range(17)],
    ("wide", ("picture", "1280.png")),
    ("narrow", ("size", 390, 844)),
    ("narrow picture", ("picture", "390.png")),
]


class Session(NamedTuple):
    """What the page showed after each step, what was told beside it, and the library."""

    states: dict[str, dict[str, Any]]
    told: dict[str, Any]
    library: Path


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Session:
    """Return what a user saw, did and heard; one browser for all tests."""
    folder = tmp_path_factory.mktemp("bench")
    library = folder / "library"
    (library / "traces").mkdir(parents=True)
    tables = ['settings = "settings.toml"\n']
    text = (FIXTURES / "library.toml").read_text(encoding="utf-8")
    for place in some(8).entries:
        shutil.copy(place.path, library / "traces")
        tables += [table for table in text.split("[[trace]]") if f'id = "{place.id}"' in table]
    (library / "library.toml").write_text("[[trace]]".join(tables), encoding="utf-8")
    shutil.copy(FIXTURES / "settings.toml", library)
    made = lubetrip("bench", library, "-o", folder / "bench.html")
    assert made.returncode == 0, made.stderr
    answer = driven(folder / "bench.html", folder, *(step for _, step in STEPS))
    states = dict(zip(["loaded", *(name for name, _ in STEPS)], answer.pop("states"), strict=True))
    return Session(states, answer, library)


def scored(library: Path, toml: str, folder: Path, by_command: bool) -> dict[str, Any]:
    """Return what `lubetrip score`, or the function behind it, says of the settings that the page shows."""
    shown = folder / "shown.toml"
    shown.write_text(toml, encoding="utf-8")
    if not by_command:
        return dict(json.loads(json.dumps(score(read_library(library), read_settings(shown)).as_json())))
    said = lubetrip("score", library, "--settings", shown, "--json", "-")
    assert said.returncode in (0, 1, 3), said.stderr
    return dict(json.loads(said.stdout))


@pytest.mark.outside(
    computation="WebAssembly module",
    source="a browser's engine",
    status="consulted",
    agreement="every verdict, as `lubetrip score` gives it",
)
@pytest.mark.parametrize("moment", ["loaded", "slid", "stepped", "typed"])
def test_the_verdict_follows_each_move_as_lubetrip_score_gives_it(
    moment: str, session: Session, tmp_path: Path
) -> None:
    """Catches a page that shows the score of other settings than its fields do, or judges by rules of its own."""
    shown = session.states[moment]
    wanted = scored(session.library, shown["toml"], tmp_path, by_command=moment == "typed")
    outcomes = {trace["id"]: trace["outcome"] for trace in (*wanted["traces"], *wanted["undecided"])}
    total = wanted["totals"]

    assert shown["verdict"] == wanted["acceptance"]["verdict"]
    assert {identity: words[2:].replace(" ", "_") for identity, words, _ in shown["outcomes"]} == outcomes
    figures = " ".join(shown["figures"])
    assert f"hit {total['hit']} of {total['must_trip']}" in figures
    assert f"missed {total['missed']}" in figures
    assert f"nuisance trips {total['nuisance_trips']}" in figures
    worst = total["worst_margin_s"]
    assert f"worst margin of hits {seconds(worst)}" in figures
    assert shown["digest"] == wanted["settings"]["digest"]
    assert [row[0] for row in shown["families"]] == sorted(wanted["families"])


@pytest.mark.parametrize("moment", ["loaded", "typed", "contradicted"])
def test_plain_laws_at_their_best_stand_beside_the_score(session: Session, moment: str, tmp_path: Path) -> None:
    """Catches a table that stays when settings move, that picks another point of a curve, or loses a margin."""
    shown, first = session.states[moment], session.states["loaded"]
    curves = scored(session.library, first["toml"], tmp_path, by_command=False)["comparators"]
    if moment == "contradicted":
        assert shown["plain"] == []
        return
    total = scored(session.library, shown["toml"], tmp_path, by_command=False)["totals"]
    own, *rows = shown["plain"]
    counts = [str(total["missed"]), str(total["nuisance_trips"])]
    assert own[4:] == [*counts, *(tenths(total[f"{name}_margin_s"]) for name in ("worst", "median"))]
    wanted = []
    for law in curves:
        quiet = [point for point in law["curve"] if point["missed"] <= total["missed"]][-1:]
        sure = [point for point in law["curve"] if point["nuisance_trips"] <= total["nuisance_trips"]][:1]
        for said, found in (("no more missed", quiet), ("no more trips", sure)):
            (point,) = found or [dict.fromkeys(POINT)]
            cells = ["-" if point[name] is None else write(point[name]) for name, write in POINT.items()]
            wanted.append([law["law"], said, *cells])
    assert rows == wanted


# The cells of a point, in the units that the page begins with.
POINT: dict[str, Callable[[Any], str]] = {
    "cut_out_pa": lambda pascals: f"{pascals / 6894.757293168361:.1f} psi",
    "delay_ms": lambda ms: f"{ms / 1000:g} s",
    **dict.fromkeys(("missed", "nuisance_trips"), str),
    **dict.fromkeys(("worst_margin_s", "median_margin_s"), tenths),
}


def test_a_longer_delay_changes_the_verdict_that_stood_there(session: Session) -> None:
    """Catches a test that compares one unchanging verdict with itself."""
    states = session.states

    assert states["loaded"]["verdict"] != "not met"
    assert states["typed"]["verdict"] == "not met"
    assert len({states[moment]["digest"] for moment in ("loaded", "slid", "stepped", "typed")}) == 4
    assert len({states[moment]["picture"] for moment in ("loaded", "slid", "stepped", "typed")}) == 4
    assert "(file: " in " ".join(states["typed"]["figures"])
    assert states["typed"]["outcome"].startswith("Missed")


@pytest.mark.outside(
    computation="SHA-256 of settings, logic, files",
    source="hashlib; the browser's own on the bench page",
    status="consulted",
    agreement="equal",
)
def test_copy_puts_a_complete_settings_file_on_the_clipboard(session: Session, tmp_path: Path) -> None:
    """Catches a copy that is cut off, lacks a section, or holds what the fields showed a moment before."""
    states, told, _ = session
    (tmp_path / "copied.toml").write_text(told["clipboard"], encoding="utf-8")
    read = read_settings(tmp_path / "copied.toml")

    assert told["clipboard"] == states["typed"]["toml"]
    assert read.values[3] == 30 * 60 * 1000
    assert read.digest == states["clicked"]["digest"]
    assert read.acceptance == read_settings(FIXTURES / "settings.toml").acceptance
    assert "Copied" in states["clicked"]["said"]


def test_contradictory_settings_are_refused_in_words_and_nothing_is_run(session: Session) -> None:
    """Catches a clamp in silence, a verdict of the settings before, and a file of bad settings offered for copying."""
    states = session.states
    for moment, words in (
        ("contradicted", "must be less than cut-in (30 kPa)"),
        ("misspelt", '"30 furlongs" is not understood'),
    ):
        shown = states[moment]
        assert words in shown["message"]
        assert shown["verdict"] == "not run, settings refused"
        assert shown["outcome"] == f"Not run: {shown['message']}"
        assert (shown["copies"], shown["toml"]) == (False, "")
    assert states["contradicted"]["texts"]["cut_in"] == "30 kPa"


def test_what_the_settings_of_the_file_do_stands_beside_those_that_are_tried(session: Session) -> None:
    """Catches a ghost of the settings before, one where nothing was moved, and one that only eyes see."""
    states = session.states

    assert states["loaded"]["ofFile"] is None
    assert not [word for word in states["loaded"]["drawn"] if "the file's settings" in word]
    assert states["typed"]["ofFile"] == f"With the settings of the file: {states['loaded']['outcome']}"
    assert [word for word in states["typed"]["drawn"] if "dashed grey: the file's settings" in word]
    assert states["reset"]["ofFile"] is None


def test_the_settings_with_the_best_score_are_kept_one_button_away(session: Session) -> None:
    """Catches a best that is the last, one that forgets what a bad try made of it, and a way back that cannot be undone."""
    states = session.states
    tried = [states[moment] for moment in ("loaded", "slid", "stepped", "typed")]
    ranks = [
        (shown["verdict"] == "not met", *re.findall(r"(?:missed|nuisance trips) (\d+)", " ".join(shown["figures"])))
        for shown in tried
    ]
    best = min(ranks)

    assert states["loaded"]["best"] is None
    assert states["loaded"]["bestTold"].startswith("Best so far, the settings of the file: acceptance ")
    assert tried[-1]["verdict"] == "not met"
    assert states["best"]["digest"] in {
        shown["digest"] for shown, rank in zip(tried, ranks, strict=True) if rank == best
    }
    assert f"missed {best[1]}, nuisance {best[2]}," in states["best"]["bestTold"]
    assert states["best"]["best"] is None
    assert states["best"]["texts"]["cut_in"].endswith("kPa")
    assert states["before the best"]["texts"] == states["misspelt"]["texts"]


def test_suction_is_drawn_as_a_gauge_on_the_machine_shows_it(session: Session) -> None:
    """Catches a suction axis in absolute pressure, which no gauge in the plant shows."""
    inches, metric = session.states["loaded"]["drawn"], session.states["metric"]["drawn"]

    assert "suction, psig and inHg vac, site at 40 m" in inches
    assert {"psia"} <= set(inches)
    assert [word for word in inches if word.endswith(" inHg")]
    assert "suction, kPa gauge, site at 40 m" in metric
    assert "kPa abs" in metric
    air = atmosphere_pa(40.0)
    ticks = session.states["loaded"]["gauge"]
    assert ticks["0"] == pytest.approx(air)
    assert ticks["10"] == pytest.approx(air + 68948, abs=1)
    assert ticks["10 inHg"] == pytest.approx(air - 33864, abs=1)
    assert session.states["metric"]["gauge"]["-40"] == pytest.approx(air - 40000)


def test_reset_brings_back_the_file(session: Session) -> None:
    """Catches a setting, a unit or a message that stays behind."""
    states = session.states

    for key in ("toml", "digest", "verdict", "texts", "sliders", "message", "families", "rules"):
        assert states["reset"][key] == states["loaded"][key], key


def test_changing_units_rewrites_texts_and_moves_no_verdict(session: Session) -> None:
    """Catches a switch that rounds the settings."""
    states = session.states

    assert states["loaded"]["texts"]["cut_in"] == "7.5 psi"
    assert states["metric"]["texts"]["cut_in"] == "51.711 kPa"
    assert states["metric"]["texts"]["vacuum"].endswith("kPa gauge")
    assert states["metric"]["digest"] == states["typed"]["digest"]


def test_the_list_shows_what_went_wrong_and_the_plot_is_read_by_pointer_and_keys(session: Session) -> None:
    """Catches a filter that hides the wrong ones, a trace that does not change, and a cursor that only a mouse moves."""
    states = session.states
    wrong = {
        identity for identity, words, _ in states["typed"]["outcomes"] if words[2:] in ("missed", "early", "nuisance")
    }

    assert wrong
    assert {identity for identity, _, hidden in states["wrong only"]["outcomes"] if not hidden} == wrong
    assert states["other trace"]["title"] != states["loaded"]["title"]
    assert states["pointed"]["readout"] != states["loaded"]["readout"]
    assert "net oil pressure" in states["pointed"]["readout"]
    assert states["stepped in the plot"]["readout"].startswith("1.0 s,")
    assert len(states["pointed"]["decisions"]) >= 1
    walked = [states[f"trace {number}"] for number in range(17)]
    assert {shown["title"] for shown in walked} == {identity for identity, _, _ in states["loaded"]["outcomes"]}
    assert {shown["outcome"].split(":")[0] for shown in walked} >= {"Hit", "Rode through"}


def test_works_by_keyboard_with_a_visible_focus_and_named_fields(session: Session) -> None:
    """Catches a field without a label, a control that Tab passes over, and a focus that cannot be seen."""
    told = session.told

    assert told["unnamed"] == []
    assert {"show", "trace", "plot", "system", "copy", "reset", "text-cut_out", "slider-cut_out"} <= {
        name for name, _ in told["tabs"]
    }
    assert all(visible for _, visible in told["tabs"])


def test_fetches_nothing_and_complains_of_nothing(session: Session) -> None:
    """Catches a font, a script or an icon from the network, and an error that only the console shows."""
    told = session.told

    assert [url for url in told["requests"] if not url.startswith(("file:", "data:"))] == []
    assert len([url for url in told["requests"] if url.startswith("file:")]) == 1
    assert (told["console"], told["errors"], told["dialogs"]) == ([], [], [])


def test_says_how_long_a_replay_took(session: Session) -> None:
    """Catches a page that does not replay when a setting moves: the time is printed, and only has to be one."""
    spent = [session.states[moment]["spentMs"] for moment in ("loaded", "slid", "stepped", "typed")]
    print(f"17 traces replayed and judged in the browser: {min(spent):.1f} ms to {max(spent):.1f} ms")  # noqa: T201

    assert all(milliseconds > 0 for milliseconds in spent)


def test_fits_a_desk_and_a_telephone(session: Session) -> None:
    """Catches a page that scrolls sideways."""
    states = session.states

    assert states["wide"]["wide"] <= 0
    assert states["narrow"]["wide"] <= 0


def test_texts_of_a_library_are_shown_as_text(tmp_path: Path) -> None:
    """Catches an id or a note that runs as a script or becomes an element."""
    hostile = hostile_library(tmp_path)
    out = tmp_path / "bench.html"
    out.write_text(page_text(read_library(hostile), hostile / "settings.toml"), encoding="utf-8")
    told = driven(out, tmp_path)
    shown = told["states"][0]

    assert shown["title"] == HOSTILE
    assert (shown["images"], told["dialogs"], told["errors"], told["console"]) == (0, [], [], [])
