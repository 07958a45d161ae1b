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
    upsets = [[120.0, 310.0]]             # optional: what could be taken for a fault was done from .. to, in seconds

Labels come from how a trace was made or from the machine's inspection, never
from the logic that is judged. A library is data: it names no file outside its folder.
"""

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from replay.ground.refusal import refusal
from replay.ground.shape import Key, Keys, UnfitError, anything, fit, list_of, name, number, path_text, plain_text, text
from replay.ground.toml_files import read_toml

FILE = "library.toml"
LABELS = ("must_trip", "ride_through", "undecided")
LABEL_FORMS = "one of must_trip = { earliest_s, deadline_s }, ride_through = true, undecided = true"


@dataclass(frozen=True)
class MustTrip:
    """The first stop has to lie in earliest_s .. deadline_s of the trace's own time."""

    earliest_s: float
    deadline_s: float


@dataclass(frozen=True)
class Entry:
    """One trace of a library. `label` is a MustTrip, "ride_through" or "undecided".

    upsets: (from, to) in s of what was done to a machine that comes through it.
    """

    id: str
    path: Path
    family: str
    machine: str
    oil: str
    origin: str
    label: MustTrip | str
    note: str
    upsets: tuple[tuple[float, float], ...] = ()


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


def _origin(value: Any) -> str:
    if not text(value).startswith(("recorded:", "synthetic:")):
        raise UnfitError("says neither how it was recorded nor how it was made")
    return str(value)


def _stated(value: Any) -> bool:
    if value is not True:
        raise UnfitError("a label is stated, not denied")
    return value


_FILE = "a path inside the library's folder"
_NAME = Key(name, "text in one line")
_SECONDS = Key(number(), "seconds of the trace's time")
TRACE = Keys(
    {
        **dict.fromkeys(("id", "family", "machine", "oil"), _NAME),
        "file": Key(path_text, _FILE),
        "origin": Key(_origin, '"recorded: ..." or "synthetic: seed ..., scenario ..."'),
        "must_trip": Keys({"earliest_s": _SECONDS, "deadline_s": _SECONDS}, needed=False),
        **{key: Key(_stated, f"{key} = true", needed=False) for key in LABELS[1:]},
        "upsets": Key(list_of(list_of(number())), "pairs of seconds: from, to", needed=False),
        "note": Key(plain_text, "text", needed=False),
    },
    needed=False,
    many=True,
)
_ANY = Key(anything, needed=False)  # [mix] is checked by `replay.score.mix`, [recipe] by `replay.synth`
SHAPE = Keys({"settings": Key(path_text, _FILE, needed=False), "trace": TRACE, "mix": _ANY, "recipe": _ANY})


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
    found = fit(path, table, SHAPE)
    settings = _inside(path, folder, "settings", found["settings"]) if "settings" in found else None
    if not found.get("trace"):
        raise refusal(path, "[[trace]]", "no traces", "one [[trace]] table or more")
    entries: dict[str, Entry] = {}
    for place, item in enumerate(found["trace"], start=1):
        if item["id"] in entries:
            raise refusal(path, f"[[trace]] {place}, id", "used by an earlier trace", "an id of its own", item["id"])
        where = f'[[trace]] {place} (id "{item["id"]}")'
        file = _inside(path, folder, f"{where}, file", item.pop("file"))
        label = _label(path, where, {key: item.pop(key) for key in LABELS if key in item})
        entries[item["id"]] = Entry(path=file, label=label, **{"note": "", **item})
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


def _inside(path: Path, folder: Path, where: str, name: str) -> Path:
    """Return a file of the library; refuse a path that leads out of its folder, links included."""
    target = folder / name
    if not leads_inside(folder, target):
        raise refusal(path, where, "leads out of the library's folder", "a path inside it", name)
    try:
        there = target.is_file()
    except OSError:  # a name too long
        there = False
    if not there:
        raise refusal(path, where, "no such file", _FILE, name)
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


def _label(path: Path, where: str, given: dict[str, Any]) -> MustTrip | str:
    """Return the one label of a trace."""
    if len(given) != 1:
        rule = f"{len(given)} labels ({', '.join(given)})" if given else "no label"
        raise refusal(path, where, rule, LABEL_FORMS)
    if "must_trip" not in given:
        return next(iter(given))
    window = MustTrip(**given["must_trip"])
    if window.earliest_s > window.deadline_s:
        rule = f"later than the deadline ({shown_s(window.deadline_s)})"
        raise refusal(path, f"{where}, must_trip.earliest_s", rule, "a time not after deadline_s", window.earliest_s)
    return window


def shown_s(seconds: float) -> str:
    """Return seconds for a message."""
    return f"{seconds:.12g} s"


def label_text(entry: Entry) -> str:
    """Return a label in words."""
    if isinstance(entry.label, MustTrip):
        return f"must trip from {entry.label.earliest_s:.12g} s to {entry.label.deadline_s:.12g} s"
    return entry.label.replace("_", " ")
