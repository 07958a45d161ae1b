"""The library reader: entries and labels, and that a library is data which leads nowhere outside its folder."""

from pathlib import Path

import pytest

from replay.ground.refusal import Refusal
from replay.library import MustTrip, find_entry, read_library
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
    assert [item.label for item in library.entries] == ["ride_through", MustTrip(10.0, 20.5), "undecided"]
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
    ("trace = [3]", ["[[trace]] 1 = 3", "a table is wanted"]),
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
    (entry("a", "must_trip = true"), ["must_trip = true", "a table is wanted", "earliest_s"]),
    (entry("a", "must_trip = { deadline_s = 5 }"), ["must_trip.earliest_s", "missing key", "seconds"]),
    (
        entry("a", "must_trip = { earliest_s = 9, deadline_s = 5 }"),
        ["must_trip.earliest_s = 9", "later than the deadline (5 s)"],
    ),
    (entry("a", 'must_trip = { earliest_s = "0", deadline_s = 5 }'), ['earliest_s = "0"', "a plain number", "seconds"]),
    (entry("a", "must_trip = { earliest_s = 0, deadline_s = inf }"), ["deadline_s = inf", "not a finite number"]),
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
