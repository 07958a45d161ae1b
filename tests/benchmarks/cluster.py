"""A score of many short traces in one process, by --jobs 2, and on a Dask cluster of two workers: python -m tests.benchmarks cluster.

CLUSTER_TRACES sets how many (10,000). Workers, scheduler and client share the cores of this machine: on a quiet one with
two cores two workers can at best halve the time. All of them are up and have scored before, as the workers of a user's
cluster have; processes of --jobs are otherwise started with each command. Beside other work the ratio of the clock says little; that of CPU seconds
holds better: those of one process, over those of the busiest worker with all of client and scheduler after it (the least
of it), and with all of them beside it (the most). Workers start as `lubetrip help tuning` says, with less of the watch that
Dask keeps over itself.
"""

import logging
import os
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import psutil

from replay.engine import engine_for
from replay.engine.workers import Each, workers
from replay.library import read_library
from replay.score import Score, score, score_library
from replay.settings import read_settings
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


def score_by(each: Each, folder: Path) -> Score:
    """Score a library by workers that are up."""
    library = read_library(folder)
    engine = engine_for(entry.path for entry in library.entries)
    return score(library, read_settings(folder / "settings.toml"), engine=engine, each=each)


def told(what: str, times: tuple[float, float, float], alone: tuple[float, float, float]) -> str:
    """Return a line on some work, beside that of one process."""
    took, here, busiest = times
    line = f"{what:12}{took:7.1f} s, CPU {here:6.1f} s here"
    if times is not alone:
        least, most = alone[1] / (busiest + here), alone[1] / max(busiest, here)
        line += f", {busiest:6.1f} s the busiest worker: {alone[0] / took:.2f} times as fast"
        line += f", by CPU {least:.2f} to {most:.2f}"
    return line


def main() -> None:
    """Print seconds of all three, and how many times sooner two workers are done."""
    import dask
    from distributed import LocalCluster

    dask.config.set({"distributed.worker.profile.enabled": False, "distributed.admin.tick.interval": "1s"})

    with tempfile.TemporaryDirectory() as name:
        few, library = make(Path(name) / "few", 20), make(Path(name) / "library", TRACES)
        begin = os.getloadavg()[0]
        score_library(few)  # machine code
        alone = spent(lambda: score_library(library))
        with workers(2) as each:
            score_by(each, few)
            jobs = spent(lambda: score_by(each, library))
        quiet = {"dashboard_address": "127.0.0.1:0", "silence_logs": logging.CRITICAL}
        with LocalCluster(n_workers=2, threads_per_worker=1, **quiet) as cluster:
            address = cluster.scheduler_address
            score_library(few, cluster=address)
            there = spent(lambda: score_library(library, cluster=address))
    print(f"{TRACES} traces of {SECONDS} s; load {begin:.1f} before, {os.getloadavg()[0]:.1f} after")
    print(told("one process", alone, alone))
    print(told("--jobs 2", jobs, alone))
    print(told("two workers", there, alone))
