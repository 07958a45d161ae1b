"""A long trace is left in its file: judged and told as if it had been read, in memory that does not grow with it."""

import dataclasses
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from replay.engine import replay_trace
from replay.engine.baselines import BASELINES
from replay.library import read_library
from replay.score.explaining import explain_trace
from replay.score.scoring import judged, score_library
from replay.settings import read_settings
from replay.trace import LongTrace, open_trace, read_trace
from tests.conftest import entry, trace_csv
from tests.support.memory import peak_of

UPSETS = "ride_through = true\nupsets = [[90.0, 110.0], [300.5, 420.25], [900.0, 1000.0], [1290.0, 1295.0]]"


@pytest.fixture
def troubled(library: Path) -> Path:
    """Return the library with a third trace: spells short of oil, stops, gaps, rests, upsets over all of them."""
    lines = trace_csv(2400, lambda s: 5.0 if 300 < s < 500 or 1200 < s < 1400 else 120.0).splitlines()
    lines[1000:1100] = [line[:-1] + "0" for line in lines[1000:1100]]
    (library / "troubled.csv").write_text("\n".join([*lines[:600], *lines[650:]]) + "\n")
    with (library / "library.toml").open("a") as file:
        file.write(entry("troubled", UPSETS))
    return library


@pytest.fixture
def in_pieces(monkeypatch: pytest.MonkeyPatch, rows: int) -> None:
    """Leave every trace in its file, and take so many rows at a time."""
    monkeypatch.setattr("replay.trace.trace.LONG", 1)
    monkeypatch.setattr("replay.trace.trace.ROWS", rows)


@pytest.mark.usefixtures("in_pieces")
@pytest.mark.parametrize("rows", [61, 1 << 18])
@pytest.mark.parametrize("identity", ["fault", "quiet", "troubled"])
def test_a_long_trace_is_judged_as_the_whole_one(identity: str, troubled: Path) -> None:
    """Catches what a piece forgets of the one before: the step over its edge, a spell, a stop, hours of an upset."""
    found = next(item for item in read_library(troubled).entries if item.id == identity)
    settings = read_settings(troubled / "settings.toml")
    long, whole = open_trace(found.path), read_trace(found.path)
    replays = replay_trace(long, settings), replay_trace(whole, settings)

    assert isinstance(long, LongTrace)
    assert (len(long), long.end_s, long.start_s) == (len(whole), whole.end_s, whole.start_s)
    assert replays[0] == replays[1]
    assert judged(found, long, settings, replays[0]) == judged(found, whole, settings, replays[1])
    for name, baseline in BASELINES.items():
        assert baseline(long, settings) == baseline(whole, settings), name


@pytest.mark.usefixtures("in_pieces")
@pytest.mark.parametrize("rows", [500])
def test_score_and_explain_leave_a_long_trace_in_its_file(library: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a command that reads a year as a whole, and an answer that differs from that on the whole trace."""
    with monkeypatch.context() as usual:
        usual.setattr("replay.trace.trace.LONG", 1 << 30)
        wanted = score_library(library, engine="portable").as_json(), explain_trace(library / "fault.csv").as_json()
    monkeypatch.setattr("replay.trace.trace.read_trace", lambda path: pytest.fail(f"reads the whole of {path}"))

    assert score_library(library, engine="portable").as_json() == wanted[0]
    assert explain_trace(library / "fault.csv").as_json() == wanted[1]


def steady(path: Path, rows: int) -> Path:
    """Write a trace of so many rows of a machine that runs."""
    moment = np.arange(rows)
    suction = 300.0 + moment % 2 * 0.1
    columns = {
        "time_s": moment,
        "oil_pressure_kpa": suction + 120.0,
        "suction_pressure_kpa": suction,
        "running": np.ones(rows, np.int8),
    }
    pq.write_table(pa.table(columns), path, row_group_size=500)
    return path


@pytest.mark.usefixtures("in_pieces")
@pytest.mark.parametrize("rows", [500])
def test_memory_does_not_grow_with_the_length_of_a_trace(library: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches one thing that is kept of every row: by the replay, by a plain logic, by the hours of upsets."""
    monkeypatch.setattr("replay.engine.portable.BLOCK", 500)
    (quiet,) = (item for item in read_library(library).entries if item.id == "quiet")
    settings = read_settings(library / "settings.toml")
    marked = dataclasses.replace(quiet, upsets=((100.0, 200.0), (1000.0, 1100.0)))

    def work(file: Path) -> None:
        trace = open_trace(file)
        judged(marked, trace, settings, replay_trace(trace, settings))
        explain_trace(file, settings).as_json()

    short, long = (steady(library / f"{rows}.parquet", rows) for rows in (2_000, 10_000))
    work(short)  # what is imported and kept once is not counted
    assert peak_of(lambda: work(long)) < 1.3 * peak_of(lambda: work(short))
