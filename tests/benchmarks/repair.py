"""Import under --repair of a log whose every time stands twice, beside a clean log and the same done by pandas: python -m tests.benchmarks repair.

pandas reads the file, keeps each row whose time is later than all before it, and writes Parquet; the import checks,
converts, hashes and reports as well. Linear work costs the same per row in every line. LUBETRIP_ROWS sets the most rows.
"""

import os
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from replay.measured.importing import import_logs
from tests.benchmarks.imports import PROFILE

MOST_ROWS = int(os.environ.get("LUBETRIP_ROWS", "1728000"))
STEPS = (16_000, 86_400, 432_000, 1_728_000)
TIMES = 3
TIMES_IN_LOG = {"sound": 1, "repeated": 2}


def write_source(path: Path, rows: int, times: int) -> None:
    """Write a log at 1 Hz in which each time stands so many times."""
    draw = np.random.default_rng(1)
    seconds = np.arange(rows) // times + 1767225600
    frame = pd.DataFrame(
        {
            "time": seconds,
            "oil (barg)": np.round(4.4 + draw.normal(0, 0.05, rows), 3),
            "suction (barg)": np.round(2.0 + draw.normal(0, 0.02, rows), 3),
            "oil (degC)": np.round(50 + draw.normal(0, 1, rows), 1),
            "run": 1,
        }
    )
    frame.to_csv(path, index=False)


def by_pandas(source: Path, folder: Path) -> int:
    """Keep the rows whose time is later than all before them; return how many were left out."""
    frame = pd.read_csv(source)
    kept = frame[frame["time"] > frame["time"].cummax().shift(fill_value=-1)]
    kept.to_parquet(folder / "kept.parquet")
    return len(frame) - len(kept)


def by_import(source: Path, folder: Path) -> int:
    """Import the file under --repair; return how many rows were left out."""
    (report,) = import_logs([source], folder / "library", folder / "profile.toml", repair=True).reports
    return sum(mend.rows for mend in report.counts.mends.values())


def best(work: Callable[[Path, Path], int], source: Path) -> tuple[float, int]:
    """Return the shortest of some runs in s, each into a folder of its own, and the rows left out."""
    spent, left_out = [], 0
    for _ in range(TIMES):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            (folder / "profile.toml").write_text(PROFILE, encoding="utf-8")
            begin = time.perf_counter()
            left_out = work(source, folder)
            spent.append(time.perf_counter() - begin)
    return min(spent), left_out


def main() -> None:
    """Print the cost per row at growing sizes, and the ratios."""
    print(f"{'rows':>9} {'log':9} {'left out':>8} {'import':>9} {'us a row':>9} {'pandas':>9} {'import by pandas':>17}")
    for rows in (step for step in STEPS if step <= MOST_ROWS):
        for kind, times in TIMES_IN_LOG.items():
            with tempfile.TemporaryDirectory() as folder:
                source = Path(folder) / "log.csv"
                write_source(source, rows, times)
                (ours, left_out), (theirs, same) = best(by_import, source), best(by_pandas, source)
            assert left_out == same
            cost = f"{ours:7.3f} s {1e6 * ours / rows:9.3f} {theirs:7.3f} s {ours / theirs:17.2f}"
            print(f"{rows:9} {kind:9} {left_out:8} {cost}")
