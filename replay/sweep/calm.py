"""Where the cause-and-effect table leads when little is known, read from the table itself.

Nothing here restates the table: a row that is added to it is looked at like the
others, and where it might apply, a candidate steps instead of leaping.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from protect import conditions as c
from protect import state, table

STATES = 6
CONDITIONS = 1 << len(c.NAMES)

# Classes of net oil pressure.
LOW, BETWEEN, HEALTHY = 0, 1, 2
CLASSES = (c.LOW, 0, c.HEALTHY)

# What is known while the machine runs on credible readings and nothing is full, due or declared.
RUNNING_KNOWN = c.RUNNING | c.LOW | c.HEALTHY | c.INTEGRAL_FULL | c.RELOAD_GUARD | c.SENSOR_OK | c.SENSOR_FAULT
# What is known beside that with the start grace used up.
GRACE_KNOWN = RUNNING_KNOWN | c.IN_GRACE
STEP = -1  # what the table does depends on more than is known, or has an effect
# What is known while it stands, by state: a restart is not due after a trip, nobody resets a lockout.
STANDING_KNOWN = {
    state.STOPPED: c.RUNNING | c.RELOAD_GUARD | c.SENSOR_OK | c.SENSOR_FAULT,
    state.TRIPPED: c.RUNNING | c.RELOAD_GUARD | c.SENSOR_OK | c.RESTART_DUE,
    state.LOCKED_OUT: c.RUNNING | c.RELOAD_GUARD | c.SENSOR_OK | c.RESET_EDGE,
}


def rests(place: int, known: int, bits: int) -> bool:
    """Say that no row applies in a state, whatever the conditions outside of `known` are."""
    return all(row[0] != place or (row[2] ^ bits) & row[1] & known for row in table.TABLE)


def resting() -> NDArray[np.uint8]:
    """Return uint8[STATES, CONDITIONS]: 1 where no row applies in a state under conditions."""
    bits = np.arange(CONDITIONS)
    rest = np.ones((STATES, CONDITIONS), np.uint8)
    for place, mask, value, *_ in table.TABLE:
        rest[place, bits & mask == value] = 0
    return rest


def running_calm() -> NDArray[np.uint8]:
    """Return uint8[STATES, 3]: 1 where a running machine stays in its state at a class of net oil pressure.

    For credible readings while the integral is not full, the reload guard does not act and no fault is declared.
    """
    known = [
        [rests(place, RUNNING_KNOWN, c.RUNNING | c.SENSOR_OK | bits) for bits in CLASSES] for place in range(STATES)
    ]
    return np.array(known, np.uint8)


def _led_to(place: int, known: int, bits: int) -> int:
    """Return the state that a state ends in, whatever the conditions outside of `known` are, or STEP."""
    for _ in range(table.MOST_MOVES):
        if rests(place, known, bits):
            return place
        # The first row that may apply has to be one that does, on what is known alone, and has no effect.
        row = next(row for row in table.TABLE if row[0] == place and not (row[2] ^ bits) & row[1] & known)
        if row[1] & ~known or row[4] != table.NONE:
            return STEP
        place = row[3]
    return place if rests(place, known, bits) else STEP


def running_moves() -> NDArray[np.int8]:
    """Return int8[STATES, 3]: the state that a running machine is led to at a class of net oil pressure, or STEP.

    As for `running_calm`, and with the start grace used up.
    """
    moves = [
        [_led_to(place, GRACE_KNOWN, c.RUNNING | c.SENSOR_OK | bits) for bits in CLASSES] for place in range(STATES)
    ]
    return np.array(moves, np.int8)


def standing_calm() -> NDArray[np.uint8]:
    """Return uint8[STATES]: 1 where a machine that stands stays in its state under STANDING_KNOWN."""
    return np.array(
        [place in STANDING_KNOWN and rests(place, STANDING_KNOWN[place], c.SENSOR_OK) for place in range(STATES)],
        np.uint8,
    )


class Tables(NamedTuple):
    """What the table says of states at rest, as compiled code takes it; final: only a reset ends a lockout."""

    resting: NDArray[np.uint8]
    running: NDArray[np.uint8]
    moves: NDArray[np.int8]
    standing: NDArray[np.uint8]
    final: int


def tables() -> Tables:
    """Read the table."""
    final = rests(state.LOCKED_OUT, c.RESET_EDGE, 0)
    return Tables(resting(), running_calm(), running_moves(), standing_calm(), int(final))
