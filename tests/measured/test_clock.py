"""The times of a file, each form at its bounds; dates against Python's own calendar."""

import datetime as dt
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from replay.ground.refusal import Refusal
from replay.measured.clock import (
    DATE,
    ELAPSED,
    EPOCH,
    SERIAL_DAY,
    UNREADABLE,
    Clock,
    date_order,
    decide,
    dotted_times,
    go_apart,
    number_clock,
    reads_as_digits,
)
from replay.measured.profile import TimeForm

NO = None


def ms_of(text: str, order: str = "YMD", *, offset: bool = False) -> int | None:
    """Return what a date reads as, None where it is none."""
    (ms,) = Clock(DATE, order=order, offset=offset).from_text(pa.array([text]))
    return None if ms == UNREADABLE else int(ms)


def utc(*parts: int) -> int:
    """Return ms since 1970 by Python's calendar."""
    return round(dt.datetime(*parts, tzinfo=dt.UTC).timestamp() * 1000)  # type: ignore[misc]


DATES: list[tuple[str, str, int | None]] = [
    ("1970-01-01 00:00:00", "YMD", 0),
    ("1969-12-31 23:59:59", "YMD", NO),
    ("2200-12-31 23:59:59", "YMD", utc(2200, 12, 31, 23, 59, 59)),
    ("2201-01-01 00:00:00", "YMD", NO),
    ("2024-02-29 00:00:00", "YMD", utc(2024, 2, 29)),
    ("2023-02-29 00:00:00", "YMD", NO),
    ("2100-02-29 00:00:00", "YMD", NO),
    ("2026-04-31 00:00:00", "YMD", NO),
    ("2026-12-31 00:00:00", "YMD", utc(2026, 12, 31)),
    ("2026-13-01 00:00:00", "YMD", NO),
    ("2026-00-01 00:00:00", "YMD", NO),
    ("2026-01-00 00:00:00", "YMD", NO),
    ("2026-01-32 00:00:00", "YMD", NO),
    ("2026-03-02 23:59:59.999", "YMD", utc(2026, 3, 2, 23, 59, 59, 999_000)),
    ("2026-03-02 24:00:00", "YMD", utc(2026, 3, 3)),  # midnight as some write it
    ("2026-03-02 24:00:01", "YMD", NO),
    ("2026-03-02 08:60:00", "YMD", NO),
    ("2026-03-02 08:59:59", "YMD", utc(2026, 3, 2, 8, 59, 59)),
    ("2026-03-02 08:00:60", "YMD", NO),
    ("2026-03-02", "YMD", utc(2026, 3, 2)),
    ("2026-03-02 08:05", "YMD", utc(2026, 3, 2, 8, 5)),
    ("2026-03-02 08:00:00.0005", "YMD", utc(2026, 3, 2, 8, 0, 0, 1000)),  # half a ms goes up
    ("2026-03-02 08:00:00.0004", "YMD", utc(2026, 3, 2, 8)),
    ("2026-03-02 08:00:00.5", "YMD", utc(2026, 3, 2, 8, 0, 0, 500_000)),
    ("02.03.2026 08:00:05", "DMY", utc(2026, 3, 2, 8, 0, 5)),
    ("03/02/2026 08:00:05", "MDY", utc(2026, 3, 2, 8, 0, 5)),
    ("02.03.00 08:00:05", "DMY", utc(2000, 3, 2, 8, 0, 5)),
    ("02.03.99 08:00:05", "DMY", utc(2099, 3, 2, 8, 0, 5)),
    ("20260302T080005", "YMD", utc(2026, 3, 2, 8, 0, 5)),
    ("03/02/2026 12:00:00 AM", "MDY", utc(2026, 3, 2)),
    ("03/02/2026 12:30:00 PM", "MDY", utc(2026, 3, 2, 12, 30)),
    ("03/02/2026 1:00:00 am", "MDY", utc(2026, 3, 2, 1)),
    ("03/02/2026 11:59:59 PM", "MDY", utc(2026, 3, 2, 23, 59, 59)),
    ("03/02/2026 13:00:00 PM", "MDY", NO),
    ("03/02/2026 00:10:00 AM", "MDY", NO),
]


@pytest.mark.parametrize(("text", "order", "ms"), DATES)
def test_a_date_is_the_day_that_the_calendar_says(text: str, order: str, ms: int | None) -> None:
    """Catches a day that is none taken for the next, midnight or noon half a day off, a two-digit year of another century."""
    assert ms_of(text, order) == ms


@pytest.mark.parametrize(
    ("text", "hours"), [("Z", 0.0), ("+01:00", 1.0), ("-0330", -3.5), ("+14:00", 14.0), ("-05", -5.0)]
)
def test_an_offset_is_taken_off(text: str, hours: float) -> None:
    """Catches a sign of the offset: east of Greenwich the clock is ahead."""
    assert ms_of(f"2026-03-02T08:00:00{text}", offset=True) == utc(2026, 3, 2, 8) - hours * 3_600_000
    assert ms_of(f"2026-03-02T08:00:00{text}") is None
    for none in ("+25:00", "+01:60", "-14:01"):
        assert ms_of(f"2026-03-02T08:00:00{none}", offset=True) is None
    assert ms_of("2026-03-02T08:00:00", offset=True) is None


