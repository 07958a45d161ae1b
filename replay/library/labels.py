"""Edit labels in library.toml, with who says so and why; all else in the file stays as it is.

A label comes from the inspection of the machine or from how the trace was made, never from the logic that is judged by
it. What each reviewer says stands beside what the others say (`replay.library.words`), and each edit adds a line to the
trace's note, where history is never lost:

    DATE, WHO: NEW LABEL (was LABEL IN FORCE): WHY; inspection: WHAT WAS FOUND

Comments, order and spelling of the file are kept: comments behind the old label stay behind the new one.
"""

import collections
import dataclasses
import datetime as dt
import difflib
import getpass
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, overload

from replay.ground.files import write_whole
from replay.ground.lock import locked
from replay.ground.refusal import as_text, refusal
from replay.ground.toml_files import read_toml
from replay.library.digest import sha256_of
from replay.library.editing import change_entries
from replay.library.label import LABELS, Label, MustTrip, check_window, label_table, shown_s, words_of
from replay.library.library import FILE, Entry, Library, check_inside, folder_of, library_from
from replay.library.told_time import second_of
from replay.library.words import Word, differ, in_force, replaced
from replay.trace import read_pieces

ROWS = 1 << 18  # of a trace that are looked at together
NO_REASON = "no reason given"


@dataclass(frozen=True)
class Said:
    """A label that somebody gives a trace: who, when, why; what an inspection found; whether it settles a disagreement.

    seen: it was given when the decisions of the logic had been shown. sha256: of the trace's file as it was looked at,
    None where nobody says. where: it came from, for a refusal.
    """

    identity: str
    label: Label
    by: str
    on: dt.date
    why: str = NO_REASON
    inspection: str = ""
    settles: bool = False
    seen: bool = False
    sha256: str | None = None
    where: str = "label"

    @property
    def word(self) -> Word:
        """Return it as it stands beside what others say."""
        return Word(one_line(self.by), self.on, self.label, one_line(self.inspection), self.settles)


@dataclass(frozen=True)
class Edit:
    """An entry as it was and as it is now: the same where the very word had been given before."""

    before: Entry
    after: Entry


Window = MustTrip | Sequence[str | None]  # or earliest, deadline, likely, latest as a person tells them (`told_time`)


@overload
def relabel(
    folder: Path | str,
    identity: str,
    label: MustTrip | Sequence[Window] | str,
    who: str | None = None,
    why: str = NO_REASON,
    day: dt.date | None = None,
    *,
    family: None = None,
    inspection: str = "",
    settles: bool = False,
) -> Edit: ...


@overload
def relabel(
    folder: Path | str,
    identity: list[str],
    label: MustTrip | Sequence[Window] | str,
    who: str | None = None,
    why: str = NO_REASON,
    day: dt.date | None = None,
    *,
    family: str | None = None,
    inspection: str = "",
    settles: bool = False,
) -> list[Edit]: ...


def relabel(
    folder: Path | str,
    identity: str | list[str],
    label: MustTrip | Sequence[Window] | str,
    who: str | None = None,
    why: str = NO_REASON,
    day: dt.date | None = None,
    *,
    family: str | None = None,
    inspection: str = "",
    settles: bool = False,
) -> Edit | list[Edit]:
    """Give a trace of a library, or several, the label of one reviewer, beside those of others; return what changed.

    label: "ride_through", "undecided", a window, or several in their order; a window is a MustTrip, or the texts of
    earliest, deadline, likely and latest: seconds, "5 min", or a time by the clock where the trace says when it began.
    identity: an id, or a list of them, to which family adds all its traces.

    who: the name of the login without it; day: today without it; inspection: what was found when the machine was
    opened; settles: reviewers differ, and this ends it. Raises Refusal, and leaves the file alone, for an unknown id, a
    window that the trace does not cover, and an edit that gives no valid library.
    """
    several = [identity] if isinstance(identity, str) else identity
    windows = (label,) if isinstance(label, MustTrip) else label
    who, day = login() if who is None else who, day or dt.datetime.now().astimezone().date()

    def said(library: Library) -> list[Said]:
        entries = [entry_of(library, one) for one in dict.fromkeys(several)]
        if family is not None:
            entries += [entry for entry in _of_family(library, family) if entry not in entries]
        if not entries:
            raise refusal("label", "", "a label for no trace", "ID... or --family NAME")
        return [
            Said(
                entry.id,
                windows if isinstance(windows, str) else tuple(_window(entry, window) for window in windows),
                *(who, day, why, inspection, settles),
            )
            for entry in entries
        ]

    edits = _edited(folder, said)
    return edits[0] if isinstance(identity, str) else edits


