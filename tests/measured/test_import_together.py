"""Imports at the same time into one library, and how far a long import has come."""

import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from replay.library import read_library
from replay.measured import into_library, text_lines
from tests.support.measured import HEADER, PROFILE, import_file

ROWS = "0;3.5;2.0;1\n1;3.6;2.0;1\n"


@pytest.fixture
def profile(tmp_path: Path) -> Path:
    """Return a profile."""
    path = tmp_path / "logger.toml"
    path.write_text(PROFILE)
    return path


def test_imports_at_the_same_time_lose_no_entry(tmp_path: Path, profile: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches an import that writes library.toml from what it read before another one wrote it; and a file in twice."""
    write = into_library.write_text

    def slowly(path: Path, text: str) -> None:
        time.sleep(0.05)
        write(path, text)

    monkeypatch.setattr(into_library, "write_text", slowly)
    sources = [tmp_path / f"log {number}.csv" for number in range(4)]
    for number, source in enumerate(sources):
        source.write_text(HEADER + ROWS + f"2;3.5;2.{number};0\n")
    with ThreadPoolExecutor(8) as pool:
        reports = list(pool.map(lambda source: import_file(source, tmp_path / "library", profile), sources * 2))
    library = read_library(tmp_path / "library")

    assert sorted(entry.id for entry in library.entries) == ["log-0", "log-1", "log-2", "log-3"]
    assert sorted(bool(report.already) for report in reports) == [False] * 4 + [True] * 4
    assert sorted(path.name for path in (tmp_path / "library").iterdir()) == ["library.toml", "profiles", "traces"]
    assert len(list((tmp_path / "library" / "traces").iterdir())) == 4


def test_the_bytes_that_are_told_add_up_to_the_file(
    tmp_path: Path, profile: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a progress bar that ends early or late, and one that moves only at the end."""
    source = tmp_path / "log.csv"
    source.write_text(HEADER + "".join(f"{second};3.5;2.0;1\n" for second in range(100)))
    told: list[int] = []
    monkeypatch.setattr(text_lines, "BLOCK_BYTES", 200)
    import_file(source, tmp_path / "library", profile, advance=told.append)

    assert len(told) > 5
    assert sum(told) == source.stat().st_size - len(HEADER)
