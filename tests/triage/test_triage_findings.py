"""What findings come to: which event is the graver, what gaps and days add up to, what time it was on the wall."""

import itertools
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy import stats

from replay.settings import read_settings
from replay.triage import kernel
from replay.triage.clock import Clock, is_unix
from replay.triage.days import Day, Days
from replay.triage.doubts import doubts_about
from replay.triage.events import AT_START, DOUBT, STARVED, VACUUM, Event, Gravest, Where, told
from replay.triage.exposure import rates
from replay.triage.findings import Findings, Gaps, Piece
from replay.triage.logs import Part, Placed
from replay.triage.overlaps import Overlap
from replay.triage.trends import trend

HOUR = 3_600_000


def event(kind: str = STARVED, **values: Any) -> Event:
    """Return an event of a minute with nothing to it unless it says otherwise."""
    given = {
        "file": "f", "source": "", "log_start_s": 0.0, "clock": Clock(), "start_ms": 0, "end_ms": 60_000, "low_ms": 0,
        "net_least_pa": None, "suction_least_pa": None, "integral_percent": 0, "vacuum_ms": 0, "doubt_ms": 0,
        "full_at_ms": None, "reload_at_ms": None, "reload_ms": 0, "reload_suction_pa": None, "doubts": (),
        "ends_with_log": False,
    }  # fmt: skip
    return Event(kind, **given | values)


GRAVER_FIRST = [
    event(reload_at_ms=50_000, reload_ms=9000, full_at_ms=None),
    event(reload_at_ms=10_000, reload_ms=8000),  # ran on longer, and was loaded again for less
    event(reload_at_ms=20_000, reload_ms=8000),
    event(reload_at_ms=20_000, reload_ms=8000, start_ms=1),
    event(full_at_ms=10_000, low_ms=1000),
    event(full_at_ms=20_000, low_ms=9000),
    event(full_at_ms=20_000, low_ms=1000),
    event(full_at_ms=20_000, low_ms=1000, start_ms=1),
    event(AT_START, integral_percent=90, low_ms=100),
    event(integral_percent=80, low_ms=9000),
    event(integral_percent=80, low_ms=8000),
    event(integral_percent=80, low_ms=8000, start_ms=1),
    event(DOUBT, doubt_ms=9000, start_ms=5),
    event(DOUBT, doubt_ms=8000),
    event(DOUBT, doubt_ms=8000, start_ms=1),
    event(VACUUM, low_ms=2, vacuum_ms=100),
    event(VACUUM, low_ms=1, vacuum_ms=9000),
    event(VACUUM, low_ms=1, vacuum_ms=8000),
    event(VACUUM, low_ms=1, vacuum_ms=8000, start_ms=1),
]


def test_events_stand_by_what_happened_and_then_by_how_much_of_it() -> None:
    """Catches a rank that is exchanged with another, and the least of a kind before the most."""
    for number, (one, other) in enumerate(itertools.pairwise(GRAVER_FIRST)):
        assert one.gravity < other.gravity, number


def test_the_stop_of_a_spell_is_the_first_of_the_two() -> None:
    """Catches a machine that ran on since it was loaded again, though its integral had been full before."""
    both = event(full_at_ms=20_000, reload_at_ms=45_000)
    loaded = event(full_at_ms=50_000, reload_at_ms=45_000)

    assert [one.stop_at_ms for one in (both, loaded, event())] == [20_000, 45_000, None]
    assert [one.ran_on_ms for one in (both, loaded, event())] == [40_000, 15_000, 0]
    assert [one.starved for one in (event(), event(AT_START), event(VACUUM), event(DOUBT))] == [
        True,
        True,
        False,
        False,
    ]
    assert event(log_start_s=7.5).seconds(1001) == 8.501
    assert event().seconds(None) is None


