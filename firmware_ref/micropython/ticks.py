"""The tick difference on MicroPython: the one place that knows how its clock wraps.

`time.ticks_ms()` counts through 0 .. 2**30 - 1 and starts again. The mask below
is itself a small integer, so the difference allocates nothing (a 32-bit mask
would). A clock that jumps backwards gives a very long elapsed time, which the
protection takes as a late tick.
"""

TICK_MASK = 0x3FFFFFFF


def elapsed_ms(now: int, before: int) -> int:
    """Return ms from tick `before` to tick `now`, 0 .. 2**30 - 1, across any wrap."""
    return (now - before) & TICK_MASK
