"""A score of many short traces in one process, and on a Dask cluster of two workers here: python -m tests.benchmarks cluster.

CLUSTER_TRACES sets how many (10,000). Workers, scheduler and client share the cores of this machine: on a quiet one with
two cores two workers can at best halve the time. Beside other work the ratio of the clock says little; that of CPU
seconds holds better: those of one process, over those of the busiest worker and after it of client and scheduler.
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


def make(folder: Path, traces: int) -> Path:
    """Write a library of short traces, one in ten a fault."""
    folder.mkdir()
    (folder / "settings.toml").write_text(SETTINGS)
    text = ['settings = "settings.toml"\n']
    for number in range(traces):
        bad = number % 10 == 0
        (folder / f"t{number}.csv").write_text(noisy(number, SECONDS, faulty if bad else healthy))
        text.append(entry(f"t{number}", FAULT if bad else RIDE))
    (folder / "library.toml").write_text("".join(text))
    return folder


def cpu_s() -> dict[int, float]:
    """Return the CPU seconds of this process and of each below it, by number."""
    here = psutil.Process()
    times = {one.pid: one.cpu_times() for one in (here, *here.children(recursive=True))}
    return {number: one.user + one.system for number, one in times.items()}


def spent(work: Callable[[], object]) -> tuple[float, float, float]:
    """Return wall seconds of some work, CPU seconds of this process, and of the busiest one below it."""
    begin, before = time.perf_counter(), cpu_s()
    work()
    took = time.perf_counter() - begin
    cpu = {number: seconds - before.get(number, 0.0) for number, seconds in cpu_s().items()}
    return took, cpu.pop(os.getpid()), max(cpu.values(), default=0.0)


def main() -> None:
    """Print seconds of both, and how many times sooner two workers are done."""
    from distributed import LocalCluster

    with tempfile.TemporaryDirectory() as name:
        few, library = make(Path(name) / "few", 20), make(Path(name) / "library", TRACES)
        begin = os.getloadavg()[0]
        score_library(few)  # machine code
        alone, cpu, _ = spent(lambda: score_library(library))
        quiet = {"dashboard_address": "127.0.0.1:0", "silence_logs": logging.CRITICAL}
        with LocalCluster(n_workers=2, threads_per_worker=1, **quiet) as cluster:
            address = cluster.scheduler_address
            score_library(few, cluster=address)
            there, here, busiest = spent(lambda: score_library(library, cluster=address))
    print(f"{TRACES} traces of {SECONDS} s; load {begin:.1f} before, {os.getloadavg()[0]:.1f} after")
    print(f"one process {alone:7.1f} s, CPU {cpu:6.1f} s")
    print(f"two workers {there:7.1f} s, CPU {busiest:6.1f} s the busiest and {here:.1f} s client and scheduler")
    print(f"as fast     {alone / there:7.2f} times, by CPU {cpu / (busiest + here):.2f} times")
