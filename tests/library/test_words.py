"""What reviewers say of a trace stands side by side; who differs leaves it undecided; who settles is named."""

import datetime as dt
import shutil
from pathlib import Path

import pytest

from replay.ground.refusal import Refusal
from replay.library import Entry, MustTrip, library_digest, read_library
from replay.library.agreement import agreements, is_unseen, rests
from replay.library.label import Label
from replay.library.labels import relabel
from replay.library.words import Word, agree, basis, in_force
from tests.conftest import trace_csv
from tests.support.command import lubetrip

DAY = dt.date(2026, 11, 25)
TEXT = """[[trace]]
id = "a"
file = "a.csv"
family = "f"
machine = "granite"
oil = "still-68"
origin = "recorded: room 2"
undecided = true   # not looked at
"""


@pytest.fixture
def room(tmp_path: Path) -> Path:
    """Return a library of one imported trace of 400 s."""
    (tmp_path / "library.toml").write_text(TEXT, encoding="utf-8")
    (tmp_path / "a.csv").write_text(trace_csv(400, lambda s: 120.0), encoding="utf-8")
    return tmp_path


def only(folder: Path) -> Entry:
    """Return the one entry of a library."""
    (entry,) = read_library(folder).entries
    return entry


def test_a_second_reviewer_overwrites_nobody(room: Path) -> None:
    """Catches the label of the first that is lost, and a trace that is judged though its reviewers differ."""
    relabel(room, "a", MustTrip(100.0, 200.0), "A. Smith", "heard a knock", DAY)
    edit = relabel(room, "a", "ride_through", "J. Doe", "opened", DAY + dt.timedelta(1), inspection="like new")
    entry = only(room)

    assert [(word.by, word.on, word.label) for word in entry.words] == [
        ("A. Smith", DAY, (MustTrip(100.0, 200.0),)),
        ("J. Doe", DAY + dt.timedelta(1), "ride_through"),
    ]
    assert (entry.label, entry.differ, edit.after) == ("undecided", True, entry)
    assert entry.note.splitlines() == [
        "2026-11-25, A. Smith: must trip from 100 s to 200 s (was undecided): heard a knock",
        "2026-11-26, J. Doe: ride through (was must trip from 100 s to 200 s; reviewers differ: undecided): opened;"
        " inspection: like new",
    ]
    assert "undecided = true   # not looked at" in (room / "library.toml").read_text()


def test_a_disagreement_ends_by_a_change_of_mind_or_by_a_word_that_settles_it(room: Path) -> None:
    """Catches a disagreement that cannot be ended, and one that ends by a third opinion nobody said was to settle it."""
    relabel(room, "a", "ride_through", "A. Smith", "why", DAY)
    relabel(room, "a", MustTrip(100.0, 200.0), "J. Doe", "why", DAY)
    relabel(room, "a", "ride_through", "J. Doe", "looked again", DAY)
    assert (only(room).label, only(room).basis) == ("ride_through", "two reviewers")

    relabel(room, "a", MustTrip(100.0, 200.0), "J. Doe", "and again", DAY)
    relabel(room, "a", MustTrip(100.0, 200.0), "C. Third", "majority", DAY)
    assert only(room).label == "undecided"
    relabel(room, "a", MustTrip(110.0, 190.0), "D. Chief", "opened it", DAY, inspection="wiped", settles=True)
    entry = only(room)
    assert (entry.label, entry.differ, entry.basis) == ((MustTrip(110.0, 190.0),), False, "inspection")
    assert [word.by for word in entry.words] == ["A. Smith", "J. Doe", "C. Third", "D. Chief"]
    assert "settles it" in entry.note.splitlines()[-1]
    relabel(room, "a", "ride_through", "A. Smith", "I insist", DAY)
    assert only(room).label == "undecided"


