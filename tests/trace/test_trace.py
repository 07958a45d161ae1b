"""The trace reader: CSV and Parquet, empty cells, times, and refusals that name the line."""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

from replay.ground.refusal import Refusal
from replay.trace import Trace, read_pieces, read_trace
from replay.trace.files import count_rows

NO_READING = -1000000000
HEADER = "time_s,oil_pressure_kpa,suction_pressure_kpa,running\n"


def read(folder: Path, text: str | bytes) -> Trace:
    """Read a trace from the text of its CSV file."""
    path = folder / "trace.csv"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return read_trace(path)


def test_kilopascals_become_whole_pascals_and_seconds_whole_milliseconds(tmp_path: Path) -> None:
    """Catches truncation (0.1 + 0.2 style) of times and pressures."""
    trace = read(tmp_path, HEADER + "0.1,440.0004,300.0006,1\n0.2,440.2,300,1\n0.3,440,300,0\n")

    assert trace.time_ms.tolist() == [0, 100, 200]
    assert trace.oil_pa.tolist() == [440000, 440200, 440000]
    assert trace.suction_pa.tolist() == [300001, 300000, 300000]
    assert trace.running.tolist() == [1, 1, 0]
    assert trace.seconds(200) == 0.3


def test_without_a_crankcase_column_the_suction_pressure_stands_in(tmp_path: Path) -> None:
    """Catches a net oil pressure taken against nothing."""
    trace = read(tmp_path, HEADER + "0,440,300,1\n1,441,301,1\n")
    assert trace.crankcase_pa.tolist() == trace.suction_pa.tolist()


def test_optional_columns_in_any_order(tmp_path: Path) -> None:
    """Catches columns matched by position instead of by name."""
    head = "running,crankcase_pressure_kpa,time_s,reset,suction_pressure_kpa,oil_pressure_kpa,oil_temperature_c,speed_rpm\n"
    trace = read(tmp_path, head + "1,310,0,0,300,440,55.5,1450\n1,311,1,1,301,441,,\n")

    assert trace.crankcase_pa.tolist() == [310000, 311000]
    assert trace.reset.tolist() == [0, 1]


def test_an_empty_cell_is_no_reading_and_never_a_healthy_one(tmp_path: Path) -> None:
    """Catches a gap filled by the last or an interpolated value."""
    trace = read(tmp_path, HEADER + '0,440,300,1\n1,,300,1\n2,440,,1\n3,"",300,1\n')

    assert trace.oil_pa.tolist() == [440000, NO_READING, 440000, NO_READING]
    assert trace.suction_pa.tolist() == [300000, 300000, NO_READING, 300000]


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize(
    "rows", ["0,440,300,1", "0,440,300,1|1,441,301,1|", "|0,440,300,1||1,441,301,1|  |2,442,302,1"]
)
def test_rows_are_counted_as_they_are_read(rows: str, end: str, tmp_path: Path) -> None:
    """Catches the header, a blank line or the lack of a last line's end counted as a row."""
    path = tmp_path / "trace.csv"
    path.write_bytes((HEADER + rows.replace("|", "\n")).replace("\n", end).encode())
    told = rows.count("440") + rows.count("441") + rows.count("442")

    assert [count_rows(path, most) for most in (0, 1, 2, 100)] == [min(told, most + 1) for most in (0, 1, 2, 100)]
    table = pa.table(dict.fromkeys(HEADER.strip().split(","), [1.0] * told))
    pq.write_table(table, tmp_path / "trace.parquet")
    assert count_rows(tmp_path / "trace.parquet", 0) == told


def test_an_empty_running_cell_keeps_the_contact_as_it_was(tmp_path: Path) -> None:
    """Catches a machine that stops, or starts, because a cell was left out."""
    trace = read(tmp_path, HEADER + "0,440,300,1\n1,440,300,\n2,440,300,0\n3,440,300,\n4,440,300,1\n")
    assert trace.running.tolist() == [1, 1, 0, 0, 1]


def test_an_empty_reset_cell_is_a_reset_that_nobody_pressed(tmp_path: Path) -> None:
    """Catches a lockout that the holes of a recording free: an empty cell read as pressed, or as the press before it goes on."""
    path = tmp_path / "a.csv"
    rows = "".join(f"{second},400,300,1,{reset}\n" for second, reset in enumerate(["", 0, "", 1, "", 1, 0, ""]))
    path.write_text("time_s,oil_pressure_kpa,suction_pressure_kpa,running,reset\n" + rows)

    assert read_trace(path).reset.tolist() == [0, 0, 0, 1, 0, 1, 0, 0]


