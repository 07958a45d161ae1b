"""The library reader: entries and labels, and that a library is data which leads nowhere outside its folder."""

import hashlib
from pathlib import Path

import pytest

from replay.ground.refusal import Refusal
from replay.library import MustTrip, find_entry, label_text, library_digest, read_library
from tests.conftest import entry

RIDE = "ride_through = true"


def write(folder: Path, text: str) -> Path:
    """Write library.toml and the trace file that entries name by default."""
    (folder / "library.toml").write_text(text, encoding="utf-8")
    (folder / "a.csv").write_text("", encoding="utf-8")
    return folder


def test_entries_keep_their_order_and_labels(tmp_path: Path) -> None:
    """Catches a label read as another, or an order that depends on anything but the file."""
    text = entry("b", RIDE, file="a.csv")
    text += entry("a", "must_trip = { earliest_s = 10, deadline_s = 20.5 }")
    text += entry("c", 'undecided = true\nnote = "why"', file="a.csv")
    library = read_library(write(tmp_path, text))

    assert [item.id for item in library.entries] == ["b", "a", "c"]
    assert [item.label for item in library.entries] == ["ride_through", (MustTrip(10.0, 20.5),), "undecided"]
    assert library.entries[2].note == "why"
    assert library.settings is None


def test_the_entry_of_a_trace_is_found_from_its_file(tmp_path: Path) -> None:
    """Catches a label shown for another trace of the same library."""
    write(tmp_path, entry("a", RIDE))
    (tmp_path / "other.csv").write_text("", encoding="utf-8")

    found, other = find_entry(tmp_path / "a.csv"), find_entry(tmp_path / "other.csv")

    assert found is not None and found[1] is not None and found[1].id == "a"
    assert other is not None and other[1] is None


REFUSED = [
    ("", ["[[trace]]", "no traces"]),
    ("trace = 3", ["[[trace]] = 3", "a list of tables"]),
    ("trace = [3]", ["[[trace]] 1 = 3", "must be a table"]),
    ("[trace]\nid = 3", ["[[trace]]", "a list of tables"]),
    (
        entry("a", RIDE).replace("[[trace]]", "[[traces]]"),
        ["[[traces]]", "unknown section", "[[trace]]? All: settings"],
    ),
    ("[receipe]\nseed = 1\n" + entry("a", RIDE), ["[receipe]", "unknown section", "recipe?"]),
    ('setings = "a.csv"\n' + entry("a", RIDE), ['setings = "a.csv"', "unknown key", "settings?"]),
    ("[[trace]\n", ["not valid TOML", "line 1"]),
    (entry("a", ""), ['id "a"', "no label", "must_trip", "ride_through", "undecided"]),
    (entry("a", RIDE + "\nundecided = true"), ["2 labels (ride_through, undecided)"]),
    (entry("a", "ride_through = false"), ["ride_through = false", "ride_through = true"]),
    (entry("a", "must_trip = true"), ["must_trip = true", "must be a table", "earliest_s"]),
    (entry("a", "must_trip = { deadline_s = 5 }"), ["must_trip.earliest_s", "missing key", "seconds"]),
    (
        entry("a", "must_trip = { earliest_s = 9, deadline_s = 5 }"),
        ["must_trip.earliest_s = 9", "later than the deadline (5 s)"],
    ),
    (entry("a", 'must_trip = { earliest_s = "0", deadline_s = 5 }'), ['earliest_s = "0"', "a plain number", "seconds"]),
    (entry("a", "must_trip = { earliest_s = 0, deadline_s = inf }"), ["deadline_s = inf", "not a finite number"]),
    (entry("a", "must_trip = []"), ["must_trip", "no window", "or a list of windows"]),
    (entry("a", "must_trip = 5"), ["must_trip", "must be a table", "earliest_s, deadline_s"]),
    (
        entry("a", "must_trip = { earliest_s = 1, deadline_s = 5, likely_s = 4 }"),
        ["must_trip.likely_s = 4", "earlier than deadline_s (5 s)", "deadline_s <= likely_s <= latest_s"],
    ),
    (
        entry("a", "must_trip = { earliest_s = 1, deadline_s = 5, likely_s = 9, latest_s = 8 }"),
        ["must_trip.latest_s = 8", "earlier than likely_s (9 s)"],
    ),
    (
        entry("a", "must_trip = { earliest_s = 1, deadline_s = 5, latest_s = 4 }"),
        ["must_trip.latest_s = 4", "earlier than deadline_s (5 s)"],
    ),
    (
        entry("a", "must_trip = { earliest_s = 1, deadline_s = 5, late_s = 4 }"),
        ["must_trip.late_s", "unknown key", "latest_s"],
    ),
    (
        entry("a", "must_trip = [{ earliest_s = 1, deadline_s = 5 }, { earliest_s = 5, deadline_s = 9 }]"),
        [
            "must_trip 2.earliest_s = 5",
            "not behind the window before it, which ends at 5 s",
            "in their order and apart",
        ],
    ),
    (
        entry("a", "must_trip = [{earliest_s = 1, deadline_s = 5, latest_s = 7}, {earliest_s = 6, deadline_s = 9}]"),
        ["must_trip 2.earliest_s = 6", "which ends at 7 s"],
    ),
    (
        entry("a", "must_trip = [{ earliest_s = 1, deadline_s = 5 }, { earliest_s = 8 }]"),
        ["must_trip 2.deadline_s", "missing key"],
    ),
    (
        entry("a", "ride_through = true\nupsets = [1, 2]"),
        ["upsets", "must be a pair of seconds", "[[from, to], ...]"],
    ),
    (entry("a", "ride_through = true\nupsets = [[1, 2, 3]]"), ["upsets", "must be a pair of seconds"]),
    (entry("a", "ride_through = true\nupsets = [[2, 2]]"), ["upsets", "ends at 2 s, not after it began"]),
    (
        entry("a", "ride_through = true\nupsets = [[1, 4], [3, 5]]"),
        ["upsets", "the upset from 3 s begins before the one before it ends"],
    ),
    (entry("a", "ride_through = true\nupsets = [[1, nan]]"), ["upsets", "not a finite number"]),
    (entry("a", RIDE + "\ncolour = 1"), ["colour = 1", "unknown key"]),
    (entry("a", RIDE).replace('oil = "o"\n', ""), ['id "a"), oil', "missing key"]),
    (entry("a", RIDE).replace('family = "family"', "family = 3"), ["family = 3", "text"]),
    (entry("a", RIDE).replace("synthetic:", "made"), ["origin", "recorded: "]),
    (entry("a", RIDE) + entry("a", RIDE), ["[[trace]] 2, id", '"a"', "earlier trace"]),
    (entry("a", RIDE, file="none.csv"), ["file", '"none.csv"', "no such file"]),
    (entry("a", RIDE, file="../secret.csv"), ["leads out of the library's folder", '"../secret.csv"']),
    (entry("a", RIDE, file="/etc/hostname"), ["leads out of the library's folder"]),
    (entry("a", RIDE, file="link.csv"), ["leads out of the library's folder", '"link.csv"']),
    ('settings = "../settings.toml"\n' + entry("a", RIDE), ["settings", "leads out"]),
    ("settings = 5\n" + entry("a", RIDE), ["settings = 5", "not a file name"]),
]


