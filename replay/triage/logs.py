"""Which files are logs of which machine, when each began, and in which order they come."""

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import unquote

from replay.ground.places import check_file, reached
from replay.ground.refusal import as_text, refusal
from replay.library import Entry, find_entry, read_library
from replay.library.library import FILE
from replay.trace import first_time_s
from replay.triage.clock import UTC, Clock, is_unix

SUFFIXES = (".csv", ".parquet")
MACHINE = "machine"  # the key of a partitioned data set


@dataclass(frozen=True)
class Part:
    """One file of a machine: when its first row was, the zone of the wall clock there, the logger's file it is from.

    judged_share, losses: what the import of that file left to judge, and what it lost in words.
    """

    path: Path
    start_utc: dt.datetime | None = None
    zone: str = UTC
    source: str = ""
    judged_share: float = 1.0
    losses: tuple[str, ...] = ()


@dataclass(frozen=True)
class Placed:
    """A part with its own time (s) of its first row, and the clock of that row."""

    part: Part
    start_s: float
    clock: Clock


@dataclass(frozen=True)
class Found:
    """The files of each machine, by its name, and the settings that the libraries among the paths name."""

    machines: dict[str, tuple[Part, ...]]
    settings: tuple[Path, ...]


def find_logs(paths: Sequence[Path], *, by_folder: bool) -> Found:
    """Return the logs under some paths: trace files, folders of them, libraries.

    In a library its `machine` names the machine. Elsewhere each file is one
    machine, or with `by_folder` all files of one folder are. Raises Refusal for a
    path without logs.
    """
    named: list[tuple[str | None, Part]] = []
    settings: list[Path] = []
    for path in paths:
        with reached(path):
            own, parts = _logs_at(path)
        named += parts
        settings += [own] if own else []
    once = {part.path.resolve(): (machine, part) for machine, part in reversed(named)}
    ordered = list(reversed(once.values()))
    names = _names([part.path for machine, part in ordered if machine is None], by_folder=by_folder)
    machines: dict[str, tuple[Part, ...]] = {}
    for machine, part in ordered:
        name = machine or names[part.path]
        machines[name] = (*machines.get(name, ()), part)
    return Found(machines, tuple({path.resolve(): path for path in settings}.values()))


def _logs_at(path: Path) -> tuple[Path | None, list[tuple[str | None, Part]]]:
    """Return files with their machine, and the settings of the library that names it: the path, or around the file."""
    if path.is_dir() and (path / FILE).is_file():  # the first asks a store that is down once, the second hides it
        library = read_library(path)
        return library.settings, [(entry.machine, _part(entry)) for entry in library.entries]
    found = find_entry(path) if path.is_file() else None
    if found is None:
        return None, [(_partition(file), Part(file)) for file in _files(path)]
    library, entry = found
    return library.settings, [(entry.machine, _part(entry, path)) if entry else (None, Part(path))]


def _part(entry: Entry, path: Path | None = None) -> Part:
    kept = entry.judged_share, entry.losses
    return Part(path or entry.path, entry.start_utc, entry.zone or UTC, entry.source or "", *kept)


def _files(path: Path) -> list[Path]:
    """Return a trace file itself, or all trace files below a folder, in the order of their names."""
    if path.is_dir():
        files = sorted(file for file in path.rglob("*") if file.suffix.lower() in SUFFIXES and file.is_file())
        if not files:
            raise refusal(path, "", "no logs in this folder", "a folder with .csv or .parquet trace files")
        return files
    check_file(path)
    if not path.is_file():
        raise refusal(path, "", "no such trace", "trace files (CSV, Parquet), folders of them, or libraries")
    return [path]


def _partition(file: Path) -> str | None:
    """Return the machine that a partitioned data set names in its folders, `machine=K1/date=2026-03-01`."""
    keyed = (part.partition("=") for part in file.parent.parts)
    return next((unquote(value) for key, _, value in keyed if key == MACHINE and value), None)


def _names(files: Iterable[Path], *, by_folder: bool) -> dict[Path, str]:
    """Return short names that stay apart: stems or folders, and whole paths where those meet."""
    keys = {file: file.parent if by_folder else file for file in files}
    short = {key: as_text(key.resolve().name if by_folder else key.stem) for key in keys.values()}
    often = Counter(short.values())
    return {file: short[key] if often[short[key]] == 1 else as_text(str(key)) for file, key in keys.items()}


def in_time(parts: Iterable[Part]) -> list[Placed]:
    """Return parts in the order of time. Raises Refusal for a file that cannot be read."""
    return in_order([_placed(part, first_time_s(part.path)) for part in parts])


def in_order(placed: Iterable[Placed]) -> list[Placed]:
    """Return parts in the order of time: first those of a known moment, then those of a time of their own."""
    return sorted(placed, key=lambda one: (one.clock.utc_s is None, one.clock.utc_s or 0.0, one.start_s))


def _placed(part: Part, start_s: float) -> Placed:
    if part.start_utc is not None:
        return Placed(part, start_s, Clock(part.start_utc.timestamp(), part.zone))
    return Placed(part, start_s, Clock(start_s, part.zone) if is_unix(start_s) else Clock())
