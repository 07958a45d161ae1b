"""Who does the work on the traces: this process, more processes of this machine, or the workers of a Dask cluster.

All of them are a function of one form, `each(function, items, tick)`: it returns
function(item) for every item, in the order of the items, and calls tick after
each. A result follows from its item alone, so neither the number of workers nor
their order changes a figure, and what a lost worker was doing is done again.

Processes and not threads: the logic, interpreted or compiled, holds the interpreter's lock.

Workers of a cluster have the same code as this process, to the last byte, or are refused. They read the files of
the library themselves: its folder has to be there, under the same path, on each of their machines.
"""

import contextlib
import functools
import hashlib
import logging
import math
import multiprocessing
import pickle
import platform
import queue
import signal
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path
from typing import Any, Protocol, TypeVar

from replay.ground.extras import install
from replay.ground.refusal import Refusal, refusal

Item = TypeVar("Item")
Result = TypeVar("Result")
Tick = Callable[[], object]

PATIENCE_S = 30  # for a scheduler to answer, and for the first worker
RETRIES = 3  # of a piece of work whose worker was lost
MOST_JOBS = 256
LOOK_S, WITHOUT_WORKERS_S, CLOSING_S = 0.5, 10.0, 3.0  # of a cluster: between looks, for a worker to come back
CODE = (".py", ".json", ".txt")  # what decides, besides what it stands on:
COMPUTING = ("numpy", "scipy", "pyarrow", "numba")
SAME = "workers with the same lubetrip, Python and packages as here"
ENDED = 'fewer of them, more memory, or (in a script) the work under if __name__ == "__main__":'
# A portion is so much of what each worker has left to do, down to such a share of all that it has: large ones first,
# for each costs a message, and small ones last, so that none waits long for the others.
PORTION, LEAST_PORTION = 1 / 4, 1 / 64


def _silent() -> None:
    """Count nothing."""


class Each(Protocol):
    """Applies a function to every item."""

    def __call__(self, function: Callable[[Item], Result], items: Sequence[Item], tick: Tick = _silent) -> list[Result]:
        """Return the results in the order of the items."""


class Stage(Protocol):
    """One stretch of work whose pieces are counted."""

    def advance(self, pieces: int = 1) -> None:
        """Count pieces of work as done."""


class _Uncounted:
    """A stretch of work that nobody watches."""

    def advance(self, pieces: int = 1) -> None:
        """Count nothing."""


Progress = Callable[[int, str], AbstractContextManager[Stage]]  # who is told: pieces in all, what is being done


def quiet(_total: int, _title: str) -> AbstractContextManager[Stage]:
    """Tell nobody how far the work has come."""
    return contextlib.nullcontext(_Uncounted())


def one_by_one(function: Callable[[Item], Result], items: Sequence[Item], tick: Tick = _silent) -> list[Result]:
    """Do all the work in this process."""
    results = []
    for item in items:
        results.append(function(item))
        tick()
    return results


def portions(items: Sequence[Item], workers: int) -> list[Sequence[Item]]:
    """Return all items in their order, in portions for so many workers."""
    found, begin = [], 0
    while begin < len(items):
        share = max((len(items) - begin) * PORTION, len(items) * LEAST_PORTION) / workers
        found.append(items[begin : begin + math.ceil(share)])
        begin += len(found[-1])
    return found


class Processes:
    """New processes of this machine; those that were lost are replaced, and their work is done again."""

    def __init__(self, jobs: int) -> None:
        self.jobs = jobs
        self.pool = self._started()

    def _started(self) -> ProcessPoolExecutor:
        # A process of its own, not a copy of this one: this one may have threads.
        spawning = multiprocessing.get_context("spawn")
        # Ctrl-C reaches every process: they end without a word.
        return ProcessPoolExecutor(self.jobs, spawning, signal.signal, (signal.SIGINT, signal.SIG_DFL))

    def __call__(self, function: Callable[[Item], Result], items: Sequence[Item], tick: Tick = _silent) -> list[Result]:
        """Return the results in the order of the items; the first item that is refused tells why."""
        left_to_do = portions(items, self.jobs)
        results: list[Result] = []
        done = 0
        for left in range(RETRIES, -1, -1):
            tasks: list[Future[list[Result]]] = []
            try:
                tasks += [self.pool.submit(one_by_one, function, portion) for portion in left_to_do[done:]]
                for task in tasks:
                    found = task.result()
                    results += found
                    done += 1
                    for _ in found:
                        tick()
            except BrokenProcessPool:
                self.end()
                if not left:
                    rule = "processes are ended before their work is done"
                    raise refusal("--jobs", "", rule, ENDED, self.jobs) from None
                self.pool = self._started()
            else:
                break
        return results

    def end(self) -> None:
        """End the processes, in the middle of their work if need be."""
        processes = [*(self.pool._processes or {}).values()]  # noqa: SLF001 - kill_workers() comes with Python 3.14
        self.pool.shutdown(wait=False, cancel_futures=True)
        for process in processes:
            process.terminate()