@pytest.mark.parametrize(("text", "said"), REFUSED)
def test_a_broken_library_is_refused_at_its_entry(text: str, said: list[str], tmp_path: Path) -> None:
    """Catches a trace without a clear label that is sorted somewhere, and a library that reads other people's files."""
    (tmp_path / "secret.csv").write_text("", encoding="utf-8")
    folder = tmp_path / "library"
    folder.mkdir()
    (folder / "link.csv").symlink_to(tmp_path / "secret.csv")
    with pytest.raises(Refusal) as refused:
        read_library(write(folder, text))

    for part in ["library.toml", *said]:
        assert part in str(refused.value)


def test_a_folder_without_a_library_is_refused(tmp_path: Path) -> None:
    """Catches an empty library that scores as met."""
    with pytest.raises(Refusal, match=r"library\.toml: no such library"):
        read_library(tmp_path)
    with pytest.raises(Refusal, match="no such folder"):
        read_library(tmp_path / "nowhere")


def test_several_windows_a_band_and_upsets_are_read_as_they_stand(tmp_path: Path) -> None:
    """Catches a second window, a figure of the band or an upset that is dropped on the way in."""
    (tmp_path / "a.csv").write_text("")
    text = entry(
        "a",
        "must_trip = [{ earliest_s = 1, deadline_s = 5, likely_s = 6, latest_s = 8.5 }, "
        "{ earliest_s = 9, deadline_s = 9 }]\nupsets = [[0, 0.5], [0.5, 1]]",
    )
    (tmp_path / "library.toml").write_text(text)
    (read,) = read_library(tmp_path).entries

    assert read.windows == (MustTrip(1.0, 5.0, 6.0, 8.5), MustTrip(9.0, 9.0))
    assert [window.end_s for window in read.windows] == [8.5, 9.0]
    assert read.upsets == ((0.0, 0.5), (0.5, 1.0))
    assert label_text(read) == "must trip from 1 s to 5 s (likely 6 s, at the latest 8.5 s), then from 9 s to 9 s"


LABELS_APART = [
    "must_trip = { earliest_s = 1, deadline_s = 5 }",
    "must_trip = { earliest_s = 1, deadline_s = 5, likely_s = 6 }",
    "must_trip = { earliest_s = 1, deadline_s = 5, latest_s = 6 }",
    "must_trip = { earliest_s = 1, deadline_s = 5, likely_s = 6, latest_s = 6 }",
    "must_trip = [{ earliest_s = 1, deadline_s = 5 }, { earliest_s = 7, deadline_s = 9 }]",
    "must_trip = [{ earliest_s = 1, deadline_s = 5 }, { earliest_s = 7, deadline_s = 9, latest_s = 10 }]",
    "ride_through = true",
    "ride_through = true\nupsets = [[1, 5]]",
    "ride_through = true\nupsets = [[1, 2], [2, 5]]",
    "undecided = true",
    "undecided = true\nupsets = [[1, 5]]",
]


def test_whatever_a_verdict_hangs_on_stands_in_the_digest(tmp_path: Path) -> None:
    """Catches a record that still holds after a label was moved in a key that the digest does not know."""
    (tmp_path / "a.csv").write_text("")
    digests = []
    for label in LABELS_APART:
        (tmp_path / "library.toml").write_text(entry("a", label))
        digests.append(library_digest(read_library(tmp_path)))
    (tmp_path / "library.toml").write_text(entry("a", f"must_trip = [{LABELS_APART[0].removeprefix('must_trip = ')}]"))

    assert len(set(digests)) == len(LABELS_APART)
    assert library_digest(read_library(tmp_path)) == digests[0]  # a list of one window is that window
    empty = hashlib.sha256(b"").hexdigest()
    old = f"1:a 6:family must_trip 1.0 5.0 {empty}\n"  # as it was before there were bands, lists and upsets
    assert digests[0] == hashlib.sha256(old.encode()).hexdigest()
