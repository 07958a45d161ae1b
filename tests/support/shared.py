"""What the tests make once a run, in whichever worker needs it first."""

import fcntl
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import Any

folder: Path | None = None  # of this run; set by conftest, and none outside pytest


def once(name: str, make: Callable[[], Any]) -> Any:
    """Return what `make` returns, from the worker that was the first to ask for this name."""
    if folder is None:
        return make()
    kept = folder / name
    with (folder / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not kept.exists():
            kept.write_bytes(pickle.dumps(make()))
    return pickle.loads(kept.read_bytes())  # noqa: S301 - written by this run
