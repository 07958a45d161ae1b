"""A progress bar, for those who wait at a terminal."""

import io
import sys
import time

import pytest

from replay.cli.working import Progress


class Terminal(io.StringIO):
    """Standard error that is, or is not, a terminal."""

    def __init__(self, *, is_terminal: bool) -> None:
        super().__init__()
        self.is_terminal = is_terminal

    def isatty(self) -> bool:
        """Tell whether somebody may be looking."""
        return self.is_terminal


@pytest.mark.parametrize(
    ("seconds", "is_terminal", "shown"), [(0.9, True, False), (1.1, True, True), (1.1, False, False)]
)
def test_only_long_work_shows_a_bar_and_only_on_a_terminal(
    seconds: float, is_terminal: bool, shown: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a bar that flashes up in quick work, one in a log file, and a long silence."""
    clock = [100.0]
    monkeypatch.setattr(time, "monotonic", lambda: clock[0])
    monkeypatch.setattr(sys, "stderr", Terminal(is_terminal=is_terminal))

    with Progress(10, "replaying") as progress:
        clock[0] += seconds
        progress.advance()
        assert (progress.bar is not None) == shown
