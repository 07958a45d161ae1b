"""Wrong tables that are none: they lead the same way from every state under all conditions that can stand together.

What cannot stand together is said here by name, and proved of any step (test_wrong_tables.py).
"""

from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt

from protect import conditions, state, table

Bits = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
COUNT = len(conditions.NAMES)
ALL = np.arange(1 << COUNT, dtype=np.int64)
STATES = range(state.LOCKED_OUT + 1)


def on(bits: Bits, *names: str) -> Mask:
    """Say where all conditions of these names hold."""
    wanted = sum(1 << conditions.NAMES.index(name) for name in names)
    return (bits & wanted) == wanted


# By name: where in all bits of a state something cannot be.
NEVER: dict[str, Callable[[int, Bits], Mask]] = {
    "low and healthy": lambda _, bits: on(bits, "low", "healthy"),
    "healthy on a reading in doubt": lambda _, bits: on(bits, "healthy") & ~on(bits, "sensor_ok"),
    "a reading in doubt that is not low": lambda _, bits: ~on(bits, "sensor_ok") & ~on(bits, "low"),
    "the reload guard without a running machine": lambda _, bits: on(bits, "reload_guard") & ~on(bits, "running"),
    "the reload guard on a reading in doubt": lambda _, bits: on(bits, "reload_guard") & ~on(bits, "sensor_ok"),
    "the reload guard in the step of a start": lambda now, bits: on(bits, "reload_guard") & (now == state.STOPPED),
    "a fault declared on a credible reading": lambda now, bits: (
        on(bits, "sensor_fault", "sensor_ok") & (now < state.TRIPPED)
    ),
    "starved, healthy and the integral full": lambda now, bits: (
        on(bits, "healthy", "integral_full") & (now == state.STARVED)
    ),
    "starved, at a stop, and the integral full": lambda now, bits: (
        on(bits, "integral_full") & ~on(bits, "running") & (now == state.STARVED)
    ),
    "starved, not low, and the integral full": lambda now, bits: (
        on(bits, "integral_full") & ~on(bits, "low") & (now == state.STARVED)
    ),
    "starved, running and in grace": lambda now, bits: on(bits, "running", "in_grace") & (now == state.STARVED),
    "a press but in a lockout": lambda now, bits: on(bits, "reset_press") & (now != state.LOCKED_OUT),
}


def possible(now: int) -> Bits:
    """Return the conditions that can stand together when a step settles from a state."""
    never = np.zeros(len(ALL), bool)
    for where in NEVER.values():
        never |= where(now, ALL)
    return ALL[~never]


def led(
    rows: Sequence[Sequence[int]], most: int, now: int, bits: Bits, seen: Callable[[int], int] = int
) -> tuple[Bits, Bits, Bits]:
    """Return where a table leads from a state under each of these conditions, the effect at the end, and how many rows had one.

    seen: what is made of an effect where it is asked whether the table is to be read again.
    """
    again = np.array([seen(what) == table.NONE for what in range(table.REFUSE_RESET + 1)])
    count = np.zeros(len(bits), np.int64)
    at, effect = np.full(len(bits), now), np.zeros(len(bits), np.int64)
    moving = np.ones(len(bits), bool)
    for _ in range(most):
        free, then, does = moving.copy(), at.copy(), effect.copy()
        moved = np.zeros(len(bits), bool)
        for own, mask, value, target, what in rows:
            taken = free & (at == own) & ((bits & mask) == value)
            then[taken], does[taken] = target, what
            count[taken] += what != table.NONE
            free &= ~taken
            moved |= taken
        at, effect = then, does
        moving = moved & again[effect]
    return at, effect, count


def same(rows: Sequence[Sequence[int]], most: int) -> bool:
    """Say whether a table leads as the right one does."""
    for now in STATES:
        bits = possible(now)
        right, wrong = led(table.TABLE, table.MOST_MOVES, now, bits), led(rows, most, now, bits)
        if not all(map(np.array_equal, right, wrong)):
            return False
    return True


def told_apart(
    rows: Sequence[Sequence[int]] = table.TABLE, most: int = table.MOST_MOVES, seen: Callable[[int], int] = int
) -> set[tuple[int, int]]:
    """Return the (state, conditions) from which a table, or one that is read again by another rule, leads elsewhere."""
    found: set[tuple[int, int]] = set()
    for now in STATES:
        bits = possible(now)
        right, wrong = led(table.TABLE, table.MOST_MOVES, now, bits), led(rows, most, now, bits, seen)
        differ = np.any([mine != other for mine, other in zip(right, wrong, strict=True)], axis=0)
        found |= {(now, int(word)) for word in bits[differ]}
    return found
