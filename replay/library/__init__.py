"""A folder of traces with their labels: read, identified by digest, relabelled; the demo library.

How to add a trace: its file under the library's folder and a `[[trace]]` table in library.toml with its origin and a
label that does not come from the logic. Those of `fixtures/` are made, not edited: after a change of the physics remove
fixtures/library.toml and fixtures/traces/, run `lubetrip synth fixtures` with the recipe that stood in it, and look
whether the settings still meet their acceptance there and on another seed.
"""

from replay.library.digest import library_digest
from replay.library.given import library_of, settings_of, settings_path, trace_with_settings
from replay.library.label import Label, MustTrip
from replay.library.library import (
    Entry,
    Library,
    entry_named,
    find_entry,
    label_text,
    library_from,
    read_library,
    trace_file,
)

__all__ = [
    "Entry",
    "Label",
    "Library",
    "MustTrip",
    "entry_named",
    "find_entry",
    "label_text",
    "library_digest",
    "library_from",
    "library_of",
    "read_library",
    "settings_of",
    "settings_path",
    "trace_file",
    "trace_with_settings",
]
