"""Time on import: forms, zones, the repeated and the missing hour, order, gaps and mends."""

import datetime as dt
import tempfile
import zoneinfo
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replay.ground.refusal import Refusal
from replay.ground.zones import offset_or_zone
from replay.measured.text_lines import Piece
from replay.measured.zones import LocalTime
from tests.support.measured import HEADER, bring_in, profile_with, readings

pytestmark = pytest.mark.slow("tries many cases of a large space")

BARE = "-unit\n"


def log(*times: str) -> str:
    """Return a log with readings at these times."""
    return HEADER + "".join(f"{time};3.5;2.0;1\n" for time in times)


FORMS = [
    ("0", "1.5", 'unit = "s"', 1500, "starts at 0.000 s of the logger's time"),
    ("0", "1.5", 'unit = "min"', 90000, "starts at 0.000 s"),
    ("100", "1500", 'unit = "ms"', 1400, "starts at 0.100 s"),
    ("00:00:59.9", "00:01:01", BARE, 1100, "starts at 59.900 s"),
    ("1773482400", "1773482401", BARE, 1000, "2026-03-14T10:00:00.000Z"),
    ("1773482400.25", "1773482401", BARE, 750, "2026-03-14T10:00:00.250Z"),
    ("1773482400000", "1773482401500", BARE, 1500, "2026-03-14T10:00:00.000Z"),
    ("1773482400000000", "1773482401500000", BARE, 1500, "2026-03-14T10:00:00.000Z"),
    ("2026-03-14T10:00:00Z", "2026-03-14T10:00:01.0004Z", BARE, 1000, "2026-03-14T10:00:00.000Z"),
    ("2026-03-14 10:00:00+01:00", "2026-03-14 10:00:01+0100", BARE, 1000, "2026-03-14T09:00:00.000Z"),
    ("2026-03-14 10:00:00", "2026-03-14 10:00:02", BARE, 2000, "whose zone is not stated"),
    ("2026-03-14 10:00:00,5", "2026-03-14 10:00:02,0", BARE, 1500, "2026-03-14T10:00:00.500 of a clock"),
    ("20260314T100000Z", "20260314T100003Z", BARE, 3000, "2026-03-14T10:00:00.000Z"),
    ("20260314100000", "20260314100003", BARE, 3000, "2026-03-14T10:00:00.000 of"),
    ("14.03.2026 10:00:00", "14.03.2026 10:00:01", BARE, 1000, "2026-03-14T10:00:00.000 of"),
    ("14/3/2026 9:59:59 AM", "14/3/2026 10:00:01 am", BARE, 2000, "2026-03-14T09:59:59.000 of"),
    ("3/14/2026 11:59:59 PM", "3/15/2026 12:00:01 AM", BARE, 2000, "2026-03-14T23:59:59.000 of"),
    ("04.03.2026 10:00", "04.03.2026 10:01", BARE + 'order = "DMY"', 60000, "2026-03-04T10:00:00.000 of"),
    ("04/03/26 10:00", "04/03/26 10:01", BARE + 'order = "MDY"', 60000, "2026-04-03T10:00:00.000 of"),
    ("14-Mar-2026 10:00:00", "14-Mar-2026 10:00:01", BARE, 1000, "2026-03-14T10:00:00.000 of"),
    ("Mar 14, 2026 10:00:00", "Mar 14, 2026 10:00:01", BARE, 1000, "2026-03-14T10:00:00.000 of"),
    ("46095.5", "46095.75", BARE + 'form = "serial day"', 21600000, "2026-03-14T12:00:00.000 of"),
    (
        "14.03.2026 10:00:00",
        "14.03.2026 10:00:01",
        BARE + 'zone = "+05:30"',
        1000,
        "2026-03-14T04:30:00.000Z, zone +05:30",
    ),
]


@pytest.mark.parametrize(("first", "second", "stated", "step_ms", "start"), FORMS)
def test_a_time_form_is_told_from_its_cells(
    first: str, second: str, stated: str, step_ms: int, start: str, tmp_path: Path
) -> None:
    """Catches a form that is misread, and a moment that is lost or moved."""
    report, traces = bring_in(tmp_path, log(first, second), profile_with(time='max_gap = "1 d"\n' + stated))

    assert traces[0].time_ms.tolist() == [0, step_ms]
    assert start in report.traces[0].start


