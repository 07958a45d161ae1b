"""How long short commands take in all, each in a process of its own: python -m tests.benchmarks start.

Beside them Python with nothing to do. The best of five, by the clock and in CPU seconds, user and system together: beside
other work on the machine only these say much. `score` is that of a library of twelve traces of 300 rows.
"""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks.cluster import make
from tests.benchmarks.triage import SETTINGS

TIMES = 5
COMMAND = [sys.executable, "-c", "from replay.cli import main; main()"]


def cpu_s() -> float:
    """Return the CPU seconds of all that was started and has ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def best(command: list[str]) -> tuple[float, float]:
    """Return the least seconds of a command, and the least CPU seconds."""
    taken = []
    for _ in range(TIMES):
        begin, before = time.perf_counter(), cpu_s()
        subprocess.run(command, check=True, capture_output=True)
        taken.append((time.perf_counter() - begin, cpu_s() - before))
    clock, cpu = zip(*taken, strict=True)
    return min(clock), min(cpu)


def main() -> None:
    """Print the seconds of each command."""
    with tempfile.TemporaryDirectory() as folder:
        score = Path(folder) / "score.json"
        subprocess.run([*COMMAND, "score", str(SETTINGS.parent), "--json", str(score)], check=True, capture_output=True)
        commands = {
            "nothing": [sys.executable, "-c", ""],
            "--help": [*COMMAND, "--help"],
            "floor": [*COMMAND, "floor", "--outer-radius", "55 mm", "--speed", "1450 rpm"],
            "guarantee": [*COMMAND, "guarantee", str(SETTINGS)],
            "compare": [*COMMAND, "compare", str(score), str(score)],
            "score": [*COMMAND, "score", str(make(Path(folder) / "few", 12))],
            "vectors": [*COMMAND, "vectors", str(Path(folder) / "vectors")],
        }
        for name, command in commands.items():
            clock, cpu = best(command)
            print(f"{name:10} {clock:6.3f} s, CPU {cpu:6.3f} s")
