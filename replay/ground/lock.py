"""One process at a time changes a library: an import that enters traces, an edit of a label."""

import contextlib
from collections.abc import Iterator
from pathlib import Path

from replay.ground.places import is_remote
from replay.ground.refusal import refusal

FILE = ".lock"
PATIENCE_S = 30.0  # entering traces takes far less
STEP_S = 0.02


@contextlib.contextmanager
def locked(library: Path) -> Iterator[None]:
    """Hold a library for oneself, waiting for others; a process that dies lets go of what it held.

    Raises Refusal where the library does not come free, and where its folder cannot be locked, as in an object store.
    """
    import filelock

    if is_remote(library):
        raise refusal(library, "", "a library in an object store is read, never changed", "a copy of it on a disk")
    path = library / FILE
    lock = filelock.FileLock(path, PATIENCE_S, poll_interval=STEP_S, fallback_to_soft=False)
    try:
        lock.acquire()
    except filelock.Timeout:
        rule = f"another command has been changing this library for {PATIENCE_S:g} s"
        raise refusal(path, "", rule, "wait until it has ended") from None
    except OSError as error:
        rule = f"this library cannot be locked ({error.strerror})"
        raise refusal(path, "", rule, "a folder that can be written, on a disk with file locks") from None
    try:
        yield
    finally:
        with contextlib.suppress(OSError):
            path.unlink()  # while it is held: whoever waits for it sees that it is gone, and makes another
        lock.release()
