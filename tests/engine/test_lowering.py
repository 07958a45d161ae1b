"""The lowering to machine code: every form that it knows does what Python does, and what it does not know it refuses."""

import ctypes
import random
from collections.abc import Callable
from typing import Any, NamedTuple

import pytest

from replay.engine import native
from replay.engine.lowering import Program, UnknownFormError

TABLE = ((0, 3, 1, 5), (0, 4, 4, -7), (1, 8, 0, 9))
LIMIT = 7
WHICH = (0, 1)


def arithmetic(words: list[int]) -> None:
    """Do everything there is with two numbers."""
    a = words[0]
    b = words[1]
    words[2] = a + b
    words[3] = a - b
    words[4] = a * b
    words[5] = a & b
    words[6] = a | b
    words[7] = a ^ b
    words[8] = a >> (b & 7)
    words[9] = a << (b & 7)
    words[10] = -a
    words[11] = ~b
    words[b & 1] += LIMIT


def truth(a: int, b: int) -> bool:
    """Say something of two numbers, either of which may be taken as a truth."""
    return (a and not b) or (a > b and b != 3) or not (a <= b or b)


def choices(words: list[int]) -> None:
    """Compare, and choose."""
    if words[0] < words[1] or truth(words[1], words[0]):
        words[2] = 1
    elif words[0] == words[1]:
        words[2] = 2
    else:
        words[2] = words[0] >= LIMIT
    was = truth(words[0], words[1])
    words[3] = was
    if was and words[0]:
        return
    words[4] = 11


def inside(words: list[int]) -> None:
    """Go through a table of numbers, more than once and with an early end."""
    for turn in range(3):
        found = False
        for row in TABLE:
            if row[0] == (words[0] & 1) and (words[1] & row[1]) == row[2]:
                words[2] += row[3]
                found = row[3] > 0
                break
        if not found:
            words[3] = turn
            return
        words[1] >>= 1
    words[4] = 1


def looping(words: list[int]) -> None:
    """Count up and down, and leave a loop from within."""
    left = words[0] & 15
    while left > 0 and words[2] < 40:
        words[2] += left
        left -= 1
    for place in range(8):
        if place == (words[1] & 7):
            break
        words[place + 4] = place


def counting(words: list[int]) -> None:
    """Count, with a bound worked out once and a variable that the body changes."""
    size = words[0] & 7
    for place in range(size):
        words[place + 2] = place * place
        size += 1


def rows(table: list[list[int]]) -> None:
    """Write into rows of a table, each by itself and as a whole."""
    table[0][2] = len(table)
    table[0][3] = len(table[0])
    for place in range(len(table)):
        arithmetic(table[place])


class Pair(NamedTuple):
    """Two arrays and a number."""

    first: list[int]
    second: list[int]
    number: int


def least_and_most(words: list[int], begin: int, end: int) -> tuple[int, int, bool]:
    """Give three things back."""
    least, most = words[begin], words[begin]
    for place in range(begin, end):
        least = min(least, words[place])
        most = max(most, words[place], -8)
    return least, most, least < most


def of_pair(pair: Pair, turn: int) -> int:
    """Work on the parts of a tuple."""
    for which in WHICH:
        pair[which][4] += turn
    for place in range(7, 4, -1):
        if pair.first[place] == pair.number:
            continue
        pair.second[place] += place
    return pair.first[4] if turn > 3 else -pair.second[4]


def tuples(table: list[list[int]]) -> None:
    """Take tuples apart and put them together."""
    one, other = table[0], table[1]
    pair = Pair(one, table[1], 5)
    one[5], other[6], differs = least_and_most(table[0], 0, len(TABLE))
    one[7] = differs
    other[0], other[1] = other[1], other[0]
    for turn in range(2, 5):
        table[2][turn] = of_pair(pair, turn)


FORMS = (arithmetic, choices, inside, looping, counting)


def lowered(function: Any) -> Callable[..., None]:
    """Return a function as machine code that takes addresses."""
    return native.load(native.compiled(function), function)


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.__name__)
def test_every_form_does_what_python_does(form: Callable[[list[int]], None]) -> None:
    """Catches an operator, a truth or a way through a loop that is another one in machine code."""
    made, rng = lowered(form), random.Random(5)  # noqa: S311
    for _ in range(300):
        most = rng.choice((3, 9, 1 << 20))
        words = [rng.randint(-most, most) for _ in range(2)] + [0] * 10
        array = (ctypes.c_int64 * 12)(*words)
        form(words)
        made(ctypes.addressof(array))

        assert list(array) == words


@pytest.mark.parametrize("form", [rows, tuples], ids=lambda form: form.__name__)
def test_rows_of_a_table_are_arrays(form: Callable[[list[list[int]]], None]) -> None:
    """Catches rows that begin at the wrong word, lengths that are mixed up, and a part of a tuple taken for another."""
    table = [[row * 3 - 2, row + 5, *[0] * 10] for row in range(3)]
    array = (ctypes.c_int64 * 36)(*(word for row in table for word in row))
    form(table)
    lowered(form)(ctypes.addressof(array), 3, 12)

    assert list(array) == [word for row in table for word in row]


def divided(words: list[int]) -> None:
    """Divide, which no step does."""
    words[0] = words[1] // 2


def chained(words: list[int]) -> None:
    """Compare in a chain."""
    words[0] = 0 < words[1] < 2


def called(words: list[int]) -> None:
    """Call what is not written in the small language."""
    words[0] = abs(words[1])


def rebound(table: list[list[int]]) -> None:
    """Let a name stand for another array in a branch, of which machine code would know one alone."""
    words = table[0]
    if words[0]:
        words = table[1]
    words[1] = 1


def added(words: list[int], others: list[int]) -> None:
    """Add the words of an array to those of another."""
    for place in range(4):
        words[place + 1] += others[place]


def twice(words: list[int]) -> None:
    """Give an array twice to what takes two."""
    added(words, words)


def unbound(words: list[int]) -> None:
    """Use a name that nobody has given a value."""
    words[0] = unheard_of  # type: ignore[name-defined]  # noqa: F821


@pytest.mark.parametrize("form", [divided, chained, called, unbound, rebound, twice], ids=lambda f: f.__name__)
def test_what_is_not_known_is_refused(form: Callable[[list[int]], None]) -> None:
    """Catches a form that is left out or taken for another in silence."""
    with pytest.raises(UnknownFormError, match=r"(?s)line \d+: "):
        Program().function(form)
