"""A lane: what compiled code carries of a candidate through a trace, and the single step.

A candidate is a row of `values` (its settings), of `memory` (the state array of `protect`) and of `carry`.
"""

from typing import Any, NamedTuple

import numpy as np

from protect import outputs, ranges, signals, state
from replay.sweep.blocks import EACH, SPAN, SPAN_BITS, Array, Columns, Flags, Rows, Words, last_move
from replay.sweep.table_facts import Tables

FAR = 2**40  # ms; beyond every gap and every age
CHANNEL_SIZE = state.SUCTION_SEEN - state.OIL_SEEN


class View(NamedTuple):
    """A trace as the sensor settings of a batch see it (`blocks.classify`), and what the table does."""

    columns: Columns
    ticks: int
    summaries: Rows
    kinds: Flags
    low: Words
    low_spans: Words
    tables: Tables
    last_reset: int


def view_of(columns: Columns, summaries: Array, tables: Tables, last_reset: int) -> View:
    """Return a view with room for what the blocks are under the settings of a batch."""
    count = len(summaries)
    spans = (count + SPAN - 1) >> SPAN_BITS
    kinds, low, low_spans = np.zeros(count, np.uint8), np.zeros(count, np.int64), np.zeros(spans, np.int64)
    given: Any = (columns, len(columns.time), summaries, kinds, low, low_spans, tables, last_reset)
    return View(*given)


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


class Room(NamedTuple):
    """What a lane takes beside the rows of its candidate."""

    patient: Words
    held: Words
    before: Words
    inputs: Words
    results: Words


ROOM = (ranges.SETTINGS_SIZE, ranges.SETTINGS_SIZE, state.STATE_SIZE, ranges.INPUTS_SIZE, outputs.OUTPUTS_SIZE)


def room() -> Room:
    """Return room for one lane at a time."""
    made: Any = [np.zeros(size, np.int64) for size in ROOM]
    return Room(*made)


def begin(lane: Lane) -> None:
    """Fill the other settings; patient are those with the limits on what no long tick meets far off."""
    copy(lane.held, lane.values, ranges.SETTINGS_SIZE)
    lane.held[ranges.REST_MOST] = ranges.REST_OFF
    copy(lane.patient, lane.held, ranges.SETTINGS_SIZE)
    lane.patient[ranges.MAX_GAP] = FAR
    lane.patient[ranges.STUCK_AFTER] = FAR


def copy(words: Words, source: Words, size: int) -> None:
    """Copy words."""
    for place in range(size):
        words[place] = source[place]


def read_tick(columns: Columns, tick: int, inputs: Words) -> None:
    """Take the readings of a tick, and the time since the one before."""
    elapsed = 0
    if tick > 0:
        elapsed = columns.time[tick] - columns.time[tick - 1]
    inputs[ranges.ELAPSED] = min(elapsed, ranges.INPUTS[ranges.ELAPSED][3])
    inputs[ranges.RUN_FEEDBACK] = columns.running[tick]
    inputs[ranges.RESET] = columns.reset[tick]
    for channel in EACH:
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
    for channel in EACH:
        readings = view.columns.readings[channel]
        place = state.OIL_SEEN + CHANNEL_SIZE * channel
        moved = last_move(readings, view.ticks, view.summaries, channel, to)
        age = 0
        since = max(moved, tick) - 1
        if moved <= tick and readings[tick] == before[place]:
            age = before[place + 1]
        memory[place] = readings[to - 1]
        if running:
            age += times[to - 1] - times[since]
        memory[place + 1] = age
