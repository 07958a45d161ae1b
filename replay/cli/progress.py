"""A progress bar on standard error, where that is a terminal and the work takes long."""

import sys
import time
from typing import Any, Self


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