# RFC 3339 (a profile of ISO 8601), 5.8: the examples, and what it says they are in UTC where it does.
RFC_3339 = [
    ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.520Z"),
    ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57.000Z"),
    ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.870Z"),
]
# ISO/IEC 29500, L.2.16.9.1, 1900 date base system: serial value and date; 25569 follows from its day 0, 1899-12-30.
SERIAL_DAYS = [("2", "1900-01-01"), ("3687", "1910-02-03"), ("38749", "2006-02-01"), ("25569", "1970-01-01")]


@pytest.mark.outside(
    computation="times as text",
    source="RFC 3339, 5.8, the examples; Python's datetime",
    status="consulted",
    agreement="to the ms. Calendar dates only; no week dates, a leap second is refused",
)
@pytest.mark.parametrize(("cell", "utc"), RFC_3339)
def test_published_examples_of_the_iso_form(cell: str, utc: str, tmp_path: Path) -> None:
    """Catches an offset with the wrong sign, and hundredths taken for thousandths. Oracle beside: datetime."""
    later = dt.datetime.fromisoformat(cell) + dt.timedelta(seconds=1)
    report, traces = bring_in(tmp_path, log(cell, later.isoformat()), profile_with(time=BARE))

    assert f"starts {utc}, zone UTC" in report.traces[0].start
    assert traces[0].time_ms.tolist() == [0, 1000]


def test_a_leap_second_is_refused_by_its_line(tmp_path: Path) -> None:
    """Catches a second that is lost in silence: RFC 3339 admits 23:59:60, the ms since 1970 know no such moment."""
    with pytest.raises(Refusal, match='line 2, time = "1990-12-31T23:59:60Z"'):
        bring_in(tmp_path, log("1990-12-31T23:59:60Z", "1991-01-01T00:00:01Z"), profile_with(time=BARE))


@pytest.mark.outside(
    computation="spreadsheet days",
    source="ISO/IEC 29500, L.2.16.9.1, 1900 date base system",
    status="consulted",
    agreement="equal",
)
@pytest.mark.parametrize(("cell", "date"), SERIAL_DAYS)
def test_published_serial_days_of_spreadsheets(cell: str, date: str, tmp_path: Path) -> None:
    """Catches a day 0 that is off by the leap day which 1900 did not have."""
    profile = profile_with(time=BARE + 'max_gap = "1 d"\nform = "serial day"')
    report, _ = bring_in(tmp_path, log(cell, cell + ".5"), profile)

    assert f"starts {date}T00:00:00.000 of" in report.traces[0].start


@pytest.mark.parametrize(
    "cells",
    [
        ("03/04/2026 10:00", "03/04/2026 10:01"),
        ("03.04.26 10:00", "03.04.26 10:01"),
        ("14/03/26 10:00", "14/03/26 10:01"),
    ],
)
def test_day_and_month_that_can_be_read_either_way_are_refused(cells: tuple[str, str], tmp_path: Path) -> None:
    """Catches a guess at the third of April. Two-digit years leave the year open too."""
    with pytest.raises(Refusal, match=r"\[time\] order: day and month of .* either way.*DMY"):
        bring_in(tmp_path, log(*cells), profile_with(time=BARE))


def test_a_date_that_breaks_the_order_later_on_is_refused_at_its_line(tmp_path: Path) -> None:
    """Catches an order taken from the first rows and bent for the others."""
    with pytest.raises(Refusal, match="line 3, time"):
        bring_in(tmp_path, log("14.03.2026 10:00", "03.14.2026 10:01"), profile_with(time=BARE + 'order = "DMY"'))


