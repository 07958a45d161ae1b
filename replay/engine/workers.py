"""Who does the work on the traces: this process, threads of it, or the workers of a Dask cluster.

All of them are a function of one form, `each(function, items, tick)`: it returns
function(item) for every item, in the order of the items, and calls tick after
each. A result follows from its item alone, so neither the number of workers nor
their order changes a figure, and what a lost worker was doing is done again.

Workers of a cluster read the files of the library themselves: its folder has to
be there, under the same path, on each of their machines.
"""

import contextlib
import functools
import logging
import pickle
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import replace
from pathlib import Path
from typing import Any, Protocol, TypeVar

from replay.engine.portable import logic_digest
from replay.ground.refusal import Refusal, refusal

Item = TypeVar("Item")
Result = TypeVar("Result")
Tick = Callable[[], object]

PATIENCE_S = 30  # for a scheduler to answer, and for the first worker
RETRIES = 3  # of a piece of work whose worker was lost


def _silent() -> None:
    """Count nothing."""


class Each(Protocol):
    """Applies a function to every item."""

    def __call__(self, function: Callable[[Item], Result], items: Sequence[Item], tick: Tick = _silent) -> list[Result]:
        """Return the results in the order of the items."""


def one_by_one(function: Callable[[Item], Result], items: Sequence[Item], tick: Tick = _silent) -> list[Result]:
    """Do all the work in this thread."""
    results = []
    for item in items:
        results.append(function(item))
        tick()
    return results


def threads(jobs: int) -> Each:
    """Return a way to work in so many threads of this process."""

    def side_by_side(function: Callable[[Item], Result], items: Sequence[Item], tick: Tick = _silent) -> list[Result]:
        with ThreadPoolExecutor(max_workers=jobs) as pool:
            tasks = [pool.submit(function, item) for item in items]
            try:
                for task in as_completed(tasks):
                    task.result()
                    tick()
            except BaseException:
                pool.shutdown(cancel_futures=True)
                raise
        return [task.result() for task in tasks]

    return side_by_side


@contextlib.contextmanager
def workers(address: str | None = None, local: int | None = None) -> Iterator[Each]:
    """Give a way to work: on the cluster at an address, on so many new processes here, or in this thread.

    Raises Refusal where the package for it is missing, no worker answers, or
    one has another logic than this process.
    """
    if address is None and local is None:
        yield one_by_one
        return
    if address is not None and local is not None:
        raise refusal("workers", "", "--cluster and --local-workers", "one of the two")
    with contextlib.ExitStack() as stack:
        client = stack.enter_context(_client(stack, address, local))
        _check_logic(client, address or "local workers")
        yield functools.partial(_by_cluster, client)


def _client(stack: contextlib.ExitStack, address: str | None, local: int | None) -> Any:
    """Return a connected client; what else was started for it is closed by the stack."""
    try:
        from distributed import Client, LocalCluster
    except ModuleNotFoundError:
        raise refusal("workers", "", "needs distributed", "pip install 'lubetrip[cluster]'") from None
    if address is None:
        try:
            cluster = LocalCluster(
                n_workers=local, threads_per_worker=1, dashboard_address="127.0.0.1:0", silence_logs=logging.CRITICAL
            )
        except (OSError, RuntimeError, TimeoutError) as error:
            raise refusal("--local-workers", "", f"do not start ({error})", "fewer of them, or none", local) from None
        return Client(stack.enter_context(cluster), timeout=PATIENCE_S)
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
