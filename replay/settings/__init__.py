"""The settings file, checked; what its settings guarantee; the floor pressure of a crankshaft drilling.

How to add a setting: place and row in protect/ranges.py first, then its key in `SECTIONS` of `file`, with a default, so
that old files stay complete, and its words on the bench page in replay/page/settings.js. How to add a guarantee: a line
in `guarantee` with its method, and a test that finds it attained and finds that one ms less does not do.
"""

from replay.settings.file import Acceptance, Settings, read_settings

__all__ = ["Acceptance", "Settings", "read_settings"]