ZONES = ["Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "America/St_Johns", "Asia/Kolkata"]


@pytest.mark.outside(
    computation="zones, the repeated and the missing hour",
    source="tz database, by zoneinfo",
    status="consulted",
    agreement="equal",
)
@settings(max_examples=80)
@given(
    zone=st.sampled_from(ZONES),
    start=st.datetimes(dt.datetime(2025, 1, 1), dt.datetime(2026, 12, 31)),  # noqa: DTZ001
    near_change=st.booleans(),
    steps=st.lists(st.integers(1, 700), min_size=2, max_size=60),
    block=st.integers(1, 60),
)
def test_local_times_go_to_utc_and_back_as_zoneinfo_has_them(
    zone: str, start: dt.datetime, near_change: bool, steps: list[int], block: int
) -> None:
    """Catches the repeated hour taken once for both, or differently where a block ends. Oracle: zoneinfo."""
    place = zoneinfo.ZoneInfo(zone)
    begin = change_after(place, start) - 5400 if near_change else int(start.replace(tzinfo=dt.UTC).timestamp())
    utc = [begin + sum(steps[:count]) for count in range(len(steps))]
    moments = [dt.datetime.fromtimestamp(second, place) for second in utc]
    local = np.array([int(m.replace(tzinfo=dt.UTC).timestamp()) * 1000 for m in moments], dtype=np.int64)
    clock = LocalTime(offset_or_zone(zone), "second" if moments[0].fold else "first")
    found = np.concatenate([clock.to_utc(local[i : i + block]) for i in range(0, len(local), block)])

    assert found.tolist() == [second * 1000 for second in utc]


def change_after(zone: zoneinfo.ZoneInfo, start: dt.datetime) -> int:
    """Return the second at which the zone's offset changes next, by halving; the start where it never does."""
    low = int(start.replace(tzinfo=dt.UTC).timestamp())
    days = [low + day * 86400 for day in range(370)]
    offsets = [dt.datetime.fromtimestamp(second, zone).utcoffset() for second in days]
    changed = next((i for i in range(1, 370) if offsets[i] != offsets[0]), None)
    if changed is None:
        return low
    low, high = days[changed - 1], days[changed]
    while high - low > 1:
        middle = (low + high) // 2
        if dt.datetime.fromtimestamp(middle, zone).utcoffset() == offsets[0]:
            low = middle
        else:
            high = middle
    return high


def test_the_repeated_hour_runs_on_in_a_zone_and_is_refused_without(tmp_path: Path) -> None:
    """Catches an hour of readings that is taken as a clock error, or mended away."""
    text = log("2026-10-25 02:59:58", "2026-10-25 02:59:59", "2026-10-25 02:00:00", "2026-10-25 02:00:01")
    zoned = profile_with(time=BARE + 'zone = "Europe/Berlin"\nrepeated_hour = "first"')

    assert readings(tmp_path, text, zoned).time_ms.tolist() == [0, 1000, 2000, 3000]
    with pytest.raises(Refusal, match=r"line 4, time: time goes back by 3599.000 s.*\[time\] zone"):
        bring_in(tmp_path, text, profile_with(time=BARE))
    with pytest.raises(Refusal, match=r"line 2, time: the file begins in the hour that comes twice.*repeated_hour"):
        bring_in(tmp_path, text, profile_with(time=BARE + 'zone = "Europe/Berlin"'))


def test_a_clock_of_twelve_hours_and_a_counter_that_begins_anew_are_named(tmp_path: Path) -> None:
    """Catches a fitter left to guess why time goes back in a log that seems in order."""
    noon = log("2026-03-02 12:59:59", "2026-03-02 01:00:00")
    with pytest.raises(Refusal, match=r"goes back by 43199.000 s.*AM and PM beside the times"):
        bring_in(tmp_path, noon, profile_with(time=BARE))
    later = log("2026-03-02 12:59:59", "2026-03-02 00:59:58")
    with pytest.raises(Refusal, match=r"goes back by 43201.000 s") as told:
        bring_in(tmp_path, later, profile_with(time=BARE))
    assert "AM and PM" not in str(told.value)
    with pytest.raises(Refusal, match=r"a counter that began anew: the file cut in two there"):
        bring_in(tmp_path, log("90000", "90001", "0", "1"))


def test_a_local_time_that_never_was_is_refused(tmp_path: Path) -> None:
    """Catches a logger on winter time all year whose zone is stated as one with summer time."""
    text = log("2026-03-29 01:59:59", "2026-03-29 02:00:00")
    with pytest.raises(Refusal, match=r"line 3, time: this local time never was in Europe/Berlin.*\+01:00"):
        bring_in(tmp_path, text, profile_with(time=BARE + 'zone = "Europe/Berlin"'))


def test_irregular_steps_are_kept_as_they_are(tmp_path: Path) -> None:
    """Catches resampling."""
    assert readings(tmp_path, log("0", "0.001", "1.7", "4.2", "9.2")).time_ms.tolist() == [0, 1, 1700, 4200, 9200]


def test_a_gap_above_max_gap_splits_and_is_counted_and_not_filled(tmp_path: Path) -> None:
    """Catches a gap bridged, a gap of just max_gap taken as one, and a lone row that makes a trace."""
    report, traces = bring_in(tmp_path, log("0", "5", "10.001", "11", "30", "60", "61"))
    counts = report.as_json()

    assert [trace.time_ms.tolist() for trace in traces] == [[0, 5000], [0, 999], [0, 1000]]
    assert counts["gaps"] == {
        "count": 3,
        "lost_h": pytest.approx((5.001 + 19 + 30) / 3600),
        "longest_s": 30.0,
        "traces_dropped": 1,
    }
    assert counts["hours"]["running"] == pytest.approx((5 + 0.999 + 1) / 3600)
    assert [line.id for line in report.traces] == ["log-01", "log-02", "log-03"]


def test_repair_leaves_out_rows_and_names_each(tmp_path: Path) -> None:
    """Catches a mend in silence, a row sorted into place, and rows lost beside those that were named."""
    text = log("0", "1", "1", "0.5", "2") + "3;3.5\n\0\0\0\n" + HEADER + log("4", "5", "").removeprefix(HEADER)
    with pytest.raises(Refusal, match="line 7"):
        bring_in(tmp_path, text)
    report, traces = bring_in(tmp_path, text, repair=True)
    mends = report.as_json()["rows"]["left_out"]

    assert traces[0].time_ms.tolist() == [0, 1000, 2000, 4000, 5000]
    assert {why: found["first"] for why, found in mends.items()} == {
        "2 cells under 4 columns": ["line 7"],
        "holds NUL characters, as after a loss of power": ["line 8"],
        "repeats the header": ["line 9"],
        "no time": ["line 12"],
        "time repeated": ["line 4"],
        "time goes back": ["line 5"],
    }
    assert report.counts.read == 11


@pytest.mark.parametrize("cell", ["1", "0.5"], ids=["time repeated", "time goes back"])
def test_repair_looks_up_the_lines_of_those_rows_only_that_it_names(
    cell: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches work that grows with the square of the rows left out: each look-up of a line counts through a block."""
    looked_up = []
    place = Piece.place
    monkeypatch.setattr(Piece, "place", lambda piece, row: looked_up.append(row) or place(piece, row))
    text = log("0", "1", *[cell] * 500, "2")
    report, traces = bring_in(tmp_path, text, repair=True)
    (mend,) = report.counts.mends.values()

    assert traces[0].time_ms.tolist() == [0, 1000, 2000]
    assert (mend.rows, mend.first) == (500, [f"line {4 + row}" for row in range(20)])
    assert len(looked_up) <= 20


def test_two_gaps_in_a_row_of_blocks_do_not_depend_on_where_blocks_end() -> None:
    """Catches a gap at a block's first row that is counted twice or not at all."""
    text = log(*[str(second + 100 * (second // 7)) for second in range(40)])
    told = set()
    with tempfile.TemporaryDirectory() as folder:
        for size in (1, 17, 60, 1000, 1 << 20):
            report, traces = bring_in(Path(folder), text, block_bytes=size)
            told.add((report.counts.gaps, report.counts.lost_ms, tuple(len(trace) for trace in traces)))
    assert len(told) == 1


@pytest.mark.parametrize(("late", "told"), [(lambda s: s // 2, True), (lambda s: s % 3, False)])
def test_times_beside_the_time_that_go_apart_are_told(late: Callable[[int], int], told: bool, tmp_path: Path) -> None:
    """Catches signals with a time each laid side by side as of one moment; and a server's clock told as well."""
    rows = [
        f"10:{s // 60:02d}:{s % 60:02d};3.5;10:{(s + late(s)) // 60:02d}:{(s + late(s)) % 60:02d};2;1"
        for s in range(90)
    ]
    profile = profile_with(time=BARE.rstrip())
    report, _ = bring_in(tmp_path, "\n".join(["t;oil;t2;suction;run", *rows]) + "\n", profile)

    assert [note for note in report.notes if "t2 holds other times of the same rows" in note] == report.notes[
        -2:-1
    ] * told
