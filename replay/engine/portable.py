"""The logic of `protect` over one trace, tick by tick.

The machine of the trace obeys: while run permission is withdrawn the logic is
told that the machine stands still, whatever the recording did after that, and
when permission comes back the machine starts again where the recording runs. So
each stretch of a long trace is judged, and the restart delay and the trip memory
see what they would see in the plant.
"""

import functools
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import protect
from protect import outputs, ranges, state
from protect.protection import step
from replay.settings import Settings
from replay.trace import Trace

STATES = ("stopped", "priming", "lubricated", "starved", "tripped", "locked_out")
BLOCK = 65536  # rows that are held as Python integers at a time
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


class Logic:
    """The interpreted logic of one machine from power-up at rest, and what it has done so far."""

    def __init__(self, settings: Settings) -> None:
        self.values = list(settings.values)
        self.memory = [0] * state.STATE_SIZE
        state.power_up(self.memory, self.values)
        self.inputs = [0] * ranges.INPUTS_SIZE
        self.results = [0] * outputs.OUTPUTS_SIZE
        self.permitted = 1
        self.changes: list[Change] = []
        self.stops: list[Stop] = []
        self.run_ms = 0
        self.locked_out = False
        self._felt = False

    def tick(self, time_ms: int, elapsed: int, running: int, *rest: int) -> None:
        """Take one set of inputs: elapsed ms, whether the machine would run, then reset and the pressures (Pa)."""
        memory = self.memory
        before = memory[state.STATE]
        self.inputs[:] = (elapsed, running & self.permitted, *rest)
        step(memory, self.values, self.inputs, self.results)

        if self.inputs[ranges.RUN_FEEDBACK] and elapsed <= self.values[ranges.MAX_GAP]:
            self.run_ms += elapsed
        self.permitted = self.results[outputs.RUN_PERMISSION]
        if self.permitted:
            self._felt = False
        elif running and not self._felt:
            self._felt = True
            self.stops.append(Stop(time_ms, memory[state.CAUSE]))
        if memory[state.STATE] != before:
            self.changes.append(self._change(time_ms, before))
            self.locked_out = self.locked_out or memory[state.STATE] == state.LOCKED_OUT

    def _change(self, time_ms: int, before: int) -> Change:
        suction = self.inputs[ranges.SUCTION_PRESSURE]
        results = self.results
        return Change(
            time_ms=time_ms,
            before=before,
            after=self.memory[state.STATE],
            cause=results[outputs.STOP_CAUSE],
            net_pa=results[outputs.NET_OIL_PRESSURE] if results[outputs.CREDIBLE] else None,
            suction_pa=None if suction == ranges.NO_READING else suction,
            integral_percent=results[outputs.INTEGRAL_PERCENT],
        )


def elapsed_ms(trace: Trace) -> NDArray[np.int64]:
    """Return ms since the previous row, int64[n], the first 0, cut to the admitted range."""
    elapsed = np.diff(trace.time_ms, prepend=trace.time_ms[:1])
    return np.minimum(elapsed, ranges.INPUTS[ranges.ELAPSED][3])


def _ticks(trace: Trace) -> Iterator[tuple[int, ...]]:
    """Yield time and inputs of each row, block by block so that memory stays bounded."""
    pressures = (trace.oil_pa, trace.suction_pa, trace.crankcase_pa)
    columns = (trace.time_ms, elapsed_ms(trace), trace.running, trace.reset, *pressures)
    for begin in range(0, len(trace), BLOCK):
        block = (column[begin : begin + BLOCK].tolist() for column in columns)
        yield from zip(*block, strict=True)


def replay_trace(trace: Trace, settings: Settings) -> Replay:
    """Run the logic over a trace, from power-up of a machine at rest; times are ms since its first row."""
    logic = Logic(settings)
    for inputs in _ticks(trace):
        logic.tick(*inputs)
    late = int(np.count_nonzero(elapsed_ms(trace) > settings.values[ranges.MAX_GAP]))
    return Replay(tuple(logic.changes), tuple(logic.stops), logic.run_ms, late, logic.locked_out)


@dataclass(frozen=True)
class Trail:
    """What the logic did at every row: states int64[n], integral float64[n] in percent of trip delay; the stops."""

    states: NDArray[np.int64]
    integral_percent: NDArray[np.float64]
    stops: tuple[Stop, ...]


def follow(trace: Trace, settings: Settings) -> Trail:
    """Run the logic over a trace and keep state and integral of every row."""
    logic = Logic(settings)
    states, integral = np.zeros(len(trace), np.int64), np.zeros(len(trace), np.float64)
    for row, inputs in enumerate(_ticks(trace)):
        logic.tick(*inputs)
        states[row] = logic.memory[state.STATE]
        integral[row] = logic.memory[state.INTEGRAL]
    return Trail(states, 100.0 * integral / settings.values[ranges.TRIP_DELAY], tuple(logic.stops))


@functools.cache
def logic_digest() -> str:
    """Return the SHA-256 over the source files of `protect`, names and line-end-free text, in name order."""
    digest = hashlib.sha256()
    for path in sorted(Path(protect.__file__).parent.glob("*.py")):
        text = path.read_text(encoding="utf-8")
        digest.update(f"{path.name}\n{len(text)}\n{text}".encode())
    return digest.hexdigest()
