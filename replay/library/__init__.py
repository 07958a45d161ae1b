"""A folder of traces with their labels: read, identified by digest, relabelled; the demo library."""

from replay.library.digest import library_digest
from replay.library.given import library_of, settings_of, settings_path, trace_with_settings
from replay.library.library import Entry, Library, MustTrip, find_entry, label_text, library_from, read_library

__all__ = [
    "Entry",
    "Library",
    "MustTrip",
    "find_entry",
    "label_text",
    "library_digest",
    "library_from",
    "library_of",
    "read_library",
    "settings_of",
    "settings_path",
    "trace_with_settings",
]
