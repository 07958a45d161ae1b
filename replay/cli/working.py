"""The options of every command that works on many traces: who does it."""

import functools
from collections.abc import Callable
from typing import Any

import click

from replay.cli.progress import Progress


def working(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the options --jobs and --cluster, as its argument `work`: what functions take that spread work."""

    @click.option(
        "--jobs", type=click.IntRange(1), default=1, show_default=True, metavar="N", help="Work in N processes here."
    )
    @click.option("--cluster", metavar="ADDRESS", help="Work on the Dask cluster whose scheduler is there instead.")
    @functools.wraps(command)
    def given(*args: Any, jobs: int, cluster: str | None, **kwargs: Any) -> Any:
        return command(*args, work={"jobs": jobs, "cluster": cluster, "progress": Progress}, **kwargs)

    return given
