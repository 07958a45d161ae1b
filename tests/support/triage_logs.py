"""Logs made by hand for the tests of triage, and what triage finds in them."""

import dataclasses
import itertools
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pyarrow.csv as pa_csv
import pyarrow.parquet as pq

from protect import ranges
from replay.settings import Settings
from replay.trace import Trace
from replay.triage.clock import Clock
from replay.triage.doubts import doubts_about
from replay.triage.findings import Findings
from replay.triage.logs import Part, Placed
from replay.triage.run import Log

NO_READING = -1000000000
ARRAYS = ("time_ms", "oil_pa", "suction_pa", "crankcase_pa", "running", "reset")


def made(
    seconds: int,
    net_kpa: Callable[[int], float],
    suction_kpa: Callable[[int], float] = lambda s: 300.0,
    running: Callable[[int], int] = lambda s: 1,
    step: int = 1,
) -> Trace:
    """Return a log from 0 to `seconds`, a row each `step` s; a ripple of 1 Pa keeps the sensors from looking stuck."""
    time = range(0, seconds + 1, step)
    suction = np.array([round(1000 * suction_kpa(s)) + s // step % 2 for s in time], np.int64)
    oil = suction + np.array([round(1000 * net_kpa(s)) for s in time], np.int64)
    flags = np.array([running(s) for s in time], np.uint8)
    return Trace("made", 0.0, np.array(time) * 1000, oil, suction, suction, flags, flags * 0)


def write(file: Path, trace: Trace, start_s: float = 0.0) -> Path:
    """Write a log as CSV or Parquet, its own time beginning at start_s."""
    file.parent.mkdir(parents=True, exist_ok=True)
    table = dataclasses.replace(trace, start_s=start_s).to_arrow()
    pq.write_table(table, file) if file.suffix == ".parquet" else pa_csv.write_csv(table, file)
    return file


def with_values(settings: Settings, **named: int) -> Settings:
    """Return settings with some values of `protect` changed."""
    values = list(settings.values)
    for name, value in named.items():
        values[getattr(ranges, name)] = value
    return dataclasses.replace(settings, values=tuple(values))


def pieces(trace: Trace, cuts: Sequence[int] = ()) -> list[Trace]:
    """Return a trace cut before these rows."""
    edges = [0, *sorted({cut for cut in cuts if 0 < cut < len(trace)}), len(trace)]
    return [
        dataclasses.replace(trace, **{name: getattr(trace, name)[begin:end] for name in ARRAYS})
        for begin, end in itertools.pairwise(edges)
    ]


def found(trace: Trace, settings: Settings, cuts: Sequence[int] = (), *, fast: bool = False) -> Findings:
    """Return what triage finds in one log, read in pieces."""
    findings = Findings("m", (Path("made.csv"),))
    placed = Placed(Part(Path("made.csv")), trace.start_s, Clock())
    log = Log(findings, settings, placed, fast=fast)
    log.open_file(placed)
    for piece in pieces(trace, cuts):
        log.take(piece)
    log.finish()
    findings.doubts = doubts_about(findings, settings)
    return findings


def outcome(findings: Findings) -> dict:
    """Return everything that two findings have to agree in."""
    told = {field.name: getattr(findings, field.name) for field in dataclasses.fields(findings)}
    del told["engine"]  # who found it
    return {**told, "gravest": findings.gravest.all()}
