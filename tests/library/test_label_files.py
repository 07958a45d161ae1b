"""Labels of many traces at once: by family, from a table, from what the label page gave out, by the clock on the wall."""

import json
from pathlib import Path
from typing import Any

import filelock
import pytest

from replay.ground import lock
from replay.library import MustTrip, read_library
from replay.library.digest import sha256_of
from replay.library.label_files import SCHEMA
from tests.conftest import trace_csv
from tests.support.command import lubetrip

ENTRY = """[[trace]]
id = "{0}"
file = "{0}.csv"
family = "{1}"
machine = "granite"
oil = "still-68"
origin = "recorded: room 2"
undecided = true   # {0}
"""
CLOCK = 'start_utc = 2026-10-24T22:30:00Z\nzone = "Europe/Oslo"\n'  # 00:30 there; clocks go back at 03:00, two hours on


@pytest.fixture
def room(tmp_path: Path) -> Path:
    """Return a library of three imported traces, of which the second says when it began; each begins at 50 s."""
    text = "# ours\n" + ENTRY.format("a", "f") + ENTRY.format("b", "f") + CLOCK + ENTRY.format("c", "g")
    (tmp_path / "library.toml").write_text(text, encoding="utf-8")
    for name, end_s in (("a", 400), ("b", 12_000), ("c", 400)):
        rows = trace_csv(end_s, lambda s: 120.0).splitlines()
        moved = [f"{50 + float(time):g},{rest}" for time, rest in (row.split(",", 1) for row in rows[1:])]
        (tmp_path / f"{name}.csv").write_text("\n".join([rows[0], *moved]) + "\n")
    return tmp_path


def labels(folder: Path) -> dict[str, Any]:
    """Return the label of each trace."""
    return {entry.id: entry.label for entry in read_library(folder).entries}


def test_a_family_is_labelled_at_once(room: Path) -> None:
    """Catches a label that lands on other families, and a reason that stands at one of them alone."""
    done = lubetrip("label", room, "--family", "f", "--ride-through", "--note", "all came home", "--by", "J. Doe")

    assert (done.returncode, done.stderr) == (0, "")
    assert labels(room) == {"a": "ride_through", "b": "ride_through", "c": "undecided"}
    assert [entry.note[-13:] for entry in read_library(room).entries] == ["all came home", "all came home", ""]
    assert (room / "library.toml").read_text().startswith("# ours\n[[trace]]\n")
    wrong = lubetrip("label", room, "--family", "h", "--undecided")
    assert (wrong.returncode, "no trace of this family; accepted: one of f, g" in wrong.stderr) == (2, True)


@pytest.mark.parametrize(
    ("begin", "end", "window"),
    [
        ("50", "2 min", (50.0, 120.0)),
        ("2026-10-25 00:30:00", "2026-10-25 00:31", (50.0, 110.0)),
        ("00:30:10", "2026-10-24T22:30:30Z", (60.0, 80.0)),
        ("2026-10-25T02:10:00+02:00", "2026-10-25T02:10:00+01:00", (6050.0, 9650.0)),
    ],
)
def test_a_window_is_told_by_the_clock_on_the_wall(
    begin: str, end: str, window: tuple[float, float], room: Path
) -> None:
    """Catches a trace's own time that is taken to begin at 0, a zone that is left out, and summer time."""
    done = lubetrip("label", room, "b", "--must-trip", begin, end, "--by", "J. Doe")
    assert (done.returncode, done.stderr) == (0, "")
    assert labels(room)["b"] == (MustTrip(*window),)


@pytest.mark.parametrize(
    ("identity", "time", "said"),
    [
        ("a", "00:31:00", "a does not say when it began"),
        ("b", "02:30:00", "it shows this twice or never"),
        ("b", "2026-10-25 23:00:00", "outside the trace"),
        ("b", "soon", '"soon"'),
    ],
)
def test_a_time_that_cannot_be_told_is_refused(identity: str, time: str, said: str, room: Path) -> None:
    """Catches the hour that comes twice taken for the first, and a day that the trace does not have."""
    done = lubetrip("label", room, identity, "--must-trip", "50", time)
    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr


TABLE = """id,label,earliest,deadline,latest,note,inspection,by,on
b,must trip,00:31:00,00:35:00,,first,,,
b,must trip,2000,2100,2500,,,,
a,Ride-through,,,,"came home, whole",like new,A. Smith,2026-11-20
c,undecided,,,,,,,
"""


