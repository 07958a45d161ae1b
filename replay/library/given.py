"""A library, a trace and the settings for it as a user gives them: by path, or read already."""

from pathlib import Path

from replay.ground.places import STANDARD_INPUT, place_of
from replay.ground.refusal import refusal
from replay.library.library import Entry, Library, find_entry, read_library
from replay.settings import Settings, read_settings
from replay.trace import AnyTrace, LongTrace, Trace, open_trace

GivenLibrary = Library | Path | str
GivenSettings = Settings | Path | str | None


def library_of(given: GivenLibrary) -> Library:
    """Return a library, read if its folder is given. Raises Refusal."""
    return given if isinstance(given, Library) else read_library(given)


def settings_path(given: Path | str | None, library: Library | None, subject: Path | str) -> Path:
    """Return the settings file that is given, or that the library names. Raises Refusal where there is none."""
    path = given or (library.settings if library else None)
    if path is None:
        raise refusal(subject, "", "no settings", "--settings FILE, or settings = FILE in its library.toml")
    return Path(path) if str(path) == STANDARD_INPUT else place_of(path)


def settings_of(given: GivenSettings, library: Library | None, subject: Path | str) -> Settings:
    """Return settings, read if a file is given; without any, those that the library names. Raises Refusal.

    subject: what they are wanted for, as the refusal names it.
    """
    return given if isinstance(given, Settings) else read_settings(settings_path(given, library, subject))


def trace_with_settings(
    given: AnyTrace | Path | str, settings: GivenSettings = None
) -> tuple[AnyTrace, Entry | None, Settings]:
    """Return a trace with its entry, where a library around the file names it, and the settings for it.

    A long one is left in its file.

    Raises Refusal for a file that cannot be read, and where neither the caller nor such a library gives settings.
    """
    if isinstance(given, Trace | LongTrace):
        return given, None, settings_of(settings, None, given.name)
    trace = open_trace(given)
    return trace, *entry_with_settings(place_of(given), settings)


def entry_with_settings(file: Path, settings: GivenSettings = None) -> tuple[Entry | None, Settings]:
    """Return the entry of a trace file, where a library around it names it, and the settings for it. Raises Refusal."""
    library, entry = find_entry(file) or (None, None)
    return entry, settings_of(settings, library, file)
