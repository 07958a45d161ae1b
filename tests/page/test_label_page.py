"""The label page: what it holds, what it hides, and a reviewer at it in a real browser, by keyboard and by mouse."""

import json
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest

from replay.ground.refusal import Refusal
from replay.library import MustTrip, read_library
from replay.library.labels import relabel
from replay.machine import read_machine
from replay.machine.template import machine_template
from replay.page import labelling
from replay.page.labelling import queued, thinned, write_label_page
from replay.physics import MACHINES, OILS, REFRIGERANTS
from replay.physics.recorded import Assumed, RecordedBearings
from replay.trace import read_trace
from tests.conftest import trace_csv
from tests.page.test_bench_page import HOSTILE
from tests.support.command import lubetrip
from tests.support.label_page import FAULTY, embedded_labels, reviewed, room_to_label, unpacked

ASSUMED = Assumed(MACHINES["granite"], OILS["still-68"], REFRIGERANTS["R134a"])
pytestmark = pytest.mark.slow("compiles the bearings and runs a browser")


# ------------------------------------------------------------------------------------------------- what the page holds


def test_nothing_that_tells_the_label_stands_in_the_open(tmp_path: Path) -> None:
    """Catches a page on which family, note, another's label or the decisions can be read before a label is given."""
    folder = room_to_label(tmp_path)
    relabel(folder, "dip", MustTrip(310.0, 400.0), "A. Smith", "heard a knock")
    made = write_label_page(tmp_path / "out.html", folder, queue="all", who="J. Doe")

    for word in ("tells-the-label", "note-of-", "A. Smith", "knock", "recorded: cold store", "(oil)"):
        assert word not in made.text, word
    hidden = unpacked(embedded_labels(made.text)["traces"][0])
    assert hidden["told"]["family"] == "tells-the-label-fault"
    assert hidden["stops"][0] == [129.0, "oil"]


def test_queues_ask_for_what_is_left_to_say(tmp_path: Path) -> None:
    """Catches a reviewer who is asked twice, a second opinion from the first, a disagreement that nobody sees."""
    folder = room_to_label(tmp_path)
    ids = lambda queue, who="A. Smith": [entry.id for entry in queued(read_library(folder), queue, who)]  # noqa: E731
    assert ids("unlabelled") == ids("all") == ["fault", "quiet", "dip"]
    relabel(folder, "fault", "undecided", "A. Smith")
    relabel(folder, "quiet", "ride_through", "A. Smith")
    relabel(folder, "quiet", "undecided", "J. Doe")

    assert ids("unlabelled") == ids("all") == ["dip"]
    assert (ids("second"), ids("second", "J. Doe"), ids("all", "J. Doe")) == ([], ["fault"], ["fault", "dip"])
    assert ids("differ") == ["quiet"]
    settling = embedded_labels(write_label_page(tmp_path / "out.html", folder, queue="differ").text)["traces"]
    assert [len(trace["said"]) for trace in settling] == [2]
    relabel(folder, "dip", "undecided", "A. Smith")
    done = lubetrip("label", folder, "--page", tmp_path / "none.html")
    assert (done.returncode, "no trace is left to label" in done.stderr) == (2, True)
    assert not (tmp_path / "none.html").exists()


def test_a_page_may_ask_about_some_traces_alone(tmp_path: Path) -> None:
    """Catches a page of two events that asks about the whole year, and an id that is misspelt and passed over."""
    folder, page = room_to_label(tmp_path), tmp_path / "out.html"
    done = lubetrip("label", folder, "dip", "fault", "--page", page)
    assert (done.returncode, "2 traces" in done.stdout) == (0, True)
    assert [trace["id"] for trace in embedded_labels(page.read_text())["traces"]] == ["fault", "dip"]

    done = lubetrip("label", folder, "dop", "--page", tmp_path / "none.html")
    assert (done.returncode, 'ID = "dop": no such trace' in done.stderr) == (2, True)
    done = lubetrip("label", folder, "dip", "--undecided", "--page", tmp_path / "none.html")
    assert (done.returncode, "more than one way to label" in done.stderr) == (2, True)


