"""The logic of `protect` over one trace, tick by tick.

The machine of the trace obeys: while run permission is withdrawn the logic is
told that the machine stands still, whatever the recording did after that, and
when permission comes back the machine starts again where the recording runs. So
each stretch of a long trace is judged, and the restart delay and the trip memory
see what they would see in the plant.
"""

import functools
import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

import protect
from protect import outputs, ranges, state
from protect.protection import step
from replay.settings import Settings
from replay.trace import Trace

STATES = ("stopped", "priming", "lubricated", "starved", "tripped", "locked_out")
CAUSES = (None, "oil", "reload", "sensor")


@dataclass(frozen=True)
class Change:
    """A change of state at one tick. Pressures in Pa; net is None when not credible."""

    time_ms: int
    before: int
    after: int
    cause: int
    net_pa: int | None
    suction_pa: int | None
    integral_percent: int


@dataclass(frozen=True)
class Stop:
    """A withdrawal of run permission that the machine feels: it would run and may not.

    Counted once for each withdrawal, at the first tick at which the trace runs.
    """

    time_ms: int
    cause: int


@dataclass(frozen=True)
class Replay:
    """What the logic did over one trace.

    run_ms: time the machine ran under it; late: ticks more than max_gap after the one before.
    """

    changes: tuple[Change, ...]
    stops: tuple[Stop, ...]
    run_ms: int
    late: int
    locked_out: bool


def elapsed_ms(trace: Trace) -> NDArray[np.int64]:
    """Return ms since the previous row, int64[n], the first 0, cut to the admitted range."""
    elapsed = np.diff(trace.time_ms, prepend=trace.time_ms[:1])
    return np.minimum(elapsed, ranges.INPUTS[ranges.ELAPSED][3])


def replay_trace(trace: Trace, settings: Settings) -> Replay:
    """Run the logic over a trace from power-up of a machine at rest."""
    values = list(settings.values)
    memory = [0] * state.STATE_SIZE
    state.power_up(memory, values)
    results = [0] * outputs.OUTPUTS_SIZE
    inputs = [0] * ranges.INPUTS_SIZE
    max_gap = values[ranges.MAX_GAP]

    changes: list[Change] = []
    stops: list[Stop] = []
    run_ms = 0
    permitted, felt, locked_out = 1, False, False
    columns = (elapsed_ms(trace), trace.running, trace.reset, trace.oil_pa, trace.suction_pa, trace.crankcase_pa)
    ticks = zip(trace.time_ms.tolist(), *(column.tolist() for column in columns), strict=True)
    for time_ms, elapsed, running, *rest in ticks:
        inputs[:] = (elapsed, running & permitted, *rest)
        before = memory[state.STATE]
        step(memory, values, inputs, results)

        if inputs[ranges.RUNNING] and elapsed <= max_gap:
            run_ms += elapsed
        permitted = results[outputs.RUN_PERMISSION]
        if permitted:
            felt = False
        elif running and not felt:
            felt = True
            stops.append(Stop(time_ms, memory[state.CAUSE]))
        after = memory[state.STATE]
        if after != before:
            changes.append(_change(time_ms, before, memory, inputs, results))
            locked_out = locked_out or after == state.LOCKED_OUT
    late = int(np.count_nonzero(columns[0] > max_gap))
    return Replay(tuple(changes), tuple(stops), run_ms, late, locked_out)


def _change(time_ms: int, before: int, memory: list[int], inputs: list[int], results: list[int]) -> Change:
    suction = inputs[ranges.SUCTION_PRESSURE]
    return Change(
        time_ms=time_ms,
        before=before,
        after=memory[state.STATE],
        cause=results[outputs.STOP_CAUSE],
        net_pa=results[outputs.NET_OIL_PRESSURE] if results[outputs.CREDIBLE] else None,
        suction_pa=None if suction == ranges.NO_READING else suction,
        integral_percent=results[outputs.INTEGRAL_PERCENT],
    )


@functools.cache
def logic_digest() -> str:
    """Return the SHA-256 over the source files of `protect`, names and line-end-free text, in name order."""
    digest = hashlib.sha256()
    for path in sorted(Path(protect.__file__).parent.glob("*.py")):
        text = path.read_text(encoding="utf-8")
        digest.update(f"{path.name}\n{len(text)}\n{text}".encode())
    return digest.hexdigest()


def logic_as_json() -> dict[str, Any]:
    """Return what stands in a JSON report about the logic that was run."""
    return {"engine": "portable", "digest": logic_digest()}
