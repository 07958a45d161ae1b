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


@pytest.mark.parametrize("pieces", [0, 1])
@pytest.mark.parametrize(("is_terminal", "patience_s"), [(True, 0.01), (True, 3600.0), (False, 0.01)])
def test_only_long_work_shows_a_bar_and_only_on_a_terminal(
    is_terminal: bool, patience_s: float, pieces: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Catches a bar that flashes up in quick work, one in a log file, and silence until a first piece is done."""
    monkeypatch.setattr(Progress, "PATIENCE_S", patience_s)
    monkeypatch.setattr(sys, "stderr", Terminal(is_terminal=is_terminal))
    shown = is_terminal and patience_s < 1.0

    with Progress(10, "replaying") as progress:
        progress.advance(pieces)
        until = time.monotonic() + (60.0 if shown else 0.2)
        while progress.bar is None and time.monotonic() < until:
            time.sleep(0.01)
        assert (progress.bar is not None) == shown
        assert not shown or progress.bar.tasks[0].completed == pieces
    assert not progress.patience.is_alive() or not shown
