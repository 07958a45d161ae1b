"""A log that is followed by hand to the last count: what is kept, held, left out and lost, whatever the blocks."""

from pathlib import Path

import pytest

from replay.ground.refusal import Refusal
from replay.measured import assemble
from replay.measured.assemble import Counts, Part, of_running
from tests.support.measured import HEADER, NO_READING, bring_in, profile_with

DOTTED = profile_with(file='decimal = "."')
# max_gap is 5 s: a status holds so long, and a longer step ends the trace.
LOG = HEADER + "".join(
    f"{row}\n"
    for row in (
        "0;3;2;",  # whether it runs is not known yet
        "1;3;2;0",
        "2;3;2;1",  # a start
        "7;3;2;1",  # 5 s on: no gap
        "8;;2;",  # held for 1 s
        "12;3;2;",  # held for 5 s
        "12.001;3;2;",  # 5.001 s: known to nobody
        "13;3;2;1",
        "18.001;3;2;1",  # 5.001 s on: a gap; whether it starts here is not known
        "19.001;3;2;0",
        "20.001;3;2;1",  # a start
        "26.001;3;2;0",  # 6 s on: a gap
        "27.001;3;2;0",
    )
)


@pytest.mark.parametrize("block_bytes", [None, 9, 20, 33, 60])
def test_a_log_is_counted_as_by_hand(block_bytes: int | None, tmp_path: Path) -> None:
    """Catches a status held too long or not over the edge of a block, a gap at the wrong side of its limit, time lost uncounted."""
    report, traces = bring_in(tmp_path, LOG, DOTTED, block_bytes=block_bytes)
    counts = report.counts

    assert (counts.read, counts.kept, counts.blank, counts.without_status) == (13, 11, 0, 2)
    assert counts.held["running"] == 2
    assert (counts.gaps, counts.lost_ms, counts.longest_gap_ms, counts.starts) == (2, 11_001, 6000, 2)
    assert counts.parts == [
        Part(1000, 13_000, rows=6, run_ms=11_000),
        Part(18_001, 20_001, rows=3, run_ms=1000),
        Part(26_001, 27_001, rows=2, run_ms=0),
    ]
    assert [trace.time_ms.tolist() for trace in traces] == [
        [0, 1000, 6000, 7000, 11_000, 12_000],
        [0, 1000, 2000],
        [0, 1000],
    ]
    assert [trace.running.tolist() for trace in traces] == [[0, 1, 1, 1, 1, 1], [1, 0, 1], [0, 0]]
    assert (traces[0].oil_pa == NO_READING).tolist() == [False, False, False, True, False, False]
    readings = counts.readings["oil_pressure"]
    assert (readings.readings, readings.missing) == (10, 1)


def test_what_is_left_out_under_repair_is_counted_by_its_reason_and_placed(tmp_path: Path) -> None:
    """Catches a row counted for another reason, one of two reasons, and the wrong line named."""
    log = HEADER + "0;3;2;1\n1;3;2;1\n1;3;2;1\n0.5;3;2;1\n;3;2;1\n1.5;3;2;1\n1.5;3;2;0\n3;3;2;1\n"
    report, (trace,) = bring_in(tmp_path, log, DOTTED, repair=True)
    mends = {why: (mend.rows, mend.first) for why, mend in report.counts.mends.items() if mend.rows}

    assert trace.time_ms.tolist() == [0, 1000, 1500, 3000]
    assert mends["time repeated"] == (2, ["line 4", "line 8"])
    assert mends["time goes back"] == (1, ["line 5"])
    assert sum(rows for rows, _ in mends.values()) == 4
    assert (report.counts.read, report.counts.kept) == (8, 4)


@pytest.mark.parametrize(
    ("starts", "hours", "doubted"), [(6, 0.5, False), (7, 0.5, True), (5, 0.1, False), (6, 0.499, True)]
)
def test_a_status_that_chatters_is_doubted_from_a_number_of_starts_an_hour_on(
    starts: int, hours: float, doubted: bool
) -> None:
    """Catches a bound of starts at the wrong side, and hours taken for minutes."""
    counts = Counts(starts=starts, parts=[Part(0, round(hours * 3_600_000), 2)])

    assert any("chatter" in line for line in of_running(counts)) is doubted


CONSTANTS = [
    ('constant = "1.8 bar(g)"\n-column\n-unit\n-reference', 180_000 + 101_325),
    ('constant = "1.8 bar(a)"\n-column\n-unit\n-reference', 180_000),
    ('constant = "1.8 bar"\nreference = "gauge"\n-column\n-unit', 180_000 + 101_325),
    ('constant = "1.8 bar"\nreference = "absolute"\n-column\n-unit', 180_000),
    ('constant = "1.8 bar(g)"\nreference = "gauge"\n-column\n-unit', 180_000 + 101_325),
    ('constant = "5 inHg vac"\n-column\n-unit\n-reference', 101_325 - 16_932),
]


@pytest.mark.parametrize(("stated", "pascals"), CONSTANTS)
def test_a_suction_pressure_that_is_not_logged_counts_from_where_it_says(
    stated: str, pascals: int, tmp_path: Path
) -> None:
    """Catches the atmosphere added twice or never; and a constant that stands still, which counts as a stuck sensor."""
    _, (trace,) = bring_in(
        tmp_path, LOG.split("18.001")[0], profile_with(suction_pressure=stated, file='decimal = "."'), block_bytes=20
    )

    assert trace.suction_pa.tolist() == [pascals, pascals + 1] * 3