def test_of_windows_that_agree_what_they_have_in_common_is_in_force(room: Path) -> None:
    """Catches a stop that is right by one reviewer alone, and the later of two deadlines."""
    relabel(room, "a", MustTrip(100.0, 200.0, 260.0, 300.0), "A. Smith", "why", DAY)
    relabel(room, "a", MustTrip(110.0, 220.0, latest_s=250.0), "J. Doe", "why", DAY)
    assert only(room).label == (MustTrip(110.0, 200.0, 250.0, 250.0),)


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("ride_through", "ride_through", True),
        ("ride_through", "undecided", False),
        ((MustTrip(0.0, 100.0),), (MustTrip(50.0, 100.0),), True),  # half of what both cover
        ((MustTrip(0.0, 100.0),), (MustTrip(50.1, 100.0),), False),
        ((MustTrip(0.0, 100.0),), (MustTrip(101.0, 300.0),), False),
        ((MustTrip(7.0, 7.0),), (MustTrip(7.0, 7.0),), True),
        ((MustTrip(0.0, 100.0),), (MustTrip(0.0, 100.0), MustTrip(200.0, 300.0)), False),
        ((MustTrip(0.0, 100.0),), "ride_through", False),
        ((MustTrip(0.0, 100.0), MustTrip(200.0, 300.0)), (MustTrip(0.0, 100.0), MustTrip(240.0, 300.0)), True),
        ((MustTrip(0.0, 100.0), MustTrip(200.0, 300.0)), (MustTrip(0.0, 100.0), MustTrip(290.0, 390.0)), False),
    ],
)
def test_labels_agree_by_kind_and_by_shared_time(one: Label, other: Label, same: bool) -> None:
    """Catches another fault that is taken for the same, and a share of the shorter window alone."""
    assert agree(one, other) is same
    assert agree(other, one) is same


def test_of_three_who_agree_the_window_is_what_all_have_in_common() -> None:
    """Catches a window of the first two, or of the last."""
    windows = [MustTrip(0.0, 100.0), MustTrip(33.0, 133.0), MustTrip(0.0, 133.0)]
    words = [Word(str(n), DAY, (window,)) for n, window in enumerate(windows)]
    assert in_force(words) == (MustTrip(33.0, 100.0),)


def test_a_label_rests_on_those_alone_who_say_so() -> None:
    """Catches who was overruled counted as a second reviewer, or by an inspection that spoke against the label."""
    against = Word("a", DAY, "ride_through", inspection="like new")
    label = (MustTrip(0.0, 100.0),)
    one = Word("b", DAY, label, settles=True)
    alike = Word("c", DAY, (MustTrip(0.0, 90.0),))

    assert basis([against, one], label, "recorded: x") == "one reviewer"
    assert basis([against, one, alike], label, "recorded: x") == "two reviewers"
    assert basis([against, one], "ride_through", "recorded: x") == "inspection"
    assert basis([against], label, "recorded: x") == "nobody named"
    assert basis([against], label, "synthetic: x") == "physics"


def test_of_two_words_that_settle_the_last_one_does() -> None:
    """Catches a disagreement that goes on because an earlier word had settled it otherwise, and a word before it that counts."""
    first = Word("a", DAY, "ride_through", settles=True)
    other = Word("b", DAY, (MustTrip(0.0, 100.0),))
    last = Word("c", DAY, (MustTrip(0.0, 90.0),), settles=True)

    assert in_force([first, other, last]) == (MustTrip(0.0, 90.0),)
    assert in_force([other, first]) == "ride_through"
    assert in_force([first, other]) == "undecided"
    assert in_force([last, other]) == (MustTrip(0.0, 90.0),)


def test_a_label_that_its_reviewers_do_not_give_is_refused(room: Path) -> None:
    """Catches a label that was changed by hand beside what reviewers say, and one reviewer who is counted twice."""
    relabel(room, "a", "ride_through", "A. Smith", "why", DAY)
    path = room / "library.toml"
    good = path.read_text()
    path.write_text(good.replace("ride_through = true   #", "undecided = true   #"))
    with pytest.raises(Refusal, match="its label is undecided, but its reviewers' labels add up to: ride through"):
        read_library(room)
    line = next(line for line in good.splitlines() if "A. Smith" in line and line.startswith("    {"))
    path.write_text(good.replace(line, f"{line}\n{line}"))
    with pytest.raises(Refusal, match="has a label here already"):
        read_library(room)
    path.write_text(good.replace("on = 2026-11-25", 'on = "soon"'))
    with pytest.raises(Refusal, match=r"labels 1, on.*no date"):
        read_library(room)


