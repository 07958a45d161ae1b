"""A candidate and its way: what compiled code carries through a trace, and the single step.

A candidate is a row of `values` (its settings), of `memory` (the state array of
`protect`) and of `carry`.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from protect import outputs, ranges, signals, state, table
from protect.protection import measure
from replay.sweep import blocks, calm

Array = NDArray[np.int64]

# Places of what is carried with a candidate.
POSITION = 0  # the tick it comes to next
RUN_MS = 1
PERMITTED = 2
FELT = 3  # the machine has felt that run permission is withdrawn
LOCKED = 4  # it has been locked out at some time
LEFT = 5  # the tick at which it left its company: its stops before are those of the leader
CARRY_SIZE = 6

FAR = 2**40  # ms; beyond every gap and every age
CHANNEL_SIZE = state.SUCTION_SEEN - state.OIL_SEEN
SPELL = state.IN_SPELL | state.VACUUM_SEEN


class Way(NamedTuple):
    """A trace under the sensor settings of some candidates, and what the table says of states at rest."""

    columns: blocks.Columns
    summaries: Array
    kinds: NDArray[np.uint8]
    low: Array
    low_boughs: Array
    tables: calm.Tables
    last_reset: int


class Machine(NamedTuple):
    """One candidate: its rows of memory, values and carry, patient settings, and room for a step."""

    memory: Array
    values: Array
    carry: Array
    patient: Array
    inputs: Array
    results: Array


def patient_of(values: Any) -> Any:
    """Return these settings with the limits on gaps and on unmoved readings out of reach."""
    patient = values.copy()
    patient[ranges.MAX_GAP] = FAR
    patient[ranges.STUCK_AFTER] = FAR
    return patient


def copy(words: Any, source: Any) -> None:
    """Copy words one by one, which compiles sooner than a slice."""
    for place in range(len(source)):
        words[place] = source[place]


def step(memory: Any, values: Any, inputs: Any, results: Any, resting: Any) -> None:
    """Do what `protect.protection.step` does; the table is read only where one of its rows applies."""
    bits = measure(memory, values, inputs, results)
    if resting[memory[state.STATE], bits] == 0:
        table.settle(memory, values, bits)
    outputs.write(memory, values, results)


def read_tick(columns: Any, tick: int, inputs: Any) -> None:
    """Take the readings of a tick, and the time since the one before."""
    elapsed = columns.time[tick] - columns.time[tick - 1] if tick > 0 else 0
    inputs[ranges.ELAPSED] = min(elapsed, ranges.INPUTS[ranges.ELAPSED][3])
    inputs[ranges.RUN_FEEDBACK] = columns.running[tick]
    inputs[ranges.RESET] = columns.reset[tick]
    inputs[ranges.OIL_PRESSURE] = columns.oil[tick]
    inputs[ranges.SUCTION_PRESSURE] = columns.suction[tick]
    inputs[ranges.CRANKCASE_PRESSURE] = columns.crankcase[tick]


def is_sound(columns: Any, tick: int, values: Any, inputs: Any) -> bool:
    """Say whether a tick is in time and all its readings are plausible, as `protect.signals` has it."""
    read_tick(columns, tick, inputs)
    return inputs[ranges.ELAPSED] <= values[ranges.MAX_GAP] and signals.plausible(values, inputs)


def put_ages(columns: Any, summaries: Any, memory: Any, tick: int, to: int, running: int) -> None:
    """Put last readings and ages right after the ticks from `tick` to before `to`, none of them stuck.

    The memory holds the ages before them. A reading that moves is as old as the time since it did,
    and of no age at standstill; one that does not move ages while the machine runs.
    """
    for channel in range(3):
        readings = columns.oil if channel == 0 else (columns.suction if channel == 1 else columns.crankcase)
        place = state.OIL_SEEN + CHANNEL_SIZE * channel
        moved = blocks.last_move(readings, summaries, channel, to)
        since = tick - 1
        if moved >= tick:
            memory[place + 1] = 0
            since = moved - 1
        if running:
            memory[place + 1] += columns.time[to - 1] - columns.time[since]
        memory[place] = readings[to - 1]
