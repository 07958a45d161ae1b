"""What the seal finds, proved over the sums as they stand in the code."""

from typing import Any

import z3

from tests.proof.logic import Logic, at, within
from tests.proof.symbolic import Integer, assume, prove

HALF = 1 << 16


class Halved:
    """A word known by its halves: what `word & 65535` and `word >> 16` give of any 32-bit word."""

    def __init__(self, low: Any, high: Any) -> None:
        self.low, self.high = low, high

    def __and__(self, mask: int) -> Any:
        assert mask == HALF - 1
        return self.low

    def __rshift__(self, bits: int) -> "Halved":
        assert bits == 16
        return Halved(self.high, 0)


def any_words(count: int) -> list[Halved]:
    """Return so many words of any content."""
    words = [Halved(Integer.named(f"low.{place}"), Integer.named(f"high.{place}")) for place in range(count)]
    for word in words:
        assume(within(word.low, 0, HALF - 1), within(word.high, 0, HALF - 1))
    return words


def changed(words: list[Halved], places: tuple[Integer, Integer], by: tuple[Integer, Integer]) -> list[Halved]:
    """Return words with the halves at two places (from 0 on) moved by these amounts."""

    def moved(half: Integer, number: int) -> Integer:
        """Return half number `number` after the change."""
        for place, amount in zip(places, by, strict=True):
            half = Integer(half.term + z3.If(place.term == number, amount.term, z3.IntVal(0)))
        return half

    return [Halved(moved(word.low, 2 * n), moved(word.high, 2 * n + 1)) for n, word in enumerate(words)]


def a_change_within_two_halves_breaks_the_seal(logic: Logic) -> None:
    """Theorem: words of which one half or two are changed, in any way, have another plain or another weighted sum.

    So one word changed in any way is found, and so are any two flipped bits. The sums are
    at most 3801031 and 112130386. Shown for as many words as there are settings; the words
    of the state are such with words of nothing behind them. Assumes: nothing.
    """
    words = any_words(logic.ranges.SETTINGS_SIZE)
    size = len(words)
    places, by = (Integer.named("a"), Integer.named("b")), (Integer.named("by_a"), Integer.named("by_b"))
    assume(within(places[0], 0, 2 * size - 1), within(places[1], 0, 2 * size - 1), places[0] < places[1])
    assume(~(at(by[0], 0) & at(by[1], 0)))
    others = changed(words, places, by)
    plain = logic.seal.plain_sum(words, size), logic.seal.plain_sum(others, size)
    weighted = logic.seal.weighted_sum(words, size), logic.seal.weighted_sum(others, size)
    prove(within(plain[0], 1, 3_801_031), "the plain sum is at most 3801031")
    prove(within(weighted[0], 1, 112_130_386), "the weighted sum is at most 112130386")
    prove(~(at(*plain) & at(*weighted)), "two changed halves change a sum")


def a_fill_never_agrees_with_its_seal(logic: Logic) -> None:
    """Theorem: words that are all the same are never sealed by that very word, as after a stray fill or an erase.

    Assumes: nothing.
    """
    word = any_words(1)[0]
    filled = word.low + word.high * HALF
    for size in (logic.state.STATE_SIZE, logic.ranges.SETTINGS_SIZE):
        plain, weighted = logic.seal.plain_sum([word] * size, size), logic.seal.weighted_sum([word] * size, size)
        prove(~(at(plain, filled) & at(weighted, filled)), f"{size} words filled alike with their seal")
