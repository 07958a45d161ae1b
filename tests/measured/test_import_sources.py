"""Parquet and MDF 4 beside CSV: the same readings, and channels with clocks of their own."""

import datetime as dt
from pathlib import Path
from typing import Any

import asammdf
import numpy as np
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from replay.ground.refusal import Refusal
from replay.measured import mdf
from replay.measured.assemble import Assembler
from replay.measured.profile import read_profile
from tests.support.measured import HEADER, NO_READING, bring_in, profile_with, readings

pytestmark = pytest.mark.slow("tries many cases of a large space")

START = dt.datetime(2026, 3, 14, 9, 0, tzinfo=dt.UTC)


DOTTED = profile_with(file='decimal = "."')


def parquet(folder: Path, **columns: Any) -> bytes:
    """Return a Parquet file of these columns."""
    path = folder / "made.parquet"
    pq.write_table(pa.table(columns), path)
    return path.read_bytes()


def test_parquet_and_csv_give_the_same_trace(tmp_path: Path) -> None:
    """Catches a second reader with rules of its own for nulls, NaN, sentinels and types."""
    profile = profile_with(file="sentinels = [-999]")
    made = parquet(
        tmp_path,
        t=pa.array([0, 1, 2, 3], pa.int32()),
        oil=pa.array([3.5, None, float("nan"), -999.0], pa.float32()),
        suction=pa.array([2, 2, 1, None], pa.int16()),
        run=pa.array([True, None, False, True]),
    )
    one = readings(tmp_path, made, profile, name="log.bin")
    other = readings(tmp_path, HEADER + "0;3.5;2;1\n1;;2;\n2;NaN;1;0\n3;-999;;1\n", profile)

    for name in ("time_ms", "oil_pa", "suction_pa", "running"):
        assert np.array_equal(getattr(one, name), getattr(other, name)), name


@pytest.mark.parametrize("group", [2, 3, 100])
def test_parquet_with_the_newest_row_first_is_read_from_its_end(group: int, tmp_path: Path) -> None:
    """Catches times that go back refused at the second row, and row groups turned each by itself in the old order."""
    times, oil = list(range(7)), [3.1, 3.2, 3.3, 3.4, 3.5, 3.6, 3.7]
    columns = {"t": times[::-1], "oil": oil[::-1], "suction": [2.0] * 7, "run": [1] * 7}
    pq.write_table(pa.table(columns), tmp_path / "newest.parquet", row_group_size=group)
    data = (tmp_path / "newest.parquet").read_bytes()
    report, (trace,) = bring_in(tmp_path, data, name="log.parquet")
    plain = readings(tmp_path, HEADER + "".join(f"{s};{bar};2;1\n" for s, bar in zip(times, oil, strict=True)), DOTTED)

    assert np.array_equal(trace.oil_pa, plain.oil_pa)
    assert np.array_equal(trace.time_ms, plain.time_ms)
    assert "newest first: read from its end" in report.notes
    columns["oil"][0] = float("inf")  # the last of all in time, the first row of the file
    pq.write_table(pa.table(columns), tmp_path / "newest.parquet", row_group_size=group)
    with pytest.raises(Refusal, match="row 1, oil"):
        bring_in(tmp_path, (tmp_path / "newest.parquet").read_bytes(), name="log.parquet")


@pytest.mark.outside(
    computation="Parquet",
    source="files written by polars 2.1, read with pyarrow 26",
    status="consulted",
    agreement="equal",
)
@pytest.mark.parametrize("compression", ["zstd", "snappy", "gzip", "uncompressed"])
def test_parquet_of_another_writer_is_read(compression: Any, tmp_path: Path) -> None:
    """Catches a reader that only knows files of the library it reads with. Writer: polars, its own implementation."""
    start = dt.datetime(2026, 3, 14, 9, 0)  # noqa: DTZ001 - the zone is the column's
    rows = {"oil": [3.5, None, 3.0], "suction": [2.0, 2.0, 1.0], "run": [True, True, False]}
    times = pl.Series("t", [start + dt.timedelta(seconds=s) for s in range(3)]).dt.replace_time_zone("UTC")
    path = tmp_path / "polars.parquet"
    pl.DataFrame([times, *(pl.Series(name, values) for name, values in rows.items())]).write_parquet(
        path, compression=compression, row_group_size=2
    )
    report, traces = bring_in(tmp_path, path.read_bytes(), profile_with(time="-unit"), name="log.parquet")

    assert report.traces[0].start == "starts 2026-03-14T09:00:00.000Z, zone UTC"
    assert traces[0].time_ms.tolist() == [0, 1000, 2000]
    assert traces[0].oil_pa.tolist() == [451325, NO_READING, 401325]
    assert traces[0].running.tolist() == [1, 1, 0]


