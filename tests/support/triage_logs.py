"""Logs made by hand for the tests of triage, and what triage finds in them."""

import dataclasses
import itertools
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from replay.settings import Settings
from replay.trace import Trace
from replay.triage.run import Findings, Log

NO_READING = -1000000000
ARRAYS = ("time_ms", "oil_pa", "suction_pa", "crankcase_pa", "running", "reset")


def made(
    seconds: int,
    net_kpa: Callable[[int], float],
    suction_kpa: Callable[[int], float] = lambda s: 300.0,
    running: Callable[[int], int] = lambda s: 1,
) -> Trace:
    """Return a 1 Hz log from 0 to `seconds`; a ripple of 1 Pa keeps the sensors from looking stuck."""
    time = range(seconds + 1)
    suction = np.array([round(1000 * suction_kpa(s)) + s % 2 for s in time], np.int64)
    oil = suction + np.array([round(1000 * net_kpa(s)) for s in time], np.int64)
    flags = np.array([running(s) for s in time], np.uint8)
    return Trace("made", 0.0, np.arange(seconds + 1) * 1000, oil, suction, suction, flags, flags * 0)


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
    log = Log(findings, settings, trace.start_s, fast=fast)
    log.open_file(Path("made.csv"), trace.start_s)
    for piece in pieces(trace, cuts):
        log.take(piece)
    log.finish()
    return findings


def outcome(findings: Findings) -> dict:
    """Return everything that two findings have to agree in."""
    told = {field.name: getattr(findings, field.name) for field in dataclasses.fields(findings)}
    del told["engine"]  # who found it
    return {**told, "gravest": findings.gravest.all()}
