"""Who does the work on the traces: this process, more processes of this machine, or the workers of a Dask cluster.

All of them are a function of one form, `each(function, items, tick)`: it returns
function(item) for every item, in the order of the items, and calls tick after
each. A result follows from its item alone, so neither the number of workers nor
their order changes a figure, and what a lost worker was doing is done again.

Processes and not threads: the logic, interpreted or compiled, holds the interpreter's lock.

Workers of a cluster read the files of the library themselves: its folder has to
be there, under the same path, on each of their machines.
"""

import contextlib
import functools
import multiprocessing
import pickle
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path
from typing import Any, Protocol, TypeVar

from firmware_ref.digest import logic_digest
from replay.ground.refusal import Refusal, refusal

Item = TypeVar("Item")
Result = TypeVar("Result")
Tick = Callable[[], object]

PATIENCE_S = 30  # for a scheduler to answer, and for the first worker
RETRIES = 3  # of a piece of work whose worker was lost
MOST_JOBS = 256
ENDED = 'fewer of them, more memory, or (in a script) the work under if __name__ == "__main__":'
PORTIONS = 8  # of the items for each process: the last ones do not wait long for each other


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
        size = -(-len(items) // (self.jobs * PORTIONS)) or 1
        portions = [items[begin : begin + size] for begin in range(0, len(items), size)]
        results: list[Result] = []
        done = 0
        for left in range(RETRIES, -1, -1):
            tasks: list[Future[list[Result]]] = []
            try:
                tasks += [self.pool.submit(one_by_one, function, portion) for portion in portions[done:]]
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
    or one has another logic than this process.
    """
    if not 1 <= jobs <= MOST_JOBS:
        raise refusal("--jobs", "", "not a number of processes", f"1 to {MOST_JOBS}", jobs)
    if cluster is not None:
        if jobs > 1:
            raise refusal("workers", "", "--cluster and --jobs", "one of the two")
        with _client(cluster) as client:
            _check_logic(client, cluster)
            yield functools.partial(_by_cluster, client)
    elif jobs == 1:
        yield one_by_one
    else:
        processes = Processes(jobs)
        try:
            yield processes
        finally:
            processes.end()


def _client(address: str) -> Any:
    """Return a connected client."""
    try:
        from distributed import Client
    except ModuleNotFoundError:
        raise refusal("workers", "", "needs distributed", "pip install 'lubetrip[cluster]'") from None
    try:
        return Client(address, timeout=PATIENCE_S)
    except (OSError, ValueError) as error:
        accepted = "the address of a running scheduler, such as tcp://HOST:8786"
        said = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise refusal("--cluster", "", f"no scheduler answers ({said})", accepted, address) from None


def _check_logic(client: Any, where: str) -> None:
    """Refuse a cluster without workers, or whose workers would judge by another logic."""
    try:
        client.wait_for_workers(1, timeout=PATIENCE_S)
    except TimeoutError:
        raise refusal(where, "", "has no workers", "a cluster with one worker or more") from None
    try:
        found = client.run(logic_digest)
    except ModuleNotFoundError:
        raise refusal(where, "", "a worker without lubetrip", "workers with the same lubetrip as here") from None
    others = sorted(name for name, digest in found.items() if digest != logic_digest())
    if others:
        raise refusal(others[0], "", "a worker with another logic", "workers with the same lubetrip as here")


def _by_cluster(
    client: Any, function: Callable[[Item], Result], items: Sequence[Item], tick: Tick = _silent
) -> list[Result]:
    """Let the workers of a cluster do the work.

    The function travels once, as a piece of work of its own, and then to every
    worker: a lost one takes nothing with it that the others would have to wait for.
    """
    from distributed import as_completed as completed

    shared = client.submit(pickle.loads, pickle.dumps(function), pure=False, retries=RETRIES)
    client.replicate([shared])
    tasks = [client.submit(_apply, shared, _located(item), pure=False, retries=RETRIES) for item in items]
    places = {task.key: place for place, task in enumerate(tasks)}
    results: dict[int, Result] = {}
    try:
        for task, (result, refused) in completed(tasks, with_results=True):
            if refused is not None:
                raise Refusal(refused)
            results[places[task.key]] = result
            tick()
    finally:
        client.cancel(tasks)
    return [results[place] for place in range(len(tasks))]


def _located(item: Any) -> Any:
    """Return an item whose file is found from any working directory."""
    path = getattr(item, "path", None)
    return replace(item, path=path.absolute()) if isinstance(path, Path) else item


def _apply(function: Callable[[Item], Result], item: Item) -> tuple[Result | None, str | None]:
    """Return a result and no refusal, or the words of a Refusal: bad input is not worth another try."""
    try:
        return function(item), None
    except Refusal as error:
        return None, str(error)
