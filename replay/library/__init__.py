"""A folder of traces with their labels: read, identified by digest, relabelled; the demo library."""

from replay.library.digest import library_digest
from replay.library.library import Entry, Library, MustTrip, find_entry, label_text, library_from, read_library

__all__ = [
    "Entry",
    "Library",
    "MustTrip",
    "find_entry",
    "label_text",
    "library_digest",
    "library_from",
    "read_library",
]