MONTHS = [
    *(("jan", 1), ("ene", 1), ("gen", 1), ("feb", 2), ("fév", 2), ("mar", 3), ("Mär", 3), ("mrz", 3), ("apr", 4)),
    *(("avr", 4), ("abr", 4), ("May", 5), ("mai", 5), ("maj", 5), ("mei", 5), ("jun", 6), ("giu", 6), ("juin", 6)),
    *(("jul", 7), ("lug", 7), ("juil", 7), ("aug", 8), ("ago", 8), ("aoû", 8), ("sep", 9), ("set", 9), ("oct", 10)),
    *(("Okt", 10), ("ott", 10), ("nov", 11), ("lis", 11), ("dec", 12), ("dez", 12), ("dic", 12), ("DÉC", 12)),
]


@pytest.mark.parametrize(("name", "month"), MONTHS)
def test_a_month_by_its_name_is_that_month(name: str, month: int) -> None:
    """Catches March of one tongue read as May of another, and a list of names moved by one."""
    assert ms_of(f"02-{name}-2026 08:00:00", "DMY") == utc(2026, month, 2, 8)


@pytest.mark.parametrize(
    ("form", "factor", "number", "ms"),
    [
        (SERIAL_DAY, 86_400_000, 25569.0, 0),
        (SERIAL_DAY, 86_400_000, 46083.5, utc(2026, 3, 2, 12)),
        (EPOCH, 1000, 1.0, 1000),
        (EPOCH, 1e-6, 1_500_000.0, 2),
        (ELAPSED, 1000, 0.0005, 0),
        (ELAPSED, 1000, 0.0015, 2),
        (ELAPSED, 3_600_000, 0.25, 900_000),
        (ELAPSED, 1, 1e15, None),
        (ELAPSED, 1, -1e15, None),
        (ELAPSED, 1, 999_999_999_999_999.0, 999_999_999_999_999),
        (ELAPSED, 1, float("nan"), None),
    ],
)
def test_a_number_is_so_many_of_its_unit(form: str, factor: float, number: float, ms: int | None) -> None:
    """Catches the day zero of spreadsheets moved by one, and a number beyond all time that becomes one."""
    clock = Clock(form, number=True, factor=factor)
    for others in ([], [float("nan")]):  # alone, and in a column with a hole
        found = clock.from_numbers(np.array([number, *others]))
        assert found[0] == (UNREADABLE if ms is None else ms)
    if number.is_integer() and clock.counts_whole:
        assert clock.from_numbers(np.array([int(number)]))[0] == (UNREADABLE if ms is None else ms)


@pytest.mark.parametrize(("unit", "ticks"), [("s", 5), ("ms", 5000), ("us", 5_000_499), ("ns", 4_999_500_000)])
def test_time_stamps_of_any_unit_are_whole_ms(unit: str, ticks: int) -> None:
    """Catches a stamp cut instead of rounded, and a null that becomes a time."""
    column = pa.array([ticks, None], pa.int64()).cast(pa.timestamp(unit))

    assert Clock(DATE).from_timestamps(column).tolist() == [5000, UNREADABLE]


@pytest.mark.parametrize(
    ("dates", "order"),
    [
        (["2026-03-02"], "YMD"),
        (["13.01.2026"], "DMY"),
        (["12.01.2026"], None),
        (["01/13/2026"], "MDY"),
        (["01/12/2026"], None),
        (["01/12/2026", "13/12/2026"], "DMY"),
        (["01/12/26"], None),
        (["13/12/26"], None),  # 2013-12-26, or 2026-12-13
        (["13/12/31"], None),
        (["13/12/32"], "DMY"),
        (["13/13/26"], None),
        (["Mar/02/2026"], "MDY"),
        (["02/Mar/2026"], "DMY"),
        (["02/Mar/26"], None),
    ],
)
def test_the_order_of_a_date_is_told_only_where_one_is_left(dates: list[str], order: str | None) -> None:
    """Catches a guess at day and month, and one order that is left but not told."""
    found = date_order([tuple(date.replace(".", "/").replace("-", "/").split("/")) for date in dates])  # type: ignore[misc]

    assert found == order


@pytest.mark.parametrize(
    ("cells", "dotted"),
    [
        (["08.00.05", "08.00.06"], True),
        (["08.05.26"], False),
        (["32.05.26"], False),  # a year first
        (["32.13.26"], True),
        (["13.12.26"], False),
        (["13.13.26"], True),
        (["08.00.05", "noon"], False),
        (["08.05.26.5"], True),
        ([], False),
    ],
)
def test_dots_stand_for_colons_where_no_date_could_be_meant(cells: list[str], dotted: bool) -> None:
    """Catches a day taken for half past eight, and times of day taken for days."""
    assert dotted_times(cells) is dotted


