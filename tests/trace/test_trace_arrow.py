"""Traces from Arrow tables and data frames, and back: the same columns, checks and messages as a trace file."""

from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

import replay
import replay.trace.files
from replay.ground.refusal import Refusal
from replay.trace import Trace, read_pieces, read_trace

NO_READING = -1000000000
GOOD = {
    "time_s": [10.0, 11.0, 12.5],
    "oil_pressure_kpa": [440.0, None, 441.2],
    "suction_pressure_kpa": [300.0, 300.1, 300.2],
    "running": [True, False, True],
}


def stepped_reader(table: pa.Table) -> pa.RecordBatchReader:
    """Return a stream that brings the table row by row."""
    return pa.RecordBatchReader.from_batches(table.schema, table.to_batches(max_chunksize=1))


FORMS = {
    "pyarrow table": pa.table,
    "pyarrow batch": pa.RecordBatch.from_pydict,
    "pyarrow stream": lambda columns: stepped_reader(pa.table(columns)),
    "polars": pl.DataFrame,
    "pandas": pd.DataFrame,
    "pandas, rows picked": lambda columns: pd.DataFrame(columns).drop(index=[]).iloc[[0, 1, 2]],
    "pandas, time as index": lambda columns: pd.DataFrame(columns).set_index("time_s"),
    "pandas, float32": lambda columns: pd.DataFrame(columns).astype({"suction_pressure_kpa": "float32"}),
}


@pytest.mark.outside(
    computation="Arrow, data frames",
    source="pyarrow, polars, pandas",
    status="consulted",
    agreement="equal",
)
@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("take", [Trace.from_arrow, Trace.from_dataframe])
def test_a_frame_of_any_library_is_the_same_trace(form: str, take) -> None:
    """Catches a null read as a pressure, a bool lost, a chunk dropped, and an index taken for a column."""
    trace = take(FORMS[form](GOOD), name="K1")

    assert (trace.name, trace.start_s, trace.time_ms.tolist()) == ("K1", 10.0, [0, 1000, 2500])
    assert trace.oil_pa.tolist() == [440000, NO_READING, 441200]
    assert trace.suction_pa.tolist() == trace.crankcase_pa.tolist() == [300000, 300100, 300200]
    assert trace.running.tolist() == [1, 0, 1]
    assert trace.reset.tolist() == [0, 0, 0]


def test_the_package_gives_out_the_trace() -> None:
    """Catches a notebook that has to know in which module a trace lives, and a package that makes up names."""
    assert replay.Trace is Trace
    with pytest.raises(AttributeError, match="no attribute 'Trail'"):
        _ = replay.Trail


def test_a_picked_frame_leaves_its_row_numbers_behind() -> None:
    """Catches the unnamed index that pandas hands over with every frame that was filtered."""
    frame = pd.DataFrame({key: [0, *values] for key, values in GOOD.items()})
    assert len(Trace.from_dataframe(frame[frame["time_s"] > 0])) == 3


REFUSED = [
    ({"time_s": [1.0, 1.0, 2.0]}, ["site: row 2, time_s = 1", "does not increase"]),
    ({"time_s": [1.0, None, 2.0]}, ["site: row 2, time_s", "no time"]),
    ({"time_s": ["1", "2", "3"]}, ["site: column time_s", "holds", "string", "not numbers"]),
    ({"time_s": pd.date_range("2026-01-01", periods=3)}, ["column time_s", "timestamp", "seconds as numbers"]),
    ({"running": [None, 1, 1]}, ["row 1, running", "first row has no status"]),
    ({"running": [1, 1, 2]}, ["row 3, running = 2", "neither 0 nor 1"]),
    ({"oil_pressure_kpa": [1.0, float("inf"), 2.0]}, ["row 2, oil_pressure_kpa", "not a finite number"]),
    ({"oil_pressure_bar": [1.0, 2.0, 3.0]}, ["columns", "unknown column 'oil_pressure_bar'", "oil_pressure_kpa"]),
    ({"running": None}, ["columns", "no column 'running'"]),
]


@pytest.mark.parametrize(("change", "said"), REFUSED)
def test_a_broken_frame_is_refused_at_its_row(change: dict, said: list[str]) -> None:
    """Catches a frame that passes with less scrutiny than a file, or a message without its row."""
    columns = {key: values for key, values in {**GOOD, **change}.items() if values is not None}
    with pytest.raises(Refusal) as refused:
        Trace.from_dataframe(pd.DataFrame(columns), name="site")

    for part in said:
        assert part in str(refused.value)


def test_what_is_no_table_is_refused() -> None:
    """Catches a traceback out of a library for a dict or a frame that mixes text and numbers."""
    with pytest.raises(Refusal, match=r"trace: a dict is no table of Arrow; accepted: .*pandas 2\.2"):
        Trace.from_arrow(GOOD)
    with pytest.raises(Refusal, match="cannot be taken over"):
        Trace.from_dataframe(pd.DataFrame({**GOOD, "time_s": [1.0, "x", 3.0]}))
    with pytest.raises(Refusal, match=r"1 data row"):
        Trace.from_arrow(pa.table(GOOD).slice(0, 1))
    twice = pa.Table.from_arrays([pa.array([0.0])] * 2, names=["time_s", "time_s"])
    with pytest.raises(Refusal, match="column 'time_s' appears twice"):
        Trace.from_arrow(twice)


PRESSURES = st.one_of(st.just(NO_READING), st.integers(-100000, 20000000))
ROWS = st.lists(
    st.tuples(st.integers(1, 10**7), PRESSURES, PRESSURES, PRESSURES, st.booleans(), st.booleans()),
    min_size=2,
    max_size=20,
)


