"""Which files are logs of which machine, and which of them go on where another ended."""

import os
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from replay.ground.refusal import refusal
from replay.library import find_entry, read_library
from replay.library.library import FILE
from replay.trace import read_pieces

SUFFIXES = (".csv", ".parquet")


@dataclass(frozen=True)
class Found:
    """The files of each machine, by its name, and the settings that the libraries among the paths name."""

    machines: dict[str, tuple[Path, ...]]
    settings: tuple[Path, ...]


def find_logs(paths: Sequence[Path], *, by_folder: bool) -> Found:
    """Return the logs under some paths: trace files, folders of them, libraries.

    In a library its `machine` names the machine. Elsewhere each file is one
    machine, or with `by_folder` all files of one folder are. Raises Refusal for a
    path without logs.
    """
    named: list[tuple[str | None, Path]] = []
    settings: list[Path] = []
    for path in paths:
        own, files = _logs_at(path)
        named += files
        settings += [own] if own else []
    once = {file.resolve(): (machine, file) for machine, file in reversed(named)}
    ordered = list(reversed(once.values()))
    names = _names([file for machine, file in ordered if machine is None], by_folder=by_folder)
    machines: dict[str, tuple[Path, ...]] = {}
    for machine, file in ordered:
        name = machine or names[file]
        machines[name] = (*machines.get(name, ()), file)
    return Found(machines, tuple({path.resolve(): path for path in settings}.values()))


def _logs_at(path: Path) -> tuple[Path | None, list[tuple[str | None, Path]]]:
    """Return files with their machine, and the settings of the library that names it: the path, or around the file."""
    if (path / FILE).is_file():
        library = read_library(path)
        return library.settings, [(entry.machine, entry.path) for entry in library.entries]
    found = find_entry(path) if path.is_file() else None
    if found is None:
        return None, [(None, file) for file in _files(path)]
    library, entry = found
    return library.settings, [(entry.machine if entry else None, path)]


def _files(path: Path) -> list[Path]:
    """Return a trace file itself, or all trace files below a folder, in the order of their names."""
    if path.is_dir():
        files = sorted(file for file in path.rglob("*") if file.suffix.lower() in SUFFIXES and file.is_file())
        if not files:
            raise refusal(path, "", "no logs in this folder", "a folder with .csv or .parquet trace files")
        return files
    if not path.is_file():
        raise refusal(path, "", "no such trace", "trace files (CSV, Parquet), folders of them, or libraries")
    return [path]


def _names(files: Iterable[Path], *, by_folder: bool) -> dict[Path, str]:
    """Return short names that stay apart: stems or folders, and whole paths where those meet."""
    keys = {file: file.parent if by_folder else file for file in files}
    short = {key: (key.resolve().name if by_folder else key.stem) for key in keys.values()}
    often = Counter(short.values())
    return {file: short[key] if often[short[key]] == 1 else os.fspath(key) for file, key in keys.items()}


def in_time(files: Iterable[Path]) -> list[tuple[float, Path]]:
    """Return files with their first time (s), in the order of it. Raises Refusal for a file that cannot be read."""
    first = [(next(read_pieces(file, 2)).start_s, file) for file in files]
    return sorted(first, key=lambda pair: pair[0])
