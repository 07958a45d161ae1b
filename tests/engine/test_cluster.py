"""Work on a cluster: the same results whoever works, what a lost worker costs, and what is refused.

The cluster is a real one: a scheduler here and workers in processes of their own.
"""

import functools
import json
import logging
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from distributed import Client, Future, LocalCluster, get_worker

from replay.engine import Engine, Replay, logic_digest, replay_trace
from replay.engine import workers as module
from replay.engine.workers import one_by_one, workers
from replay.ground.refusal import Refusal
from replay.library import read_library
from replay.score import score
from replay.settings import Settings, read_settings
from replay.synth import recipe, synthesise
from replay.trace import Trace
from replay.triage.logs import find_logs
from replay.triage.report import triage
from replay.triage.run import examine_all
from replay.tuning.disturb import SensorError
from replay.tuning.tolerance import monte_carlo
from replay.tuning.tune import tune
from replay.tuning.vary import read_space
from tests.support.command import lubetrip
from tests.support.many import write_many

ROOT = Path(__file__).parents[2]

pytestmark = pytest.mark.slow("starts workers or commands as processes of their own")


@pytest.fixture(scope="module")
def cluster():
    """Start two workers, each a process of its own under a nanny that starts it again."""
    with LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address="127.0.0.1:0", silence_logs=logging.CRITICAL
    ) as started:
        yield started


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a library of ten short traces."""
    return write_many(tmp_path_factory.mktemp("library"))


def report(folder: Path, each, tick=lambda: None, replay=replay_trace) -> str:
    """Score a library and return the whole report."""
    settings = read_settings(folder / "settings.toml")
    return json.dumps(
        score(read_library(folder), settings, tick, Engine("counted", logic_digest(), replay), each=each).as_json()
    )


def test_a_score_is_the_same_whoever_works(cluster: LocalCluster, many: Path) -> None:
    """Catches results in the order in which workers finish, and a figure that depends on where it was worked out."""
    with workers(cluster=cluster.scheduler_address) as each:
        spread = report(many, each)

    assert spread == report(many, one_by_one)


def test_a_library_is_synthesised_the_same_whoever_works(cluster: LocalCluster, tmp_path: Path) -> None:
    """Catches a random stream that belongs to a worker, and traces that land in the worker's own folder."""
    wanted = recipe("pump-drive-broken,normal-start", 4, 5, None, "csv")
    synthesise(tmp_path / "here", wanted)
    synthesise(tmp_path / "there", wanted, cluster=cluster.scheduler_address)
    files = [
        {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
        for folder in (tmp_path / "here", tmp_path / "there")
    ]

    assert len(files[0]) == 5
    assert files[0] == files[1]


def test_triage_tuning_and_tolerances_are_the_same_whoever_works(cluster: LocalCluster, many: Path) -> None:
    """Catches findings, candidates and draws that depend on who looked at which machine or trace."""
    settings = read_settings(many / "settings.toml")
    library = read_library(many)
    found = find_logs([many], by_folder=False)
    space = read_space(many / "settings.toml", ["trip_delay=40s,60s,80s"], open_ranges=False)
    wide = {"oil_pressure": SensorError(offset_pa=60_000.0)}
    with workers(cluster=cluster.scheduler_address) as each:
        spread = (
            triage(examine_all(found.machines, settings, each=each), settings).as_json(),
            tune(library, space, each, lambda: None).lines,
            monte_carlo(library.entries, settings, wide, 1, 10, each, lambda: None),
        )

    assert spread == (
        triage(examine_all(found.machines, settings), settings).as_json(),
        tune(library, space, one_by_one, lambda: None).lines,
        monte_carlo(library.entries, settings, wide, 1, 10, one_by_one, lambda: None),
    )


def noted(folder: Path, trace: Trace, settings: Settings) -> Replay:
    """Note which process takes a trace up, and when; take a while over it, and replay it."""
    (folder / f"{trace.name} {os.getpid()} {time.monotonic_ns()}").touch()
    time.sleep(0.2)
    return replay_trace(trace, settings)


def killing(cluster: LocalCluster, after: int) -> tuple[int, list[int], Callable[[], None]]:
    """Return the number of a worker's process, the ticks that come, and what counts them and kills it after so many."""
    killed: int = cluster.workers[0].process.pid
    ticks: list[int] = []

    def kill() -> None:
        ticks.append(1)
        if len(ticks) == after:
            os.kill(killed, signal.SIGKILL)

    return killed, ticks, kill


def test_a_killed_worker_costs_only_its_share(cluster: LocalCluster, many: Path, tmp_path: Path) -> None:
    """Catches a run that fails or hangs when a machine is lost, a report that lacks or repeats its traces.

    Also work of the others that is done again.
    """
    killed, ticks, kill = killing(cluster, 3)
    with workers(cluster=cluster.scheduler_address) as each:
        spread = report(many, each, kill, functools.partial(noted, tmp_path))
    taken_up: dict[str, list[str]] = {}
    for name, process, _ in sorted((path.name.split() for path in tmp_path.iterdir()), key=lambda run: int(run[2])):
        taken_up.setdefault(name, []).append(process)

    assert spread == report(many, one_by_one)
    assert len(ticks) == 10
    assert str(killed) in {processes[0] for processes in taken_up.values()}
    assert [again for again in taken_up.values() if len(again) > 1 and again[0] != str(killed)] == []


def test_bad_input_is_refused_in_the_same_words_and_not_tried_again(
    cluster: LocalCluster, many: Path, tmp_path: Path
) -> None:
    """Catches a refusal that comes back as a traceback of a worker, and bad input that is tried three times."""
    for name in ("library.toml", "settings.toml", *(f"t{number}.csv" for number in range(10))):
        (tmp_path / name).write_bytes((many / name).read_bytes())
    (tmp_path / "t3.csv").write_text("time_s,oil_pressure_kpa,suction_pressure_kpa,running\n0,1,1,1\n1,x,1,1\n")
    with pytest.raises(Refusal) as here:
        report(tmp_path, one_by_one)
    with workers(cluster=cluster.scheduler_address) as each, pytest.raises(Refusal) as there:
        report(tmp_path, each)

    assert str(there.value) == str(here.value)
    assert "line 3, oil_pressure_kpa" in str(there.value)


def other_code() -> dict[str, str]:
    """Return what no two processes agree on."""
    return {**REAL_CODE, "code": f"of process {os.getpid()}"}


REAL_CODE = module.host_code()


def test_workers_with_another_code_are_refused(cluster: LocalCluster, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a verdict by whatever host side some worker happens to have installed, the logic being the same."""
    monkeypatch.setattr(module, "host_code", other_code)
    with pytest.raises(Refusal, match="a worker with another code"), workers(cluster=cluster.scheduler_address):
        pass


def test_a_worker_with_another_package_is_refused(cluster: LocalCluster, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches figures of another numpy mixed into a report."""
    monkeypatch.setattr(module, "_check_code", functools.partial(check_code_with, numpy="0.1"))
    with (
        pytest.raises(Refusal, match=r"another numpy \(.* there, 0.1 here\)"),
        workers(cluster=cluster.scheduler_address),
    ):
        pass


def check_code_with(worker: str, found: dict[str, str], **here: str) -> None:
    """Compare a worker with a process of other versions."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "host_code", lambda: REAL_CODE | here)
        CHECK_CODE(worker, found)


CHECK_CODE = module._check_code  # noqa: SLF001 - what is wrapped above


def test_a_worker_that_comes_later_is_compared_too(
    cluster: LocalCluster, many: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a worker of another code that was not there yet when all were compared."""
    with workers(cluster=cluster.scheduler_address) as each:
        monkeypatch.setattr(module, "host_code", other_code)
        with pytest.raises(Refusal, match="a worker with another code joined in between"):
            report(many, each)


@pytest.mark.parametrize("file", ["score/scoring.py", "physics/tables.json"])
def test_the_code_is_told_by_every_file_that_decides(file: str, tmp_path: Path) -> None:
    """Catches a digest of the logic alone, or of some folders: one byte of the judge or of its tables is another code."""
    for package in ("firmware_ref", "protect", "replay"):
        shutil.copytree(
            ROOT / package, tmp_path / package, ignore=shutil.ignore_patterns("node_modules", "__pycache__")
        )
    code = "from replay.engine.workers import host_code; print(host_code()['code'])"

    def told() -> str:
        command = [sys.executable, "-P", "-c", code]
        environment = {**os.environ, "PYTHONPATH": str(tmp_path)}
        return subprocess.run(command, env=environment, capture_output=True, text=True, check=True).stdout

    before = told()
    path = tmp_path / "replay" / file
    path.write_bytes(path.read_bytes() + b" ")
    assert told() != before


SCHEDULER = """
import asyncio, sys
from distributed import Scheduler
async def main():
    async with Scheduler(host="127.0.0.1", port=0, dashboard=False) as scheduler:
        print(scheduler.address, flush=True)
        await scheduler.finished()
asyncio.run(main())
"""
WORKER = """
import asyncio, sys
from distributed import Worker
async def main():
    async with Worker(sys.argv[1], nthreads=1) as worker:
        print("ready", flush=True)
        await worker.finished()
if __name__ == "__main__":
    asyncio.run(main())
"""


def slow(_item: int) -> int:
    """Take longer than any test waits."""
    time.sleep(300)
    return 0


@pytest.mark.parametrize(("killed", "told"), [(0, "the scheduler is gone"), (1, "the last worker is gone")])
def test_a_cluster_that_dies_is_told_within_seconds(killed: int, told: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a command that waits for ever for a scheduler, or for workers, that nobody starts again."""
    monkeypatch.setattr(module, "WITHOUT_WORKERS_S", 1.0)
    quiet = {"stdout": subprocess.PIPE, "stderr": subprocess.DEVNULL, "text": True}
    scheduler = subprocess.Popen([sys.executable, "-c", SCHEDULER], **quiet)
    address = scheduler.stdout.readline().strip()
    worker = subprocess.Popen([sys.executable, "-c", WORKER, address], **quiet)
    assert worker.stdout.readline() == "ready\n"
    timer = threading.Timer(2.0, (scheduler, worker)[killed].kill)
    try:
        with workers(cluster=address) as each:
            timer.start()
            with pytest.raises(Refusal, match=told):
                each(slow, range(4))
    finally:
        timer.cancel()
        for process in (worker, scheduler):
            process.kill()
            process.wait()
            process.stdout.close()


def test_work_travels_in_portions(cluster: LocalCluster) -> None:
    """Catches a message for each short trace, which takes longer than the work; the results keep their order."""
    ticks: list[int] = []
    with workers(cluster=cluster.scheduler_address) as each:
        found = each(where, range(1000), lambda: ticks.append(1))

    assert [item for item, _ in found] == list(range(1000))
    assert len(ticks) == 1000
    assert len({task for _, task in found}) == len(module.portions(range(1000), 2)) < 40


def numbered(folder: Path, item: int) -> int:
    """Note that an item is taken up, and by which process; take a while over it."""
    (folder / f"{item} {os.getpid()} {time.monotonic_ns()}").touch()
    time.sleep(0.05)
    return item


def test_what_a_lost_worker_has_told_is_not_done_again(cluster: LocalCluster, tmp_path: Path) -> None:
    """Catches results that are here and still wanted of their worker: another would do them again when it is lost."""
    cluster.wait_for_workers(2)
    *_, kill = killing(cluster, 30)
    with workers(cluster=cluster.scheduler_address) as each:
        assert each(functools.partial(numbered, tmp_path), range(40), kill) == [*range(40)]
    taken_up = [path.name.split()[0] for path in tmp_path.iterdir()]

    assert set(taken_up) == {str(number) for number in range(40)}
    assert len(taken_up) <= 40 + (40 - 30)


def test_items_and_results_travel_as_bytes(
    cluster: LocalCluster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches items that Dask looks through one by one, and results of which each array goes by itself."""
    given, submit = [], Client.submit

    def noting(self: Client, function, *arguments, **options) -> Future:
        given.append((function, arguments))
        return submit(self, function, *arguments, **options)

    monkeypatch.setattr(Client, "submit", noting)
    with workers(cluster=cluster.scheduler_address) as each:
        each(functools.partial(numbered, tmp_path), range(4))

    assert {tuple(map(type, arguments)) for _, arguments in given} == {(bytes, bytes, dict)}
    assert all(isinstance(function(*arguments), bytes) for function, arguments in given)


def where(item: int) -> tuple[int, str]:
    """Return an item and the piece of work that it came in."""
    return item, str(get_worker().get_current_task())


def test_a_scheduler_that_does_not_answer_is_refused_in_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a command that waits for ever on a wrong address."""
    monkeypatch.setattr(module, "PATIENCE_S", 0.5)
    with pytest.raises(Refusal, match="no scheduler answers"), workers(cluster="tcp://127.0.0.1:9"):
        pass


def test_a_missing_package_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a traceback where the extra is not installed."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(Refusal, match="pip install 'distributed>="), workers(cluster="tcp://127.0.0.1:9"):
        pass


def test_the_command_works_on_the_cluster(cluster: LocalCluster, many: Path) -> None:
    """Catches an option that is read and not used, and one that changes the report or leaves noise on the terminal."""
    spread = lubetrip("score", many, "--cluster", cluster.scheduler_address, "--json", "-")
    alone = lubetrip("score", many, "--json", "-")

    assert (spread.returncode, spread.stderr) == (alone.returncode, alone.stderr)
    assert spread.stdout == alone.stdout


def test_one_place_to_work_is_wanted() -> None:
    """Catches two options that contradict each other, of which one wins in silence."""
    with pytest.raises(Refusal, match="--cluster and --jobs"), workers(2, "tcp://127.0.0.1:9"):
        pass