@contextlib.contextmanager
def workers(jobs: int = 1, cluster: str | None = None) -> Iterator[Each]:
    """Give a way to work: in so many processes of this machine (one: this one), or on the cluster at an address.

    Raises Refusal for a number that is none, where the package for a cluster is missing, no worker of it answers,
    or one has another code than this process.
    """
    if not 1 <= jobs <= MOST_JOBS:
        raise refusal("--jobs", "", "not a number of processes", f"1 to {MOST_JOBS}", jobs)
    if cluster is not None:
        if jobs > 1:
            raise refusal("workers", "", "--cluster and --jobs", "one of the two")
        client = _client(cluster)
        try:
            _check_workers(client, cluster)
            yield functools.partial(_by_cluster, client, cluster)
        finally:
            with contextlib.suppress(Exception):  # of a scheduler that is gone nothing is left to close
                client.close(timeout=CLOSING_S)
    elif jobs == 1:
        yield one_by_one
    else:
        processes = Processes(jobs)
        try:
            yield processes
        finally:
            processes.end()


@functools.cache
def host_code() -> dict[str, str]:
    """Return what a result hangs on besides its item: version and digest of this program, versions of what computes."""
    import importlib.metadata  # late: it takes longer than a short command has

    digest = hashlib.sha256()
    for package in ("firmware_ref", "protect", "replay"):
        folder = Path(__file__).parents[2] / package
        files = (path for path in folder.rglob("*") if path.suffix in CODE and "node_modules" not in path.parts)
        for path in sorted(files):
            content = path.read_bytes()
            digest.update(f"{package}/{path.relative_to(folder).as_posix()} {len(content)}\n".encode())
            digest.update(content)
    versions = {name: importlib.metadata.version(name) for name in ("lubetrip", *COMPUTING)}
    return {"code": digest.hexdigest(), "python": platform.python_version(), **versions}


def _client(address: str) -> Any:
    """Return a connected client."""
    try:
        from distributed import Client
    except ModuleNotFoundError:
        raise refusal("workers", "", "needs distributed", install("cluster")) from None
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what goes wrong is told here, in words
    try:
        return Client(address, timeout=PATIENCE_S)
    except (OSError, ValueError) as error:
        accepted = "the address of a running scheduler, such as tcp://HOST:8786"
        said = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise refusal("--cluster", "", f"no scheduler answers ({said})", accepted, address) from None


def _check_workers(client: Any, where: str) -> None:
    """Refuse a cluster without workers, or whose workers would work by another code."""
    try:
        client.wait_for_workers(1, timeout=PATIENCE_S)
    except TimeoutError:
        raise refusal(where, "", "has no workers", "a cluster with one worker or more") from None
    for worker, found in sorted(client.run(host_code, on_error="return").items()):
        if isinstance(found, ModuleNotFoundError):
            raise refusal(where, worker, "a worker without lubetrip", SAME)
        _check_code(worker, found if isinstance(found, dict) else {})


def _check_code(worker: str, found: dict[str, str]) -> None:
    """Refuse a worker of another code, a digest being told by its beginning."""
    for name, here in host_code().items():
        if found.get(name) != here:
            told = f"{str(found.get(name, 'none'))[:12]} there, {here[:12]} here"
            raise refusal(worker, "", f"a worker with another {name} ({told})", SAME)


