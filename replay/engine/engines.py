"""Which engine replays: the interpreted reference, the same source compiled, or the C port that ships.

All three give the same result in every bit (tests hold it); they differ in how
long one waits before the first row and for each row after it. An engine is one
value: what a report says of it is said by the very thing that ran.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from firmware_ref.digest import logic_digest
from replay.engine import portable
from replay.engine.portable import Replay
from replay.ground.refusal import refusal
from replay.settings import Settings
from replay.trace import AnyTrace, files

ENGINES = ("portable", "compiled", "c")


@dataclass(frozen=True)
class Engine:
    """What replays a trace, and what is said of it.

    digest: of the logic; port_digest: of the port's sources, where it is a port.
    """

    name: str
    digest: str
    replay: Callable[[AnyTrace, Settings], Replay]
    port_digest: str | None = None

    def as_json(self) -> dict[str, str]:
        """Return what stands in a JSON report about the logic that was run."""
        told = {"engine": self.name, "digest": self.digest}
        if self.port_digest is not None:
            told["port_digest"] = self.port_digest
        return told


def engine_named(name: str) -> Engine:
    """Return the engine "portable", "compiled" or "c".

    Raises Refusal for another name, and where the C engine cannot be built.
    """
    if name == "portable":
        return Engine(name, logic_digest(), portable.replay_trace)
    if name == "compiled":
        from replay.engine import compiled

        return Engine(name, logic_digest(), compiled.replay_trace)
    if name == "c":
        from replay.engine import c_port

        c_port.build()
        return Engine(name, logic_digest(), c_port.replay_trace, c_port.port_digest())
    raise refusal("engine", "", "no such engine", ", ".join(ENGINES), name)


def rows_about(paths: Iterable[Path]) -> int:
    """Return the rows of traces together, told or estimated."""
    return sum(map(files.rows_about, paths))


def engine_for(paths: Iterable[Path]) -> Engine:
    """Return the engine that is done soonest with these traces: a few never wait for a compiler."""
    from replay.engine import compiled

    return engine_named("compiled" if compiled.pays(rows_about(paths)) else "portable")
