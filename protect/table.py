"""Step 5, the cause-and-effect table: the only place where transitions live.

Two rules.
1. Whatever changes the state of the protection is a row here. The other modules
   measure; they never choose a state.
2. A row knows bits and states only: no pressure, no time, no settings.

How it works. A row (state, mask, value, next state, effect) applies when the
machine is in `state` and the conditions under `mask` equal `value`. The first
row that applies is taken, then the table is read again from the new state with
the same conditions, until no row applies; a row with an effect is the last of
its step. So a step ends in a settled state: a machine that starts with good oil
pressure is LUBRICATED in the same step, an integral that fills in one late tick
trips in that tick, and a reset that is pressed in the very step of a lockout
does not undo it. No conditions lead in a circle, and three moves are the most
(the tests go through all of them).

Which row wins when several apply: a declared sensor fault before everything, as
decisions from such readings are worth nothing; then a machine that has stopped;
then the reload guard before the full integral, because it names the graver
event; the full integral with its lockout form first; then the way to health.

The reload guard locks out at once. It stops bearings that are dry as they are loaded;
the next start would load them just so, and the few seconds that were won would be lost.
So a person primes the pump first. For the same reason it acts in LUBRICATED too.

The reset rule: *a reset ends a lockout, and nothing else*. It has to be pressed in
LOCKED_OUT and held for reset_hold of standstill, so no single sample of the input
does it. It makes of the lockout a trip: in TRIPPED the rules of a restart apply, with the
restart delay from the press on. It forgets the counted trips, but not the integral: a
reset brings no oil. Resets are counted themselves. Once resets_most of them have come
within the trip memory, a further one is refused and says so as the cause, until the
memory ends: a machine that is freed again and again is not looked at.

What is not in the table, and why: start grace, restart delay, trip memory and
the starved spell are amounts of time or of history; they arrive here as bits.
A trip or a reset is counted in the effect, since the row says which stops count: a stop on
a sensor fault does not, since it tells nothing about the bearings.

How to add a row: where it wins over the rows below it. A new effect gets a number and a branch in `apply_effect`. The
tests report a dead row, a circle, a state that cannot be reached or left, and a row that breaks a written invariant.
"""

from protect.conditions import (
    HEALTHY,
    IN_GRACE,
    INTEGRAL_FULL,
    LAST_TRIP,
    LOW,
    RELOAD_GUARD,
    RESET_PRESS,
    RESETS_SPENT,
    RESTART_DUE,
    RUNNING,
    SENSOR_FAULT,
    SENSOR_OK,
)
from protect.ranges import TRIP_MEMORY
from protect.signals import DOUBTS
from protect.state import (
    CAUSE,
    FLAGS,
    LOCKED_OUT,
    LUBRICATED,
    MEMORY_LEFT,
    OIL_CAUSE,
    ONE_RESET,
    PRIMING,
    RELOAD_CAUSE,
    RESET_PRESSED,
    RESETS,
    RESETS_CAUSE,
    SENSOR_CAUSE,
    STARVED,
    STATE,
    STOPPED,
    TRIPPED,
    TRIPS,
)

# Effects of a row.
NONE = 0
STOP_ON_OIL = 1  # a counted trip: the integral was full
STOP_ON_RELOAD = 2  # the reload guard acted, which is counted as a trip too
STOP_ON_SENSOR = 3  # a stop that is not counted
FORGET_TRIPS = 4  # the manual reset, which is counted
REFUSE_RESET = 5  # a manual reset too many

