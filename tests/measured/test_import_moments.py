"""An imported trace says when it began, on which clock, and in which file it stood: keys, not prose."""

import datetime as dt
from pathlib import Path

import pytest

from replay.ground.refusal import Refusal
from replay.library import read_library
from tests.support.measured import HEADER, import_file, profile_with

UNMARKED = '-unit\nmax_gap = "5 s"'


def entries(folder: Path, lines: str, time: str) -> list:
    """Import a log and return the entries of its library, as a program reads them."""
    (folder / "log.csv").write_text(HEADER + lines)
    (folder / "profile.toml").write_text(profile_with(time=time))
    import_file(folder / "log.csv", folder / "library", folder / "profile.toml")
    return list(read_library(folder / "library").entries)


def test_a_trace_on_a_known_clock_has_its_moment_zone_and_file_as_keys(tmp_path: Path) -> None:
    """Catches a start left as prose, in local time, or cut to whole seconds; and parts that all begin with the file."""
    lines = "".join(f"2026-07-01 10:00:{s:02d}.250;3.5;2;1\n" for s in (0, 1, 2, 30, 31))
    first, second = entries(tmp_path, lines, f'{UNMARKED}\nzone = "Europe/Oslo"')

    assert first.start_utc == dt.datetime(2026, 7, 1, 8, 0, 0, 250000, dt.UTC)
    assert second.start_utc == dt.datetime(2026, 7, 1, 8, 0, 30, 250000, dt.UTC)
    assert {entry.zone for entry in (first, second)} == {"Europe/Oslo"}
    assert {entry.source for entry in (first, second)} == {"log.csv"}
    assert "start_utc = 2026-07-01T08:00:00.250" in (tmp_path / "library" / "library.toml").read_text()


@pytest.mark.parametrize(
    ("lines", "time", "said"),
    [
        ("0;3.5;2;1\n1;3.5;2;1\n", 'unit = "s"', "starts at 0.000 s of the logger's time"),
        ("2026-07-01 10:00:00;3.5;2;1\n2026-07-01 10:00:01;3.5;2;1\n", UNMARKED, "a clock whose zone is not stated"),
    ],
)
def test_a_clock_that_nobody_can_place_gives_no_moment(lines: str, time: str, said: str, tmp_path: Path) -> None:
    """Catches local time or elapsed time written as if it were UTC."""
    (entry,) = entries(tmp_path, lines, time)

    assert (entry.start_utc, entry.zone, entry.source) == (None, None, "log.csv")
    assert said in entry.origin


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("start_utc = 2026-03-01T10:00:00", "a time without its offset from UTC may be any hour"),
        ('start_utc = "2026-03-01T10:00:00Z"', "no date with a time of day"),
        ('zone = "Europe/Nowhere"', "no such time zone"),
    ],
)
def test_a_moment_that_may_be_any_hour_is_refused(line: str, said: str, library: Path) -> None:
    """Catches files joined in the wrong order by a moment without its offset."""
    text = (library / "library.toml").read_text()
    (library / "library.toml").write_text(text.replace("ride_through = true", f"ride_through = true\n{line}", 1))

    with pytest.raises(Refusal, match=said):
        read_library(library)


def test_a_moment_with_another_offset_is_the_same_moment(library: Path) -> None:
    """Catches an offset that is dropped."""
    text = (library / "library.toml").read_text()
    line = "ride_through = true\nstart_utc = 2026-03-01T11:00:00+01:00"
    (library / "library.toml").write_text(text.replace("ride_through = true", line, 1))
    moments = [entry.start_utc for entry in read_library(library).entries if entry.start_utc]

    assert moments == [dt.datetime(2026, 3, 1, 10, 0, tzinfo=dt.UTC)]
