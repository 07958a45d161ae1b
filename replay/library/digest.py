"""What identifies a library: its labels and every byte of its traces, in whatever order they are listed."""

import hashlib

from replay.ground.refusal import or_refuse
from replay.library.library import Entry, Library, MustTrip


def library_digest(library: Library) -> str:
    """Return the SHA-256 over id, family, label and file content of every trace, in the order of the ids.

    Raises Refusal for a trace file that cannot be read.
    """
    digest = hashlib.sha256()
    for entry in sorted(library.entries, key=lambda entry: entry.id):
        digest.update(f"{_sized(entry.id)} {_sized(entry.family)} {_label(entry)} {_content(entry)}\n".encode())
    return digest.hexdigest()


def _sized(text: str) -> str:
    """Return a text with its length before it, so that no two lines can be mistaken for one another."""
    return f"{len(text)}:{text}"


def _label(entry: Entry) -> str:
    if isinstance(entry.label, MustTrip):
        return f"must_trip {entry.label.earliest_s!r} {entry.label.deadline_s!r}"
    return entry.label


def _content(entry: Entry) -> str:
    with or_refuse(entry.path, "read"), entry.path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
