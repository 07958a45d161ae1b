"""Step 3, timers: restart delay, trip memory, sensor fault time.

Time that nobody saw (a late tick) never relaxes anything: it runs neither the
restart delay nor the trip memory down, and the trip memory runs on credible time
only. All values are in ms; the longest is the
trip memory, 604800000 < 2**30.
"""

from protect.outputs import DOUBTED, SEEN
from protect.ranges import FAULT_DELAY, MAX_GAP, RESTART_DELAY, RUN_FEEDBACK
from protect.state import (
    FAULT_DECLARED,
    FAULT_TIME,
    FLAGS,
    MEMORY_LEFT,
    RESETS,
    RESTART_LEFT,
    STATE,
    TRIPPED,
    TRIPS,
)


def run_down(state: list[int], place: int, elapsed: int) -> None:
    """Take elapsed off the time left at a place of the state, not below nothing."""
    left = state[place] - elapsed
    if left < 0:
        left = 0
    state[place] = left


def update(state: list[int], settings: list[int], inputs: list[int], outputs: list[int]) -> None:
    """Move the timers by this step's elapsed time."""
    seen = outputs[SEEN]
    doubted = outputs[DOUBTED]
    elapsed = seen + doubted

    # The restart delay is standstill: it is full while the machine runs.
    if inputs[RUN_FEEDBACK]:
        state[RESTART_LEFT] = settings[RESTART_DELAY]
    elif elapsed <= settings[MAX_GAP]:
        run_down(state, RESTART_LEFT, elapsed)

    # The trip memory does not run while a tripped machine is still running down.
    if not (inputs[RUN_FEEDBACK] and state[STATE] >= TRIPPED):
        run_down(state, MEMORY_LEFT, seen)
        if state[MEMORY_LEFT] == 0:
            state[TRIPS] = 0
            state[FLAGS] &= ~RESETS

    # Doubt counts up, credible time counts down, so a loose contact adds up. A
    # declared fault ends when all doubt has drained: credible for fault_delay.
    run_down(state, FAULT_TIME, seen)
    if state[FAULT_TIME] == 0:
        state[FLAGS] &= ~FAULT_DECLARED
    doubt = state[FAULT_TIME] + doubted  # <= 1800000 + 1800000
    if doubt >= settings[FAULT_DELAY]:
        doubt = settings[FAULT_DELAY]
        state[FLAGS] |= FAULT_DECLARED
    state[FAULT_TIME] = doubt
