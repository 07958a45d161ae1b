"""An import never invents a healthy sample: every reading was read, and what is none stays none."""

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from replay.measured.ticks import Newest
from tests.support.measured import HEADER, NO_READING, bring_in, profile_with, readings

pytestmark = pytest.mark.slow("tries many cases of a large space")

MAX_GAP_MS = 5000
NOTHING = ["", "NaN", "nan", "Bad", "bad", "---", "-999", "-999.0", "9999", "null", " "]
CELLS = st.one_of(st.integers(0, 1800).map(lambda kpa: f"{kpa / 100:g}"), st.sampled_from(NOTHING))
STATUS = st.sampled_from(["1", "0", "1", "0", "", "Bad", "ON", "off"])
SENTINELS = profile_with(file='sentinels = ["Bad", "---", -999, 9999]', time='unit = "ms"')


def pascals(cell: str) -> int:
    """Return the pascals of a cell in bar gauge at sea level, by hand."""
    return NO_READING if cell in NOTHING else round(float(cell) * 100000) + 101325


@settings(max_examples=30)
@given(rows=st.lists(st.tuples(st.integers(1, 7000), CELLS, CELLS, STATUS), min_size=2, max_size=40))
def test_every_reading_stands_in_the_file_at_its_row_and_no_running_comes_from_nothing(
    rows: list[tuple[int, str, str, str]],
) -> None:
    """Catches a value filled in, held in a file with one clock, or taken from a sentinel; a status held too long."""
    times = np.cumsum([step for step, *_ in rows]).tolist()
    text = HEADER + "".join(
        f"{t};{oil};{suction};{run}\n" for t, (_, oil, suction, run) in zip(times, rows, strict=True)
    )
    text += f"{times[-1] + 100000};3;2;1\n{times[-1] + 100001};3;2;0\n"
    with tempfile.TemporaryDirectory() as folder:
        report, traces = bring_in(Path(folder), text, SENTINELS)
    by_time = dict(zip(times, rows, strict=True))
    parts = [part for part in report.counts.parts if part.rows > 1]

    for part, trace in zip(parts, traces, strict=True):
        for place, ms in enumerate((trace.time_ms + part.start_ms).tolist()):
            if ms > times[-1]:
                continue
            _, oil, suction, run = by_time[ms]
            assert trace.oil_pa[place] == pascals(oil)
            assert trace.suction_pa[place] == pascals(suction)
            told = [
                (t, row[3]) for t, row in by_time.items() if ms - MAX_GAP_MS <= t <= ms and row[3] not in ("", "Bad")
            ]
            assert told, "a row whose status nobody knows"
            assert trace.running[place] == (told[-1][1] in ("1", "ON"))
            assert run in ("", "Bad") or told[-1][0] == ms


# Blocks of one row: one that has no pressure at all is no row of net oil pressure.
@example(rows=[(1, "0", "9", "1", False)] * 5 + [(1, "", "", "1", False)] * 6, size=1)
@settings(max_examples=20)
@given(
    rows=st.lists(st.tuples(st.integers(1, 7000), CELLS, CELLS, STATUS, st.booleans()), min_size=2, max_size=60),
    size=st.integers(1, 2000),
)
def test_block_size_never_changes_the_result(rows: list[tuple[int, str, str, str, bool]], size: int) -> None:
    """Catches state that is lost where a block ends, and a fast way that reads other numbers than the exact one."""
    now, lines = 0, []
    for step, oil, suction, run, odd in rows:
        now += step
        lines.append(
            f"{now};{'+' if odd and oil not in NOTHING else ''}{oil};{suction};{run}\n" + ("\n" if odd else "")
        )
    text = HEADER + "".join(lines) + f"{now + 1};3;2;1\n{now + 2};3;2;0\n"
    results = []
    with tempfile.TemporaryDirectory() as folder:
        for block in (size, 1 << 20):
            report, traces = bring_in(Path(folder), text, SENTINELS, block_bytes=block)
            told = report.as_json()
            told.pop("profile")
            told["notes"] = told["notes"][:2]
            results.append((told, [(t.time_ms.tolist(), t.oil_pa.tolist(), t.running.tolist()) for t in traces]))

    assert results[0] == results[1]


