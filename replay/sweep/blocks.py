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
Words = list[int]  # an array of `protect`, which speaks of lists; in compiled code a row int64[n]
Rows = list[Words]  # in compiled code int64[n, m]

BLOCK_BITS = SPAN_BITS = 6
BLOCK = 1 << BLOCK_BITS  # ticks of a block
SPAN = 1 << SPAN_BITS  # blocks of a span, the next size up

CHANNELS = 3
OIL, SUCTION, CRANKCASE = range(CHANNELS)
EACH = (OIL, SUCTION, CRANKCASE)

# Places of a summary, the first three with one for each channel.
LEAST, MOST, LAST_MOVE = 0, 3, 6  # LAST_MOVE: the last tick up to the end of the block at which the reading moved
OF_CHANNELS = (LEAST, MOST, LAST_MOVE)
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


def summarise(
    columns: Columns, ticks: int, shared: int, summaries: Rows, seen: Words, ages: Words, moves: Words
) -> None:
    """Fill int64[blocks, SUMMARY_SIZE]; shared: crankcase pressure is the suction pressure.

    seen, ages int64[3]: what was seen last of each channel, and its age, at the first tick; then at the last. moves
    int64[3]: room, all 0. Loops are short and plain, so that the compiler turns them into vector code.
    """
    times, running = columns.time, columns.running
    for block in range(len(summaries)):
        begin = max(block * BLOCK - 1, 0)
        end = min(block * BLOCK + BLOCK, ticks)
        summary = summaries[block]
        longest = _longest(times, begin, end)
        runs = _count(running, begin, end)
        stands = end - begin - runs
        summary[LONGEST] = longest
        summary[RUNNING] = runs
        summary[STANDING] = stands
        summary[RESETS] = _count(columns.reset, begin, end)
        oil, crankcase = columns.readings[OIL], columns.readings[CRANKCASE]
        summary[NET_LEAST], summary[NET_MOST] = _nets(oil, crankcase, begin, end)
        summary[AGE_MOST] = 0
        for channel in EACH:
            if shared and channel == CRANKCASE:
                break
            readings = columns.readings[channel]
            summary[LEAST + channel], summary[MOST + channel] = _extremes(readings, begin, end)
            if summary[LEAST + channel] > ranges.NO_READING:
                ages[channel], moved, most = _age(
                    readings, times, running, begin, end, stands, runs, longest, ages[channel]
                )
                seen[channel] = readings[end - 1]
            else:
                seen[channel], ages[channel], most = _age_by_tick(
                    readings, times, running, begin, end, seen[channel], ages[channel]
                )
                moved = _last_move(readings, begin, end)
            summary[AGE_MOST] = max(summary[AGE_MOST], most)
            if moved:
                moves[channel] = begin + moved
            summary[LAST_MOVE + channel] = moves[channel]
        if shared:
            for place in OF_CHANNELS:
                summary[place + CRANKCASE] = summary[place + SUCTION]


def _extremes(readings: Array, begin: int, end: int) -> tuple[int, int]:
    """Return the least and the greatest reading."""
    least = readings[begin]
    most = readings[begin]
    for tick in range(begin, end):
        least = min(least, readings[tick])
        most = max(most, readings[tick])
    return least, most


def _nets(oil: Array, crankcase: Array, begin: int, end: int) -> tuple[int, int]:
    """Return the least and the greatest net oil pressure."""
    least = oil[begin] - crankcase[begin]
    most = least
    for tick in range(begin, end):
        least = min(least, oil[tick] - crankcase[tick])
        most = max(most, oil[tick] - crankcase[tick])
    return least, most


def _count(flags: Flags, begin: int, end: int) -> int:
    """Count the ticks at which an input is on."""
    count = 0
    for tick in range(begin, end):
        count += flags[tick]
    return count


def _longest(times: Array, begin: int, end: int) -> int:
    """Return the longest time from one tick to the next."""
    longest = 0
    for tick in range(begin + 1, end):
        longest = max(longest, times[tick] - times[tick - 1])
    return longest