@pytest.mark.parametrize(
    ("times", "stated", "start"),
    [
        (pa.array([0, 1500], pa.timestamp("ms", "Europe/Berlin")), "", "1970-01-01T00:00:00.000Z"),
        (pa.array([0, 1500], pa.timestamp("ms")), 'zone = "Europe/Berlin"', "1969-12-31T23:00:00.000Z"),
        (pa.array([0, 1500000000], pa.duration("ns")), "", "0.000 s of the logger's time"),
        (pa.array([1773482400000, 1773482401500], pa.int64()), "", "2026-03-14T10:00:00.000Z"),
        (pa.array(["2026-03-14T10:00:00Z", "2026-03-14T10:00:01.5Z"]), "", "2026-03-14T10:00:00.000Z"),
    ],
)
def test_parquet_times_of_every_type(times: Any, stated: str, start: str, tmp_path: Path) -> None:
    """Catches a type whose unit is misread, and wall time taken for UTC."""
    made = parquet(tmp_path, t=times, oil=[3.0, 3.1], suction=[2.0, 2.0], run=[1, 1])
    report, traces = bring_in(tmp_path, made, profile_with(time="-unit\n" + stated), name="log.parquet")

    assert traces[0].time_ms.tolist() == [0, 1500]
    assert start in report.traces[0].start


@pytest.mark.parametrize("told", [[None, 0, 1], [None, "2026-03-14T10:00:00Z", "2026-03-14T10:00:01Z"]])
def test_a_first_row_of_parquet_without_a_time_is_refused_by_its_row(told: list[Any], tmp_path: Path) -> None:
    """Catches a traceback, or a form of times that is taken from a cell that holds none."""
    made = parquet(tmp_path, t=told, oil=[3.0, 3.0, 3.1], suction=[2.0] * 3, run=[1] * 3)
    stated = profile_with(time="-unit") if isinstance(told[1], str) else profile_with()
    with pytest.raises(Refusal, match="row 1"):
        bring_in(tmp_path, made, stated, name="log.parquet")


def test_marks_of_quality_of_parquet_are_those_of_their_signals(tmp_path: Path) -> None:
    """Catches a quality column that is read of no Parquet file, or as that of another signal."""
    columns = {
        "t": [0, 1, 2],
        "oil": [3.0, 3.1, 3.2],
        "suction": [2.0] * 3,
        "run": [1] * 3,
        "q": ["Good", "Bad", "Good"],
    }
    stated = profile_with(oil_pressure='quality = "q"', quality='good = ["Good"]')
    trace = readings(tmp_path, parquet(tmp_path, **columns), stated, name="log.bin")

    assert (trace.oil_pa == NO_READING).tolist() == [False, True, False]
    assert not (trace.suction_pa == NO_READING).any()


def test_a_wrong_cell_of_parquet_is_refused_by_its_row(tmp_path: Path) -> None:
    """Catches a message without a place, and infinity taken for a reading."""
    made = parquet(tmp_path, t=[0, 1], oil=[3.0, float("inf")], suction=[2.0, 2.0], run=["on", "maybe"])
    with pytest.raises(Refusal, match="row 2, oil"):
        bring_in(tmp_path, made, name="log.parquet")
    made = parquet(tmp_path, t=[0, 1], oil=[3.0, 3.0], suction=[2.0, 2.0], run=["on", "maybe"])
    with pytest.raises(Refusal, match='row 2, run = "maybe"'):
        bring_in(tmp_path, made, name="log.parquet")


MDF_PROFILE = profile_with(
    time='-column\n-unit\nmax_gap = "2 s"',
    oil_pressure="-unit",
    suction_pressure="-unit",
    running="on_change = true",
)


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """Return an MDF 4 file: oil at 10 Hz, suction at 1 Hz from 50 ms on with invalid samples, run on change."""
    fast, slow = np.arange(0, 10, 0.1), np.arange(0.05, 7, 1.0)
    signals = [
        asammdf.Signal(3.0 + np.arange(100) / 100, fast, unit="bar", name="oil"),
        asammdf.Signal(np.arange(7) / 10, slow, unit="bar", name="suction", invalidation_bits=np.arange(7) == 3),
        asammdf.Signal(
            np.array([0, 1, 0], dtype="u1"),
            np.array([0.2, 1.0, 9.0]),
            name="run",
            conversion={"val_0": 0, "text_0": b"OFF", "val_1": 1, "text_1": b"ON"},
        ),
    ]
    path = tmp_path / "recording.mf4"
    with asammdf.MDF(version="4.10") as mdf:
        mdf.header.start_time = START
        for signal in signals:
            mdf.append([signal])
        mdf.save(path)
    return path