def test_seconds_in_digits_are_no_seconds_that_count_on() -> None:
    """Catches 80059 and 80100, a second apart, taken for 41 s; and a plain count taken for a time of day."""
    clock = [h * 10000 + m * 100 + s for h in (8, 9) for m in (58, 59, 0, 1) for s in range(0, 60, 20)]
    day = [80000 + m * 100 + s for m in range(4) for s in range(0, 60, 20)]

    assert not reads_as_digits([float(n) for n in clock])  # it falls
    assert not reads_as_digits([float(n) for n in day])  # eleven steps tell too little
    longer = [80000.0 + m * 100 + s for m in range(6) for s in range(0, 60, 20)]
    assert reads_as_digits(longer)
    assert reads_as_digits(longer[:16]) and not reads_as_digits(longer[:15])
    assert reads_as_digits([85700.0 + m * 100 + s for m in (0, 1, 2, 43, 44, 45) for s in range(0, 60, 20)])
    assert not reads_as_digits([float(n) for n in range(0, 2000, 20)])
    assert not reads_as_digits([80000.0 + n for n in range(20)])
    assert not reads_as_digits([n + 0.5 for n in longer])


HERE = Path("log.csv")
FORM = TimeForm((), 1)


@pytest.mark.parametrize(
    ("number", "factor"),
    [
        (900_000_000.0, 1000.0),
        (2_840_000_000.0, 1000.0),
        (1.7e12, 1.0),
        (1.7e15, 1e-3),
        (1.7e18, 1e-6),
        (899_999_999.0, None),
        (2_840_000_001.0, None),
    ],
)
def test_a_count_since_1970_is_told_by_its_size(number: float, factor: float | None) -> None:
    """Catches seconds taken for milliseconds, and a row number or a long count taken for a date."""
    if factor is None:
        with pytest.raises(Refusal, match="no unit is stated"):
            number_clock(HERE, HERE, FORM, [number], "")
        assert number_clock(HERE, HERE, FORM, [number], "s").form == ELAPSED
    else:
        clock = number_clock(HERE, HERE, FORM, [number], "")
        assert (clock.form, clock.factor) == (EPOCH, factor)


def test_times_that_a_spreadsheet_rounded_are_refused_where_most_repeat() -> None:
    """Catches "1.7E+12" in every row read as one moment, and two rows of one second refused."""
    with pytest.raises(Refusal, match="rounded these times"):
        number_clock(HERE, HERE, FORM, [1.7e12] * 3, "")
    assert number_clock(HERE, HERE, FORM, [1.7e12] * 2, "").form == EPOCH
    assert number_clock(HERE, HERE, FORM, [1.7e12, 1.7e12, 1.8e12, 1.8e12], "").form == EPOCH
    assert number_clock(HERE, HERE, FORM, [5.0] * 9, "s").form == ELAPSED


def test_a_column_is_of_the_form_that_most_of_its_cells_have() -> None:
    """Catches a total under the times that decides, and half the cells that do."""
    assert decide(HERE, HERE, FORM, ["08:00:00", "08:00:01", "total"], "", numbers=False).form == ELAPSED
    with pytest.raises(Refusal, match="not a time that is known"):
        decide(HERE, HERE, FORM, ["08:00:00", "total"], "", numbers=False)
    with pytest.raises(Refusal, match="hours and date are gone"):
        decide(HERE, HERE, FORM, ["00:01.0", "00:02.0", "x"], "", numbers=False)


def test_dates_carry_their_offset_where_most_do() -> None:
    """Catches a column without offsets read as UTC since one cell has one."""
    stamps = ["2026-03-02T08:00:00Z", "2026-03-02T08:00:01Z", "2026-03-02T08:00:02"]

    assert decide(HERE, HERE, FORM, stamps, "", numbers=False).offset
    assert not decide(HERE, HERE, FORM, stamps[1:], "", numbers=False).offset


@pytest.mark.parametrize(
    ("first", "second", "refused"),
    [("13/12/2026", "12/13/2026", True), ("12/12/2026", "12/13/2026", False), ("13/12/2026", "12/12/2026", False)],
)
def test_days_and_months_that_change_places_within_a_file_are_refused(first: str, second: str, refused: bool) -> None:
    """Catches dates that a spreadsheet turned round in a part of the rows, and a twelfth of the month refused."""
    if refused:
        with pytest.raises(Refusal, match=f"{first} and {second}"):
            decide(HERE, HERE, FORM, [first, second], "", numbers=False)
    else:
        assert decide(HERE, HERE, FORM, [first, second], "", numbers=False).form == DATE


def test_two_clocks_go_apart_by_what_their_difference_moves() -> None:
    """Catches a start that differs taken for a drift, and a time that is none taken into it."""
    one = np.array([0, 1000, 2000, UNREADABLE])

    assert go_apart(one, one + 500) == 0
    assert go_apart(one, np.array([500, 1600, 2400, 5])) == 200
    assert go_apart(np.arange(3), np.array([0, UNREADABLE, 2])) == 0
    assert go_apart(one[3:], one[3:]) == 0