def _by_cluster(
    client: Any, where: str, function: Callable[[Item], Result], items: Sequence[Item], tick: Tick = _silent
) -> list[Result]:
    """Let the workers of a cluster do the work, in portions: each is a message there and one back.

    The function travels with each portion, so that a lost worker takes nothing with it that the others would have to
    wait for. Items and results travel as bytes: whatever else is sent Dask looks through for work of its own, and each
    array of a result goes by itself. Raises Refusal soon after the scheduler or the last worker is gone.
    """
    threads = sum(worker["nthreads"] for worker in client.scheduler_info(n_workers=-1)["workers"].values())
    packed, code = pickle.dumps(function), host_code()
    parts = [pickle.dumps([_located(item) for item in portion]) for portion in portions(items, max(1, threads))]
    tasks = [client.submit(_portion, packed, part, code, pure=False, retries=RETRIES) for part in parts]
    places = {task.key: place for place, task in enumerate(tasks)}
    done: queue.SimpleQueue[Any] = queue.SimpleQueue()
    for task in tasks:
        task.add_done_callback(done.put)
    results: dict[int, list[Result]] = {}
    try:
        while len(results) < len(tasks):
            task = _next_done(client, where, done)
            found, refused = _result(where, task)
            if refused is not None:
                raise Refusal(refused)
            results[places[task.key]] = found
            task.release()  # lest it is done again, here already, where its worker is lost
            for _ in found:
                tick()
    finally:
        with contextlib.suppress(Exception):
            if client.status == "running":
                client.cancel(tasks)
    return [result for place in range(len(tasks)) for result in results[place]]


def _next_done(client: Any, where: str, done: "queue.SimpleQueue[Any]") -> Any:
    """Return the next piece of work that is done. Raises Refusal where none can be any more."""
    alone_since = None
    while True:
        try:
            return done.get(timeout=LOOK_S)
        except queue.Empty:
            if client.status != "running":
                raise refusal(where, "", "the scheduler is gone", "run the command again once it is back") from None
            if client.scheduler_info(n_workers=-1)["workers"]:
                alone_since = None
                continue
            alone_since = alone_since or time.monotonic()
            if time.monotonic() - alone_since > WITHOUT_WORKERS_S:
                rule = f"the last worker is gone, and none came back within {WITHOUT_WORKERS_S:g} s"
                raise refusal(where, "", rule, "run the command again once the workers run") from None


def _result(where: str, task: Any) -> Any:
    """Return what came of a portion: results, or the words of a Refusal."""
    from distributed import CancelledError, KilledWorker

    accepted = "the command given again, with a cluster that runs"
    try:
        return pickle.loads(task.result(timeout=PATIENCE_S))  # noqa: S301 - of workers with the same code as here
    except KilledWorker:
        rule = f"workers are ended before their work is done, {RETRIES + 1} times"
        raise refusal(where, "", rule, "fewer of them on a machine, more memory") from None
    except (CancelledError, TimeoutError, OSError) as error:
        said = "the scheduler is gone" if isinstance(error, CancelledError) else f"a result did not come ({error})"
        raise refusal(where, "", said, accepted) from None


@functools.lru_cache(maxsize=2)
def _unpacked(packed: bytes) -> Callable[[Any], Any]:
    function: Callable[[Any], Any] = pickle.loads(packed)  # noqa: S301 - of who gives the work
    return function


def _located(item: Any) -> Any:
    """Return an item whose file is found from any working directory."""
    path = getattr(item, "path", None)
    return replace(item, path=path.absolute()) if isinstance(path, Path) else item


def _portion(packed: bytes, items: bytes, code: dict[str, str]) -> bytes:
    """Return results and no refusal, or the words of a Refusal: bad input is not worth another try.

    code: that of who asks; a worker that came after all were compared is compared here.
    """
    from distributed import get_worker

    try:
        for name, here in code.items():
            if host_code().get(name) != here:
                raise refusal(get_worker().address, "", f"a worker with another {name} joined in between", SAME)
        results = one_by_one(_unpacked(packed), pickle.loads(items))  # noqa: S301 - of who gives the work
    except Refusal as error:
        return pickle.dumps((None, str(error)))
    return pickle.dumps((results, None))
