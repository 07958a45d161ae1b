"""What is told of a trace file without its rows, and of one that is at fault: each at its bound."""

import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from replay.ground.refusal import Refusal
from replay.trace import read_trace
from replay.trace.files import (
    LONGEST_LINE,
    UNPACKED_MOST,
    UNPACKED_RATIO,
    check_unpacked,
    count_rows,
    first_time_told,
    is_parquet,
    last_time_s,
    place_in,
    read_blocks,
    read_columns,
    rows_about,
)
from replay.trace.trace import LONG, LongTrace, first_time_s, open_trace

HEADER = "time_s,oil_pressure_kpa,suction_pressure_kpa,running\n"


def written(folder: Path, text: str | bytes) -> Path:
    """Write a CSV trace."""
    path = folder / "t.csv"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def parquet(folder: Path, times: list[float], **how: Any) -> Path:
    """Write a Parquet trace of these times."""
    rows = len(times)
    table = pa.table(
        {
            "time_s": np.array(times),
            "oil_pressure_kpa": np.full(rows, 400.0),
            "suction_pressure_kpa": np.full(rows, 200.0),
            "running": np.ones(rows, np.int8),
        }
    )
    pq.write_table(table, folder / "t.parquet", **how)
    return folder / "t.parquet"


def csv(rows: int) -> str:
    """Return a CSV trace of so many rows."""
    return HEADER + "".join(f"{n},400,200,1\n" for n in range(rows))


@pytest.mark.parametrize(
    ("name", "taken"), [("a.parquet", True), ("a.PARQUET", True), ("a.csv", False), ("parquet", False)]
)
def test_a_file_is_taken_for_what_its_ending_says(name: str, taken: bool) -> None:
    """Catches a Parquet file of another spelling read as text."""
    assert is_parquet(Path(name)) is taken


def test_rows_are_counted_to_one_more_than_is_asked(tmp_path: Path) -> None:
    """Catches a file of just the most that is admitted called too long, and one beyond called admitted."""
    path = written(tmp_path, csv(5))

    assert [count_rows(path, most) for most in (3, 4, 5, 6)] == [4, 5, 5, 5]
    assert count_rows(written(tmp_path, HEADER), 5) == 0
    assert count_rows(written(tmp_path, ""), 5) == 0
    assert count_rows(parquet(tmp_path, [0.0, 1.0, 2.0]), 0) == 3


def test_the_rows_of_a_file_are_known_or_told_by_its_size(tmp_path: Path) -> None:
    """Catches an estimate by the wrong kind of row, by which a short trace is left in its file or a long one read."""
    path = written(tmp_path, csv(5))

    assert rows_about(path) == path.stat().st_size // 28
    assert rows_about(parquet(tmp_path, [0.0, 1.0, 2.0])) == 3
    (tmp_path / "t.parquet").write_bytes(b"none")
    assert rows_about(tmp_path / "t.parquet") == 0


@pytest.mark.parametrize(
    ("text", "last"),
    [
        (csv(5), 4.0),
        (csv(5).rstrip("\n"), 4.0),
        (csv(5) + "\n \n", 4.0),
        (csv(5).replace("\n", "\r\n"), 4.0),
        ("oil_pressure_kpa,time_s,suction_pressure_kpa,running\n400,7.5,200,1\n", 7.5),
        (csv(4000), 3999.0),
        (csv(2) + "noon,400,200,1\n", math.nan),
        (HEADER, math.nan),
    ],
)
def test_the_last_time_is_that_of_the_last_row(text: str, last: float, tmp_path: Path) -> None:
    """Catches the header, a blank line or another column taken for the end of a recording."""
    found = last_time_s(written(tmp_path, text))

    assert found == last or (math.isnan(found) and math.isnan(last))


def test_the_last_time_of_parquet_is_in_its_last_group(tmp_path: Path) -> None:
    """Catches the end of the first group of rows taken for the end of the recording."""
    assert last_time_s(parquet(tmp_path, [float(n) for n in range(10)], row_group_size=4)) == 9.0
    assert math.isnan(last_time_s(parquet(tmp_path, [])))


def test_the_first_time_is_told_without_rows_where_the_file_knows_it(tmp_path: Path) -> None:
    """Catches the last time for the first, and a file without statistics, or without rows, that is believed."""
    times = [3.5, 4.5, 5.5, 6.5]
    assert first_time_told(written(tmp_path, csv(3))) is None
    assert first_time_told(parquet(tmp_path, times, row_group_size=2)) == 3.5
    plain = parquet(tmp_path, times, write_statistics=False)
    assert first_time_told(plain) is None
    assert first_time_s(plain) == 3.5
    assert first_time_told(parquet(tmp_path, [])) is None


