"""An import that replaces what came from the same file before: labels stay where the time stays, history always."""

from pathlib import Path
from typing import Any

from replay.library.label import label_table
from replay.library.library import Entry, label_text, read_library
from replay.measured.into_library import entries_with
from replay.trace import read_pieces

MS = 0.001


def replaced_by(library: Path, source: str, digest: str) -> list[Entry]:
    """Return the entries that came from a file of this name, or of these bytes."""
    if not (library / "library.toml").exists():
        return []
    same = set(entries_with(library, digest))
    return [entry for entry in read_library(library).entries if entry.source == source or entry.id in same]


def keep_labels(old: list[Entry], new: list[tuple[dict[str, Any], float]]) -> None:
    """Give new entries (with the seconds that each lasts) the notes of the old.

    They get their labels too where a trace begins and ends at the same times: a label is of the machine at that time,
    whatever the columns were taken for. Where the time is another, the note says what the label was.
    """
    for entry, (made, lasts_s) in zip(old, new, strict=False):
        lines = [entry.note] if entry.note else []
        if len(old) == len(new) and entry.start_utc == made.get("start_utc") and abs(_end_s(entry.path) - lasts_s) < MS:
            del made["undecided"]
            made.update(label_table(entry.label))
            if entry.words:
                made["labels"] = [word.as_table() for word in entry.words]
        elif entry.label != "undecided":
            lines.append(f"before this was imported again its label was: {label_text(entry)}")
        if lines:
            made["note"] = "\n".join([*lines, *([made["note"]] if made.get("note", "") not in ("", *lines) else [])])


def _end_s(path: Path) -> float:
    """Return the last time (s) of a trace file."""
    return max(piece.seconds(int(piece.time_ms[-1])) for piece in read_pieces(path, 1 << 18))
