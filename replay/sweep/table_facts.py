"""What the cause-and-effect table does when little is known, read from the table itself.

Nothing here restates the table: a row that is added to it is looked at like the
others, and where it might apply, a candidate steps.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from protect import conditions as c
from protect import state, table

STATES = 6

# Classes of net oil pressure.
LOW, BETWEEN, HEALTHY = 0, 1, 2
CLASSES = (c.LOW, 0, c.HEALTHY)
STEP = -1  # what the table does depends on more than is known, or has an effect

# What is known while the machine runs on credible readings and nothing is full, due or declared.
_RUNNING = c.RUNNING | c.LOW | c.INTEGRAL_FULL | c.RELOAD_GUARD | c.SENSOR_OK | c.SENSOR_FAULT
# What is known beside that of a fast tick: net oil pressure, and that the start grace is used up.
FAST_KNOWN = _RUNNING | c.HEALTHY | c.IN_GRACE
# What is known in each state over a long tick: a running machine is not low, none of the bits of a standing one is on.
LONG_KNOWN = {
    state.STOPPED: c.RUNNING | c.RELOAD_GUARD | c.SENSOR_OK | c.SENSOR_FAULT,
    state.PRIMING: _RUNNING,
    state.LUBRICATED: _RUNNING,
    state.STARVED: _RUNNING,
    state.TRIPPED: c.RUNNING | c.RELOAD_GUARD | c.SENSOR_OK | c.RESTART_DUE,
    state.LOCKED_OUT: c.RUNNING | c.RELOAD_GUARD | c.SENSOR_OK | c.RESET_PRESS,
}


class Tables(NamedTuple):
    """What the table does, as compiled code takes it.

    stays int64[STATES]: 1 where a state stays what it is over a long tick.
    moves int64[STATES * 3]: where a fast tick of each class of net oil pressure leads, or STEP.
    final: 1 where only a reset ends a lockout.
    """

    stays: NDArray[np.int64]
    moves: NDArray[np.int64]
    final: int


def tables() -> Tables:
    """Read the table."""
    stays = [rests(place, LONG_KNOWN[place], long_bits(place)) for place in range(STATES)]
    moves = [[_led_to(place, c.RUNNING | c.SENSOR_OK | bits) for bits in CLASSES] for place in range(STATES)]
    final = rests(state.LOCKED_OUT, c.RESET_PRESS, 0)
    return Tables(np.array(stays, np.int64), np.array(moves, np.int64).ravel(), int(final))


def long_bits(place: int) -> int:
    """Return which of the known conditions of a long tick are on."""
    return c.SENSOR_OK | (c.RUNNING if LONG_KNOWN[place] == _RUNNING else 0)


def rests(place: int, known: int, bits: int) -> bool:
    """Say that no row applies in a state, whatever the conditions outside of `known` are."""
    return all(row[0] != place or (row[2] ^ bits) & row[1] & known for row in table.TABLE)


def _led_to(place: int, bits: int) -> int:
    """Return the state that a state ends in, whatever the conditions outside of FAST_KNOWN are, or STEP."""
    for _ in range(table.MOST_MOVES):
        if rests(place, FAST_KNOWN, bits):
            return place
        # The first row that may apply has to be one that does, on what is known alone, and has no effect.
        row = next(row for row in table.TABLE if row[0] == place and not (row[2] ^ bits) & row[1] & FAST_KNOWN)
        if row[1] & ~FAST_KNOWN or row[4] != table.NONE:
            return STEP
        place = row[3]
    return place if rests(place, FAST_KNOWN, bits) else STEP
