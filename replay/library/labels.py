"""Edit the label of one trace in library.toml, with who says so and why; all else in the file stays as it is.

A label comes from the inspection of the machine or from how the trace was made,
never from the logic that is judged by it. So each edit adds a line to the
trace's note:

    DATE, WHO: NEW LABEL (was OLD LABEL): WHY

Comments, order and spelling of the file are kept: comments behind the old label
stay behind the new one.
"""

import collections
import dataclasses
import datetime as dt
import difflib
import getpass
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from replay.ground.files import write_whole
from replay.ground.lock import locked
from replay.ground.refusal import as_text, refusal
from replay.ground.toml_files import read_toml
from replay.library.editing import change_entry
from replay.library.library import (
    FILE,
    LABELS,
    Entry,
    Label,
    Library,
    MustTrip,
    check_inside,
    check_window,
    label_text,
    library_from,
    shown_s,
)
from replay.trace import read_pieces

ROWS = 1 << 18  # of a trace that are looked at together


@dataclass(frozen=True)
class Edit:
    """A label as it was and as it is now."""

    before: Entry
    after: Entry


def relabel(
    folder: Path | str,
    identity: str,
    label: MustTrip | Sequence[MustTrip] | str,
    who: str | None = None,
    why: str = "no reason given",
    day: dt.date | None = None,
) -> Edit:
    """Give a trace of a library another label and return what changed.

    label: "ride_through", "undecided", a window, or several in their order.

    who: the name of the login without it; day: today without it. Raises Refusal, and leaves the file alone, for an
    unknown id, a window that the trace does not cover, and an edit that gives no valid library.
    """
    folder, who = Path(folder), login() if who is None else who
    day = day or dt.datetime.now().astimezone().date()
    if not who.strip() or not why.strip():
        raise refusal("label", "", "who says so, and why, is not told", "--by WHO and --note TEXT")
    path = folder / FILE
    wanted: Label = label if isinstance(label, str) else (label,) if isinstance(label, MustTrip) else tuple(label)
    with locked(folder):
        check_inside(folder, path)
        table = read_toml(path, "library")
        text = path.read_bytes().decode()
        before = entry_of(library_from(folder, table), identity)
        if not isinstance(wanted, str):
            _check_windows(before.path, wanted)
        now = label_text(dataclasses.replace(before, label=wanted))
        line = f"{day.isoformat()}, {one_line(who)}: {now} (was {label_text(before)}): {one_line(why)}"
        note = f"{before.note}\n{line}" if before.note else line

        def change(table: Any) -> None:
            _put_label(table, wanted)
            _put_note(table, note)

        text, item = change_entry(path, text, table["trace"], identity, change)
        (after,) = library_from(folder, {"trace": [item]}).entries
        write_whole(path, lambda stream: stream.write(text.encode()))
    return Edit(before, after)


def login() -> str:
    """Return who is logged in. Raises Refusal where nobody is by a name."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        raise refusal("label", "--by", "you are not logged in by a name", "--by WHO") from None


def entry_of(library: Library, identity: str) -> Entry:
    """Return the entry of this id. Raises Refusal that names some like it."""
    known = {entry.id: entry for entry in library.entries}
    if identity not in known:
        near = difflib.get_close_matches(identity, known, n=3, cutoff=0.5) or list(known)[:3]
        raise refusal(library.folder / FILE, "id", "no trace of this id", f"one such as {', '.join(near)}", identity)
    return known[identity]


def _check_windows(file: Path, windows: Sequence[MustTrip]) -> None:
    """Refuse windows that are out of order, and those that do not begin and have their deadline within the trace.

    The band may reach beyond the trace: a machine that was stopped in time shows no more of it.
    """
    if not windows:
        raise refusal("label", "--must-trip", "no window", "EARLIEST DEADLINE")
    for before, window in pairwise((None, *windows)):
        if window is not None:
            check_window("label", "--must-trip ", window, before)
    (last,) = collections.deque(read_pieces(file, ROWS), maxlen=1)
    start_s, end_s = last.start_s, last.seconds(int(last.time_ms[-1]))
    for seconds in (second for window in windows for second in (window.earliest_s, window.deadline_s)):
        if not start_s <= seconds <= end_s:
            accepted = f"seconds of the trace's own time, {shown_s(start_s)} to {shown_s(end_s)}"
            raise refusal(file, "--must-trip", "outside the trace", accepted, seconds)


def _put_label(table: Any, label: Label) -> None:
    """Put the new label where the old one stands."""
    import tomlkit

    key, value = label, tomlkit.item(True)  # type: Any, Any # noqa: FBT003 - a TOML value
    if not isinstance(label, str):
        key = "must_trip"
        windows = []
        for window in label:
            windows.append(tomlkit.inline_table())
            windows[-1].update(window.as_table())
        value = windows[0]
        if len(windows) > 1:
            value = tomlkit.array()
            value.extend(windows)
    old = next(name for name in LABELS if name in table)
    table[old] = value
    if old != key:
        body = table.value.body
        place = next(place for place, (name, _) in enumerate(body) if name is not None and name.key == old)
        body[place] = (tomlkit.key(key), body[place][1])


def _put_note(table: Any, note: str) -> None:
    """Put the note where it stands, or behind the last key: what follows that are comments on the next trace."""
    import tomlkit

    value = tomlkit.string(note, multiline="\n" in note)
    if "note" in table:
        table["note"] = value
        return
    body = table.value.body
    last = max(place for place, (name, _) in enumerate(body) if name is not None)
    body[last][1].trivia.trail = body[last][1].trivia.trail or "\n"
    body.insert(last + 1, (tomlkit.key("note"), value))


def one_line(text: str) -> str:
    """Return a text without line breaks and doubled blanks."""
    return " ".join(as_text(text).split())
