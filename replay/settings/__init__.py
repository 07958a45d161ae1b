"""The settings file, checked; what its settings guarantee; the floor pressure of a crankshaft drilling."""

from replay.settings.file import Acceptance, Settings, read_settings

__all__ = ["Acceptance", "Settings", "read_settings"]
