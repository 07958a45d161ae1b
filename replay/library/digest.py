"""What identifies a library: its labels and every byte of its traces, in whatever order they are listed."""

import hashlib
from pathlib import Path

from replay.ground.refusal import or_refuse
from replay.library.library import Entry, Library, MustTrip


def library_digest(library: Library) -> str:
    """Return the SHA-256 over id, family, label and file content of every trace, in the order of the ids.

    Raises Refusal for a trace file that cannot be read.
    """
    digest = hashlib.sha256()
    for entry in sorted(library.entries, key=lambda entry: entry.id):
        digest.update(f"{_sized(entry.id)} {_sized(entry.family)} {_label(entry)} {sha256_of(entry.path)}\n".encode())
    return digest.hexdigest()


def _sized(text: str) -> str:
    """Return a text with its length before it, so that no two lines can be mistaken for one another."""
    return f"{len(text)}:{text}"


def _label(entry: Entry) -> str:
    if isinstance(entry.label, MustTrip):
        return f"must_trip {entry.label.earliest_s!r} {entry.label.deadline_s!r}"
    return entry.label


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file in hex. Raises Refusal where it cannot be read."""
    with or_refuse(path, "read"), path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
