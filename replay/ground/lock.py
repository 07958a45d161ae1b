"""One import at a time enters its traces into a library."""

import contextlib
import os
import time
from collections.abc import Iterator
from pathlib import Path

from replay.ground.refusal import refusal

FILE = ".lock"
PATIENCE_S = 30.0  # entering traces takes far less
STEP_S = 0.02


@contextlib.contextmanager
def locked(library: Path) -> Iterator[None]:
    """Hold a library for oneself, waiting for others. Raises Refusal where it does not come free."""
    path = library / FILE
    _take(path, time.monotonic() + PATIENCE_S)
    try:
        yield
    finally:
        path.unlink(missing_ok=True)


def _take(path: Path, until: float) -> None:
    """Make the lock file, which only one can."""
    while True:
        try:
            handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY)
        except FileExistsError:
            if time.monotonic() >= until:
                rule = "another import is entering traces, or one was ended while it did"
                raise refusal(path, "", rule, "to wait for that import; if none is running, delete this file") from None
            time.sleep(STEP_S)
        except OSError as error:
            raise refusal(path, "", f"cannot be written ({error.strerror})", "a folder for a library") from None
        else:
            os.close(handle)
            return
