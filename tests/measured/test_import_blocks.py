"""What an import carries from block to block: the repeated hour, the order of times under repair; and words that are no reading."""

import zoneinfo
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from replay.measured.zones import LocalTime
from tests.support.measured import HEADER, NO_READING, bring_in, profile_with, readings

OSLO = zoneinfo.ZoneInfo("Europe/Oslo")
BACK = datetime(2026, 10, 25, 1, 0, tzinfo=UTC)  # the clock is put back from 3 to 2 o'clock


@pytest.mark.parametrize("block", [1, 2, 3, 5, 6, 7, 12, 18, 40])
@pytest.mark.parametrize("begin_min", [-130, -60, -50, -10, 0, 10, 60])
def test_the_repeated_hour_is_told_however_blocks_end_in_it(begin_min: int, block: int) -> None:
    """Catches a block that forgets whether the one before it ended in the first or the second coming, or in which row.

    A reading every 10 min over the night; oracle: zoneinfo. A file that begins in the hour is told which it is.
    """
    moments = [BACK + timedelta(minutes=begin_min + 10 * n) for n in range(24)]
    walls = [moment.astimezone(OSLO) for moment in moments]
    local = np.array([round(wall.replace(tzinfo=UTC).timestamp() * 1000) for wall in walls], np.int64)
    repeated = None if walls[0].hour != 2 else ("second" if walls[0].fold else "first")
    clock = LocalTime(OSLO, repeated)
    found = [ms for at in range(0, len(local), block) for ms in clock.to_utc(local[at : at + block]).tolist()]

    assert found == [round(moment.timestamp() * 1000) for moment in moments]


@pytest.mark.parametrize(("zone", "east_min"), [("+01:00", 60), ("-03:30", -210), ("+05:45", 345), ("UTC", 0)])
def test_east_of_greenwich_the_clock_is_ahead(zone: str, east_min: int, tmp_path: Path) -> None:
    """Catches an offset with the wrong sign, stated in the profile or standing in the times."""
    wall = datetime(2026, 3, 14, 10, 0)  # noqa: DTZ001 - as a logger writes it
    utc = (wall - timedelta(minutes=east_min)).replace(tzinfo=UTC)
    row = "{};3.5;2.0;1\n"
    stated = HEADER + "".join(row.format(wall + timedelta(seconds=s)) for s in range(3))
    mark = "Z" if zone == "UTC" else zone
    within = HEADER + "".join(row.format(f"{wall + timedelta(seconds=s)}{mark}") for s in range(3))

    by_day = HEADER + "".join(row.format(f"{wall + timedelta(seconds=s):%d.%m.%Y %H:%M:%S}{mark}") for s in range(3))

    for text, time in ((stated, f'-unit\nzone = "{zone}"'), (within, "-unit\n"), (by_day, "-unit\n")):
        report, _ = bring_in(tmp_path, text, profile_with(time=time))
        assert utc.strftime("%Y-%m-%dT%H:%M:%S") in report.traces[0].start


@pytest.mark.parametrize("block_bytes", [40, 64, 100, 1000, None])
def test_repair_keeps_what_is_later_than_all_before_however_blocks_end(block_bytes: int | None, tmp_path: Path) -> None:
    """Catches a block that begins anew with its first row, goes on from a row that was left out, or keeps a repeated time."""
    times = [0, 1, 2, 2, 3, 1, 2, 3, 4, 5, 5, 5, 6, 4, 5, 6, 7, 7, 8, 2, 3, 9, 10, 10, 11, 8, 9, 12, 13]
    text = HEADER + "".join(f"{time};3.{number % 10};2.0;1\n" for number, time in enumerate(times))
    kept = [n for n, time in enumerate(times) if all(time > before for before in times[:n])]
    report, traces = bring_in(tmp_path, text, repair=True, block_bytes=block_bytes)
    left_out = {why: found["rows"] for why, found in report.as_json()["rows"]["left_out"].items()}
    newest = [max(times[:n], default=-1) for n in range(len(times))]

    assert traces[0].time_ms.tolist() == [1000 * times[n] for n in kept]
    assert [round((pa - 101_325) / 10_000) % 10 for pa in traces[0].oil_pa.tolist()] == [n % 10 for n in kept]
    assert left_out == {
        "time repeated": sum(time == last for time, last in zip(times, newest, strict=True)),
        "time goes back": sum(time < last for time, last in zip(times, newest, strict=True)),
    }


@pytest.mark.parametrize("word", ["Bad", "bad", "BAD", "bAd", "---", "NaN", "n/a", " Bad "])
@pytest.mark.parametrize("decimal", [".", ","])
def test_a_word_named_as_no_reading_is_none_in_any_case(word: str, decimal: str, tmp_path: Path) -> None:
    """Catches a sentinel that is known in one spelling alone, or by one of two readers of numbers alone."""
    cells = [f"3{decimal}5", word, f"3{decimal}6"]
    text = HEADER + "".join(f"{n};{cell};2{decimal}0;1\n" for n, cell in enumerate(cells))
    profile = profile_with(file=f'decimal = "{decimal}"\nsentinels = ["Bad", "---", "n/a"]')

    assert [pa == NO_READING for pa in readings(tmp_path, text, profile).oil_pa.tolist()] == [False, True, False]
