"""How long short commands take in all, each in a process of its own: python -m tests.benchmarks start.

Beside them Python with nothing to do. The best of five: other load on the machine hardly counts.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks.triage import SETTINGS

TIMES = 5
COMMAND = [sys.executable, "-c", "from replay.cli import main; main()"]


def best(command: list[str]) -> float:
    """Return the least seconds of a command."""
    taken = []
    for _ in range(TIMES):
        begin = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        taken.append(time.perf_counter() - begin)
    return min(taken)


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
            "vectors": [*COMMAND, "vectors", str(Path(folder) / "vectors")],
        }
        for name, command in commands.items():
            print(f"{name:10} {best(command):6.3f} s")
