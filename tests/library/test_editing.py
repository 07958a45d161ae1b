"""library.toml as text: what an edit of one entry costs, and that it touches nothing else."""

import tomllib
from pathlib import Path
from typing import Any

import pytest
import tomlkit

from replay.library import read_library
from replay.library.editing import entry_text, without_entries
from replay.library.labels import relabel
from replay.measured import into_library
from tests.conftest import entry
from tests.support.measured import import_file

MANY = 100
# A note that looks like the head of an entry, a comment on the entry behind it, and a table behind the last.
TRICKY = (
    'settings = "settings.toml"  # ours\n\n# first\n'
    + entry("a", 'note = """\nas it stood:\n[[trace]]\nid = "b"\n"""\nride_through = true')
    + "\n# on the second, and not on the first\n"
    + entry("b", "undecided = true  # nobody knows")
    + "\n# on the third\n"
    + entry("c", "must_trip = { earliest_s = 1.0, deadline_s = 2.0 }")
    + "\n[mix]\nx = 1\n"
)


def large(folder: Path, note: str = "") -> str:
    """Write a library of many entries beside a settings file; return its text."""
    text = 'settings = "settings.toml"\n\n' + "\n".join(
        entry(f"t{number}", f"undecided = true{note}", file="quiet.csv") for number in range(MANY)
    )
    (folder / "library.toml").write_text(text)
    return text


def test_an_edit_of_one_entry_does_not_grow_with_the_library(library: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches an editor that takes seconds for ten thousand entries because it reads them all."""
    text = large(library)
    lengths, parse = [], tomlkit.parse
    monkeypatch.setattr("tomlkit.parse", lambda part: lengths.append(len(part)) or parse(part))
    relabel(library, "t50", "ride_through", "J. Doe", "seen")
    path = library / "library.toml"
    path.write_text(without_entries(path, path.read_text(), {"t3", "t99"}))

    assert max(lengths) < 3 * len(text) / MANY
    entries = {item.id: item.label for item in read_library(library).entries}
    assert len(entries) == MANY - 2
    assert [identity for identity, label in entries.items() if label == "ride_through"] == ["t50"]


@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("identity", ["a", "b", "c"])
def test_an_edit_leaves_every_other_line_alone(identity: str, end: str, mark: str, library: Path) -> None:
    """Catches an entry looked for by its head alone, and comments, line ends or tables lost around it."""
    for name in "abc":
        (library / f"{name}.csv").write_bytes((library / "quiet.csv").read_bytes())
    text = mark + TRICKY.replace("\n", end)
    (library / "library.toml").write_bytes(text.encode())
    relabel(library, identity, "undecided" if identity != "b" else "ride_through", "J. Doe", "seen")
    after = (library / "library.toml").read_bytes().decode()
    before, now = (
        {item["id"]: item for item in tomllib.loads(part.removeprefix(mark))["trace"]} for part in (text, after)
    )

    assert now[identity].pop("note").endswith("seen")
    assert {key: item for key, item in now.items() if key != identity} == {
        key: item for key, item in before.items() if key != identity
    }
    assert after.count(end) == after.count("\n")
    for told in ("# ours", "# first", "# on the second", "# on the third", "# nobody knows", "[mix]"):
        assert told in after


@pytest.mark.parametrize("note", ["", '\nnote = """\n[[trace]]\n"""'])
def test_a_removal_keeps_what_is_said_about_the_others(note: str, library: Path) -> None:
    """Catches the comment on the next entry that goes with the one before, and a note that is taken for an entry."""
    text = "\n# on the second\n".join([entry("a", f"ride_through = true{note}"), entry("b", "undecided = true")])
    left = without_entries(library / "library.toml", text, {"a"})

    assert [item["id"] for item in tomllib.loads(left)["trace"]] == ["b"]
    assert note or "# on the second" in left
    assert not without_entries(library / "library.toml", text, {"a", "b"}).count("[[trace]]\nid")


def test_an_entry_reads_back_as_it_was_given() -> None:
    """Catches a quote, a line break, a backslash or a window that is written as something else."""
    item: dict[str, Any] = {
        "id": 'a "quoted" \\ name',
        "note": 'two\nlines \\ """ \' end',
        "must_trip": [{"earliest_s": 1.0, "deadline_s": 2.5}, {"earliest_s": 30.0, "deadline_s": 1e-7}],
        "upsets": [[0.1, 2.0], [3.0, 4.0]],
        "losses": ["39 %", 'a "b"'],
        "undecided": True,
    }

    assert tomllib.loads(entry_text(item)) == {"trace": [item]}


def test_an_import_of_many_files_reads_the_library_once(library: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches an import of a file that takes longer the more entries there are."""
    large(library)
    lengths: list[int] = []
    read, parse = into_library.read_toml, into_library.parse_toml
    monkeypatch.setattr(into_library, "read_toml", lambda *given: lengths.append(1) or read(*given))
    monkeypatch.setattr(into_library, "parse_toml", lambda text: lengths.append(len(text)) or parse(text))
    profile = library / "profile.toml"
    profile.write_text(
        '[time]\ncolumn = "t"\nunit = "s"\nform = "elapsed"\nmax_gap = "5 s"\n[site]\naltitude = "0 m"\n'
        '[oil_pressure]\ncolumn = "oil (kPa abs)"\n[suction_pressure]\ncolumn = "suction (kPa abs)"\n'
        '[running]\ncolumn = "run"\n'
    )
    taken = []
    for number in range(4):
        log = library / f"log{number}.csv"
        rows = "".join(f"{second},{400 + number}.{second % 7},300.{second % 5},1\n" for second in range(20))
        log.write_text(f"t,oil (kPa abs),suction (kPa abs),run\n{rows}")
        lengths.clear()
        import_file(log, library, profile)
        taken.append(max(lengths, default=0))

    assert taken[0] > MANY
    assert max(taken[1:]) < 1000
    assert len(read_library(library).entries) == MANY + 4


def test_an_import_sees_what_others_have_written_meanwhile(library: Path) -> None:
    """Catches a library that is remembered from the import before, while somebody has edited the file."""
    large(library)
    before = into_library.entries_with(library, "by hand")
    (library / "library.toml").write_text(entry("quiet", "undecided = true"))

    assert (len(before), into_library.entries_with(library, "by hand")) == (MANY, ["quiet"])
