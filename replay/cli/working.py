"""Work on many traces: the options of who does it, and a bar on standard error that shows how far it is."""

import functools
import sys
import time
from collections.abc import Callable
from typing import Any, Self

import click


class Progress:
    """Counts work done against a total, and shows it once the work has taken a second."""

    PATIENCE_S = 1.0

    def __init__(self, total: int, title: str) -> None:
        self.total, self.title = total, title
        self.done = 0
        self.began = time.monotonic()
        self.bar: Any = None

    def __enter__(self) -> Self:
        return self

    def advance(self, pieces: int = 1) -> None:
        """Count pieces of work as done."""
        self.done += pieces
        if self.bar is None and sys.stderr.isatty() and time.monotonic() - self.began > self.PATIENCE_S:
            from rich.console import Console
            from rich.progress import Progress as Bar

            self.bar = Bar(console=Console(stderr=True), transient=True)
            self.task = self.bar.add_task(self.title, total=self.total)
            self.bar.start()
        if self.bar is not None:
            self.bar.update(self.task, completed=self.done)

    def __exit__(self, *exc: object) -> None:
        if self.bar is not None:
            self.bar.stop()


def working(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command --jobs, --cluster and a bar as its arguments, by the names of functions that spread work."""

    @click.option(
        "--jobs", type=click.IntRange(1), default=1, show_default=True, metavar="N", help="Work in N processes here."
    )
    @click.option("--cluster", metavar="ADDRESS", help="Work on the Dask cluster whose scheduler is there instead.")
    @functools.wraps(command)
    def given(**options: Any) -> Any:
        return command(**options, progress=Progress)

    return given
