"""Import of a plain CSV beside pyarrow's own read of the same file: python -m tests.benchmarks imports.

The import does more than read: SHA-256, Pa, order, gaps, ranges, doubts, and the trace written as Parquet. So it
stands beside pyarrow that reads the file and writes the table as Parquet, too, with nothing done in between.
The sides take turns in processes of their own, so that peak memory is that side's. LUBETRIP_ROWS sets the rows.
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROWS = int(os.environ.get("LUBETRIP_ROWS", "2000000"))
TIMES, ROUNDS = 3, 2
PROFILE = """
[time]
column = "time"
max_gap = "5 s"
[site]
altitude = "40 m"
[oil_pressure]
column = "oil (barg)"
[suction_pressure]
column = "suction (barg)"
[oil_temperature]
column = "oil (degC)"
[running]
column = "run"
"""
READ = """
import pyarrow.csv
pyarrow.csv.read_csv({source!r})
"""
KEEP = """
import pyarrow.csv, pyarrow.parquet
table = pyarrow.csv.read_csv({source!r})
pyarrow.parquet.write_table(table, {target!r} + "/kept.parquet")
"""
IMPORT = """
import os
from pathlib import Path
from tests.support.measured import import_file
import_file(Path({source!r}), Path({target!r}) / str((os.getpid(), turn)), Path({profile!r}))
"""
MEASURE = """
import resource, time
work = compile({code!r}, "work", "exec")
import pyarrow.csv, pyarrow.parquet, replay.measured.importing, replay.measured.text, pint
spent, cpu = [], []
for turn in range({times}):
    begin, used = time.perf_counter(), time.process_time()
    exec(work, {{"turn": turn}})
    spent.append(time.perf_counter() - begin)
    cpu.append(time.process_time() - used)
print(min(spent), min(cpu), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def write_source(path: Path, rows: int, iso: bool) -> None:
    """Write a logger's file of a running machine at 1 Hz."""
    import numpy as np
    import pyarrow as pa
    import pyarrow.csv as pa_csv

    draw = np.random.default_rng(1)
    seconds = np.arange(rows)
    stamps = pa.array((seconds + 1767225600).astype("datetime64[s]"))
    table = pa.table(
        {
            "time": stamps if iso else pa.array((seconds + 1767225600).astype(np.int64)),
            "oil (barg)": np.round(4.4 + draw.normal(0, 0.05, rows), 3),
            "suction (barg)": np.round(2.0 + draw.normal(0, 0.02, rows), 3),
            "oil (degC)": np.round(50 + draw.normal(0, 1, rows), 1),
            "run": np.ones(rows, dtype=np.int64),
        }
    )
    pa_csv.write_csv(table, path)


def measured(code: str) -> tuple[float, float, float]:
    """Return the best time (s), CPU time (s) and the peak memory (MiB) of some code in a process of its own."""
    script = MEASURE.format(code=code, times=TIMES)
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    seconds, cpu, peak = done.stdout.split()
    return float(seconds), float(cpu), float(peak)


def main() -> None:
    """Print times, rows a second, peak memory and the ratio."""
    for iso in (False, True):
        with tempfile.TemporaryDirectory() as folder:
            source, profile = Path(folder) / "log.csv", Path(folder) / "profile.toml"
            profile.write_text(PROFILE, encoding="utf-8")
            write_source(source, ROWS, iso)
            names = {"source": str(source), "target": folder, "profile": str(profile)}
            sides = [code.format(**names) for code in (READ, KEEP, IMPORT)]
            rounds = [[measured(code) for code in sides] for _ in range(ROUNDS)]
            read, kept, imported = (tuple(map(min, zip(*side, strict=True))) for side in zip(*rounds, strict=True))
            size = source.stat().st_size / 1e6
        print(f"{ROWS} rows, {size:.0f} MB, time as {'ISO 8601' if iso else 'epoch'}, best of {TIMES * ROUNDS}")
        for name, (seconds, cpu, peak) in (("pyarrow read", read), ("and write", kept), ("import", imported)):
            speed = f"{ROWS / seconds / 1e6:7.2f} M rows/s"
            print(f"  {name:14} {seconds:7.3f} s {speed} {cpu:7.3f} s CPU {peak:7.0f} MiB peak")
        for name, peer in (("the read", read), ("read and write", kept)):
            print(f"  ratio to {name} {imported[0] / peer[0]:.2f}, of CPU time {imported[1] / peer[1]:.2f}")