def test_comments_between_words_stay(room: Path) -> None:
    """Catches a list of words that is spelled anew for one more."""
    relabel(room, "a", "ride_through", "A. Smith", "why", DAY)
    relabel(room, "a", "ride_through", "J. Doe", "why", DAY)
    path = room / "library.toml"
    lines = [line + "   # by phone" * ("J. Doe" in line and "{" in line) for line in path.read_text().splitlines()]
    path.write_text("\n".join(lines) + "\n")
    relabel(room, "a", "undecided", "A. Smith", "why", DAY)
    text = path.read_text()

    assert "# by phone" in text
    assert text.index("J. Doe") < text.index("A. Smith")  # in the order they were given
    assert only(room).label == "undecided"


def test_what_labels_rest_on_is_counted(room: Path) -> None:
    """Catches a label of one reviewer sold as that of two, and a label that nobody has put a name to as anybody's."""
    assert is_unseen(only(room))
    assert rests(read_library(room).entries) == dict.fromkeys(rests([]), 0)
    relabel(room, "a", "ride_through", "A. Smith", "why", DAY)
    assert not is_unseen(only(room))
    counts = {only(room).basis: 1}
    relabel(room, "a", "ride_through", "J. Doe", "why", DAY)
    counts |= {only(room).basis: 2}
    assert counts == {"one reviewer": 1, "two reviewers": 2}
    path = room / "library.toml"
    plain = path.read_text().split("labels = [")[0]
    path.write_text(plain)
    assert only(room).basis == "nobody named"
    path.write_text(plain.replace("recorded: room 2", "synthetic: seed 1, scenario a"))
    assert rests(read_library(room).entries)["physics"] == 1


def test_the_digest_of_a_library_knows_its_reviewers(room: Path) -> None:
    """Catches a record that says it holds though its labels rest on somebody else, and an old library read as another."""
    before = library_digest(read_library(room))
    relabel(room, "a", "undecided", "A. Smith", "why", DAY)
    one = library_digest(read_library(room))
    relabel(room, "a", "undecided", "J. Doe", "why", DAY)
    assert len({before, one, library_digest(read_library(room))}) == 3


def test_agreement_leaves_out_who_settles(room: Path) -> None:
    """Catches an agreement that is raised by somebody who knew what the others said, and pairs that are mixed up."""
    for name in "bcd":
        shutil.copy(room / "a.csv", room / f"{name}.csv")
    more = "".join(TEXT.replace('"a"', f'"{n}"').replace('"a.csv"', f'"{n}.csv"') for n in "bcd")
    (room / "library.toml").write_text(TEXT + more)
    for one, label, other in (
        ("a", "ride_through", "ride_through"),
        ("b", "ride_through", "undecided"),
        ("c", MustTrip(100.0, 200.0), MustTrip(100.0, 300.0)),
        ("d", "undecided", "undecided"),
    ):
        relabel(room, one, label, "Z. First", "why", DAY)
        relabel(room, one, other, "A. Second", "why", DAY)
    relabel(room, "b", "ride_through", "A. Chief", "why", DAY, settles=True)
    (pair,) = agreements(read_library(room).entries)

    assert (pair.first, pair.second, pair.traces, pair.alike) == ("A. Second", "Z. First", 4, 3)
    assert pair.counts == ((1, 0, 0), (0, 1, 0), (0, 1, 1))
    assert pair.overlaps == (0.5,)
    assert pair.kappa is not None and 0.6 < pair.kappa.value < 0.7  # 3/4 seen, 5/16 by chance: 7/11
    said = lubetrip("label", room, COLUMNS="160")
    assert said.returncode == 0, said.stderr
    assert "A. Second and Z. First" in said.stdout
    assert "0.64" in said.stdout
