"""A score of many short traces in one process, and on a Dask cluster of two workers here: python -m tests.benchmarks cluster.

CLUSTER_TRACES sets how many (10,000). Store, workers and scheduler share the cores of this machine: on a quiet one with
two cores two workers can at best halve the time; beside other work both figures grow, and their ratio says little.
"""

import logging
import os
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import psutil

from replay.score import score_library
from tests.conftest import SETTINGS, entry
from tests.support.fooling import FAULT, RIDE, faulty, healthy, noisy

TRACES = int(os.environ.get("CLUSTER_TRACES", "10000"))
SECONDS = 300


def make(folder: Path) -> Path:
    """Write a library of short traces, one in ten a fault."""
    (folder / "settings.toml").write_text(SETTINGS)
    text = ['settings = "settings.toml"\n']
    for number in range(TRACES):
        bad = number % 10 == 0
        (folder / f"t{number}.csv").write_text(noisy(number, SECONDS, faulty if bad else healthy))
        text.append(entry(f"t{number}", FAULT if bad else RIDE))
    (folder / "library.toml").write_text("".join(text))
    return folder


def cpu_s() -> float:
    """Return the CPU seconds of this process and of all below it."""
    here = psutil.Process()
    times = [one.cpu_times() for one in (here, *here.children(recursive=True))]
    return sum(one.user + one.system for one in times)


def spent(work: Callable[[], object]) -> tuple[float, float]:
    """Return wall and CPU seconds of some work."""
    begin, before = time.perf_counter(), cpu_s()
    work()
    return time.perf_counter() - begin, cpu_s() - before


def main() -> None:
    """Print seconds of both, and how many times sooner two workers are done."""
    from distributed import LocalCluster

    with tempfile.TemporaryDirectory() as name:
        library = make(Path(name))
        begin = os.getloadavg()[0]
        score_library(library)  # machine code and the disk's memory
        alone, alone_cpu = spent(lambda: score_library(library))
        quiet = {"dashboard_address": "127.0.0.1:0", "silence_logs": logging.CRITICAL}
        with LocalCluster(n_workers=2, threads_per_worker=1, **quiet) as cluster:
            address = cluster.scheduler_address
            score_library(library, cluster=address)
            there, there_cpu = spent(lambda: score_library(library, cluster=address))
    print(f"{TRACES} traces of {SECONDS} s; load {begin:.1f} before, {os.getloadavg()[0]:.1f} after")
    print(f"one process {alone:7.1f} s, CPU {alone_cpu:7.1f} s")
    print(f"two workers {there:7.1f} s, CPU {there_cpu:7.1f} s: {alone / there:.2f} times as fast")