def _age(
    readings: Array,
    times: Array,
    running: Flags,
    begin: int,
    end: int,
    stands: int,
    runs: int,
    longest: int,
    age: int,
) -> tuple[int, int, int]:
    """Carry the age of a channel on over a block: its age at the end, its last move or 0, a bound on its age.

    The bound is exact where ticks come evenly. The ticks at which the reading does not
    move are the bits of one word, in which runs are found at once.
    """
    unmoved = 0
    for tick in range(begin + 1, end):
        unmoved |= (readings[tick] == readings[tick - 1]) << (tick - 1 - begin)
    size = end - begin
    last = size - 1
    while last > 0 and (unmoved >> (last - 1)) & 1:
        last -= 1
    if runs == 0:
        return (0 if last > 0 else age), last, age
    if stands != 0:
        _, age, most = _age_by_tick(readings, times, running, begin, end, readings[begin], age)
        return age, last, most
    first = 0
    run = 0
    while first < size - 1 and (unmoved >> first) & 1:
        first += 1
    while unmoved != 0:
        unmoved &= unmoved << 1
        run += 1
    most = max(age + first * longest, (run + 1) * longest)
    if last > 0:
        return times[end - 1] - times[begin + last - 1], last, most
    return age + times[end - 1] - times[begin], last, most


def _age_by_tick(
    readings: Array, times: Array, running: Flags, begin: int, end: int, seen: int, age: int
) -> tuple[int, int, int]:
    """Age a channel over a block in which the machine starts or stops, or readings are missing.

    Return the reading seen last, its age at the end and the greatest age.
    """
    most = age
    if readings[begin] != ranges.NO_READING:
        seen = readings[begin]
    for tick in range(begin + 1, end):
        if readings[tick] == ranges.NO_READING:
            continue
        if readings[tick] != seen:
            age = 0
        seen = readings[tick]
        if running[tick]:
            age += times[tick] - times[tick - 1]
        most = max(most, age)
    return seen, age, most


def _last_move(readings: Array, begin: int, end: int) -> int:
    """Return how far from the first the last tick is that has not the reading of the one before; 0 where none is."""
    for tick in range(end - 1, begin, -1):
        if readings[tick] != readings[tick - 1]:
            return tick - begin
    return 0


def last_move(readings: Array, ticks: int, summaries: Rows, channel: int, to: int) -> int:
    """Return the last tick before `to` at which a channel moved, was lost or came back; 0 where it never did."""
    if to & (BLOCK - 1) == 0 or to == ticks:
        return summaries[(to - 1) >> BLOCK_BITS][LAST_MOVE + channel]
    begin = to & -BLOCK
    for tick in range(to - 1, max(begin - 1, 0), -1):
        if readings[tick] != readings[tick - 1]:
            return tick
    if begin == 0:
        return 0
    return summaries[(begin >> BLOCK_BITS) - 1][LAST_MOVE + channel]


def classify(summaries: Rows, values: Words, kinds: Flags, low: Words, low_spans: Words) -> None:
    """Say what each block is under the sensor settings of `values`.

    Fills kinds uint8[blocks] with the bits above; low int64[blocks] with the least
    net oil pressure of a block that is intact, moving and running, and NEVER of
    any other; low_spans with the least of SPAN such blocks at a time.
    """
    for block in range(len(summaries)):
        if block & (SPAN - 1) == 0:
            low_spans[block >> SPAN_BITS] = -NEVER
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
        low[block] = NEVER
        if kind & (INTACT | MOVING | RUNS) == INTACT | MOVING | RUNS:
            low[block] = summary[NET_LEAST]
        low_spans[block >> SPAN_BITS] = min(low_spans[block >> SPAN_BITS], low[block])


def count_late(columns: Columns, ticks: int, summaries: Rows, max_gap: int) -> int:
    """Count the ticks that come more than max_gap (ms) after the one before."""
    late = 0
    for block in range(len(summaries)):
        if summaries[block][LONGEST] > max_gap:
            for tick in range(max(block * BLOCK, 1), min(block * BLOCK + BLOCK, ticks)):
                late += columns.time[tick] - columns.time[tick - 1] > max_gap
    return late
