"""What identifies a library: its labels and every byte of its traces, in whatever order they are listed."""

import hashlib
from collections.abc import Mapping
from pathlib import Path

from replay.ground.places import check_file
from replay.ground.refusal import or_refuse
from replay.library.label import Label, MustTrip
from replay.library.library import Entry, Library


def library_digest(library: Library, known: Mapping[Path, str] | None = None) -> str:
    """Return the SHA-256 over id, family, label, upsets and file content of every trace, in the order of the ids.

    known: digests of files that are known already. Raises Refusal for a trace file that cannot be read.
    """
    digest = hashlib.sha256()
    for entry in sorted(library.entries, key=lambda entry: entry.id):
        content = (known or {}).get(entry.path) or sha256_of(entry.path)
        digest.update(f"{_sized(entry.id)} {_sized(entry.family)} {_label(entry)} {content}\n".encode())
    return digest.hexdigest()


def _sized(text: str) -> str:
    """Return a text with its length before it, so that no two lines can be mistaken for one another."""
    return f"{len(text)}:{text}"


def _label(entry: Entry) -> str:
    """Return label, upsets and words; a trace without band, further window, upset, word reads as before there were."""
    upsets = [f"upset {begin_s!r} {end_s!r}" for begin_s, end_s in entry.upsets]
    words = [
        f"word {_sized(word.by)} {word.on.isoformat()} {_kind(word.label)} {_sized(word.inspection)} {word.settles:d}"
        for word in entry.words
    ]
    return " ".join([_kind(entry.label), *upsets, *words])


def _kind(label: Label) -> str:
    return label if isinstance(label, str) else " and ".join(map(_window, label))


def _window(window: MustTrip) -> str:
    band = (("likely", window.likely_s), ("latest", window.latest_s))
    stated = [f"{name} {second!r}" for name, second in band if second is not None]
    return " ".join([f"must_trip {window.earliest_s!r} {window.deadline_s!r}", *stated])


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file in hex. Raises Refusal where it cannot be read."""
    check_file(path)
    with or_refuse(path, "read"), path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