@st.composite
def traces(draw: st.DrawFn) -> Trace:
    """Draw any trace at all."""
    steps, oil, suction, crankcase, running, reset = zip(*draw(ROWS), strict=True)
    if draw(st.booleans()):
        crankcase = suction
    time_ms = np.cumsum(steps) - steps[0]
    start_s = draw(st.one_of(st.floats(-1e10, 1e10), st.sampled_from([0.0, 0.1, 1_790_000_000.25])))
    pressures = (np.array(column, np.int64) for column in (oil, suction, crankcase))
    return Trace("t", start_s, time_ms, *pressures, np.array(running, np.uint8), np.array(reset, np.uint8))


@pytest.mark.slow("simulates, scores or draws many traces")
@given(traces(), st.integers(1, 30))
def test_a_trace_goes_to_arrow_and_parquet_and_back_unchanged(trace: Trace, block: int) -> None:
    """Catches a value of the admitted range that does not survive, and a file that reads otherwise in pieces."""
    table = trace.to_arrow()
    with TemporaryDirectory() as folder:
        file = Path(folder) / "t.parquet"
        pq.write_table(table, file, row_group_size=7)
        pieces = list(read_pieces(file, block))
        again = read_trace(file)

    assert again == trace
    assert Trace.from_arrow(table, "t") == trace
    assert Trace.from_arrow(pl.DataFrame(table), "t") == trace
    assert {len(piece) for piece in pieces[:-1]} <= {block}
    for name in ("time_ms", "oil_pa", "suction_pa", "crankcase_pa", "running", "reset"):
        whole = np.concatenate([getattr(piece, name) for piece in pieces])
        assert np.array_equal(whole, getattr(trace, name)), name
    assert {piece.start_s for piece in pieces} == {trace.start_s}


def test_two_traces_are_equal_only_in_every_sample() -> None:
    """Catches an equality that looks at names or lengths only, on which the property above would rest."""
    trace = Trace.from_arrow(pa.table(GOOD))
    other = Trace.from_arrow(pa.table({**GOOD, "suction_pressure_kpa": [300.0, 300.1, 300.201]}))

    assert trace == Trace.from_arrow(pa.table(GOOD))
    assert trace != other
    assert trace != Trace.from_arrow(pa.table(GOOD), name="other")
    assert repr(trace) == "Trace('trace': 3 rows, 10 s to 12.5 s)"


HEADER = "time_s,oil_pressure_kpa,suction_pressure_kpa,running\n"


@pytest.mark.parametrize("kind", ["csv", "parquet"])
@pytest.mark.parametrize(
    ("column", "row", "value", "said"),
    [
        ("time_s", 6, 4.5, "does not increase"),
        ("time_s", 8, float("nan"), "no time"),
        ("running", 7, 3.0, "neither 0 nor 1"),
        ("oil_pressure_kpa", 9, float("inf"), "not a finite number"),
    ],
)
@pytest.mark.parametrize("block", [1, 3, 6, 100])
def test_what_is_at_fault_is_named_the_same_from_any_piece(
    kind: str, column: str, row: int, value: float, said: str, block: int, tmp_path: Path
) -> None:
    """Catches a row counted from the start of its piece, and a check that forgets the row before the piece."""
    frame = pd.DataFrame({"time_s": np.arange(10.0), "oil_pressure_kpa": 440.0, "suction_pressure_kpa": 300.0})
    frame["running"] = 1.0
    frame.loc[row, column] = value
    file = tmp_path / f"t.{kind}"
    frame.to_csv(file, index=False) if kind == "csv" else frame.to_parquet(file)
    with pytest.raises(Refusal) as whole:
        read_trace(file)
    with pytest.raises(Refusal) as piecewise:
        list(read_pieces(file, block))

    assert str(piecewise.value) == str(whole.value)
    place = f"line {row + 2}" if kind == "csv" else f"row {row + 1}"
    assert f"{place}, {column}" in str(whole.value)
    assert said in str(whole.value)


def test_an_empty_running_cell_keeps_the_contact_over_the_edge_of_a_piece(tmp_path: Path) -> None:
    """Catches a machine that stands still because a piece begins with an empty cell."""
    file = tmp_path / "t.csv"
    file.write_text(HEADER + "0,440,300,1\n1,440,300,\n2,440,300,\n3,440,300,0\n4,440,300,\n")
    pieces = list(read_pieces(file, 1))
    assert [piece.running.tolist() for piece in pieces] == [[1], [1], [1], [0], [0]]


def test_a_csv_file_longer_than_a_read_block_is_read_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches rows lost where one block of bytes ends and the next begins."""
    monkeypatch.setattr(replay.trace.files, "CSV_BLOCK", 4096)
    file = tmp_path / "t.csv"
    rows = [f"{second},{440 + second % 2},300,1" for second in range(3000)]
    file.write_text(HEADER + "\n".join(rows) + "\n")
    pieces = list(read_pieces(file, 10000))

    assert len(pieces) > 1
    assert np.concatenate([piece.time_ms for piece in pieces]).tolist() == [1000 * second for second in range(3000)]


@pytest.mark.parametrize(
    ("text", "said"), [("", "no column"), (HEADER, "0 data row"), (HEADER + "0,1,1,1\n", "1 data")]
)
def test_too_little_is_refused_from_pieces_too(text: str, said: str, tmp_path: Path) -> None:
    """Catches an empty log that counts as a healthy one."""
    file = tmp_path / "t.csv"
    file.write_text(text)
    with pytest.raises(Refusal, match=said):
        list(read_pieces(file, 10))