def test_raw_numbers_are_readings_from_the_first_sound_one_to_the_last(tmp_path: Path) -> None:
    """Catches 4 mA or 20 mA, the ends of a sound sensor, taken for a broken one, and the offset taken before the scale."""
    log = "t;oil;suction;run\n" + "".join(f"{n};{ma};2;1\n" for n, ma in enumerate((4, 20, 3.99, 20.01, 12)))
    scaled = "valid = [4, 20]\nscale = 0.5\noffset = -2"
    report, (trace,) = bring_in(tmp_path, log, profile_with(oil_pressure=scaled))

    assert trace.oil_pa.tolist() == [101_325, 901_325, NO_READING, NO_READING, 501_325]
    assert report.counts.readings["oil_pressure"].invalid == 2


def test_what_no_sensor_gives_is_none_from_just_beyond_its_range(tmp_path: Path) -> None:
    """Catches an empty vacuum or the most that a sensor gives left out, and what lies beyond counted at the wrong end."""
    log = HEADER + "0;20;0;1\n1;20.00001;0;1\n2;0;-0.00002;1\n3;0;-0.00001;1\n"
    absolute = 'unit = "MPa"\nreference = "absolute"\noffset = 0'
    report, (trace,) = bring_in(tmp_path, log, profile_with(oil_pressure=absolute, suction_pressure=absolute))
    oil, suction = (report.counts.readings[f"{of}_pressure"] for of in ("oil", "suction"))

    assert trace.oil_pa.tolist() == [20_000_000, NO_READING, 0, 0]
    assert trace.suction_pa.tolist() == [0, 0, NO_READING, NO_READING]
    assert (oil.beyond, oil.below_zero, suction.beyond, suction.below_zero, suction.lowest) == (1, 0, 0, 2, -20.0)


def test_an_oil_temperature_below_absolute_zero_is_none(tmp_path: Path) -> None:
    """Catches a broken wire's -300 degC kept, and a cold or a hot sump thrown away."""
    log = "t;oil;suction;run;temp\n" + "".join(f"{n};3;2;1;{c}\n" for n, c in enumerate((-273.16, -273.15, 55, 151)))
    report, _ = bring_in(
        tmp_path, log, profile_with(oil_temperature='column = "temp"\nunit = "degC"', file='decimal = "."')
    )
    seen = report.counts.readings["oil_temperature"]

    assert (seen.below_zero, seen.readings, seen.least, seen.most) == (1, 3, -273.15, 151.0)
    assert any("oil temperature reaches 151 degC" in doubt for doubt in report.doubts)


STAMPED = 'column = "t"\nform = "date"\n-unit'


@pytest.mark.parametrize(
    ("second", "form", "advice", "given"),
    [
        ("2026-10-25 02:00:00", STAMPED, "put back for winter", True),  # an hour back to the second
        ("2026-10-25 01:59:59", STAMPED, "put back for winter", False),
        ("2026-10-25 02:59:59", STAMPED, "put back for winter", True),
        ("2026-10-25 03:00:00", STAMPED, "[time] step", True),
        ("2026-10-25 02:59:59", STAMPED, "[time] step", False),
    ],
)
def test_a_time_that_goes_back_is_told_with_what_it_may_be(
    second: str, form: str, advice: str, given: bool, tmp_path: Path
) -> None:
    """Catches a clock put back for winter that nobody names, and advice that fits another fault."""
    log = HEADER + f"2026-10-25 03:00:00;3;2;1\n{second};3;2;1\n"
    with pytest.raises(Refusal) as refused:
        bring_in(tmp_path, log, profile_with(time=form))

    assert (advice in str(refused.value)) is given


@pytest.mark.parametrize(("first", "given"), [("12:00:01", True), ("12:00:00", False)])
def test_a_time_of_day_that_begins_anew_is_told_as_midnight(first: str, given: bool, tmp_path: Path) -> None:
    """Catches midnight that is not thought of, and a reset logger taken for it."""
    with pytest.raises(Refusal) as refused:
        bring_in(tmp_path, HEADER + f"{first};3;2;1\n00:00:00;3;2;1\n", profile_with(time="-unit"))

    assert ("if this is midnight" in str(refused.value)) is given


def test_as_many_gaps_as_are_admitted_are_a_log_and_one_more_is_a_wrong_max_gap(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a log cut into single rows that is imported as so many traces without a word, and the last admitted gap refused."""
    monkeypatch.setattr(assemble, "MOST_GAPS", 2)
    pairs = [f"{at};3;2;1\n{at + 1};3;2;1\n" for at in (0, 10, 20, 30)]

    assert bring_in(tmp_path, HEADER + "".join(pairs[:3]))[0].counts.gaps == 2
    with pytest.raises(Refusal, match=r"more than 2 steps .*the last 9 s"):
        bring_in(tmp_path, HEADER + "".join(pairs))


@pytest.mark.parametrize(("reference", "at_floor"), [("gauge", 2), ("absolute", 0)])
def test_a_gauge_at_its_atmosphere_is_counted(reference: str, at_floor: int, tmp_path: Path) -> None:
    """Catches a transmitter that is cut off at the atmosphere, and so sees no vacuum, and is not doubted."""
    stated = profile_with(suction_pressure=f'reference = "{reference}"')
    report, _ = bring_in(tmp_path, HEADER + "0;3;0;1\n1;3;0;1\n2;3;1;1\n", stated)

    assert report.counts.readings["suction_pressure"].at_floor == at_floor
