"""Remove traces from a library. What their labels were, and why, is kept in LIBRARY/removed.toml."""

import datetime as dt
from collections.abc import Sequence
from pathlib import Path

from replay.ground.files import write_text
from replay.ground.lock import locked
from replay.ground.refusal import or_refuse, refusal
from replay.library.editing import without_entries
from replay.library.labels import entry_of, login, one_line
from replay.library.library import FILE, Entry, check_inside, label_text, read_library

REMOVED = "removed.toml"
HEAD = "# Traces that were removed from this library, each as it stood there, with who removed it and why.\n"


def remove_traces(
    folder: Path | str, identities: Sequence[str], who: str | None = None, why: str = "no reason given"
) -> list[Entry]:
    """Remove traces of a library by their ids, files included, and return their entries.

    who: the name of the login without it. Their labels and notes are kept in removed.toml. Raises Refusal, and leaves
    all as it is, for an unknown id, and where no trace would be left.
    """
    folder, who = Path(folder), login() if who is None else who
    with locked(folder):
        library = read_library(folder)
        entries = [entry_of(library, identity) for identity in dict.fromkeys(identities)]
        if len(entries) == len(library.entries):
            raise refusal(folder, "", "no trace would be left", "remove the folder itself")
        path = folder / FILE
        text = without_entries(path, path.read_bytes().decode(), frozenset(entry.id for entry in entries))
        keep(folder, entries, f"{one_line(who)}: {one_line(why)}")
        write_text(path, text)
        delete_files(folder, entries)
    return entries


def keep(folder: Path, entries: Sequence[Entry], why: str) -> None:
    """Enter traces into removed.toml, before they go: a kill in between loses no label."""
    import tomlkit

    if not entries:
        return
    check_inside(folder, folder / REMOVED)
    path, day = folder / REMOVED, dt.datetime.now().astimezone().date().isoformat()
    tables = []
    for entry in entries:
        told = {key: getattr(entry, key) for key in ("id", "family", "machine", "oil", "origin", "note", "source")}
        tables.append({key: text for key, text in told.items() if text} | {"label": label_text(entry)})
        tables[-1]["removed"] = f"{day}, {why}"
    before = path.read_text(encoding="utf-8") if path.exists() else HEAD
    write_text(path, before.rstrip("\n") + "\n\n" + tomlkit.dumps({"removed": tables}))


def delete_files(folder: Path, entries: Sequence[Entry]) -> None:
    """Remove the files of traces that were taken out of library.toml, but for those that it still names elsewhere."""
    named = {entry.path.resolve() for entry in read_library(folder).entries} if entries else set()
    for entry in entries:
        if entry.path.resolve() not in named:
            with or_refuse(entry.path, "removed"):
                entry.path.unlink(missing_ok=True)
