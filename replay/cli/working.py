"""The options of every command that can spread its work: who does it."""

from collections.abc import Callable
from typing import Any

import click


def working(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the options `address` and `local`, as `replay.engine.workers.workers` takes them."""
    cluster = click.option(
        "--cluster", "address", metavar="ADDRESS", help="Work on the Dask cluster whose scheduler is there."
    )
    local = click.option(
        "--local-workers", "local", type=click.IntRange(1, 256), metavar="N", help="Work in N processes here."
    )
    return cluster(local(command))