@settings(max_examples=100)
@given(
    readings=st.lists(st.tuples(st.integers(0, 9), st.one_of(st.just(float("nan")), st.floats(0, 9))), max_size=30),
    ticks=st.lists(st.integers(1, 9), min_size=1, max_size=30),
    chunk=st.integers(1, 30),
    span=st.integers(1, 30),
    max_age=st.one_of(st.none(), st.integers(0, 30)),
)
def test_a_tick_takes_the_newest_reading_up_to_max_gap_old_and_nothing_else(
    readings: list[tuple[int, float]], ticks: list[int], chunk: int, span: int, max_age: int | None
) -> None:
    """Catches interpolation, a reading of the future, one reached for behind a 'none', and one held too long."""
    times = np.cumsum([step for step, _ in readings], dtype=np.int64)
    values = np.array([value for _, value in readings], dtype=np.float64)
    clock = np.cumsum(ticks, dtype=np.int64)
    chunks = ((times[i : i + chunk], values[i : i + chunk]) for i in range(0, len(times), chunk))
    newest = Newest(chunks, max_age)
    taken = [newest.at(clock[i : i + span]) for i in range(0, len(clock), span)]
    found = np.concatenate([part.values for part in taken])
    held = 0
    used = set()
    for tick, value in zip(clock.tolist(), found.tolist(), strict=True):
        before = [place for place, time in enumerate(times.tolist()) if time <= tick]
        fresh = bool(before) and (max_age is None or tick - times[before[-1]] <= max_age)
        expected = values[before[-1]] if fresh else float("nan")
        used |= {before[-1]} if fresh else set()
        held += fresh and tick > times[before[-1]] and not np.isnan(expected)
        assert value == expected or (np.isnan(value) and np.isnan(expected))
    passed = [place for place in range(int((times <= clock[-1]).sum()) - 1) if place not in used]

    assert sum(part.held for part in taken) == held
    assert sum(part.passed_over for part in taken) == len(passed)


def test_a_status_holds_for_max_gap_and_then_nobody_knows(tmp_path: Path) -> None:
    """Catches a machine that runs on because its status stopped coming: those rows are left out and counted."""
    text = HEADER + "".join(f"{s};3;2;{'1' if s == 0 else ''}\n" for s in range(12)) + "12;3;2;0\n13;3;2;0\n"
    report, traces = bring_in(tmp_path, text)

    assert [trace.time_ms.tolist() for trace in traces] == [[0, 1000, 2000, 3000, 4000, 5000], [0, 1000]]
    assert [trace.running.tolist() for trace in traces] == [[1] * 6, [0, 0]]
    assert report.counts.without_status == 6
    assert report.counts.held == {"running": 5}


def test_a_status_written_on_change_holds_until_the_next(tmp_path: Path) -> None:
    """Catches a logged contact that is forgotten between its changes, and rows before the first that get one."""
    text = HEADER + "".join(f"{s};3;2;{ {2: '1', 20: '0'}.get(s, '') }\n" for s in range(23))
    trace = readings(tmp_path, text, profile_with(running="on_change = true"))

    assert trace.running.tolist() == [1] * 18 + [0] * 3


@pytest.mark.parametrize(
    ("running", "cells", "expected"),
    [
        ('current_above = "12 A"\nunit = "A"', ["12", "12.1", "0", "30"], [0, 1, 0, 1]),
        ('current_above = "12 A"\nunit = "mA"', ["12000", "12100", "0", "3e4"], [0, 1, 0, 1]),
        ('speed_above = "600 rpm"\nunit = "Hz"', ["10", "10.1", "0", "24"], [0, 1, 0, 1]),
        ('on = ["Lauf"]\noff = ["Stand", "Warten"]', ["Stand", "LAUF", "Warten", "lauf"], [0, 1, 0, 1]),
        ('on = ["3"]\noff = ["1", "2"]', ["1", "3", "2", "3.0"], [0, 1, 0, 1]),
        ("", ["off", "ON", "False", "true"], [0, 1, 0, 1]),
    ],
)
def test_running_comes_from_words_a_current_or_a_speed(
    running: str, cells: list[str], expected: list[int], tmp_path: Path
) -> None:
    """Catches a threshold in the wrong unit, one that counts as running at itself, and words read by their first letter."""
    text = HEADER + "".join(f"{s};3;2;{cell}\n" for s, cell in enumerate(cells))
    assert readings(tmp_path, text, profile_with(running=running)).running.tolist() == expected


def test_a_status_that_begins_late_is_read_as_it_is_written(tmp_path: Path) -> None:
    """Catches a column taken for numbers because its first cells were empty."""
    rows = [f"{s};3;2;{'' if s < 9000 else 'ON'}\n" for s in range(9010)]
    assert readings(tmp_path, HEADER + "".join(rows)).running.tolist() == [1] * 10


def test_an_empty_current_is_no_standstill_and_no_running(tmp_path: Path) -> None:
    """Catches a dead current transducer that reads as a stopped machine."""
    text = HEADER + "0;3;2;20\n1;3;2;\n2;3;2;-999\n3;3;2;0\n"
    profile = profile_with(running='current_above = "12 A"\nunit = "A"', file="sentinels = [-999]")

    assert readings(tmp_path, text, profile).running.tolist() == [1, 1, 1, 0]
