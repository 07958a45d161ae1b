"""Work on many traces: the options of who does it, and a bar on standard error that shows how far it is."""

import functools
import sys
import threading
from collections.abc import Callable
from typing import Any, Self

import click

SLOW_S = 3600.0  # pieces of work that take minutes have to be remembered to tell how long the rest takes


class Progress:
    """Counts work done against a total, and shows it once the work has taken a second, done or not."""

    PATIENCE_S = 1.0

    def __init__(self, total: int, title: str) -> None:
        self.total, self.title = total, title
        self.done = 0
        self.bar: Any = None
        self.at_once = threading.Lock()
        self.patience = threading.Timer(self.PATIENCE_S, self._show)
        self.patience.daemon = True

    def __enter__(self) -> Self:
        if sys.stderr.isatty():
            self.patience.start()
        return self

    def advance(self, pieces: int = 1) -> None:
        """Count pieces of work as done."""
        with self.at_once:
            self.done += pieces
            if self.bar is not None:
                self.bar.update(self.task, completed=self.done)

    def _show(self) -> None:
        """Begin to show the bar: with the time gone too, as a first piece may take minutes."""
        from rich.console import Console
        from rich.progress import BarColumn, TaskProgressColumn, TextColumn, TimeElapsedColumn, TimeRemainingColumn
        from rich.progress import Progress as Bar

        columns = (
            TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeElapsedColumn(),
            TextColumn("left"), TimeRemainingColumn(),
        )  # fmt: skip
        with self.at_once:
            if self.patience.finished.is_set():
                return
            self.bar = Bar(*columns, console=Console(stderr=True), transient=True, speed_estimate_period=SLOW_S)
            self.task = self.bar.add_task(self.title, total=self.total, completed=self.done)
            self.bar.start()

    def __exit__(self, *exc: object) -> None:
        with self.at_once:
            self.patience.cancel()
            if self.bar is not None:
                self.bar.stop()


def working(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command --jobs, --cluster and a bar as its arguments, by the names of functions that spread work."""

    @click.option(
        "--jobs",
        type=click.IntRange(1),
        default=1,
        show_default=True,
        metavar="N",
        help="Run N processes on this computer.",
    )
    @click.option("--cluster", metavar="ADDRESS", help="Run on the Dask cluster with this scheduler instead.")
    @functools.wraps(command)
    def given(**options: Any) -> Any:
        return command(**options, progress=Progress)

    return given