def _of_family(library: Library, family: str) -> list[Entry]:
    found = [entry for entry in library.entries if entry.family == family]
    if not found:
        accepted = f"one of {', '.join(sorted({entry.family for entry in library.entries}))}"
        raise refusal("label", "--family", "no trace of this family", accepted, family)
    return found


def _window(entry: Entry, window: Window) -> MustTrip:
    if isinstance(window, MustTrip):
        return window
    options = ("--must-trip", "--must-trip", "--likely", "--latest")
    told = zip(options, window, strict=False)
    earliest, deadline, *band = (None if one is None else second_of(one, entry, "label", key) for key, one in told)
    if earliest is None or deadline is None:
        raise refusal("label", "--must-trip", "a window without beginning or deadline", "EARLIEST DEADLINE")
    return MustTrip(earliest, deadline, *band)


def give_labels(folder: Path | str, said: Sequence[Said]) -> list[Edit]:
    """Give traces of a library the labels that people give, all or none, and return what changed by each.

    Raises Refusal as `relabel`.
    """
    return _edited(folder, lambda _: said)


def _edited(folder: Path | str, said: Callable[[Library], Sequence[Said]]) -> list[Edit]:
    """Give traces the labels that are said of a library as it is while nobody else can change it: read once."""
    folder = folder_of(folder)
    path = folder / FILE
    with locked(folder):
        check_inside(folder, path)
        table = read_toml(path, "library")
        text = path.read_bytes().decode()
        library = library_from(folder, table)
        known = {entry.id: entry for entry in library.entries}
        edits = []
        for one in said(library):
            if not one.by.strip() or not one.why.strip():
                raise refusal(one.where, "", "says neither who labelled it nor why", "--by WHO and --note TEXT")
            before = known[one.identity] if one.identity in known else entry_of(library, one.identity)
            _check(before, one)
            known[one.identity] = _after(before, one)
            edits.append(Edit(before, known[one.identity]))
        changed = {edit.before.id: known[edit.before.id] for edit in edits if edit.before != edit.after}
        changes = {identity: lambda table, entry=entry: _put(table, entry) for identity, entry in changed.items()}
        if changes:
            text, items = change_entries(path, text, table["trace"], changes)
            library_from(folder, {"trace": [item for item in items if item["id"] in changes]})
            write_whole(path, lambda stream: stream.write(text.encode()))
    return edits