@pytest.mark.outside(
    computation="MDF 4",
    source="asammdf, which also writes the recording of the test: no file of another writer was tried",
    status="consulted",
    agreement="equal",
)
def test_mdf_channels_keep_their_clocks_and_a_tick_takes_the_newest_reading(recording: Path, tmp_path: Path) -> None:
    """Catches clocks merged into one, interpolation, an invalid sample reached behind, and a reading held too long."""
    report, traces = bring_in(tmp_path, recording.read_bytes(), MDF_PROFILE, name="recording.mf4")
    trace = traces[0]
    ms = trace.time_ms + 200  # rows before the first run status are left out

    assert report.counts.without_status == 2
    assert report.traces[0].start == "starts 2026-03-14T09:00:00.200Z, zone UTC"
    assert ms.tolist() == list(range(200, 10000, 100))
    assert trace.running.tolist() == [int(1000 <= t < 9000) for t in ms]
    assert trace.oil_pa.tolist() == [round((3 + t / 10000) * 100000) + 101325 for t in ms]
    for t, pascals in zip(ms.tolist(), trace.suction_pa.tolist(), strict=True):
        newest = (t - 50) // 1000 if t < 7050 else 6
        gone = newest == 3 or t - (50 + 1000 * newest) > 2000
        assert pascals == (NO_READING if gone else newest * 10000 + 101325), t


def test_spans_of_records_never_change_the_result(
    recording: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a reading lost or counted twice where a span ends."""
    (tmp_path / "p.toml").write_text(MDF_PROFILE)
    profile = read_profile(tmp_path / "p.toml")
    told = set()
    for span in (1, 3, 50, 1000):
        monkeypatch.setattr(mdf, "SPAN", span)
        source = mdf.MdfSource(recording, profile)
        rows = Rows()
        assembler = Assembler(source, rows, repair=False)
        for block in source.blocks():
            assembler.add(block)
        counts = assembler.finish()
        told.add((tuple(rows.seen), str(counts.held), str(counts.passed_over)))

    assert len(told) == 1


class Rows:
    """Takes rows as plain tuples."""

    def __init__(self) -> None:
        self.seen: list[tuple[int, ...]] = []

    def write(self, time_ms: Any, columns: Any) -> None:
        """Take rows."""
        self.seen += zip(time_ms.tolist(), *(columns[name].tolist() for name in sorted(columns)), strict=True)

    def end(self) -> None:
        """Nothing to do."""


def test_a_quality_channel_of_an_mdf_is_refused_with_a_way_out(recording: Path, tmp_path: Path) -> None:
    """Catches marks of quality passed by in silence, and a refusal that leaves no way."""
    with pytest.raises(Refusal, match=r"own marks of invalid readings are taken.*exported as CSV or Parquet"):
        bring_in(tmp_path, recording.read_bytes(), MDF_PROFILE + '\n[quality]\ncolumn = "q"\ngood = ["Good"]\n')


def test_an_mdf_channel_that_stands_in_two_groups_needs_its_group(recording: Path, tmp_path: Path) -> None:
    """Catches the first of two channels of one name taken in silence."""
    with asammdf.MDF(recording) as mdf:
        mdf.append([asammdf.Signal(np.ones(3), np.arange(3.0), unit="bar", name="oil")])
        mdf.save(tmp_path / "two.mf4")
    data = (tmp_path / "two.mf4").read_bytes()

    with pytest.raises(Refusal, match="'oil' appears in several groups; accepted: group = 0 or 3"):
        bring_in(tmp_path, data, MDF_PROFILE)
    grouped = MDF_PROFILE.replace('column = "oil"', 'column = "oil"\ngroup = 0')
    assert bring_in(tmp_path, data, grouped)[0].counts.kept == 98


def test_without_the_extra_the_message_names_it(
    recording: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches an ImportError as a traceback."""
    monkeypatch.setitem(__import__("sys").modules, "asammdf", None)
    with pytest.raises(Refusal, match=r"pip install 'asammdf"):
        bring_in(tmp_path, recording.read_bytes(), MDF_PROFILE)


def test_a_status_of_numbers_of_an_mdf_is_that_of_its_words(recording: Path, tmp_path: Path) -> None:
    """Catches a contact that is recorded as 0 and 1 and read as something else, or not at all."""
    whole = bring_in(tmp_path, recording.read_bytes(), MDF_PROFILE, name="words.mf4")[1][0]
    with asammdf.MDF(version="4.10") as made, asammdf.MDF(recording) as words:
        made.header.start_time = START
        for name in ("oil", "suction"):
            made.append([words.get(name)])
        made.append([asammdf.Signal(np.array([0, 1, 0], dtype="u1"), np.array([0.2, 1.0, 9.0]), name="run")])
        made.save(tmp_path / "numbers.mf4")
    numbers = bring_in(tmp_path, (tmp_path / "numbers.mf4").read_bytes(), MDF_PROFILE, name="numbers.mf4")[1][0]

    assert np.array_equal(numbers.running, whole.running)


def test_a_look_at_an_mdf_shows_the_values_of_each_channel(recording: Path) -> None:
    """Catches a draft that sees names alone, and takes no value for a proof."""
    found = {name: cells for name, _, cells in mdf.first_samples(recording, 3)[1]}

    assert found["oil"] == [3.0, 3.01, 3.02]
    assert len(found["suction"]) == 3