@pytest.mark.parametrize("kpa", ["20001", "-101", "1e300"])
def test_what_no_sensor_can_say_is_no_reading(kpa: str, tmp_path: Path) -> None:
    """Catches an absurd number that overflows the integers of the logic."""
    assert read(tmp_path, HEADER + f"0,440,300,1\n1,{kpa},300,1\n").oil_pa[1] == NO_READING


def test_parquet_and_csv_give_the_same_trace(tmp_path: Path) -> None:
    """Catches a second reader that rounds, fills or orders differently; booleans and integers are taken too."""
    table = pa.table(
        {
            "time_s": pa.array([0.0, 0.25, 1.0]),
            "oil_pressure_kpa": pa.array([440.1, None, 441.0], pa.float32()),
            "suction_pressure_kpa": pa.array([300, 301, None], pa.int32()),
            "running": pa.array([False, True, True]),
        }
    )
    pq.write_table(table, tmp_path / "trace.parquet")
    one = read_trace(tmp_path / "trace.parquet")
    other = read(tmp_path, HEADER + "0,440.1,300,0\n0.25,,301,1\n1,441,,1\n")

    for name in ("time_ms", "oil_pa", "suction_pa", "crankcase_pa", "running", "reset"):
        assert np.array_equal(getattr(one, name), getattr(other, name)), name


@pytest.mark.parametrize(
    "text",
    [
        "\ufeff" + HEADER,
        HEADER.replace("\n", "\r\n"),
        HEADER.replace(",", " , "),
        '"' + HEADER[:-1].replace(",", '","') + '"\n',
    ],
)
def test_byte_order_mark_line_ends_blanks_and_quotes_are_no_obstacle(text: str, tmp_path: Path) -> None:
    """Catches a header that differs only in how a spreadsheet saved it."""
    assert len(read(tmp_path, text + "0,440,300,1\n1,440,300,1\n")) == 2


REFUSED = [
    ("", ["line 1", "no column 'time_s'"]),
    (HEADER, ["0 data rows", "at least two"]),
    (HEADER + "0,440,300,1\n", ["1 data row"]),
    (HEADER.replace("kpa", "bar") + "0,4,3,1\n1,4,3,1\n", ["line 1", "oil_pressure_bar", "oil_pressure_kpa"]),
    (HEADER.replace(",", ";") + "0;440;300;1\n", ["line 1", "unknown column", "time_s"]),
    (HEADER.replace(",running", "") + "0,440,300\n1,440,300\n", ["line 1", "no column 'running'"]),
    (HEADER.replace("running", "time_s") + "0,440,300,1\n1,440,300,1\n", ["line 1", "appears twice"]),
    (HEADER + "0,440,300,1\n1,44O,300,1\n", ["line 3", "oil_pressure_kpa", '"44O"', "not a number"]),
    (HEADER + '0,440,300,1\n1,"440,5",300,1\n', ["line 3", "oil_pressure_kpa", '"440,5"']),
    (HEADER + "0,440,300,1\n1,440,300\n", ["line 3", "3 cells under 4 columns"]),
    (HEADER + "0,440,300,1\n\n1,440,300,1\n1,440,300,1\n", ["line 5", "time_s = 1", "does not increase"]),
    (HEADER + "5,440,300,1\n4,440,300,1\n", ["line 3", "time_s = 4", "does not increase"]),
    (HEADER + "0,440,300,1\n0.0001,440,300,1\n", ["line 3", "at least 1 ms"]),
    (HEADER + "0,440,300,1\n,440,300,1\n", ["line 3", "no time"]),
    (HEADER + "0,440,300,1\n1e12,440,300,1\n", ["line 3", "not a time in seconds"]),
    (HEADER + "0,440,300,1\n1,inf,300,1\n", ["line 3", "oil_pressure_kpa", "not a finite number"]),
    (HEADER + "0,440,300,1\n1,440,300,2\n", ["line 3", "running = 2", "neither 0 nor 1"]),
    (HEADER + "0,440,300,\n1,440,300,1\n", ["line 2", "running", "first row has no status"]),
    (HEADER.encode("utf-16"), ["line 1", "not UTF-8"]),
    (b"\x00\x01\x02", ["line 1"]),
]


@pytest.mark.parametrize(("text", "said"), REFUSED)
def test_a_broken_trace_is_refused_at_its_line(text: str | bytes, said: list[str], tmp_path: Path) -> None:
    """Catches a row dropped, sorted or mended in silence, and a message that leaves the line to be searched for."""
    with pytest.raises(Refusal) as refused:
        read(tmp_path, text)

    for part in ["trace.csv", *said]:
        assert part in str(refused.value)


