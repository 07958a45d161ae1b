"""A library: a folder with library.toml, one [[trace]] table for each trace and its label.

    settings = "settings.toml"            # the settings file used by default

    [[trace]]
    id = "valve-shut-01"
    file = "traces/valve-shut-01.csv"     # inside the library's folder
    family = "suction valve shut"
    machine = "..."
    oil = "..."
    origin = "synthetic: seed 1, scenario ..."    # or "recorded: ..."
    must_trip = { earliest_s = 300.0, deadline_s = 480.0 }
    # or ride_through = true, or undecided = true
    note = "optional"

Labels come from how a trace was made or from the machine's inspection, never
from the logic that is judged. A library is data: it names no file outside its folder.
"""

import math
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from replay.ground.refusal import refusal
from replay.ground.toml_files import read_toml

FILE = "library.toml"
TEXTS = ("id", "file", "family", "machine", "oil", "origin")
NAMES = ("id", "family", "machine", "oil")
LABELS = ("must_trip", "ride_through", "undecided")
LABEL_FORMS = "one of must_trip = { earliest_s, deadline_s }, ride_through = true, undecided = true"


@dataclass(frozen=True)
class MustTrip:
    """The first stop has to lie in earliest_s .. deadline_s of the trace's own time."""

    earliest_s: float
    deadline_s: float


@dataclass(frozen=True)
class Entry:
    """One trace of a library. `label` is a MustTrip, "ride_through" or "undecided"."""

    id: str
    path: Path
    family: str
    machine: str
    oil: str
    origin: str
    label: MustTrip | str
    note: str


@dataclass(frozen=True)
class Library:
    """The entries in their order in the file, and the default settings file if one is named."""

    folder: Path
    entries: tuple[Entry, ...]
    settings: Path | None

    def __repr__(self) -> str:
        """Return what is in it in one line."""
        families = {entry.family for entry in self.entries}
        return f"Library({str(self.folder)!r}: {len(self.entries)} traces of {len(families)} families)"


def read_library(folder: Path | str) -> Library:
    """Read library.toml of a folder. Raises Refusal naming the entry and key at fault."""
    folder = Path(folder)
    if not folder.is_dir():
        raise refusal(folder, "", "no such folder", f"a folder with a {FILE}")
    check_inside(folder, folder / FILE)
    return library_from(folder, read_toml(folder / FILE, "library"))


def library_from(folder: Path, table: dict[str, Any]) -> Library:
    """Check the content of a library.toml. Raises Refusal naming the entry and key at fault."""
    path = folder / FILE
    settings = None
    if "settings" in table:
        settings = _inside(path, folder, "settings", table["settings"])
    traces = table.get("trace", [])
    if not isinstance(traces, list) or not traces or not all(isinstance(item, dict) for item in traces):
        raise refusal(path, "[[trace]]", "no traces", "one [[trace]] table or more")
    entries: dict[str, Entry] = {}
    for number, item in enumerate(traces, start=1):
        entry = _entry(path, folder, number, item)
        if entry.id in entries:
            raise refusal(path, f"[[trace]] {number}, id", "used by an earlier trace", "an id of its own", entry.id)
        entries[entry.id] = entry
    return Library(folder, tuple(entries.values()), settings)


def find_entry(trace: Path) -> tuple[Library, Entry | None] | None:
    """Return the library around a trace file and the entry that names the file, if there are any.

    Raises Refusal where that library cannot be read.
    """
    for folder in trace.resolve().parents:
        if (folder / FILE).is_file():
            library = read_library(Path(os.path.relpath(folder)))
            for entry in library.entries:
                if entry.path.resolve() == trace.resolve():
                    return library, entry
            return library, None
    return None


