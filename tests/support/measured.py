"""Loggers' files and profiles for the tests of `lubetrip import`, and a short way to import them."""

import tempfile
from pathlib import Path
from unittest import mock

from replay.library import read_library
from replay.measured import text_lines
from replay.measured.importing import import_file as import_given
from replay.measured.opened import opened
from replay.measured.report import Report
from replay.trace import Trace, read_trace

# Restated here: the standard atmosphere at sea level, so that gauge conversions can be followed by hand.
SEA_LEVEL_PA = 101325
NO_READING = -1000000000
HEADER = "t;oil;suction;run\n"
PROFILE = """
[time]
column = "t"
unit = "s"
max_gap = "5 s"
[site]
altitude = "0 m"
[oil_pressure]
column = "oil"
unit = "bar"
reference = "gauge"
[suction_pressure]
column = "suction"
unit = "bar"
reference = "gauge"
[running]
column = "run"
"""


def profile_with(**changes: str) -> str:
    """Return the profile with lines of its sections replaced or added: time='unit = "ms"', file='decimal = ","'.

    An added key wins over the same key in the section; a value None cannot be given, "-key" drops a key.
    """
    sections: dict[str, dict[str, str]] = {}
    current: dict[str, str] = {}
    for line in PROFILE.strip().splitlines():
        if line.startswith("["):
            current = sections.setdefault(line.strip("[]"), {})
        else:
            key, _, value = line.partition(" = ")
            current[key] = value
    for section, lines in changes.items():
        for line in lines.split("\n"):
            key, _, value = line.partition(" = ")
            if key.startswith("-"):
                sections[section].pop(key[1:])
            elif key:
                sections.setdefault(section, {})[key] = value
    return "\n".join(
        f"[{section}]\n" + "\n".join(f"{key} = {value}" for key, value in content.items())
        for section, content in sections.items()
    )


def import_file(path: Path, library: Path, profile: Path | None = None, **options: object) -> Report:
    """Import a file that holds one machine and return its report."""
    (report,) = import_all(path, library, profile, **options)
    return report


def import_all(path: Path, library: Path, profile: Path | None = None, **options: object) -> list[Report]:
    """Import a file, or what is packed in it, and return the report on each machine."""
    with opened(path) as inside:
        return [one for given in inside for one in import_given(given, library, profile, **options)]  # type: ignore[arg-type]


def bring_in(
    folder: Path,
    data: str | bytes,
    profile: str = PROFILE,
    *,
    name: str = "log.csv",
    repair: bool = False,
    block_bytes: int | None = None,
) -> tuple[Report, list[Trace]]:
    """Import one file into a new library under the folder; return the report and the traces."""
    place = Path(tempfile.mkdtemp(dir=folder))
    source, profile_file = place / name, place / "profile.toml"
    source.write_bytes(data.encode() if isinstance(data, str) else data)
    profile_file.write_text(profile, encoding="utf-8")
    with mock.patch.object(text_lines, "BLOCK_BYTES", block_bytes or text_lines.BLOCK_BYTES):
        report = import_file(source, place / "library", profile_file, repair=repair)
    return report, [read_trace(entry.path) for entry in read_library(place / "library").entries]


def readings(folder: Path, data: str | bytes, profile: str = PROFILE, **options: object) -> Trace:
    """Import a file that gives one trace, and return it."""
    _, traces = bring_in(folder, data, profile, **options)  # type: ignore[arg-type]
    assert len(traces) == 1
    return traces[0]
