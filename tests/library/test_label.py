"""`lubetrip label`: one label is edited in library.toml, and nothing else."""

import datetime as dt
import shutil
import tomllib
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from replay.cli import main
from replay.ground.refusal import Refusal
from replay.ground.toml_files import read_toml
from replay.library import MustTrip, labels, read_library
from replay.library.labels import relabel
from replay.trace import read_trace
from tests.conftest import trace_csv
from tests.support.command import lubetrip

DAY = dt.date(2026, 11, 25)
FIXTURES = Path(__file__).parents[2] / "fixtures"
TEXT = """# The cold store's second room.
settings = "settings.toml"   # ours

[[trace]]  # the field return
id = "a"
file = "a.csv"
family = 'spelled otherwise'
ride_through = true          # by the book
machine = "granite"
oil = "still-68"
origin = "recorded: room 2"

# between the two

[[trace]]
id = "b"
file = "a.csv"
family = "f"
machine = "granite"
oil = "still-68"
origin = "recorded: room 2"
note = "heard a knock"
must_trip = { earliest_s = 10.0, deadline_s = 20.0 }
"""


@pytest.fixture
def room(tmp_path: Path) -> Path:
    """Return a library of two labels on one trace of 400 s."""
    (tmp_path / "library.toml").write_text(TEXT, encoding="utf-8")
    (tmp_path / "a.csv").write_text(trace_csv(400, lambda s: 120.0), encoding="utf-8")
    (tmp_path / "settings.toml").write_text("")
    return tmp_path


