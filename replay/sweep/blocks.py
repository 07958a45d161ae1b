"""A trace in blocks: least and greatest readings, gaps and unmoved stretches, summed up once for all candidates.

A summary says enough about every tick of its block to tell, for any settings,
whether all readings are plausible, all ticks in time and all channels moving.
It is made in one pass that reads each column once, over the ticks of the block and
the one before it, without which no time between ticks and no move can be told.

The *age* of a channel at a tick is the time for which its reading has not moved
while the machine of the trace ran, as `protect.signals` counts it but without
its limit. The logic of a candidate never counts more than this: while it holds
the machine still, the trace may run and it does not count.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from protect import ranges

Array = NDArray[np.int64]

BLOCK = 64  # ticks of a block
BRANCH = 64  # blocks of a bough, the next size up

# Places of a summary.
NET_LEAST = 0
OIL_LEAST, OIL_MOST = 1, 2
SUCTION_LEAST, SUCTION_MOST = 3, 4
CRANKCASE_LEAST, CRANKCASE_MOST = 5, 6
LONGEST = 7  # longest time from one tick to the next
STANDING = 8  # ticks at which the trace does not run
RUNNING = 9  # ticks at which it does
RESETS = 10  # ticks with the reset input on
AGE_MOST = 11  # no channel is older than this at any tick of the block
LAST_MOVE = 12  # of oil, suction and crankcase pressure: the last tick up to the end of the block at which it moved
SUMMARY_SIZE = 15

# Bits of what a block is under the sensor settings of some candidates.
INTACT = 1  # all readings are plausible and no tick is late
MOVING = 2  # no channel is stuck at any tick
RUNS = 4  # the trace runs at every tick
STANDS = 8  # the trace runs at no tick
NO_RESET = 16  # the reset input is never on

NEVER = -(2**62)  # below every net oil pressure


class Columns(NamedTuple):
    """The columns of a trace as compiled code takes them: int64[n], running and reset uint8[n], all contiguous."""

    time: NDArray[np.int64]
    oil: NDArray[np.int64]
    suction: NDArray[np.int64]
    crankcase: NDArray[np.int64]
    running: NDArray[np.uint8]
    reset: NDArray[np.uint8]


def summarise(columns: Any, shared: bool, summaries: Any) -> None:  # noqa: FBT001  numba takes no keywords
    """Fill int64[blocks, SUMMARY_SIZE]; shared: crankcase pressure is the suction pressure.

    Loops are short, plain and over slices, so that the compiler turns them into vector code.
    """
    ages = np.zeros(3, np.int64)
    moves = np.zeros(3, np.int64)
    for block in range(summaries.shape[0]):
        before = max(block * BLOCK - 1, 0)
        end = min(block * BLOCK + BLOCK, len(columns.time))
        oil, suction, crankcase = columns.oil[before:end], columns.suction[before:end], columns.crankcase[before:end]
        times, running = columns.time[before:end], columns.running[before:end]
        summary = summaries[block]
        summary[NET_LEAST], summary[OIL_LEAST], summary[OIL_MOST] = _extremes(oil, crankcase)
        _, summary[SUCTION_LEAST], summary[SUCTION_MOST] = _extremes(suction, suction)
        longest, runs = _longest(times), _count(running)
        stands = end - before - runs
        summary[LONGEST], summary[RUNNING], summary[STANDING] = longest, runs, stands
        summary[RESETS] = _count(columns.reset[before:end])
        ages[0], moved, most = _age(oil, times, running, stands, runs, longest, ages[0])
        moves[0] = before + moved if moved else moves[0]
        ages[1], moved, suction_most = _age(suction, times, running, stands, runs, longest, ages[1])
        moves[1] = before + moved if moved else moves[1]
        summary[CRANKCASE_LEAST], summary[CRANKCASE_MOST] = summary[SUCTION_LEAST], summary[SUCTION_MOST]
        crankcase_age, crankcase_move = ages[2], moves[2]
        ages[2], moves[2], crankcase_most = ages[1], moves[1], suction_most
        if not shared:
            _, summary[CRANKCASE_LEAST], summary[CRANKCASE_MOST] = _extremes(crankcase, crankcase)
            ages[2], moved, crankcase_most = _age(crankcase, times, running, stands, runs, longest, crankcase_age)
            moves[2] = before + moved if moved else crankcase_move
        summary[AGE_MOST] = max(most, suction_most, crankcase_most)
        summary[LAST_MOVE], summary[LAST_MOVE + 1], summary[LAST_MOVE + 2] = moves[0], moves[1], moves[2]


def _extremes(readings: Any, lower: Any) -> Any:
    """Return the least difference to what lies under the readings, and the least and greatest of them."""
    least = most = readings[0]
    difference = readings[0] - lower[0]
    for tick in range(len(readings)):
        least, most = min(least, readings[tick]), max(most, readings[tick])
        difference = min(difference, readings[tick] - lower[tick])
    return difference, least, most


def _count(flags: Any) -> int:
    """Count the ticks at which an input is on."""
    count = 0
    for tick in range(len(flags)):
        count += flags[tick]
    return count


def _longest(times: Any) -> int:
    """Return the longest time from one tick to the next."""
    longest = 0
    for tick in range(1, len(times)):
        longest = max(longest, times[tick] - times[tick - 1])
    return longest


def _age(readings: Any, times: Any, running: Any, stands: int, runs: int, longest: int, age: int) -> Any:
    """Carry the age of a channel on over a block: its age at the end, its last move or 0, a bound on its age.

    The bound is exact where ticks come evenly. The ticks at which the reading does not
    move are the bits of one word, in which runs are found at once.
    """
    unmoved: Any = 0
    for tick in range(1, len(readings)):
        unmoved |= np.int64(readings[tick] == readings[tick - 1]) << (tick - 1)
    last = len(readings) - 1
    while last > 0 and (unmoved >> (last - 1)) & 1:
        last -= 1
    if runs == 0:
        return (0 if last > 0 else age), last, age
    if stands != 0:
        age, most = _age_by_tick(readings, times, running, age)
        return age, last, most
    first = run = 0
    while first < len(readings) - 1 and (unmoved >> first) & 1:
        first += 1
    while unmoved != 0:
        unmoved &= unmoved << 1
        run += 1
    most = max(age + first * longest, (run + 1) * longest)
    return (times[-1] - times[last - 1] if last > 0 else age + times[-1] - times[0]), last, most


def _age_by_tick(readings: Any, times: Any, running: Any, age: int) -> Any:
    """Age a channel over a block in which the machine starts or stops: its age at the end and its greatest."""
    most = age
    for tick in range(1, len(readings)):
        if readings[tick] != readings[tick - 1]:
            age = 0
        if running[tick]:
            age += times[tick] - times[tick - 1]
        most = max(most, age)
    return age, most


def last_move(readings: Any, summaries: Any, channel: int, to: int) -> int:
    """Return the last tick before `to` at which a channel moved, 0 where it never did."""
    if to % BLOCK == 0 or to == len(readings):
        return summaries[(to - 1) // BLOCK, LAST_MOVE + channel]  # type: ignore[no-any-return]
    begin = to // BLOCK * BLOCK
    for tick in range(to - 1, max(begin - 1, 0), -1):
        if readings[tick] != readings[tick - 1]:
            return tick
    return summaries[begin // BLOCK - 1, LAST_MOVE + channel] if begin > 0 else 0


def classify(summaries: Any, values: Any, kinds: Any, low: Any, low_boughs: Any) -> None:
    """Say what each block is under the sensor settings of `values`.

    Fills kinds uint8[blocks] with the bits above; low int64[blocks] with the least
    net oil pressure of a block that is intact, moving and running, and NEVER of
    any other; low_boughs with the least of BRANCH such blocks at a time.
    """
    low_boughs[:] = 2**62
    for block in range(summaries.shape[0]):
        summary = summaries[block]
        kind = 0
        if (
            values[ranges.OIL_LEAST] <= summary[OIL_LEAST]
            and summary[OIL_MOST] <= values[ranges.OIL_MOST]
            and values[ranges.SUCTION_LEAST] <= min(summary[SUCTION_LEAST], summary[CRANKCASE_LEAST])
            and max(summary[SUCTION_MOST], summary[CRANKCASE_MOST]) <= values[ranges.SUCTION_MOST]
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
        low_boughs[block // BRANCH] = min(low_boughs[block // BRANCH], low[block])


def count_late(columns: Any, summaries: Any, max_gap: int) -> int:
    """Count the ticks that come more than max_gap (ms) after the one before."""
    late = 0
    for block in range(summaries.shape[0]):
        if summaries[block, LONGEST] > max_gap:
            for tick in range(max(block * BLOCK, 1), min(block * BLOCK + BLOCK, len(columns.time))):
                late += columns.time[tick] - columns.time[tick - 1] > max_gap
    return late