def test_what_the_kernel_wrote_is_told_in_words() -> None:
    """Catches a pressure or a time of nothing told as one, a share of another delay, and a start told as any spell."""
    row = [0] * kernel.EVENT_SIZE
    row[kernel.KIND], row[kernel.MOST_INTEGRAL] = kernel.STARVED, 59_999
    row[kernel.LEAST_NET] = row[kernel.LEAST_SUCTION] = kernel.UNKNOWN
    row[kernel.FULL_AT] = row[kernel.RELOAD_AT] = kernel.NEVER
    row[kernel.RELOAD_SUCTION] = 5
    where = Where(Part(Path("f.csv"), "m", source="log.csv"), 7.0, Clock())
    plain = told(row, where, 60_000, ends_with_log=False)
    assert (plain.net_least_pa, plain.suction_least_pa, plain.full_at_ms, plain.reload_at_ms) == (None,) * 4
    assert (plain.integral_percent, plain.reload_suction_pa, plain.kind, plain.source) == (99, None, STARVED, "log.csv")
    row[kernel.LEAST_NET], row[kernel.RELOAD_AT], row[kernel.FROM_START] = 0, 0, 1
    known = told(row, where, 60_000, ends_with_log=True)
    assert (known.net_least_pa, known.reload_at_ms, known.reload_suction_pa, known.kind) == (0, 0, 5, AT_START)
    kinds = []
    for kind in (kernel.STARVED, kernel.IN_VACUUM, kernel.DOUBT):
        row[kernel.KIND], row[kernel.FROM_START] = kind, 0
        kinds.append(told(row, where, 60_000, ends_with_log=False).kind)
    assert kinds == [STARVED, VACUUM, DOUBT]


