"""What one more step costs in a large library: python -m tests.benchmarks growth.

A library of 10,000 entries (GROWTH_ENTRIES) and one of 100 beside it: its reading, a label, and the import of files one
after the other in one command. CPU seconds of this process: other load on the machine hardly counts.
"""

import os
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from replay.library import read_library
from replay.library.editing import entry_text
from replay.library.labels import relabel
from replay.measured.importing import import_logs
from tests.support.measured import HEADER, PROFILE

ENTRIES = int(os.environ.get("GROWTH_ENTRIES", "10000"))
FILES = 20  # that are imported
SMALL = 100


def make(folder: Path, entries: int) -> list[Path]:
    """Write a library of so many entries, and the files that will be imported."""
    (folder / "traces").mkdir(parents=True)
    told = {"family": "recorded, unlabelled", "machine": "K1", "oil": "not stated", "source": "logger.csv"}
    parts = []
    for number in range(entries):
        name = f"traces/logger-{number:06}.csv"
        (folder / name).write_text("time_s,oil_pressure_kpa,suction_pressure_kpa,running\n0,400,300,1\n1,401,300,1\n")
        origin = f"recorded: logger.csv, SHA-256 {number:064x}"
        parts.append(entry_text({"id": f"t{number}", "file": name, **told, "origin": origin, "undecided": True}))
    (folder / "library.toml").write_text("\n".join(parts))
    logs = [folder.parent / f"new{number}.csv" for number in range(FILES)]
    for number, log in enumerate(logs):
        rows = "".join(f"{second};4.{(second + number) % 7};2.{second % 5};1\n" for second in range(100))
        log.write_text(HEADER + rows)
    return logs


def spent(work: Callable[[], object]) -> float:
    """Return the CPU seconds of some work."""
    begin = time.process_time()
    work()
    return time.process_time() - begin


def measure(entries: int, place: Path) -> None:
    """Print what each step takes in a library of so many entries."""
    library, profile = place / "library", place / "profile.toml"
    logs = make(library, entries)
    profile.write_text(PROFILE)
    print(f"{entries} entries, library.toml of {(library / 'library.toml').stat().st_size / 1e6:.2f} MB")
    print(f"  read          {spent(lambda: read_library(library)):8.3f} s CPU")
    print(f"  label         {spent(lambda: relabel(library, 't7', 'ride_through', 'me', 'seen')):8.3f} s CPU")
    first = spent(lambda: import_logs(logs[:1], library, profile))
    rest = spent(lambda: import_logs(logs[1:], library, profile)) / (FILES - 1)
    print(f"  import        {first:8.3f} s CPU for the first file, {rest:.3f} s for each after it")


def main() -> None:
    """Print CPU seconds of each step in a small and in the large library."""
    for entries in (SMALL, ENTRIES):
        with tempfile.TemporaryDirectory() as place:
            measure(entries, Path(place))
