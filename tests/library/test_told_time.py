"""A moment as a person tells it, in s of the trace's own time: which clock is meant, and which day."""

import datetime as dt
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from replay.ground.refusal import Refusal
from replay.library import told_time
from replay.library.label import MustTrip
from replay.library.told_time import on_the_clock, second_of, windows_on_the_clock

START = dt.datetime(2026, 3, 2, 9, 0, tzinfo=dt.UTC)  # ten o'clock in Berlin


@pytest.fixture(autouse=True)
def begins_at_five(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let every trace begin at 5 s of its own time."""
    monkeypatch.setattr(told_time, "first_time_s", lambda _path: 5.0)


def told(text: str, zone: str | None = "Europe/Berlin", start: dt.datetime | None = START) -> float:
    """Return a moment of a trace."""
    entry: Any = SimpleNamespace(id="a", path=Path("a.csv"), start_utc=start, zone=zone)
    return second_of(text, entry, "here", "earliest")


@pytest.mark.parametrize(
    ("text", "second"),
    [
        ("312.5", 312.5),
        ("-3", -3.0),
        ("5 min", 300.0),
        ("1.5 h", 5400.0),
        ("2026-03-02 10:00:00", 5.0),
        ("2026-03-02 10:05:30.256", 335.256),
        ("2026-03-02 10:05:30.2564", 335.256),
        ("2026-03-02 09:59:59", 4.0),
        ("2026-03-03 10:00:00", 86_405.0),
        ("2026-03-02T09:05:30Z", 335.0),
        ("2026-03-02T09:05:30+02:00", 335.0 - 2 * 3600),
        ("10:05:30", 335.0),
        ("10:00", 5.0),
        ("09:59:59", 5.0 + 86_399),  # the next day's: the trace begins at ten
        ("09:05:30Z", 335.0),
        ("10:05:30+01:00", 335.0),
        ("08:59:59Z", 5.0 + 86_399),
    ],
)
def test_a_moment_is_told_in_many_ways(text: str, second: float) -> None:
    """Catches an offset that is not heard, UTC read as local time, and a time of the day before the trace begins."""
    assert told(text) == second


def test_a_fixed_offset_is_the_zone_of_a_clock_too() -> None:
    """Catches a sign of the offset, and a summer time that such a clock does not keep."""
    summer = dt.datetime(2026, 7, 2, 9, 0, tzinfo=dt.UTC)

    assert told("10:05:30", "+01:00", summer) == 335.0
    assert told("11:05:30", "Europe/Berlin", summer) == 335.0
    assert told("03:35:30", "-05:30", summer) == 335.0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("nan", "not a number"),
        ("inf", "not a number"),
        ("-inf", "not a number"),
        ("1e999", "not known"),
        ("1_000", "not known"),
        ("312,5", "comma"),
        ("312,5 s", "comma"),
        ("soon", "not a number"),
        ("24:00:01", "not known|not a number"),
        ("5 bar", "not known|not a unit"),
    ],
)
def test_what_is_no_moment_is_refused(text: str, said: str) -> None:
    """Catches a window that begins at no number, which every comparison passes, and a decimal comma read as thousands."""
    with pytest.raises(Refusal, match=said):
        told(text)


@pytest.mark.parametrize(
    ("text", "zone", "start", "said"),
    [
        ("10:05:30", "Europe/Berlin", None, "a does not say when it began"),
        ("10:05:30", None, START, "does not say in which zone"),
        ("2026-03-02 10:05:30", None, START, "does not say in which zone"),
        ("2026-03-29 02:30:00", "Europe/Berlin", START, "twice or never"),
        ("2026-10-25 02:30:00", "Europe/Berlin", START, "twice or never"),
        ("02:30:00", "Europe/Berlin", dt.datetime(2026, 10, 24, 23, 0, tzinfo=dt.UTC), "twice or never"),
        ("00:30:00", "Europe/Berlin", dt.datetime(2026, 10, 24, 23, 0, tzinfo=dt.UTC), ""),
    ],
)
def test_a_moment_that_may_be_two_or_none_is_a_question(
    text: str, zone: str | None, start: dt.datetime | None, said: str
) -> None:
    """Catches the first of two hours taken, and a zone that nobody stated taken for UTC."""
    if not said:  # on the day after there is one again
        assert told(text, zone, start) == 5.0 + 86_400 - 1800 + 3600
        return
    with pytest.raises(Refusal, match=f"^here: earliest = .*{said}"):
        told(text, zone, start)
    if zone is None:
        assert told("09:05:30Z", zone, start) == 335.0


@pytest.mark.parametrize(("text", "second"), [("2026-10-25 01:59:59", -1.0), ("2026-10-25 03:00:00", 3600.0 + 3600.0)])
def test_beside_the_repeated_hour_there_is_one_moment(text: str, second: float) -> None:
    """Catches an hour about a clock change that is refused though it comes once, or is told an hour off."""
    start = dt.datetime(2026, 10, 25, 0, 0, tzinfo=dt.UTC)

    assert told(text, "Europe/Berlin", start) == second + 5.0


@pytest.mark.parametrize(
    ("zone", "shown"),
    [
        ("Europe/Berlin", "2026-03-02 10:05:30 CET"),
        ("-03:30", "2026-03-02 05:35:30 UTC-03:30"),
        (None, "2026-03-02 09:05:30 UTC"),
    ],
)
def test_a_moment_is_shown_as_the_clock_of_the_machine_has_it(zone: str | None, shown: str) -> None:
    """Catches a label confirmed in seconds alone, so that a time typed in another zone is never noticed."""
    label = (MustTrip(earliest_s=335.0, deadline_s=335.0),)
    entry: Any = SimpleNamespace(path=Path("a.csv"), start_utc=START, zone=zone, label=label, windows=label)

    assert on_the_clock(entry, 330_000) == shown
    assert windows_on_the_clock(entry, label) == [f"{shown} to {shown}"]
    nobody: Any = SimpleNamespace(path=Path("a.csv"), start_utc=None, zone=None, label=label, windows=label)
    assert (on_the_clock(nobody, 0), windows_on_the_clock(nobody, label)) == ("", [])