def test_of_twice_as_many_events_as_are_kept_the_gravest_stay(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches events that are cut too soon, those left out counted once of several times, and the least grave kept."""
    monkeypatch.setattr(Gravest, "MOST", 2)
    kept = Gravest()
    for low in range(1, 10):
        kept.add([event(low_ms=low)])

    assert [one.low_ms for one in kept.all()] == [9, 8]
    assert kept.left_out == 7
    monkeypatch.undo()
    assert Gravest.MOST == 50_000
    monkeypatch.setattr(Gravest, "MOST", 2)
    few = Gravest()
    few.add([event(low_ms=low) for low in (1, 2, 3)])
    assert (len(few.kept), few.left_out) == (3, 0)
    assert (len(few.all()), few.left_out) == (2, 1)


def test_gaps_are_counted_lost_where_they_are_within_a_file_and_told_where_the_machine_ran() -> None:
    """Catches a gap between two files taken for a loss, five minutes just not told, and a standstill told as running."""
    gaps = Gaps()
    gaps.add(300_000, lost=True, ran=True)
    gaps.add(299_999, lost=True, ran=True)
    gaps.add(400_000, lost=True, ran=False)
    gaps.add(900_000, lost=False, ran=True)

    assert (gaps.count, gaps.ms, gaps.longest_ms) == (4, 1_899_999, 900_000)
    assert (gaps.lost_ms, gaps.running, gaps.running_ms) == (999_999, 1, 300_000)


def test_findings_add_up_events() -> None:
    """Catches a lowest pressure of a doubt, the highest for the lowest, and a spell past its stop counted twice."""
    found = Findings("m", ())
    numbers = [value for value in vars(found).values() if isinstance(value, int)]
    assert numbers == [0] * 16
    found.add(event(net_least_pa=50_000, full_at_ms=20_000))
    found.add(event(net_least_pa=9000, full_at_ms=20_000, reload_at_ms=30_000, reload_ms=700))
    found.add(event(AT_START, net_least_pa=20_000))
    found.add(event(VACUUM, net_least_pa=5))
    found.add(event(STARVED))

    assert found.events == {STARVED: 3, AT_START: 1, VACUUM: 1}
    assert (found.past_stop, found.ran_on_ms, found.reloads, found.reload_ms, found.net_least_pa) == (
        2,
        80_000,
        1,
        700,
        9000,
    )


def judged(logged: int, late: int = 0, lost: int = 0, seen: int = 10, doubted: int = 0, imported: Any = ()) -> float:
    """Return the judged share of hours."""
    found = Findings("m", (), seen_ms=seen * HOUR, doubted_ms=doubted * HOUR, gaps=Gaps(lost_ms=lost * HOUR))
    sums = np.zeros((1, kernel.DAY_SIZE), np.int64)
    sums[0, kernel.DAY_LOGGED], sums[0, kernel.DAY_LATE] = logged * HOUR, late * HOUR
    found.days.add(0, sums)
    found.pieces = [
        Piece(SimpleNamespace(part=SimpleNamespace(judged_share=share)), end_ms=hours * HOUR)  # type: ignore[arg-type]
        for hours, share in imported
    ]
    return found.judged_share


def test_the_share_that_was_judged_is_the_least_of_three() -> None:
    """Catches hours of late rows or lost ones that nobody misses, and a short file that counts like a long one."""
    assert judged(10) == 1.0
    assert judged(8, late=1, lost=1) == 0.8
    assert judged(10, seen=9, doubted=3) == 0.75
    assert judged(10, imported=[(9, 1.0), (1, 0.5)]) == pytest.approx(0.95)
    assert judged(8, lost=2, seen=9, doubted=3, imported=[(1, 0.5)]) == 0.5
    assert judged(0, seen=0) == 1.0


def day(**values: int) -> list[int]:
    """Return the sums of a day."""
    return [values.get(name, 0) for name in NAMES]


NAMES = sorted(
    (name for name in vars(kernel) if name.startswith("DAY_") and name not in ("DAY_SIZE", "DAY_MS", "DAY_ZERO")),
    key=lambda name: getattr(kernel, name),
)


def test_days_add_up_and_the_slowest_start_stays_the_slowest() -> None:
    """Catches a slowest start that is summed up or lost, and a mean over another time."""
    one = Day(
        day(DAY_NET=6000, DAY_NET_MS=3, DAY_REST=100, DAY_REST_MS=50, DAY_BUILD=9000, DAY_BUILT=2, DAY_BUILD_MOST=7)
    )
    one.add(day(DAY_NET=3000, DAY_NET_MS=3, DAY_BUILD_MOST=5, DAY_BUILT=1))
    assert (one.net_pa, one.rest_pa, one.build_ms, one[kernel.DAY_BUILD_MOST]) == (1500.0, 2.0, 3000.0, 7)
    one.add(day(DAY_BUILD_MOST=9))
    assert one[kernel.DAY_BUILD_MOST] == 9
    assert (Day().net_pa, Day().rest_pa, Day().build_ms) == (None, None, None)


def test_weeks_begin_with_the_log_and_days_without_anything_are_none() -> None:
    """Catches weeks of the calendar, the eighth day in the first week, and a day that nobody logged."""
    days = Days()
    rows = np.array([day(DAY_RUN=1), day(), *[day(DAY_RUN=1)] * 7], np.int64)
    days.add(1000, rows)
    days.add(None, rows[:1])

    assert [number for number, _ in days.in_order()] == [1000, *range(1002, 1009)]
    assert [(number, week[kernel.DAY_RUN]) for number, week in days.weeks()] == [(1000, 6), (1007, 2)]
    assert days.total()[kernel.DAY_RUN] == 9
    turned = Days()
    for number in (5, 2, 9):
        turned.add(number, rows[:1])
    assert [number for number, _ in turned.in_order()] == [2, 5, 9]
    assert (days.told(0), days.told(9)) == ("day 1", "day 10")
    assert days.takes(Clock()) is False
    assert Days().takes(Clock()) is True
    assert days.takes(Clock(0.0)) is True
    assert (days.told(0), days.told(19_783)) == ("1970-01-01", "2024-03-01")


def test_a_clock_tells_the_wall_time_with_its_offset() -> None:
    """Catches UTC told as local time, an offset of the wrong sign, and the hour that a clock change moves."""
    dublin = Clock(1_772_438_400.0, "Europe/Dublin")
    assert dublin.stamp(1500) == "2026-03-02T08:00:01.500+00:00"
    assert dublin.stamp(120 * 86_400_000) == "2026-06-30T09:00:00+01:00"
    assert (dublin.stamp(None), Clock().stamp(0)) == ("", "")
    assert Clock(0.0, "+05:30").stamp(0) == "1970-01-01T05:30:00+05:30"
    assert Clock(3600.0, "+01:00").day_zero_ms() == -7_200_000
    assert Clock().day_zero_ms() == 0


@pytest.mark.parametrize(
    ("time_s", "unix"),
    [(946_684_800.0, True), (946_684_799.9, False), (4_102_444_799.0, True), (4_102_444_800.0, False)],
)
def test_times_since_1970_are_those_of_this_century(time_s: float, unix: bool) -> None:
    """Catches a long count of the logger taken for a date, and the first second of 2000 that is none."""
    assert is_unix(time_s) is unix


def test_rates_are_of_all_machines_per_thousand_hours_that_were_seen() -> None:
    """Catches spells of a start left out, hours of running for those that were seen, and a rate of no hours."""
    one = Findings("a", (), seen_ms=40 * HOUR, run_ms=99 * HOUR, past_stop=2, reloads=1)
    one.events.update({STARVED: 3, AT_START: 1, VACUUM: 5})
    other = Findings("b", (), seen_ms=60 * HOUR)
    other.events.update({DOUBT: 7})
    found = {rate.what: rate for rate in rates([one, other], 0.95)}

    assert {what: (rate.events, rate.hours) for what, rate in found.items()} == {
        "starved spells": (4, 100.0), "of these past a stop": (2, 100.0), "of these loaded too early": (1, 100.0),
        "of these at a start": (1, 100.0), "vacuum running": (5, 100.0), "sensor doubts": (7, 100.0),
    }  # fmt: skip
    assert found["starved spells"].seen == 40.0
    low, high = found["starved spells"].interval or (0.0, 0.0)
    # Garwood's limits: chi-square quantiles of 2 n and 2 n + 2 degrees of freedom, halved, over the hours.
    assert (low, high) == pytest.approx((stats.chi2.ppf(0.025, 8) / 2 * 10, stats.chi2.ppf(0.975, 10) / 2 * 10))
    none = rates([Findings("c", ())], 0.95)[0]
    assert (none.seen, none.interval, none.as_json()["low"]) == (None, None, None)


def piece(source: str, utc_s: float | None, losses: tuple[str, ...] = (), hold_ms: int = 0) -> Piece:
    """Return a file of a machine."""
    return Piece(Placed(Part(Path("f.csv"), source=source, losses=losses), 0.0, Clock(utc_s)), hold_ms=hold_ms)


def noted(settings_file: Path, *pieces: Piece, **values: Any) -> list[str]:
    """Return what is said of how the files were put together and imported, and of what nobody can tell."""
    found = Findings("m", (), **values)
    found.pieces = list(pieces)
    return [doubt.text for doubt in doubts_about(found, read_settings(settings_file))]


def test_how_files_were_put_together_is_told(settings_file: Path) -> None:
    """Catches files of unknown times that nobody is told of, one such file told, and what an import lost told for each part."""
    lost = piece("log.csv", 0.0, ("ten rows",))
    loose = "1 of 2 files do not say when they began: not joined in time"
    assert loose in noted(settings_file, piece("a", 0.0), piece("b", None))
    assert not any("do not say" in text for text in noted(settings_file, piece("a", None)))
    assert not any("do not say" in text for text in noted(settings_file, piece("a", 0.0), piece("b", 0.0)))
    told = noted(settings_file, lost, lost, piece("", 0.0, ("a", "b")))
    assert [text for text in told if text.startswith("import")] == [
        "import of log.csv: ten rows", "import of a file: a; b",
    ]  # fmt: skip
    held = noted(settings_file, piece("a", 0.0, hold_ms=60_000), piece("b", 0.0, hold_ms=3_600_000))
    assert any("standing still for up to 60.0 min is taken as held" in text for text in held)
    assert "2 of its logs cannot be read and are left out" in noted(settings_file, refused=("x", "y"))


def test_two_files_that_disagree_say_by_how_much(settings_file: Path) -> None:
    """Catches a share of the rows that is rounded up to another, and the greatest difference left out."""
    (told,) = (text for text in noted(settings_file, overlap=Overlap(200, 200, 51, 34_474)) if "DISAGREE" in text)
    assert told.startswith("two files DISAGREE in 25 % of the rows told twice, oil pressure by up to ")
    assert "by up to 34.5 kPa:" in told
    gaps = noted(settings_file, gaps=Gaps(2, 7_200_000, 5_400_000, 5_400_000, 1, 5_400_000))
    assert any(
        text.startswith("2 gaps of 2.0 h together, the longest 90.0 min, 90.0 min of them lost") for text in gaps
    )
    assert any(text.startswith("90.0 min lost in 1 gap of over 5.0 min") for text in gaps)
    between = noted(settings_file, gaps=Gaps(1, 7_200_000, 7_200_000))
    assert [text for text in between if "gap" in text] == ["1 gap of 2.0 h together, the longest 2.0 h"]


def test_a_trend_goes_from_its_first_day_to_its_last() -> None:
    """Catches a change over one day told as that of a season, and four days called a trend."""
    falling = [(10 * number + 3, 120_000.0 - 1000 * 10 * number) for number in range(6)]
    found = trend(falling)

    assert found is not None
    assert (found.first_day, found.last_day, found.days, found.sure) == (3, 53, 50, True)
    assert (found.first, found.last, found.change) == pytest.approx((120_000.0, 70_000.0, -50_000.0))
    assert trend(falling[:5]) is not None and trend(falling[:4]) is None
    level = trend([(number, 5.0) for number in range(6)])
    assert level is not None and not level.sure
