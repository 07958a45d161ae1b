"""A lane: what compiled code carries of a candidate through a trace, and the single step.

A candidate is a row of `values` (its settings), of `memory` (the state array of `protect`) and of `carry`.
"""

from typing import NamedTuple

import numpy as np

from protect import outputs, ranges, signals, state, table
from protect.protection import measure
from replay.sweep.blocks import CHANNELS, Array, Columns, Flags, last_move
from replay.sweep.table_facts import Tables

Words = list[int]  # an array of `protect`, which speaks of lists; in compiled code a row int64[n]

FAR = 2**40  # ms; beyond every gap and every age
CHANNEL_SIZE = state.SUCTION_SEEN - state.OIL_SEEN


class View(NamedTuple):
    """A trace as the sensor settings of a batch see it (`blocks.classify`), and what the table does."""

    columns: Columns
    summaries: Array
    kinds: Flags
    low: Array
    low_spans: Array
    tables: Tables
    last_reset: int


class Lane(NamedTuple):
    """One candidate on its way: its rows, other settings, the state before what was just taken, room for a step.

    held: the settings where the trace runs on without permission, without standstill zero (`replay.engine.obeying`).
    """

    memory: Words
    values: Words
    carry: Words
    patient: Words
    held: Words
    before: Words
    inputs: Words
    results: Words


def lane_of(memory: Words, values: Words, carry: Words) -> Lane:
    """Return the lane of a candidate; patient are its settings with the limits on what no long tick meets far off."""
    held = values.copy()
    held[ranges.REST_MOST] = ranges.REST_OFF
    patient = held.copy()
    patient[ranges.MAX_GAP] = FAR
    patient[ranges.STUCK_AFTER] = FAR
    before, inputs, results = room(state.STATE_SIZE), room(ranges.INPUTS_SIZE), room(outputs.OUTPUTS_SIZE)
    return Lane(memory, values, carry, patient, held, before, inputs, results)


def room(size: int) -> Words:
    """Return room for so many words."""
    return np.zeros(size, np.int64)  # type: ignore[return-value]


def copy(words: Words, source: Words) -> None:
    """Copy words one by one, which compiles sooner than a slice."""
    for place in range(len(source)):
        words[place] = source[place]


def step(memory: Words, values: Words, inputs: Words, results: Words, settled: Flags) -> None:
    """Do what `protect.protection.step` does; the table is read only where one of its rows applies."""
    bits = measure(memory, values, inputs, results)
    if settled[memory[state.STATE], bits & (settled.shape[1] - 1)] == 0:
        table.settle(memory, values, bits)
    outputs.write(memory, values, results)


def read_tick(columns: Columns, tick: int, inputs: Words) -> None:
    """Take the readings of a tick, and the time since the one before."""
    elapsed = columns.time[tick] - columns.time[tick - 1] if tick > 0 else 0
    inputs[ranges.ELAPSED] = min(elapsed, ranges.INPUTS[ranges.ELAPSED][3])
    inputs[ranges.RUN_FEEDBACK] = columns.running[tick]
    inputs[ranges.RESET] = columns.reset[tick]
    for channel in range(CHANNELS):
        inputs[ranges.OIL_PRESSURE + channel] = columns.readings[channel][tick]


def is_sound(columns: Columns, tick: int, lane: Lane) -> bool:
    """Say whether a tick is in time and all its readings are plausible, as `protect.signals` has it."""
    read_tick(columns, tick, lane.inputs)
    return lane.inputs[ranges.ELAPSED] <= lane.values[ranges.MAX_GAP] and signals.plausible(lane.values, lane.inputs)


def put_ages(view: View, memory: Words, before: Words, tick: int, to: int, running: int) -> None:
    """Put last readings and ages right after the ticks from `tick` to before `to`, none of them stuck.

    before: the state before them, with what was seen last and its age, which the first of them is held against; none
    of them is missing. A reading that moves is as old as the time since
    it did, and of no age at standstill; one that does not move ages while the machine runs.
    """
    times = view.columns.time
    for channel in range(CHANNELS):
        readings, place = view.columns.readings[channel], state.OIL_SEEN + CHANNEL_SIZE * channel
        moved = last_move(readings, view.summaries, channel, to)
        age, since = 0, max(moved, tick) - 1
        if moved <= tick and readings[tick] == before[place]:
            age = before[place + 1]
        memory[place] = readings[to - 1]
        memory[place + 1] = age + (times[to - 1] - times[since] if running else 0)
