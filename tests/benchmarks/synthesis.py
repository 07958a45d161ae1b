"""One long trace by `lubetrip synth`: python -m tests.benchmarks synthesis.

Pump-down and stop, in Parquet, of 100, 1,000 and 8,760 hours (SYNTH_HOURS: the longest), each in a process of its own:
CPU seconds and peak memory, the second of two runs of the shortest, so that machine code is on disk.
"""

import os
import sys
import tempfile
from pathlib import Path

from tests.benchmarks.show import used
from tests.benchmarks.start import COMMAND

HOURS = (100.0, 1000.0, float(os.environ.get("SYNTH_HOURS", "8760")))


def main() -> None:
    """Print seconds, memory and hours of operation a second."""
    with tempfile.TemporaryDirectory() as folder:
        for number, hours in enumerate((HOURS[0], *HOURS)):
            out = Path(folder) / str(number)
            recipe = ["--families", "pump-down-and-stop", "--count", "1", "--seed", "1", "--format", "parquet"]
            wall, cpu, peak = used([*COMMAND, "synth", str(out), *recipe, "--hours", str(hours)])
            if number:
                size = sum(file.stat().st_size for file in out.rglob("*.parquet")) / 1e6
                speed = f"{hours / cpu:6.1f} h of operation a CPU second"
                print(f"{hours:6.0f} h {wall:8.1f} s, CPU {cpu:7.1f} s, {speed}, peak {peak:5.0f} MiB, {size:.0f} MB")
                sys.stdout.flush()
