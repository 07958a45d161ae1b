"""`lubetrip show` of a year at 1 Hz beside a plain streaming read of the same columns: python -m tests.benchmarks show.

The log is the year of the benchmark `triage`, as Parquet and as CSV. Each part runs in a process of its own, imports and
the writing of the picture counted, and peak memory its own; the second of two runs, so that machine code is on disk.
Each form of picture is made, and `explain`, which tells the same decisions in words. TRIAGE_ROWS sets the rows.
"""

import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from tests.benchmarks.triage import ROWS, SETTINGS, make

LOOK_S = 0.01
READ = """
import sys
from pathlib import Path
from tests.benchmarks.triage import plain_read
import pyarrow.csv as pc, pyarrow.compute as c
file = Path(sys.argv[1])
if file.suffix == ".csv":
    print(sum(c.sum(column).as_py() or 0 for batch in pc.open_csv(file) for column in batch.columns))
else:
    print(plain_read(file))
"""


def taken(*command: str) -> tuple[float, float, float]:
    """Return wall and CPU seconds and the peak memory (MiB) of a command, the second time it is run."""
    used(command)
    return used(command)


def used(command: Sequence[str]) -> tuple[float, float, float]:
    """Return wall and CPU seconds and the peak memory (MiB) of a command."""
    begin = time.perf_counter()
    running = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    done, peak = 0, 0.0
    while not done:
        peak = max(peak, peak_of(running.pid))
        time.sleep(LOOK_S)
        done, status, usage = os.wait4(running.pid, os.WNOHANG)
    wall, running.returncode = time.perf_counter() - begin, status
    if status:
        raise subprocess.CalledProcessError(status, command)
    return wall, usage.ru_utime + usage.ru_stime, peak


def peak_of(pid: int) -> float:
    """Return the peak memory (MiB) of a process so far; the usage told at its end counts what started it as well."""
    text = Path(f"/proc/{pid}/status").read_text()
    found = re.search(r"^VmHWM:\s+(\d+) kB", text, re.MULTILINE)
    return int(found[1]) / 1024 if found else 0.0  # none in the moment of its end


def main() -> None:
    """Print seconds, memory and the ratio to the plain read."""
    with tempfile.TemporaryDirectory() as folder:
        parquet, text = Path(folder) / "year.parquet", Path(folder) / "year.csv"
        make(parquet)
        as_csv(parquet, text)
        for file in (parquet, text):
            print(
                f"{ROWS} rows at 1 Hz, {file.suffix[1:]}, {file.stat().st_size / 1e6:.0f} MB; second of two runs each"
            )
            commands = {"plain read": [sys.executable, "-c", READ, str(file)]}
            for form in ("png", "svg", "pdf"):
                commands[f"show .{form}"] = lubetrip("show", file, "-o", Path(folder) / f"year.{form}")
            commands["explain"] = lubetrip("explain", file)
            plain = 0.0
            for name, command in commands.items():
                wall, cpu, peak = taken(*command)
                plain = plain or cpu
                ratio = cpu / plain
                print(f"  {name:10} {wall:7.2f} s, CPU {cpu:7.2f} s, {ratio:5.1f} x plain read, peak {peak:5.0f} MiB")


def lubetrip(command: str, file: Path, *rest: object) -> list[str]:
    """Return a command of the project as a process of its own."""
    return [
        sys.executable,
        "-c",
        "from replay.cli import main; main()",
        command,
        *map(str, (file, *rest)),
        "--settings",
        str(SETTINGS),
    ]


def as_csv(parquet: Path, text: Path) -> None:
    """Write the same rows as CSV."""
    import pyarrow as pa
    import pyarrow.csv as pa_csv
    import pyarrow.parquet as pq

    file = pq.ParquetFile(parquet)
    schema = pa.schema([(name, pa.int8() if name == "running" else pa.float64()) for name in file.schema_arrow.names])
    with pa_csv.CSVWriter(text, schema) as writer:
        for batch in file.iter_batches(1 << 20):
            writer.write_batch(batch.cast(schema))
