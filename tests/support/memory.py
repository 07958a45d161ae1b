"""How much memory a piece of work takes, to be held against the same work on more rows."""

import gc
import tracemalloc
from collections.abc import Callable


def peak_of(work: Callable[[], object]) -> int:
    """Return the bytes that Python and numpy held at most, beyond those from before, while the work was done."""
    gc.collect()  # what was left lying about before is no part of it
    tracemalloc.start()
    try:
        work()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