TABLE = (
    # state, mask, value, next state, effect
    (STOPPED, SENSOR_FAULT, SENSOR_FAULT, TRIPPED, STOP_ON_SENSOR),
    (STOPPED, RUNNING, RUNNING, PRIMING, NONE),
    #
    (PRIMING, SENSOR_FAULT, SENSOR_FAULT, TRIPPED, STOP_ON_SENSOR),
    (PRIMING, RUNNING, 0, STOPPED, NONE),
    (PRIMING, RELOAD_GUARD, RELOAD_GUARD, LOCKED_OUT, STOP_ON_RELOAD),
    (PRIMING, LOW | IN_GRACE, LOW, STARVED, NONE),
    (PRIMING, LOW | HEALTHY, HEALTHY, LUBRICATED, NONE),
    #
    (LUBRICATED, SENSOR_FAULT, SENSOR_FAULT, TRIPPED, STOP_ON_SENSOR),
    (LUBRICATED, RUNNING, 0, STOPPED, NONE),
    (LUBRICATED, RELOAD_GUARD, RELOAD_GUARD, LOCKED_OUT, STOP_ON_RELOAD),
    (LUBRICATED, LOW | IN_GRACE, LOW | IN_GRACE, PRIMING, NONE),
    (LUBRICATED, LOW, LOW, STARVED, NONE),
    #
    (STARVED, SENSOR_FAULT, SENSOR_FAULT, TRIPPED, STOP_ON_SENSOR),
    (STARVED, RUNNING, 0, STOPPED, NONE),
    (STARVED, RELOAD_GUARD, RELOAD_GUARD, LOCKED_OUT, STOP_ON_RELOAD),
    (STARVED, INTEGRAL_FULL | LAST_TRIP, INTEGRAL_FULL | LAST_TRIP, LOCKED_OUT, STOP_ON_OIL),
    (STARVED, INTEGRAL_FULL, INTEGRAL_FULL, TRIPPED, STOP_ON_OIL),
    (STARVED, LOW | HEALTHY, HEALTHY, LUBRICATED, NONE),
    #
    (TRIPPED, RUNNING | RESTART_DUE | SENSOR_OK | SENSOR_FAULT, RESTART_DUE | SENSOR_OK, STOPPED, NONE),
    #
    (LOCKED_OUT, RESET_PRESS | RESETS_SPENT, RESET_PRESS | RESETS_SPENT, LOCKED_OUT, REFUSE_RESET),
    (LOCKED_OUT, RESET_PRESS, RESET_PRESS, TRIPPED, FORGET_TRIPS),
)

MOST_MOVES = 3


def apply_effect(state: list[int], settings: list[int], bits: int, effect: int) -> None:
    """Do what a row says beside the change of state."""
    if effect == STOP_ON_OIL or effect == STOP_ON_RELOAD:
        state[TRIPS] += 1  # <= trips_to_lockout <= 100: the last one locks out
        state[MEMORY_LEFT] = settings[TRIP_MEMORY]
        if effect == STOP_ON_OIL:
            state[CAUSE] = OIL_CAUSE
        else:
            state[CAUSE] = RELOAD_CAUSE
    elif effect == STOP_ON_SENSOR:
        state[CAUSE] = SENSOR_CAUSE | (bits & DOUBTS)
    elif effect == FORGET_TRIPS:
        state[TRIPS] = 0
        state[MEMORY_LEFT] = settings[TRIP_MEMORY]
        state[FLAGS] &= ~RESET_PRESSED
        if (state[FLAGS] & RESETS) != RESETS:  # pragma: no branch - full is RESETS_SPENT, refused above
            state[FLAGS] += ONE_RESET
    elif effect == REFUSE_RESET:
        state[CAUSE] = RESETS_CAUSE
        state[FLAGS] &= ~RESET_PRESSED


def settle(state: list[int], settings: list[int], bits: int) -> None:
    """Take the first row that applies, again and again, until none does or one has an effect."""
    for _ in range(MOST_MOVES):
        moved = False
        for row in TABLE:
            if row[0] == state[STATE] and (bits & row[1]) == row[2]:
                state[STATE] = row[3]
                apply_effect(state, settings, bits, row[4])
                moved = row[4] == NONE
                break
        if not moved:
            return
