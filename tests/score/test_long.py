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
from replay.score.windows import Felt, recorded_in, run_ms_in
from replay.settings import read_settings
from replay.trace import LongTrace, Trace, open_trace, read_trace
from tests.conftest import entry, trace_csv
from tests.support.fooling import FAULT, RIDE, faulty, healthy, made, noisy
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


@pytest.mark.slow("writes and reads long logs")
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


def held(rows: str, hold_s: int) -> str:
    """Return a trace whose readings stand still from 600 s to 1500 s, written at least once in so many seconds."""
    lines = rows.splitlines()
    still = lines[601].partition(",")[2]
    lines[602:1501] = [f"{line.partition(',')[0]},{still}" for line in lines[602:1501]]
    return "\n".join([f"{lines[0]},longest_hold_s", *(f"{line},{hold_s}" for line in lines[1:])]) + "\n"


@pytest.fixture
def twice(tmp_path: Path) -> Path:
    """Return a library of a fault and its twin, two recordings that overlap, with stops and a rest in both, and one held."""

    def recorded(seconds: int, from_s: int = 0) -> str:
        rows = noisy(7, seconds, lambda s: 5.0 if 800 <= s < 870 or 1900 <= s < 1970 else 120.0, from_s=from_s)
        lines = rows.splitlines()
        rest = slice(1 + 1000 - from_s, 1 + 1100 - from_s)
        lines[rest] = [line[:-1] + "0" for line in lines[rest]]
        return "\n".join(lines) + "\n"

    fault, quiet = noisy(1, 400, faulty), held(noisy(2, 1800, healthy), 1200)
    traces = {"fault": (fault, FAULT), "twin": (fault, FAULT), "quiet": (quiet, RIDE), "again": (quiet, RIDE)}
    traces["first"] = (recorded(1500), f"{RIDE}\nupsets = [[790.0, 880.0], [1300.5, 1320.25]]")
    upsets = "[[190.0, 280.0], [700.0, 720.0], [960.5, 980.0], [1290.0, 1380.0], [1500.0, 1600.0]]"
    traces["second"] = (recorded(2400, 600), f"{RIDE}\nupsets = {upsets}")
    return made(tmp_path, traces)


@pytest.mark.slow("writes and reads long logs")
def test_long_traces_that_tell_a_moment_twice_are_scored_as_the_whole_ones(
    twice: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches hours, stops, upsets of a stretch told twice that a piece counts again, and a hold that pieces forget."""
    whole = score_library(twice, engine="portable")
    monkeypatch.setattr("replay.trace.trace.read_trace", lambda path: pytest.fail(f"reads the whole of {path}"))
    monkeypatch.setattr("replay.trace.trace.LONG", 1)
    for rows in (61, 300, 1 << 18):
        monkeypatch.setattr("replay.trace.trace.ROWS", rows)
        long = score_library(twice, engine="portable")
        assert long.as_json() == whole.as_json(), rows

    found = {verdict.id: verdict for verdict in long.verdicts}
    assert [name for name, verdict in found.items() if verdict.outcome == "counted already"] == ["twin", "again"]
    assert (found["first"].nuisance_trips, found["second"].nuisance_trips, found["second"].trips) == (2, 1, 3)
    upsets = found["second"].upsets
    assert upsets is not None
    assert (upsets.rode_through, upsets.stopped, upsets.stood, upsets.stops_outside) == (2, 1, 0, 0)
    assert found["second"].run_hours < (1800 - 800) / 3600
    assert (found["quiet"].outcome, found["quiet"].trips) == ("rode_through", 0)  # stuck beyond 10 min without a hold


@pytest.mark.slow("writes and reads long logs")
@pytest.mark.usefixtures("in_pieces")
@pytest.mark.parametrize("rows", [2, 7, 100])
@pytest.mark.parametrize("name", ["quiet", "second"])
def test_stretches_of_a_long_trace_are_those_of_the_whole_one(name: str, twice: Path) -> None:
    """Catches a stretch that loses the step over the edge of a piece, or has it in both, and a row that stood over it."""
    long, whole = open_trace(twice / f"{name}.csv"), read_trace(twice / f"{name}.csv")
    spans = [
        (-5.0, -1.0),
        (-0.5, 0.5),
        (1.0, 1.0),
        (6.0, 7.0),
        (97.5, 202.25),
        (300.0, 300.5),
        (390.0, 1e4),
        (2e4, 3e4),
    ]
    stops = [Felt(50.0, 60.0), Felt(100.0, 110.0), Felt(199.0, 1000.0), Felt(1400.5, float("inf"))]

    assert isinstance(long, LongTrace)
    assert {long.hold_ms, *(piece.hold_ms for piece in long.pieces())} == {whole.hold_ms}
    assert whole.hold_ms == {"quiet": 1_200_000, "second": 0}[name]
    assert recorded_in(spans, long) == recorded_in(spans, whole)
    assert run_ms_in(spans, long, stops) == run_ms_in(spans, whole, stops) == by_hand(spans, whole, stops)


def by_hand(spans: list[tuple[float, float]], trace: Trace, stops: list[Felt]) -> float:
    """Return the ms that the machine ran in stretches, row by row."""
    seconds, run_s = trace.time_ms / 1000.0, 0.0
    for row in range(1, len(trace)):
        if trace.running[row] and not any(stop.at_s < seconds[row] <= stop.until_s for stop in stops):
            run_s += sum(max(0.0, min(seconds[row], end) - max(seconds[row - 1], begin)) for begin, end in spans)
    return 1000.0 * run_s


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


@pytest.mark.slow("writes and reads long logs")
@pytest.mark.usefixtures("in_pieces")
@pytest.mark.parametrize("rows", [500])
def test_memory_does_not_grow_with_the_length_of_a_trace(library: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches one thing that is kept of every row: by the replay, by a plain law, by the hours of upsets."""
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