def test_a_label_is_of_the_library_as_it_is_while_nobody_else_changes_it(
    room: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a family whose traces, or a clock whose start, were read before the lock; and a second reading of it all."""
    read = []

    def noting(path: Path, what: str) -> object:
        read.append((room / ".lock").exists())
        return read_toml(path, what)

    monkeypatch.setattr(labels, "read_toml", noting)
    edits = relabel(room, [], "undecided", "J. Doe", "unclear", DAY, family="f")

    assert [edit.after.id for edit in edits] == ["b"]
    assert read == [True]


def test_only_the_label_and_the_note_change(room: Path) -> None:
    """Catches a comment, an order or a spelling that is lost, and an old label that stays beside the new one."""
    relabel(room, "a", MustTrip(100.0, 300.5), "J. Doe", "big end wiped", DAY)

    expected = TEXT.replace(
        "ride_through = true          # by the book",
        "must_trip = {earliest_s = 100.0, deadline_s = 300.5} # by the book",
    )
    expected = expected.replace(
        'origin = "recorded: room 2"\n\n# between',
        'origin = "recorded: room 2"\n'
        'labels = [\n{by = "J. Doe", on = 2026-11-25, must_trip = {earliest_s = 100.0, deadline_s = 300.5}},\n]\n'
        'note = "2026-11-25, J. Doe: must trip from 100 s to 300.5 s (was ride through): big end wiped"\n\n# between',
    )
    assert squeezed((room / "library.toml").read_text()) == squeezed(expected)
    assert read_library(room).entries[0].label == (MustTrip(100.0, 300.5),)


def test_several_windows_and_their_bands_are_put_in(room: Path) -> None:
    """Catches the second fault of a day, or what is known of a deadline, that `label` cannot say."""
    windows = ("--must-trip", "10", "20", "--must-trip", "2 min", "150", "--likely", "30", "--likely", "160")
    said = lubetrip("label", room, "a", *windows, "--latest", "100", "--latest", "500", "--by", "J. Doe")
    wanted = (MustTrip(10.0, 20.0, 30.0, 100.0), MustTrip(120.0, 150.0, 160.0, 500.0))

    assert (said.returncode, said.stderr) == (0, "")
    told = "must trip from 10 s to 20 s (likely 30 s, at the latest 100 s), then from 120 s to 150 s (likely 160 s"
    assert f"now {told}" in said.stdout
    entries = read_library(room).entries
    assert entries[0].label == wanted
    assert f"{told}, at the latest 500 s) (was ride through)" in entries[0].note
    assert "# by the book" in (room / "library.toml").read_text()
    relabel(room, "a", "undecided", "J. Doe", "unclear", DAY)
    assert relabel(room, "a", wanted, "J. Doe", "clear", DAY).after.label == wanted


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["--must-trip", "10", "20", "--likely", "15"], "likely_s = 15: earlier than deadline_s (20 s)"),
        (["--must-trip", "10", "20", "--likely", "25", "--likely", "26"], "--likely: given 2 times beside 1 of --must"),
        (["--must-trip", "10", "20", "--latest", "soon"], '--latest = "soon"'),
        (["--ride-through", "--latest", "50"], "--latest: given 1 times beside 0 of --must-trip"),
        (["--must-trip", "30", "40", "--must-trip", "10", "20"], "not behind the window before it, which ends at 40 s"),
        (["--must-trip", "10", "20", "--must-trip", "390", "401"], "outside the trace"),
        (["--must-trip", "10", "20", "--undecided"], "2 labels given"),
    ],
)
def test_a_band_or_windows_that_cannot_be_are_refused(given: list[str], said: str, room: Path) -> None:
    """Catches a band that goes to another window than it was said of, and a half-edited file."""
    before = (room / "library.toml").read_bytes()
    done = lubetrip("label", room, "a", *given)

    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr
    assert (room / "library.toml").read_bytes() == before


def squeezed(text: str) -> list[str]:
    """Return lines without the blanks that line comments up."""
    return [" ".join(line.split()) for line in text.splitlines()]


def test_each_edit_adds_its_line_to_the_note(room: Path) -> None:
    """Catches the word of an earlier inspector that is overwritten."""
    relabel(room, "b", "undecided", "J. Doe", "log cut short", DAY)
    edit = relabel(room, "b", "ride_through", "J. Doe", 'opened:\n "like new" \\ no wear', DAY)

    assert edit.before.label == "undecided"
    assert read_library(room).entries[1] == edit.after
    assert edit.after.note.splitlines() == [
        "heard a knock",
        "2026-11-25, J. Doe: undecided (was must trip from 10 s to 20 s): log cut short",
        '2026-11-25, J. Doe: ride through (was undecided): opened: "like new" \\ no wear',
    ]


def test_a_file_without_a_last_line_end_takes_a_note_too(room: Path) -> None:
    """Catches two keys on one line."""
    path = room / "library.toml"
    path.write_text(TEXT.replace('note = "heard a knock"\n', "").rstrip())
    assert relabel(room, "b", "ride_through", "J. Doe", "opened", DAY).after.label == "ride_through"


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_the_file_keeps_its_line_ends_and_its_mark(ending: str, mark: str, room: Path) -> None:
    """Catches a file of mixed line ends after an edit on another system than the one it came from."""
    path = room / "library.toml"
    path.write_bytes((mark + TEXT.replace("\n", ending)).encode())
    relabel(room, "a", "undecided", "J. Doe", "unclear", DAY)
    relabel(room, "b", "undecided", "J. Doe", "unclear", DAY)
    written = path.read_bytes().decode()

    assert written.startswith(mark + "# The cold")
    assert written.count("\n") == written.count(ending) == TEXT.count("\n") + 8
    assert [item.label for item in read_library(room).entries] == ["undecided"] * 2


WINDOWS = st.tuples(st.integers(0, 4000), st.integers(0, 4000)).map(
    lambda pair: MustTrip(*(t / 10 for t in sorted(pair)))
)
PLAIN = st.text(st.characters(blacklist_categories=["Cs", "Cc", "Zl", "Zp"]), min_size=1).filter(str.strip)


@pytest.mark.slow("simulates, scores or draws many traces")
@given(
    st.lists(
        st.tuples(st.sampled_from("ab"), WINDOWS | st.sampled_from(["ride_through", "undecided"]), PLAIN), max_size=4
    )
)
def test_whatever_was_said_before_the_last_word_counts(edits: list) -> None:
    """Catches any order of edits, or any text of a note, that breaks the file or changes another entry."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "library.toml").write_text(TEXT, encoding="utf-8")
        (folder / "a.csv").write_text(trace_csv(400, lambda s: 120.0), encoding="utf-8")
        (folder / "settings.toml").write_text("")
        wanted = tomllib.loads(TEXT)
        for identity, label, why in edits:
            relabel(folder, identity, label, "J. Doe", why, DAY)
            item = wanted["trace"]["ab".index(identity)]
            item["note"] = item.get("note", "") + "+"
            for key in ("must_trip", "ride_through", "undecided"):
                item.pop(key, None)
            word = {"must_trip": label.as_table()} if isinstance(label, MustTrip) else {label: True}
            item |= word | {"labels": [{"by": "J. Doe", "on": DAY} | word]}
        found = tomllib.loads((folder / "library.toml").read_text(encoding="utf-8"))

    for item, other in zip(found["trace"], wanted["trace"], strict=True):
        said = item.pop("note", "").split("\n")
        again = other.pop("note", "").count("+") + (item["id"] == "b")
        assert 1 <= len(said) <= max(1, again)  # the very word a second time adds no line
        assert item == other
    assert found["settings"] == wanted["settings"]


REFUSED = [
    ("aa", "undecided", "why", ["library.toml", '"aa"', "no trace of this id", "accepted: one such as a"]),
    ("a", MustTrip(-1.0, 20.0), "why", ["a.csv: --must-trip = -1", "outside the trace", "0 s to 400 s"]),
    ("a", MustTrip(10.0, 400.1), "why", ["--must-trip = 400.1", "outside the trace"]),
    ("a", MustTrip(float("nan"), 20.0), "why", ["--must-trip = nan", "outside the trace"]),
    ("a", MustTrip(30.0, 20.0), "why", ["--must-trip earliest_s = 30", "later than the deadline (20 s)"]),
    ("a", "undecided", " ", ["neither who labelled it nor why", "--note TEXT"]),
]


@pytest.mark.parametrize(("identity", "label", "why", "said"), REFUSED)
def test_what_is_refused_leaves_the_file_alone(
    identity: str, label: MustTrip | str, why: str, said: list[str], room: Path
) -> None:
    """Catches a label no replay could ever meet, a label without a reason, and one that lands on another trace."""
    with pytest.raises(Refusal) as refused:
        relabel(room, identity, label, "J. Doe", why, DAY)

    for part in said:
        assert part in str(refused.value)
    assert (room / "library.toml").read_text() == TEXT


def test_an_edit_that_gives_no_valid_library_is_not_written(room: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a file that is replaced before the whole of it was read again."""
    monkeypatch.setattr(labels, "_put_label", lambda table, _: table.update({"undecided": "perhaps"}))
    with pytest.raises(Refusal, match="state a label"):
        relabel(room, "a", "undecided", "J. Doe", "why", DAY)
    assert (room / "library.toml").read_text() == TEXT


def test_the_command_says_what_was_and_what_is(library: Path) -> None:
    """Catches an edit nobody can check by eye."""
    done = lubetrip("label", library, "fault", "--must-trip", "100", "4 min", "--note", "seen", "--by", "J. Doe")

    assert done.returncode == 0, done.stderr
    first, second = done.stdout.splitlines()
    assert first == "fault: was must trip from 100 s to 250 s, now must trip from 100 s to 240 s"
    assert second.endswith(", J. Doe: must trip from 100 s to 240 s (was must trip from 100 s to 250 s): seen")
    assert dt.date.fromisoformat(second.split(",")[0].strip())


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ((), "0 labels given"),
        (("--ride-through", "--undecided"), "2 labels given"),
        (("--ride-through", "--must-trip", "1", "2"), "2 labels given"),
        (("--must-trip", "1", "soon"), '"soon"'),
    ],
)
def test_one_label_is_wanted(options: tuple[str, ...], said: str, library: Path) -> None:
    """Catches a command that picks one of two labels."""
    done = CliRunner().invoke(main, ["label", str(library), "fault", *options, "--note", "x"])
    assert (done.exit_code, done.stdout) == (2, "")
    assert said in done.stderr


def test_an_edit_without_a_reason_says_so_in_the_note(library: Path) -> None:
    """Catches a label that looks as if somebody had given a reason for it."""
    done = CliRunner().invoke(main, ["label", str(library), "fault", "--undecided", "--by", "J. Doe"])
    assert done.exit_code == 0
    assert (
        read_library(library)
        .entries[0]
        .note.endswith("J. Doe: undecided (was " + "must trip from 100 s to 250 s): no reason given")
    )


def test_windows_of_the_demo_library_would_be_taken() -> None:
    """Catches a rule for windows that the labels made by physics do not keep."""
    for item in read_library(FIXTURES).entries:
        if item.windows:
            trace = read_trace(item.path)
            end_s = trace.seconds(int(trace.time_ms[-1]))
            for window in item.windows:
                assert trace.start_s <= window.earliest_s <= window.deadline_s <= end_s, item.id


def test_the_spelling_of_the_demo_library_survives(tmp_path: Path) -> None:
    """Catches a library of a hundred traces that is spelled anew for one label."""
    folder = Path(shutil.copytree(FIXTURES, tmp_path / "library"))
    before = (folder / "library.toml").read_text(encoding="utf-8").splitlines()
    identity = read_library(folder).entries[40].id
    relabel(folder, identity, "undecided", "J. Doe", "why", DAY)
    after = (folder / "library.toml").read_text(encoding="utf-8").splitlines()

    changed = [line for line in after if line not in before]
    assert changed == [
        line for line in changed if line.startswith(("undecided = ", "labels = [", "    {by", "]", "note = "))
    ]
    assert len(after) == len(before) + 4
