"""Triage of a year at 1 Hz beside a plain streaming read of the same columns: python -m tests.benchmarks triage.

The log (Parquet, some 31.5 million rows) is made in a temporary folder: an invented machine that runs twenty minutes
of every half hour and pumps down before each stop, with a spell short of oil in every hundredth run and a sensor that
drops out now and then. Each part runs in a process of its own, so that its peak memory is its own.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

ROWS = int(os.environ.get("TRIAGE_ROWS", "31536000"))
BLOCK = 1 << 20
PERIOD_S, RUN_S, PUMP_DOWN_S = 1800, 1200, 60
SETTINGS = Path(__file__).parent.parent.parent / "fixtures" / "settings.toml"
COLUMNS = ("time_s", "oil_pressure_kpa", "suction_pressure_kpa", "running")


def rows(begin: int, end: int, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Return the columns of rows begin .. end."""
    time_s = np.arange(begin, end)
    cycle, phase = np.divmod(time_s, PERIOD_S)
    running = phase < RUN_S
    suction = 250.0 - 190.0 * np.clip((phase - RUN_S + PUMP_DOWN_S) / PUMP_DOWN_S, 0, 1)
    starved = (cycle % 100 == 7) & (phase > 300) & (phase < 420 + cycle % 7 * 60)
    suction[starved] = 40.0
    suction[starved & (phase >= 415 + cycle % 7 * 60)] = 200.0  # the valve opens five seconds before the oil is back
    net = np.where(running, 300.0 * np.clip(phase / 8, 0, 1), 0.0)
    net[starved] = 20.0
    noise = rng.normal(0.0, 0.4, (2, end - begin))
    oil = np.round(suction + net + noise[0], 1)
    oil[(cycle % 500 == 11) & (phase < 30)] = np.nan
    return {
        "time_s": time_s,
        "oil_pressure_kpa": oil,
        "suction_pressure_kpa": np.round(suction + noise[1], 1),
        "running": running,
    }


def make(file: Path) -> None:
    """Write the log."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    rng = np.random.default_rng(1)
    writer = None
    for begin in range(0, ROWS, BLOCK):
        columns = rows(begin, min(begin + BLOCK, ROWS), rng)
        table = pa.table({name: pa.array(values, from_pandas=True) for name, values in columns.items()})
        writer = writer or pq.ParquetWriter(file, table.schema)
        writer.write_table(table)
    writer.close()


def plain_read(file: Path) -> str:
    """Read the columns as a stream and add them up, so that every value is touched."""
    import pyarrow.compute as pc
    import pyarrow.parquet as pq

    total = 0.0
    for batch in pq.ParquetFile(file).iter_batches(batch_size=1 << 18, columns=list(COLUMNS)):
        total += sum(pc.sum(column).as_py() or 0 for column in batch.columns)
    return f"sum {total:.6g}"


def triaged(file: Path) -> str:
    """Triage the log."""
    from replay.settings import read_settings
    from replay.triage.logs import Part
    from replay.triage.run import examine_all

    (found,) = examine_all({"year": (Part(file),)}, read_settings(SETTINGS))
    told = f"{found.rows} rows, {found.run_ms / 3.6e6:.0f} run hours, {sum(found.events.values())} events"
    return f"{told}, {found.past_stop} past a stop, {found.reloads} reloads"


def part(name: str, file: Path) -> None:
    """Run one part in this process; print wall and CPU seconds, peak memory in MiB and what came out."""
    begin, cpu = time.perf_counter(), time.process_time()
    told = {"plain read": plain_read, "triage": triaged}[name](file)
    wall, cpu = time.perf_counter() - begin, time.process_time() - cpu
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{wall:.3f}\t{cpu:.3f}\t{peak:.0f}\t{told}")


def apart(name: str, file: Path) -> tuple[float, float, float, str]:
    """Run one part in a process of its own."""
    code = f"from pathlib import Path; from tests.benchmarks.triage import part; part({name!r}, Path({str(file)!r}))"
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    wall, cpu, peak, told = done.stdout.strip().split("\t")
    return float(wall), float(cpu), float(peak), told


def main() -> None:
    """Print seconds, rows a second, peak memory and the ratio; other load hardly counts in CPU seconds."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "year.parquet"
        make(file)
        print(f"{ROWS} rows at 1 Hz, Parquet, {file.stat().st_size / 1e6:.0f} MB; second of two runs each")
        times = {}
        for name in ("plain read", "triage"):
            apart(name, file)
            wall, times[name], peak, told = apart(name, file)
            speed = f"{wall:8.2f} s, CPU {times[name]:7.2f} s{ROWS / times[name] / 1e6:7.2f} M rows/s"
            print(f"{name:12}{speed}{times[name] / times['plain read']:6.1f} x plain read, peak {peak:.0f} MiB; {told}")
