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
    start_utc = 2026-03-01T10:00:00Z      # optional: the moment of the trace's first row, with its offset
    zone = "Europe/Oslo"                  # optional: the zone of the machine's clock on the wall, or "+01:00"
    source = "logger 7, March.csv"        # optional: the file that the trace came from
    judged_share = 0.61                   # optional: of that file's hours, what its import left to judge
    losses = ["39 % of the rows ..."]     # optional: what its import lost, in words
    labels = [{ by = "J. Doe", on = 2026-11-25, ride_through = true }]   # optional: who says so, see `words`

Labels come from how a trace was made or from the machine's inspection, never
from the logic that is judged. A library is data: it names no file outside its folder.

`deadline_s` is the cautious figure: the verdict goes by it. A window may say how sure it is: `likely_s`, by which a
likely bearing would be spoilt, and `latest_s`, by which the longest-lasting one would. A trace of several faults has a
list of windows, in their order and apart from each other, bands included. `upsets` are stretches in which something
that a rule could take for a fault was done to a machine that comes through.
"""

import datetime as dt
import difflib
import functools
import itertools
import os
import stat
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from replay.ground.places import is_remote, place_of, reached
from replay.ground.refusal import refusal
from replay.ground.shape import Key, Keys, UnfitError, anything, fit, list_of, name, number, path_text, plain_text, text
from replay.ground.toml_files import read_toml
from replay.ground.zones import offset_or_zone
from replay.library.label import LABEL_KEYS, Label, MustTrip, read_label, shown_s, words_of
from replay.library.words import WORDS, Word, basis, differ, read_words

FILE = "library.toml"
MOST_NAMED = 3  # ids that a refusal names
Span = tuple[float, float]  # from, to in s of the trace's own time
Upset = Span


@dataclass(frozen=True)
class Entry:
    """One trace of a library. `label` holds its windows, or is "ride_through" or "undecided".

    upsets: stretches (from, to) in s of the trace's own time; start_utc: the moment of its first row, in UTC;
    zone: that of the machine's clock on the wall; source: the file it came from. None where nobody says. judged_share:
    of that file's hours, what its import left to judge; losses: what else it lost, in words. told: stretches that
    another trace of the library tells already; doubt: why it proves nothing. Both are found by `counted_once`.
    words: what reviewers say (`replay.library.words`).
    """

    id: str
    path: Path
    family: str
    machine: str
    oil: str
    origin: str
    label: Label
    note: str
    upsets: tuple[Upset, ...] = ()
    start_utc: dt.datetime | None = None
    zone: str | None = None
    source: str | None = None
    judged_share: float = 1.0
    losses: tuple[str, ...] = ()
    words: tuple[Word, ...] = ()
    told: tuple[Span, ...] = ()
    doubt: str = ""

    @property
    def windows(self) -> tuple[MustTrip, ...]:
        """Return the windows of a must-trip trace; of any other there are none."""
        return () if isinstance(self.label, str) else self.label

    @property
    def basis(self) -> str:
        """Return what the label rests on, one of `words.BASES`."""
        return basis(self.words, self.label, self.origin)

    @property
    def differ(self) -> bool:
        """Say whether its reviewers differ, which leaves it undecided."""
        return bool(self.words) and differ(self.words)


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


def _moment(value: Any) -> dt.datetime:
    if not isinstance(value, dt.datetime):
        raise UnfitError("no date with a time of day")
    if value.tzinfo is None:
        raise UnfitError("a time without its offset from UTC may be any hour")
    return value.astimezone(dt.UTC)


def _zone(value: Any) -> str:
    offset_or_zone(text(value))
    return str(value)


def _upset(value: Any) -> Upset:
    if not isinstance(value, list) or len(value) != 2:  # noqa: PLR2004 - from, to
        raise UnfitError("must be a pair of seconds")
    begin_s, end_s = map(number(), value)
    if begin_s >= end_s:
        raise UnfitError(f"an upset that ends at {shown_s(end_s)}, not after it began")
    return begin_s, end_s


def _upsets(value: Any) -> tuple[Upset, ...]:
    upsets: tuple[Upset, ...] = list_of(_upset)(value)
    for (_, end_s), (begin_s, _) in itertools.pairwise(upsets):
        if begin_s < end_s:
            raise UnfitError(f"the upset from {shown_s(begin_s)} begins before the one before it ends")
    return upsets


def _losses(value: Any) -> tuple[str, ...]:
    said: tuple[str, ...] = list_of(name)(value)
    return said


_FILE = "a path inside the library's folder"
_NAME = Key(name, "text in one line")
TRACE = Keys(
    {
        **dict.fromkeys(("id", "family", "machine", "oil"), _NAME),
        "file": Key(path_text, _FILE),
        "origin": Key(_origin, '"recorded: ..." or "synthetic: seed ..., scenario ..."'),
        **LABEL_KEYS,
        "labels": WORDS,
        "upsets": Key(_upsets, "pairs of seconds [[from, to], ...], ascending and apart", needed=False),
        "note": Key(plain_text, "text", needed=False),
        "start_utc": Key(_moment, "a date and time with Z behind it, such as 2026-03-01T10:00:00Z", needed=False),
        "zone": Key(_zone, '"Europe/Oslo", "UTC" or a fixed "+01:00"', needed=False),
        "source": Key(name, "the name of a file, in one line", needed=False),
        "judged_share": Key(number(0.0, 1.0), "0 to 1", needed=False),
        "losses": Key(_losses, "sentences, each in one line", needed=False),
    },
    needed=False,
    many=True,
)
_ANY = Key(anything, needed=False)  # [mix] is checked by `replay.score.mix`, [recipe] by `replay.synth`
SHAPE = Keys({"settings": Key(path_text, _FILE, needed=False), "trace": TRACE, "mix": _ANY, "recipe": _ANY})


def read_library(folder: Path | str) -> Library:
    """Read library.toml, named by itself or by its folder. Raises Refusal naming the entry and key at fault."""
    folder = folder_of(folder)
    with reached(folder):
        check_inside(folder, folder / FILE)
        return library_from(folder, read_toml(folder / FILE, "library"))


def folder_of(place: Path | str) -> Path:
    """Return the folder of a library that is named by itself or by its library.toml. Raises Refusal."""
    folder = place_of(place)
    folder = folder.parent if folder.name == FILE else folder
    with reached(folder):
        if not folder.is_dir():
            raise refusal(folder, "", "no such folder", f"a folder with a {FILE}")
    return folder


def library_from(folder: Path, table: dict[str, Any]) -> Library:
    """Check the content of a library.toml. Raises Refusal naming the entry and key at fault."""
    path = folder / FILE
    found = fit(path, table, SHAPE)
    settings = _inside(path, folder, "settings", found["settings"]) if "settings" in found else None
    if not found.get("trace"):
        raise refusal(path, "[[trace]]", "no traces", "one [[trace]] table or more")
    entries: dict[str, Entry] = {}
    read: dict[str, str] = {}
    known = functools.cache(functools.partial(leads_inside, folder))
    for place, item in enumerate(found["trace"], start=1):
        if item["id"] in entries:
            raise refusal(path, f"[[trace]] {place}, id", "used by an earlier trace", "an id of its own", item["id"])
        like = read.setdefault(" ".join(unicodedata.normalize("NFKC", item["id"]).split()), item["id"])
        if like != item["id"]:
            rule = f"reads like the id of an earlier trace, '{like}'"
            raise refusal(path, f"[[trace]] {place}, id", rule, "an id that a reader can tell from others", item["id"])
        where = f'[[trace]] {place} (id "{item["id"]}")'
        file = _inside(path, folder, f"{where}, file", item.pop("file"), known)
        label = read_label(path, where, item)
        words = read_words(path, where, item.pop("labels", ()), label)
        entries[item["id"]] = Entry(path=file, label=label, words=words, **{"note": "", **item})
    return Library(folder, tuple(entries.values()), settings)


def trace_file(place: Path | str, identity: str | None) -> Path | str:
    """Return the file of a trace that is named by a library and its id there; without an id, the place itself.

    Raises Refusal.
    """
    return place if identity is None else entry_named(read_library(place), identity).path


def entry_named(library: Library, identity: str) -> Entry:
    """Return the trace of an id; raises Refusal, with the ids that are nearest to it."""
    entries = {entry.id: entry for entry in library.entries}
    if identity not in entries:
        near = difflib.get_close_matches(identity.lower(), entries, MOST_NAMED) or list(entries)[:MOST_NAMED]
        advice = ", ".join(near) + (", ..." if len(near) < len(entries) else "")
        raise refusal(library.folder, "ID", "no such trace in this library", advice, identity)
    return entries[identity]


def find_entry(trace: Path) -> tuple[Library, Entry | None] | None:
    """Return the library around a trace file and the entry that names the file, if there are any.

    Raises Refusal where that library cannot be read.
    """
    for folder in trace.resolve().parents:
        if (folder / FILE).is_file():
            library = read_library(folder if is_remote(folder) else _near(folder))
            for entry in library.entries:
                if entry.path.resolve() == trace.resolve():
                    return library, entry
            return library, None
    return None


def _near(folder: Path) -> Path:
    """Return a folder as seen from the working directory; on another drive it is seen from the root alone."""
    try:
        return Path(os.path.relpath(folder))
    except ValueError:
        return folder


def _inside(path: Path, folder: Path, where: str, name: str, known: Callable[[Path], bool] | None = None) -> Path:
    """Return a file of the library; refuse a path that leads out of its folder, links included.

    known: tells whether a folder in it stays inside, asked once for each of very many files.
    """
    target = folder / name
    if known is not None and _is_plain(target) and known(target.parent):
        return target
    if not leads_inside(folder, target):
        raise refusal(path, where, "leads out of the library's folder", "a path inside it", name)
    try:
        there = target.is_file()
    except OSError:  # a name too long
        there = False
    if not there:
        raise refusal(path, where, "no such file", _FILE, name)
    return target


def _is_plain(path: Path) -> bool:
    """Say whether there is a file on this machine under a name, and no link."""
    try:
        return not is_remote(path) and stat.S_ISREG(os.lstat(path).st_mode)
    except OSError:
        return False


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


def label_text(entry: Entry) -> str:
    """Return the label of a trace in words."""
    return words_of(entry.label)