def login() -> str:
    """Return who is logged in. Raises Refusal where nobody is by a name."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        raise refusal("label", "--by", "no login name found", "--by WHO") from None


def entry_of(library: Library, identity: str) -> Entry:
    """Return the entry of this id. Raises Refusal that names some like it."""
    known = {entry.id: entry for entry in library.entries}
    if identity not in known:
        near = difflib.get_close_matches(identity, known, n=3, cutoff=0.5) or list(known)[:3]
        raise refusal(library.folder / FILE, "id", "no trace of this id", f"one such as {', '.join(near)}", identity)
    return known[identity]


def _after(entry: Entry, said: Said) -> Entry:
    """Return an entry with one word more; the same where it has been given before."""
    word = said.word
    begin = f"{said.on.isoformat()}, {word.by}: {words_of(word.label)} (was "
    behind = f": {one_line(said.why)}"
    behind += f"; inspection: {word.inspection}" if word.inspection else ""
    behind += "; given when the decisions of the logic had been seen" if said.seen else ""
    lines = entry.note.splitlines()
    if word in entry.words and any(line.startswith(begin) and line.endswith(behind) for line in lines):
        return entry
    words = replaced(entry.words, word)
    apart = "; reviewers differ: undecided" if differ(words) else "; settles it" if word.settles else ""
    note = "\n".join([*([entry.note] if entry.note else []), f"{begin}{words_of(entry.label)}{apart}){behind}"])
    return dataclasses.replace(entry, label=in_force(words), words=words, note=note)


def _check(entry: Entry, said: Said) -> None:
    """Refuse windows that are out of order, and those that do not begin and have their deadline within the trace.

    The band may reach beyond the trace: a machine that was stopped in time shows no more of it. A label of other
    readings than those that stand there now is refused too.
    """
    if said.sha256 is not None and sha256_of(entry.path) != said.sha256:
        rule = "has other content than the trace that was labelled"
        raise refusal(entry.path, said.where, rule, "a page of the library as it is now", entry.id)
    if isinstance(said.label, str):
        if said.label not in LABELS[1:]:
            raise refusal(said.where, "", "no such label", ", ".join(LABELS), said.label)
        return
    if not said.label:
        raise refusal(said.where, "--must-trip", "no window", "EARLIEST DEADLINE")
    for before, window in pairwise((None, *said.label)):
        if window is not None:
            check_window(said.where, "--must-trip ", window, before)
    (last,) = collections.deque(read_pieces(entry.path, ROWS), maxlen=1)
    start_s, end_s = last.start_s, last.seconds(int(last.time_ms[-1]))
    for seconds in (second for window in said.label for second in (window.earliest_s, window.deadline_s)):
        if not start_s <= seconds <= end_s:
            accepted = f"seconds of the trace's own time, {shown_s(start_s)} to {shown_s(end_s)}"
            raise refusal(entry.path, "--must-trip", "outside the trace", accepted, seconds)


def _put(table: Any, entry: Entry) -> None:
    """Write what an entry says of its label into its table of the file."""
    _put_label(table, entry.label)
    _put_words(table, entry.words)
    _put_note(table, entry.note)


def _put_label(table: Any, label: Label) -> None:
    """Put the new label where the old one stands."""
    import tomlkit

    ((key, value),) = label_table(label).items()
    old = next(name for name in LABELS if name in table)
    table[old] = _item(value)
    if old != key:
        body = table.value.body
        place = next(place for place, (name, _) in enumerate(body) if name is not None and name.key == old)
        body[place] = (tomlkit.key(key), body[place][1])


def _item(value: Any) -> Any:
    """Return a value as tomlkit has it, tables and lists in one line."""
    import tomlkit

    if isinstance(value, dict):
        inline = tomlkit.inline_table()
        inline.update({key: _item(part) for key, part in value.items()})
        return inline
    if isinstance(value, list):
        several = tomlkit.array()
        several.extend(map(_item, value))
        return several
    return tomlkit.item(value)


def _put_words(table: Any, words: Sequence[Word]) -> None:
    """Put what reviewers say behind what they have said, each in a line of its own, or behind the last key."""
    import tomlkit

    wanted = [word.as_table() for word in words]
    listed = table["labels"] if "labels" in table else tomlkit.array().multiline(True)  # noqa: FBT003 - of tomlkit
    kept = 0  # of those wanted, which stand there in their order
    while kept < len(listed):
        if kept < len(wanted) and listed[kept].unwrap() == wanted[kept]:
            kept += 1
        else:
            del listed[kept]
    for word in wanted[kept:]:
        listed.add_line(_item(word))
    _put_behind(table, "labels", listed)


def _put_note(table: Any, note: str) -> None:
    """Put the note where it stands, or behind the last key."""
    import tomlkit

    _put_behind(table, "note", tomlkit.string(note, multiline="\n" in note))


def _put_behind(table: Any, key: str, value: Any) -> None:
    """Put a value where its key stands, or behind the last key: what follows that are comments on the next trace."""
    import tomlkit

    if key in table:
        table[key] = value
        return
    body = table.value.body
    last = max(place for place, (name, _) in enumerate(body) if name is not None)
    body[last][1].trivia.trail = body[last][1].trivia.trail or "\n"
    body.insert(last + 1, (tomlkit.key(key), value))


def one_line(text: str) -> str:
    """Return a text without line breaks and doubled blanks."""
    return " ".join(as_text(text).split())