def test_a_parquet_file_that_is_none_is_refused(tmp_path: Path) -> None:
    """Catches a traceback from the library that reads Parquet."""
    (tmp_path / "trace.parquet").write_text("time_s\n")
    with pytest.raises(Refusal, match="Parquet"):
        read_trace(tmp_path / "trace.parquet")


def test_a_parquet_column_of_text_is_refused_by_name(tmp_path: Path) -> None:
    """Catches text that is parsed into numbers by luck."""
    table = pa.table(dict.fromkeys(HEADER.strip().split(","), pa.array(["0", "x"])))
    pq.write_table(table, tmp_path / "trace.parquet")
    with pytest.raises(Refusal, match="column time_s: holds string"):
        read_trace(tmp_path / "trace.parquet")


@pytest.mark.slow("simulates, scores or draws many traces")
@given(st.lists(st.tuples(st.integers(1, 10**6), st.none() | st.integers(-100000, 20000000)), min_size=2, max_size=30))
def test_what_is_written_is_read_back(rows: list[tuple[int, int | None]]) -> None:
    """Catches any value of the admitted range that does not survive the file."""
    from tempfile import TemporaryDirectory

    times = np.cumsum([step for step, _ in rows]).tolist()
    lines = [f"{t / 1000},{'' if pa is None else pa / 1000},300,1" for t, (_, pa) in zip(times, rows, strict=True)]
    with TemporaryDirectory() as folder:
        trace = read(Path(folder), HEADER + "\n".join(lines) + "\n")

    assert trace.time_ms.tolist() == [t - times[0] for t in times]
    assert trace.oil_pa.tolist() == [NO_READING if pa is None else pa for _, pa in rows]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("cell", ["3", "3.0", "", "0x3"])
def test_pieces_of_a_csv_are_the_whole_whatever_ends_its_lines(
    end: str, cell: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches rows lost or torn where a file is cut into pieces, and a number of another form taken in some of them."""
    monkeypatch.setattr("replay.trace.files.CSV_BLOCK", 64)
    lines = ["time_s,oil_pressure_kpa,suction_pressure_kpa,running", *(f"{s},{400 + s},200,{s % 2}" for s in range(90))]
    lines[70:70] = ["", ""]
    lines[80] = lines[80].replace(",200,", f",{cell},")
    file = tmp_path / "t.csv"
    file.write_text(end.join([*lines, *[""] * 80]), newline="")
    if cell == "0x3":
        with pytest.raises(Refusal, match='suction_pressure_kpa = "0x3": not a number'):
            list(read_pieces(file, 16))
        return
    pieces = list(read_pieces(file, 16))
    whole = read_trace(file)

    for name in ("time_ms", "oil_pa", "suction_pa", "running"):
        assert np.concatenate([getattr(piece, name) for piece in pieces]).tolist() == getattr(whole, name).tolist()


def test_a_status_that_is_no_whole_number_is_read_from_there_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches times with a fraction refused, cut or rounded since those before them were whole."""
    monkeypatch.setattr("replay.trace.files.CSV_BLOCK", 64)
    lines = [f"{s if s < 50 else s + 0.25},400,200,{'1' if s < 70 else '1.0'}" for s in range(90)]
    file = tmp_path / "t.csv"
    file.write_text("\n".join(["time_s,oil_pressure_kpa,suction_pressure_kpa,running", *lines]))
    times = [time for piece in read_pieces(file, 16) for time in piece.time_ms.tolist()]

    assert times == [1000 * s + (250 if s >= 50 else 0) for s in range(90)]


@pytest.mark.parametrize("block", [16, 1 << 22])
def test_a_status_in_another_notation_is_refused_in_pieces_as_in_the_whole(
    block: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches 0x1, which is a whole number to some readers and no number in a trace."""
    monkeypatch.setattr("replay.trace.files.CSV_BLOCK", block)
    file = tmp_path / "t.csv"
    file.write_text("time_s,oil_pressure_kpa,suction_pressure_kpa,running\n0,400,200,1\n1,400,200,0x1\n")

    for read in (read_trace, lambda path: list(read_pieces(path, 16))):
        with pytest.raises(Refusal, match='line 3, running = "0x1": not a number'):
            read(file)


def test_a_short_csv_is_read_without_threads_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches threads started anew for each of ten thousand short files, which takes longer than reading them."""
    monkeypatch.delattr("replay.trace.files.ThreadPoolExecutor")
    file = tmp_path / "t.csv"
    file.write_text("time_s,oil_pressure_kpa,suction_pressure_kpa,running\n0,400,200,1\n1,400,200,0\n")

    assert [piece.running.tolist() for piece in read_pieces(file, 16)] == [[1, 0]]