def _entry(path: Path, folder: Path, number: int, item: dict[str, Any]) -> Entry:
    identity = item.get("id")
    where = f'[[trace]] {number} (id "{identity}")' if isinstance(identity, str) else f"[[trace]] {number}"
    for key, value in item.items():
        if key not in (*TEXTS, *LABELS, "note"):
            raise refusal(path, f"{where}, {key}", "unknown key", ", ".join((*TEXTS, *LABELS, "note")), value)
    for key in TEXTS:
        if key not in item:
            raise refusal(path, f"{where}, {key}", "missing key", "text")
    for key in (*TEXTS, "note"):
        value = item.get(key, "")
        if not isinstance(value, str) or (key != "note" and not value.strip()):
            raise refusal(path, f"{where}, {key}", "not text" if key == "note" else "no text", "text", value)
        if key in NAMES and ("\n" in value or "\r" in value):
            raise refusal(path, f"{where}, {key}", "a name of several lines", "text in one line", value)
    return Entry(
        id=item["id"],
        path=_inside(path, folder, f"{where}, file", item["file"]),
        family=item["family"],
        machine=item["machine"],
        oil=item["oil"],
        origin=_origin(path, where, item["origin"]),
        label=_label(path, where, item),
        note=item.get("note", ""),
    )


def _origin(path: Path, where: str, origin: str) -> str:
    if not origin.startswith(("recorded:", "synthetic:")):
        accepted = '"recorded: ..." or "synthetic: seed ..., scenario ..."'
        raise refusal(
            path, f"{where}, origin", "says neither how it was recorded nor how it was made", accepted, origin
        )
    return origin


def _inside(path: Path, folder: Path, where: str, name: object) -> Path:
    """Return a file of the library; refuse a path that leads out of its folder, links included."""
    if not isinstance(name, str) or not name or "\0" in name:
        raise refusal(path, where, "not a file name", "a path inside the library's folder", name)
    target = folder / name
    if not leads_inside(folder, target):
        raise refusal(path, where, "leads out of the library's folder", "a path inside it", name)
    try:
        there = target.is_file()
    except OSError:  # a name too long
        there = False
    if not there:
        raise refusal(path, where, "no such file", "a path inside the library's folder", name)
    return target


def leads_inside(folder: Path, path: Path) -> bool:
    """Say whether a path of a library stays in its folder, links followed; a circle of links does not."""
    try:
        return path.resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError):
        return False


def check_inside(folder: Path, path: Path) -> None:
    """Refuse a file or folder that belongs to a library and is a link out of it."""
    if not leads_inside(folder, path):
        raise refusal(path, "", "leads out of the library's folder", "a file or folder of its own, no link")


def _label(path: Path, where: str, item: dict[str, Any]) -> MustTrip | str:
    given = [key for key in LABELS if key in item]
    if len(given) != 1:
        rule = f"{len(given)} labels ({', '.join(given)})" if given else "no label"
        raise refusal(path, where, rule, LABEL_FORMS)
    key, value = given[0], item[given[0]]
    where = f"{where}, {key}"
    if key != "must_trip":
        if value is not True:
            raise refusal(path, where, "a label is stated, not denied", f"{key} = true", value)
        return key
    if not isinstance(value, dict) or set(value) != {"earliest_s", "deadline_s"}:
        raise refusal(path, where, "not a window", "{ earliest_s = SECONDS, deadline_s = SECONDS }", value)
    for name, seconds in value.items():
        number = isinstance(seconds, int | float) and not isinstance(seconds, bool)
        if not number or not math.isfinite(seconds):
            raise refusal(path, f"{where}.{name}", "not a number of seconds", "seconds of the trace's time", seconds)
    if value["earliest_s"] > value["deadline_s"]:
        rule = f"later than the deadline ({shown_s(value['deadline_s'])})"
        raise refusal(path, f"{where}.earliest_s", rule, "a time not after deadline_s", value["earliest_s"])
    return MustTrip(float(value["earliest_s"]), float(value["deadline_s"]))


def shown_s(seconds: float) -> str:
    """Return seconds for a message."""
    return f"{seconds:.12g} s"


def label_text(entry: Entry) -> str:
    """Return a label in words."""
    if isinstance(entry.label, MustTrip):
        return f"must trip from {entry.label.earliest_s:.12g} s to {entry.label.deadline_s:.12g} s"
    return entry.label.replace("_", " ")
