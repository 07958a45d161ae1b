"""A log of any length is triaged in bounded memory."""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from replay.settings import read_settings
from replay.triage.logs import Part
from replay.triage.run import examine
from tests.support.memory import peak_of


def log(path: Path, rows: int) -> Path:
    """Write a log of so many rows: runs of ten minutes with a start of four seconds, rests of five, starved spells."""
    second = np.arange(rows)
    phase = second % 900
    running = phase < 600
    suction = 300.0 + second % 2 * 0.1
    net = np.where(running, np.minimum(phase * 30.0, 120.0), 0.0)
    net[(phase > 300) & (phase < 380)] = 10.0
    columns = {"time_s": second, "oil_pressure_kpa": suction + net, "suction_pressure_kpa": suction, "running": running}
    pq.write_table(pa.table(columns), path, row_group_size=500)
    return path


@pytest.mark.slow("writes and reads long logs")
def test_memory_does_not_grow_with_the_length_of_a_log(
    settings_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches rows, or anything that is kept of each of them, from block to block of a log."""
    monkeypatch.setattr("replay.triage.run.ROWS", 500)
    settings = read_settings(settings_file)

    def peak(rows: int) -> int:
        part = Part(log(tmp_path / f"{rows}.parquet", rows))
        return peak_of(lambda: examine(settings, ("m", [part]), fast=False))

    peak(1_000)  # what is imported and kept once is not counted
    assert peak(8_000) < 1.3 * peak(2_000)