@pytest.mark.parametrize(
    ("rows", "size", "refused"),
    [
        (UNPACKED_MOST // 8, 1, False),  # just as much as is admitted of any file
        (UNPACKED_MOST // 8 + 1, 1, True),
        (UNPACKED_MOST, UNPACKED_MOST * 8 // UNPACKED_RATIO + 1, False),
        (UNPACKED_MOST, UNPACKED_MOST * 8 // UNPACKED_RATIO, True),
    ],
)
def test_a_small_file_that_unpacks_to_the_whole_memory_is_refused(rows: int, size: int, refused: bool) -> None:
    """Catches a file of a hundred bytes that fills the memory, and a great one that is refused for its length alone."""
    path: Any = SimpleNamespace(stat=lambda: SimpleNamespace(st_size=size))
    metadata = SimpleNamespace(num_rows=rows, num_columns=1)
    if refused:
        with pytest.raises(Refusal, match="no readings of a machine pack so small"):
            check_unpacked(path, metadata)
    else:
        check_unpacked(path, metadata)


@pytest.mark.parametrize(("length", "refused"), [(LONGEST_LINE - 1, False), (LONGEST_LINE, True)])
def test_a_line_may_be_so_long_and_no_longer(length: int, refused: bool, tmp_path: Path) -> None:
    """Catches a line without an end that is read into memory."""
    path = written(tmp_path, csv(1) + "x" * length)
    with pytest.raises(Refusal, match="line 3: longer than" if refused else "line 3: 1 cell under 4 columns"):
        read_columns(path)


def test_a_row_is_named_by_its_line_or_by_its_number(tmp_path: Path) -> None:
    """Catches a line counted without its header or without a blank one, and a row counted from 0."""
    assert [
        place_in(written(tmp_path, "\n".join(csv(3).splitlines()[:2]) + "\n\n1,4,2,1\n"), row) for row in (0, 1)
    ] == [
        "line 2",
        "line 4",
    ]
    assert place_in(parquet(tmp_path, [0.0, 1.0]), 1) == "row 2"


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_blocks_hold_the_rows_of_the_whole_in_their_order(end: str, tmp_path: Path) -> None:
    """Catches a block one row too long, and rows lost between two of them."""
    path = written(tmp_path, csv(11).replace("\n", end))
    blocks = [block["time_s"].tolist() for block in read_blocks(path, 4)]

    assert [time for block in blocks for time in block] == [float(n) for n in range(11)]
    assert max(map(len, blocks)) == 4


def test_a_trace_is_left_in_its_file_from_a_number_of_rows_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a trace of just so many rows that is read as a whole."""
    path = parquet(tmp_path, [0.0, 1.0, 2.0])
    for long, left in ((3, True), (4, False)):
        monkeypatch.setattr("replay.trace.trace.LONG", long)
        assert isinstance(open_trace(path), LongTrace) is left
    assert LONG == 2_000_000
    long = LongTrace(path)
    assert (len(long), long.end_s, long.start_s) == (3, 2.0, 0.0)


def test_a_time_is_refused_or_taken_at_its_last_ms(tmp_path: Path) -> None:
    """Catches two rows of one ms taken, and two of following ms refused."""
    for step, refused in ((0.001, False), (0.0004, True)):
        path = written(tmp_path, HEADER + f"0,400,200,1\n{step},400,200,1\n")
        if refused:
            with pytest.raises(Refusal, match=r"line 3, time_s = 0\.0004: time does not increase"):
                read_trace(path)
        else:
            assert read_trace(path).time_ms.tolist() == [0, 1]
    for time, refused in ((1e11, False), (1.1e11, True)):
        path = written(tmp_path, HEADER + f"-{time},400,200,1\n0,400,200,1\n")
        if refused:
            with pytest.raises(Refusal, match="not a time in seconds"):
                read_trace(path)
        else:
            assert read_trace(path).start_s == -1e11


@pytest.mark.parametrize(("hold", "refused"), [(0, False), (30 * 86400, False), (30 * 86400 + 1, True), (-1, True)])
def test_a_hold_is_none_to_thirty_days(hold: int, refused: bool, tmp_path: Path) -> None:
    """Catches readings that would hold for ever."""
    path = written(tmp_path, HEADER.strip() + f",longest_hold_s\n0,4,2,1,{hold}\n1,4,2,1,{hold}\n")
    if refused:
        with pytest.raises(Refusal, match="not one hold throughout"):
            read_trace(path)
    else:
        assert read_trace(path).hold_ms == hold * 1000