def test_a_table_labels_many_traces(room: Path) -> None:
    """Catches a column that goes astray, a second window that replaces the first, a name or a day that is lost."""
    (room / "table.csv").write_text("\ufeff" + TABLE, encoding="utf-8")
    done = lubetrip("label", room, "--from", room / "table.csv", "--by", "J. Doe")

    assert (done.returncode, done.stderr) == (0, "")
    assert labels(room) == {
        "a": "ride_through",
        "b": (MustTrip(110.0, 350.0), MustTrip(2000.0, 2100.0, latest_s=2500.0)),
        "c": "undecided",
    }
    first = read_library(room).entries[0]
    assert [(word.by, word.on.isoformat(), word.inspection) for word in first.words] == [
        ("A. Smith", "2026-11-20", "like new")
    ]
    assert first.note.endswith("came home, whole; inspection: like new")
    before = (room / "library.toml").read_text()
    again = lubetrip("label", room, "--from", room / "table.csv", "--by", "J. Doe")
    assert again.stdout.strip().endswith("0 labels taken in, 3 there already")
    assert (room / "library.toml").read_text() == before
    assert before.count("   # ") == 3


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("id,label\na,perhaps\n", 'table.csv:2: label = "perhaps": no such label'),
        ("id,label\nz,undecided\n", "no trace of this id"),
        ("id,label\na,must trip\n", "table.csv:2: earliest: a window without it"),
        ("id,label,earliest,deadline\na,must trip,60,90\na,ride through,,\n", "table.csv:3: id"),
        ("id,label,deadline\na,ride through,90\n", "a time of a trace that is ride through"),
        ("id,label,earliest,deadline\na,undecided,,\nc,must trip,60,900\n", "outside the trace"),
        ("id,label,earliest,deadline\na,must trip,90,60\n", "table.csv:2: --must-trip earliest_s = 90"),
        ("id,label,colour\na,undecided,red\n", 'header = "colour": no such column'),
        ("id\na\n", "no column label"),
        ("id,label,on\na,undecided,soon\n", 'on = "soon": no date'),
        ("id,label\na,undecided,more\n", "more cells than heads"),
    ],
)
def test_a_table_with_one_wrong_row_changes_nothing(table: str, said: str, room: Path) -> None:
    """Catches half a table that is taken over, and a row that cannot be found again."""
    (room / "table.csv").write_text(table)
    before = (room / "library.toml").read_text()
    done = lubetrip("label", room, "--from", room / "table.csv", "--by", "J. Doe")

    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr
    assert (room / "library.toml").read_text() == before


def page_file(folder: Path, **changed: Any) -> Path:
    """Write what a label page gives out: one label, changed as asked for."""
    told = {"id": "a", "sha256": sha256_of(folder / "a.csv"), "on": "2026-11-20", "ride_through": True}
    told |= {"note": "why", "inspection": "", "settles": False, "seen": True} | changed
    found = {"schema": SCHEMA, "by": "A. Smith", "labels": [{k: v for k, v in told.items() if v is not None}]}
    (folder / "out.json").write_text(json.dumps(found))
    return folder / "out.json"


def test_what_a_page_gave_out_is_taken_over(room: Path) -> None:
    """Catches a name, a day, or that the decisions had been seen, left on the way."""
    done = lubetrip("label", room, "--from", page_file(room))
    assert (done.returncode, done.stderr) == (0, "")
    (entry, *_) = read_library(room).entries
    assert entry.note == (
        "2026-11-20, A. Smith: ride through (was undecided): why; given when the decisions of the logic had been seen"
    )
    assert (entry.label, entry.basis) == ("ride_through", "one reviewer")


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"sha256": "0" * 64}, "has other content than the trace that was labelled"),
        ({"id": "z"}, "no trace of this id"),
        ({"undecided": True}, "2 labels (ride_through, undecided)"),
        ({"ride_through": None, "must_trip": [{"earliest_s": 60, "deadline_s": 9000}]}, "outside the trace"),
        ({"colour": "red"}, "unknown key"),
        ({"on": "soon"}, "no date"),
    ],
)
def test_a_label_of_other_readings_or_of_no_form_is_refused(changed: dict[str, Any], said: str, room: Path) -> None:
    """Catches a label that lands on readings that nobody looked at."""
    before = (room / "library.toml").read_text()
    done = lubetrip("label", room, "--from", page_file(room, **changed))
    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr
    assert (room / "library.toml").read_text() == before


def test_labels_wait_for_an_import_that_is_going_on(room: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches labels that are written while an import enters its traces."""
    from replay.ground.refusal import Refusal
    from replay.library.label_files import read_labels
    from replay.library.labels import give_labels

    monkeypatch.setattr(lock, "PATIENCE_S", 0.1)
    said = read_labels(page_file(room), read_library(room), None, None)  # type: ignore[arg-type] # the file says when
    with filelock.FileLock(room / ".lock"), pytest.raises(Refusal, match="another command has been changing"):
        give_labels(room, said)


def test_more_than_one_way_is_refused(room: Path) -> None:
    """Catches a file that is passed over for a label on the command line."""
    done = lubetrip("label", room, "a", "--undecided", "--from", page_file(room))
    assert (done.returncode, "more than one way to label" in done.stderr) == (2, True)
