"""Which engine replays a library: the interpreted reference, the same source compiled, or the C port that ships.

All three give the same result in every bit (tests hold it); they differ in how
long one waits before the first row and for each row after it.
"""

from collections.abc import Callable
from typing import Any

from replay import engine
from replay.engine import Replay
from replay.library import Library
from replay.settings import Settings
from replay.trace import Trace

Replayer = Callable[[Trace, Settings], Replay]

ENGINES = ("portable", "compiled", "c")
CSV_ROW = 28  # bytes of a usual row
PARQUET_ROW = 8


def rows_about(library: Library) -> int:
    """Estimate the rows of a library from the size of its files."""
    rows = 0
    for entry in library.entries:
        width = PARQUET_ROW if entry.path.suffix.lower() == ".parquet" else CSV_ROW
        rows += entry.path.stat().st_size // width
    return rows


def fitting(library: Library) -> str:
    """Return the engine that is done soonest: small libraries never wait for a compiler."""
    from replay import compiled

    return "compiled" if compiled.pays(rows_about(library)) else "portable"


def replayer(name: str) -> Replayer:
    """Return the function that replays one trace. Raises Refusal where the C engine cannot be built."""
    if name == "compiled":
        from replay import compiled

        return compiled.replay_trace
    if name == "c":
        from replay import c_engine

        c_engine.build()
        return c_engine.replay_trace
    return engine.replay_trace


def logic_as_json(name: str) -> dict[str, Any]:
    """Return what stands in a JSON report about the logic that was run."""
    told = {"engine": name, "digest": engine.logic_digest()}
    if name == "c":
        from replay import c_engine

        told["port_digest"] = c_engine.port_digest()
    return told
