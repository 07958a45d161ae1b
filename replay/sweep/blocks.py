"""A trace in blocks: least and greatest readings, gaps and unmoved stretches, summed up once for all candidates.

A summary tells, for any settings, whether all readings of its block are plausible, all ticks in time
and all channels moving. It covers the ticks of the block and the one before it, without which no time
between ticks and no move can be told. One pass reads each column once.

The *age* of a channel at a tick is the time for which its reading has not moved while the machine
of the trace ran, as `protect.signals` counts it but without its limit: a missing reading is no move, and
adds nothing. The logic of a candidate never
counts more than this: while it holds the machine still, the trace may run and it does not count.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from protect import ranges

Array = NDArray[np.int64]
Flags = NDArray[np.uint8]

BLOCK = 64  # ticks of a block
SPAN = 64  # blocks of a span, the next size up

CHANNELS = 3
OIL, SUCTION, CRANKCASE = range(CHANNELS)

# Places of a summary, the first three with one for each channel.
LEAST, MOST, LAST_MOVE = 0, 3, 6  # LAST_MOVE: the last tick up to the end of the block at which the reading moved
NET_LEAST = 9
LONGEST = 10  # longest time from one tick to the next
STANDING = 11  # ticks at which the trace does not run
RUNNING = 12  # ticks at which it does
RESETS = 13  # ticks with the reset input on
AGE_MOST = 14  # no channel is older than this at any tick of the block
NET_MOST = 15
SUMMARY_SIZE = 16

# Bits of what a block is under the sensor settings of a batch.
INTACT = 1  # all readings are plausible and no tick is late
MOVING = 2  # no channel is stuck at any tick
RUNS = 4  # the trace runs at every tick
STANDS = 8  # the trace runs at no tick
NO_RESET = 16  # the reset input is never on

NEVER = -(2**62)  # below every net oil pressure


class Columns(NamedTuple):
    """The columns of a trace as compiled code takes them: all of n ticks and in one piece."""

    time: Array
    readings: tuple[Array, Array, Array]  # oil, suction, crankcase pressure
    running: Flags
    reset: Flags


def summarise(columns: Columns, shared: bool, summaries: Array, seen: Array, ages: Array) -> None:  # noqa: FBT001  numba takes no keywords
    """Fill int64[blocks, SUMMARY_SIZE]; shared: crankcase pressure is the suction pressure.

    seen, ages int64[3]: what was seen last of each channel, and its age, at the first tick; then at the last.
    Loops are short, plain and over slices, so that the compiler turns them into vector code.
    """
    moves = np.zeros(CHANNELS, np.int64)
    for block in range(summaries.shape[0]):
        before = max(block * BLOCK - 1, 0)
        end = min(block * BLOCK + BLOCK, len(columns.time))
        times, running = columns.time[before:end], columns.running[before:end]
        summary = summaries[block]
        longest, runs = _longest(times), _count(running)
        stands = end - before - runs
        summary[LONGEST], summary[RUNNING], summary[STANDING] = longest, runs, stands
        summary[RESETS] = _count(columns.reset[before:end])
        oil, crankcase = columns.readings[OIL][before:end], columns.readings[CRANKCASE][before:end]
        summary[NET_LEAST], summary[NET_MOST] = _nets(oil, crankcase)
        summary[AGE_MOST] = 0
        for channel in range(SUCTION + 1 if shared else CHANNELS):
            readings = columns.readings[channel][before:end]
            summary[LEAST + channel], summary[MOST + channel] = _extremes(readings)
            if summary[LEAST + channel] > ranges.NO_READING:
                ages[channel], moved, most = _age(readings, times, running, stands, runs, longest, ages[channel])
                seen[channel] = readings[-1]
            else:
                seen[channel], ages[channel], most = _age_by_tick(
                    readings, times, running, seen[channel], ages[channel]
                )
                moved = _last_move(readings)
            summary[AGE_MOST] = max(summary[AGE_MOST], most)
            if moved:
                moves[channel] = before + moved
            summary[LAST_MOVE + channel] = moves[channel]
        if shared:
            for place in (LEAST, MOST, LAST_MOVE):
                summary[place + CRANKCASE] = summary[place + SUCTION]


def _extremes(readings: Array) -> tuple[int, int]:
    """Return the least and the greatest reading."""
    least = most = readings[0]
    for tick in range(len(readings)):
        least, most = min(least, readings[tick]), max(most, readings[tick])
    return least, most


def _nets(oil: Array, crankcase: Array) -> tuple[int, int]:
    """Return the least and the greatest net oil pressure."""
    least = most = oil[0] - crankcase[0]
    for tick in range(len(oil)):
        least, most = min(least, oil[tick] - crankcase[tick]), max(most, oil[tick] - crankcase[tick])
    return least, most


def _count(flags: Flags) -> int:
    """Count the ticks at which an input is on."""
    count = 0
    for tick in range(len(flags)):
        count += flags[tick]
    return count


def _longest(times: Array) -> int:
    """Return the longest time from one tick to the next."""
    longest = 0
    for tick in range(1, len(times)):
        longest = max(longest, times[tick] - times[tick - 1])
    return longest


def _age(
    readings: Array, times: Array, running: Flags, stands: int, runs: int, longest: int, age: int
) -> tuple[int, int, int]:
    """Carry the age of a channel on over a block: its age at the end, its last move or 0, a bound on its age.

    The bound is exact where ticks come evenly. The ticks at which the reading does not
    move are the bits of one word, in which runs are found at once.
    """
    unmoved = 0
    for tick in range(1, len(readings)):
        unmoved |= int(readings[tick] == readings[tick - 1]) << (tick - 1)
    last = len(readings) - 1
    while last > 0 and (unmoved >> (last - 1)) & 1:
        last -= 1
    if runs == 0:
        return (0 if last > 0 else age), last, age
    if stands != 0:
        _, age, most = _age_by_tick(readings, times, running, readings[0], age)
        return age, last, most
    first = run = 0
    while first < len(readings) - 1 and (unmoved >> first) & 1:
        first += 1
    while unmoved != 0:
        unmoved &= unmoved << 1
        run += 1
    most = max(age + first * longest, (run + 1) * longest)
    return (times[-1] - times[last - 1] if last > 0 else age + times[-1] - times[0]), last, most


def _age_by_tick(readings: Array, times: Array, running: Flags, seen: int, age: int) -> tuple[int, int, int]:
    """Age a channel over a block in which the machine starts or stops, or readings are missing.

    Return the reading seen last, its age at the end and the greatest age.
    """
    most = age
    if readings[0] != ranges.NO_READING:
        seen = readings[0]
    for tick in range(1, len(readings)):
        if readings[tick] == ranges.NO_READING:
            continue
        if readings[tick] != seen:
            age = 0
        seen = readings[tick]
        if running[tick]:
            age += times[tick] - times[tick - 1]
        most = max(most, age)
    return seen, age, most


def _last_move(readings: Array) -> int:
    """Return the last tick whose reading is not that of the tick before, missing or not; 0 where there is none."""
    for tick in range(len(readings) - 1, 0, -1):
        if readings[tick] != readings[tick - 1]:
            return tick
    return 0


def last_move(readings: Array, summaries: Array, channel: int, to: int) -> int:
    """Return the last tick before `to` at which a channel moved, was lost or came back; 0 where it never did."""
    if to % BLOCK == 0 or to == len(readings):
        return int(summaries[(to - 1) // BLOCK, LAST_MOVE + channel])
    begin = to // BLOCK * BLOCK
    for tick in range(to - 1, max(begin - 1, 0), -1):
        if readings[tick] != readings[tick - 1]:
            return tick
    return int(summaries[begin // BLOCK - 1, LAST_MOVE + channel]) if begin > 0 else 0


def classify(summaries: Array, values: Array, kinds: Flags, low: Array, low_spans: Array) -> None:
    """Say what each block is under the sensor settings of `values`.

    Fills kinds uint8[blocks] with the bits above; low int64[blocks] with the least
    net oil pressure of a block that is intact, moving and running, and NEVER of
    any other; low_spans with the least of SPAN such blocks at a time.
    """
    low_spans[:] = 2**62
    for block in range(summaries.shape[0]):
        summary = summaries[block]
        kind = 0
        if (
            values[ranges.OIL_LEAST] <= summary[LEAST + OIL]
            and summary[MOST + OIL] <= values[ranges.OIL_MOST]
            and values[ranges.SUCTION_LEAST] <= min(summary[LEAST + SUCTION], summary[LEAST + CRANKCASE])
            and max(summary[MOST + SUCTION], summary[MOST + CRANKCASE]) <= values[ranges.SUCTION_MOST]
            and summary[LONGEST] <= values[ranges.MAX_GAP]
        ):
            kind |= INTACT
        if summary[AGE_MOST] < values[ranges.STUCK_AFTER]:
            kind |= MOVING
        if summary[STANDING] == 0:
            kind |= RUNS
        if summary[RUNNING] == 0:
            kind |= STANDS
        if summary[RESETS] == 0:
            kind |= NO_RESET
        kinds[block] = kind
        low[block] = summary[NET_LEAST] if kind & (INTACT | MOVING | RUNS) == INTACT | MOVING | RUNS else NEVER
        low_spans[block // SPAN] = min(low_spans[block // SPAN], low[block])


def count_late(columns: Columns, summaries: Array, max_gap: int) -> int:
    """Count the ticks that come more than max_gap (ms) after the one before."""
    late = 0
    for block in range(summaries.shape[0]):
        if summaries[block, LONGEST] > max_gap:
            for tick in range(max(block * BLOCK, 1), min(block * BLOCK + BLOCK, len(columns.time))):
                late += columns.time[tick] - columns.time[tick - 1] > max_gap
    return late