def test_a_long_trace_is_thinned_to_its_extremes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a dip of one second, or a stop of one row, that is not drawn, and an edge that moves."""
    rows = trace_csv(9000, lambda s: 2.0 if s == 4321 else 120.0).splitlines()
    rows[5001] = rows[5001][:-1] + "0"
    (tmp_path / "t.csv").write_text("\n".join(rows) + "\n")
    trace = read_trace(tmp_path / "t.csv")
    monkeypatch.setattr(labelling, "MOST_ROWS", 600)
    curves = thinned(trace, RecordedBearings(ASSUMED), 30_000)
    time, net, running = (np.cumsum(column) for column in (curves.time_ms, curves.net, curves.running))

    assert 300 < len(time) <= 1200
    assert (time[0], time[-1], net.min(), net.max()) == (0, 9_000_000, 2000, 120_000)
    assert time[net.argmin()] == 4_321_000
    assert time[np.flatnonzero(running == 0)].tolist() == [5_000_000]
    assert curves.below == [[4321.0, 4322.0]]


def test_a_trace_in_pieces_is_the_same(tmp_path: Path) -> None:
    """Catches a film that is whole again, or a spell below the floor that ends, where a piece of a long log begins."""

    class InPieces:
        def __init__(self, size: int) -> None:
            self.size = size

        def pieces(self) -> Any:
            whole = read_trace(tmp_path / "fault.csv")
            for begin in range(0, len(whole), self.size):
                parts = {
                    name: getattr(whole, name)[begin : begin + self.size]
                    for name in ("time_ms", "oil_pa", "suction_pa", "crankcase_pa", "running", "reset")
                }
                yield type(whole)(whole.name, whole.start_s, **parts)

    room_to_label(tmp_path)
    driven = [RecordedBearings(ASSUMED) for _ in range(2)]
    sizes = zip((1000, 7), driven, strict=True)
    whole, parts = (thinned(InPieces(size), bearings, 30_000) for size, bearings in sizes)  # type: ignore[arg-type]
    assert whole == parts
    assert driven[0].damage == driven[1].damage
    assert whole.below == [[float(second) for second in FAULTY]]


def test_journals_are_those_of_the_machine_file_and_of_its_ensemble(tmp_path: Path) -> None:
    """Catches a machine file that is read and not used, and one member told for all of them."""
    folder = room_to_label(tmp_path)
    text = machine_template()
    lasting, short = (f'\n[[ensemble]]\n"behaviour.wipe_time_s" = {seconds}.0\n' for seconds in (6, 2))
    told = {}
    for name, members in {"plain": "", "lasting": lasting, "both": lasting + short, "short": short}.items():
        (tmp_path / f"{name}.toml").write_text(text + members)
        made = write_label_page(tmp_path / "out.html", folder, machine=read_machine(tmp_path / f"{name}.toml"))
        traces = embedded_labels(made.text)["traces"]
        told[name] = traces[0]["journal"], unpacked(traces[0])["spells"][0]["spoilt"]

    assert "members" not in told["plain"][0]
    assert told["both"][0] == "By the machine file of rack 2: 2 members of its ensemble."
    assert told["both"][1][0] == told["short"][1][0] < told["lasting"][1][0]
    assert told["both"][1][2] == told["lasting"][1][2]


def test_a_page_that_cannot_be_written_is_refused_before_the_work(tmp_path: Path) -> None:
    """Catches a page that is lost after a thousand traces."""
    with pytest.raises(Refusal):
        write_label_page(tmp_path / "nowhere" / "out.html", room_to_label(tmp_path))


# -------------------------------------------------------------------------------------------------- a reviewer at it

# What the reviewer does, in turn, and the name of what the page shows after it.
STEPS: list[tuple[str, tuple[Any, ...]]] = [
    ("nameless", ("key", "r")),
    ("named", ("type", "#by", "A. Smith")),
    ("unmarked", ("key", "m")),
    ("dragged", ("drag", 110, 380)),
    ("taken by its edge", ("drag", 380, 420)),
    ("pointed", ("hover", 250)),
    ("zoomed", ("key", "+", "+")),
    ("zoomed by wheel", ("wheel", 250, 300)),
    ("moved", ("drag", 250, 270, "Shift")),
    ("whole", ("key", "0")),
    ("noted", ("type", "#note", "no oil pressure,\nand it ran")),
    ("given", ("key", "m")),
    ("given picture", ("picture", "1280.png")),
    ("dark", ("dark", "dark")),
    ("dark picture", ("picture", "dark.png")),
    ("given again", ("key", "m")),
    ("next", ("key", "n")),
    ("clicked", ("click", "#ride_through")),
    ("found", ("type", "#inspection", "opened: like new")),
    ("undone", ("key", "z")),
    ("done", ("key", "r")),
    ("third", ("click", "#next")),
    ("walked", ("press", "#plot", "Home", "ArrowRight", "ArrowRight")),
    ("begun by key", ("key", "[")),
    ("typed by the clock", ("type", "#deadline-0", "02:55:30")),
    ("misspelt", ("type", "#latest-0", "soon")),
    ("cleared", ("key", "x")),
    ("typed", ("type", "#by", "A. Smith")),
    ("last", ("key", "n")),
    ("undecided", ("click", "#undecided")),
    ("back", ("key", "b", "b")),
    ("saved", ("save", "#save")),
    ("reloaded", ("reload",)),
    ("first again", ("click", "#list label:first-child")),
    ("narrow", ("size", 390, 844)),
    ("narrow mouse", ("drag", 200, 500)),
    ("narrow key", ("key", "m")),
    ("narrow picture", ("picture", "390.png")),
    ("light", ("dark", "light")),
    ("saved by key", ("save",)),
    ("tabbed", ("tabs", 34)),
    ("named fields", ("unnamed",)),
]


class Session(NamedTuple):
    """What the page showed after each step, what was told beside it, and the library."""

    states: dict[str, dict[str, Any]]
    told: dict[str, Any]
    library: Path


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Session:
    """Return what a reviewer saw and did; one browser for all tests."""
    folder = tmp_path_factory.mktemp("label")
    library = room_to_label(folder)
    made = lubetrip("label", library, "--page", folder / "label.html")
    assert made.returncode == 0, made.stderr
    answer = reviewed(folder / "label.html", folder, *(step for _, step in STEPS))
    states = dict(zip(["loaded", *(name for name, _ in STEPS)], answer.pop("states"), strict=True))
    return Session(states, answer, library)


def test_a_label_has_a_name_and_a_window(session: Session) -> None:
    """Catches a label of nobody, and a must-trip trace without a window, given by a slip of the finger."""
    states = session.states
    assert "Enter your name first" in states["nameless"]["message"]
    assert states["nameless"]["focus"] == "by"
    assert "Mark a window first" in states["unmarked"]["message"]
    assert states["unmarked"]["progress"] == "0 of 3 labelled"


def test_the_decisions_are_hidden_until_a_label_is_given(session: Session) -> None:
    """Catches a reviewer who is told by the very logic that is judged by the label."""
    states = session.states
    for moment in ("loaded", "dragged", "whole", "noted", "next", "undone"):
        shown = states[moment]
        assert (shown["decisions"], "logic" in shown["lanes"]) == (None, False), moment
        assert "tells-the-label" not in shown["body"]
        assert "Hidden until a label is given." in shown["body"]
    for moment in ("given", "clicked", "done"):
        shown = states[moment]
        assert "logic" in shown["lanes"]
        assert "tells-the-label" in shown["decisions"]
        assert "note-of-" in shown["decisions"]
    assert "stop at 129.0 s (oil)" in states["given"]["decisions"]
    assert "no stop" in states["clicked"]["decisions"]


def test_a_window_is_dragged_on_the_curve_and_taken_by_its_edge(session: Session) -> None:
    """Catches a drag that lands elsewhere than the pointer, and a second drag that begins a window anew."""
    states = session.states
    (dragged,), (moved,) = states["dragged"]["windows"], states["taken by its edge"]["windows"]
    assert dragged["earliest"] == pytest.approx(110, abs=2)
    assert dragged["deadline"] == pytest.approx(380, abs=2)
    assert moved["earliest"] == dragged["earliest"]
    assert moved["deadline"] == pytest.approx(420, abs=2)
    assert states["given"]["given"].startswith(f"Yours: must trip from {moved['earliest']:.1f} s to")


def test_the_view_is_zoomed_and_moved(session: Session) -> None:
    """Catches a zoom that loses the place looked at, a view beyond the trace, a drag with Shift that marks a window."""
    views = {name: shown["view"] for name, shown in session.states.items()}
    spans = {name: view["to"] - view["from"] for name, view in views.items()}
    assert spans["zoomed"] == pytest.approx(900 / 4)
    assert views["zoomed"]["from"] < 250 < views["zoomed"]["to"]
    assert spans["zoomed by wheel"] == pytest.approx(1.25 * 900 / 4)
    assert spans["moved"] == pytest.approx(spans["zoomed by wheel"])
    assert views["zoomed by wheel"]["from"] - views["moved"]["from"] == pytest.approx(20, abs=2)
    assert session.states["moved"]["windows"] == session.states["taken by its edge"]["windows"]
    assert views["whole"] == {"from": 0, "to": 900}
    assert all(0 <= view["from"] < view["to"] <= 900 for view in views.values())


def test_a_number_stands_beside_the_deadline(session: Session) -> None:
    """Catches a deadline that is guessed, and a bearing that is taken for the one that was logged."""
    shown = session.states["pointed"]
    below = float(shown["film"].split("for ")[1].split(" s")[0])
    percents = [int(part.split()[-1]) for part in shown["film"].split(" %")[:3]]

    assert shown["readout"].startswith("25")
    assert "running" in shown["readout"]
    assert "psig" in shown["readout"]
    assert below == pytest.approx(150, abs=3)
    assert 0 < percents[0] <= percents[1] <= percents[2] < 100
    ((pessimistic, likely, lasting),) = (spell["spoilt"] for spell in shown["spells"])
    assert FAULTY[0] < pessimistic < likely < lasting < FAULTY[1]
    assert f"A stop is too late from {pessimistic:.1f} s pessimistic" in shown["film"]
    assert "Assumed: machine granite, still-68, R134a." in shown["film"]


def test_times_are_typed_by_the_clock_and_marked_by_key(session: Session) -> None:
    """Catches a window that only a mouse can mark, a clock of another zone, and a time nobody can read taken for none."""
    states = session.states
    assert "began 2026-10-25 02:50:00 (Europe/Oslo)" in states["third"]["about"]
    assert states["begun by key"]["windows"][0]["earliest"] == 2
    assert states["typed by the clock"]["windows"][0]["deadline"] == 330
    assert states["typed by the clock"]["clock"] == "by the clock 02:50:02 to 02:55:30"
    assert '"soon" is not a time' in states["misspelt"]["message"]
    assert states["misspelt"]["windows"][0]["latest"] is None
    assert states["cleared"]["fields"] == {}


def test_undo_takes_back_the_last_word_alone(session: Session) -> None:
    """Catches an undo that forgets the label before, or takes back what was said of another trace."""
    states = session.states
    assert dict(states["clicked"]["list"])["quiet"] == "✓ ride through"
    assert dict(states["undone"]["list"]) == {"fault": "✓ must trip", "quiet": "no label", "dip": "no label"}
    assert states["undone"]["given"] == "Not labelled yet."


def test_the_last_trace_is_said_to_be_the_last(session: Session) -> None:
    """Catches a queue that goes on to nothing."""
    assert "This is the last trace." in session.states["last"]["message"]
    assert session.states["last"]["title"] == "dip"
    assert session.states["back"]["title"] == "fault"


def test_what_was_said_goes_into_a_file_that_label_takes_over(session: Session) -> None:
    """Catches a word, a note, a finding or that decisions had been seen, lost on the way into the library."""
    first, second = (json.loads(Path(file).read_text()) for file in session.told["saved"])
    labels = {label["id"]: label for label in first["labels"]}
    (window,) = session.states["taken by its edge"]["windows"]

    assert first["by"] == "A. Smith"
    assert labels["fault"]["must_trip"] == [{"earliest_s": window["earliest"], "deadline_s": window["deadline"]}]
    assert labels["fault"]["note"] == "no oil pressure,\nand it ran"
    assert [labels[name]["seen"] for name in ("fault", "quiet", "dip")] == [True, True, False]
    assert labels["quiet"]["inspection"] == "opened: like new"
    assert labels["dip"]["undecided"] is True
    again = {label["id"]: label for label in second["labels"]}
    assert again["fault"]["must_trip"][0]["deadline_s"] == pytest.approx(500, abs=8)
    taken = lubetrip("label", session.library, "--from", session.told["saved"][0])
    assert (taken.returncode, taken.stderr) == (0, "")
    fault, quiet, dip = read_library(session.library).entries
    assert fault.label == (MustTrip(window["earliest"], window["deadline"]),)
    assert "A. Smith: must trip from" in fault.note
    assert "no oil pressure, and it ran; given when the decisions of the logic had been seen" in fault.note
    assert (quiet.label, quiet.basis, dip.label, dip.words[0].by) == (
        "ride_through",
        "inspection",
        "undecided",
        "A. Smith",
    )


def test_labels_outlive_the_page(session: Session) -> None:
    """Catches an hour of labels that is gone with a closed window."""
    assert "3 labels from before were kept in this browser" in session.states["reloaded"]["kept"]
    assert session.states["reloaded"]["list"] == session.states["saved"]["list"]
    assert session.states["first again"]["given"] == session.states["given"]["given"]


def test_fits_a_desk_and_a_telephone_by_day_and_by_night(session: Session) -> None:
    """Catches a page that scrolls sideways, a window that cannot be dragged on a telephone, a plot that stays white."""
    states = session.states
    assert [shown["wide"] for shown in states.values() if shown["wide"] > 0] == []
    assert states["narrow mouse"]["windows"][0]["deadline"] == pytest.approx(500, abs=8)
    assert "must trip from" in states["narrow key"]["given"]
    assert max(states["dark"]["paper"]) < 60
    assert max(states["narrow picture"]["paper"]) < 60
    assert min(states["given picture"]["paper"]) > 240
    assert min(states["light"]["paper"]) > 240


def test_works_by_keyboard_with_a_visible_focus_and_named_fields(session: Session) -> None:
    """Catches a field without a label, a control that Tab passes over, and a focus that cannot be seen."""
    told = session.told
    assert told["unnamed"] == []
    assert {"by", "save", "trace", "plot", "system", "begin", "fill", "note", "must_trip", "next"} <= {
        name for name, _ in told["tabs"]
    }
    assert all(visible for name, visible in told["tabs"] if name)


def test_fetches_nothing_and_complains_of_nothing(session: Session) -> None:
    """Catches a font or a script from the network, and an error that only the console shows."""
    told = session.told
    assert [url for url in told["requests"] if not url.startswith(("file:", "data:", "blob:"))] == []
    assert (told["console"], told["errors"]) == ([], [])


def test_the_band_of_the_film_and_several_windows(tmp_path: Path) -> None:
    """Catches a band in another order, windows that overlap, and a disagreement whose words nobody can read."""
    folder = room_to_label(tmp_path)
    relabel(folder, "fault", "ride_through", "B. Before")
    relabel(folder, "fault", "undecided", "C. Other")
    write_label_page(tmp_path / "out.html", folder, queue="differ", who="D. Chief")
    steps = [
        ("key", "f"),
        ("key", "a"),
        ("type", "#earliest-1", "300"),
        ("type", "#deadline-1", "12 min"),
        ("key", "m"),
    ]
    steps += [("type", "#earliest-1", "720"), ("key", "m"), ("save",)]
    told = reviewed(tmp_path / "out.html", tmp_path, *steps)
    first, filled, *_, overlapping, _, given, _ = told["states"]

    assert "B. Before" in first["said"]
    assert "C. Other" in first["said"]
    (spell,) = filled["spells"]
    (window,) = filled["windows"]
    assert [window["deadline"], window["likely"], window["latest"]] == spell["spoilt"]
    assert window["earliest"] == spell["from"]
    assert "Windows must not overlap" in overlapping["message"]
    assert "then from 720.0 s to 720.0 s" in given["given"]
    taken = lubetrip("label", folder, "--from", told["saved"][0])
    assert (taken.returncode, taken.stderr) == (0, "")
    (entry, *_) = read_library(folder).entries
    assert [w.deadline_s for w in entry.windows] == [window["deadline"], 720.0]
    assert (entry.differ, entry.words[-1].settles, len(entry.words)) == (False, True, 3)


def test_texts_of_a_library_are_shown_as_text(tmp_path: Path) -> None:
    """Catches an id that runs as a script or becomes an element."""
    folder = room_to_label(tmp_path, HOSTILE)
    write_label_page(tmp_path / "out.html", folder, who=HOSTILE)
    told = reviewed(tmp_path / "out.html", tmp_path, ("key", "b"), ("click", "#list label:last-child"), ("key", "r"))

    assert told["states"][-1]["title"] == HOSTILE
    assert (told["states"][-1]["images"], told["dialogs"], told["errors"], told["console"]) == (0, [], [], [])
