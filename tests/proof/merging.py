"""A function on all its ways at once: the outcomes are put back together as one.

So the ways through the parts of a step add up instead of multiplying.
"""

from collections.abc import Callable
from typing import Any

import z3

from tests.proof import ways
from tests.proof.symbolic import Bits, Integer, Truth, as_bits, define, fresh, term_of, truth_term
from tests.proof.ways import paths, watched


def together(values: list[tuple[Any, Any]]) -> Any:
    """Return one value for (condition, value) pairs of which exactly one condition holds.

    It gets a name of its own, so that what is built on it stays small.
    """
    plain = [value for _, value in values]
    if all(signature(value) == signature(plain[0]) for value in plain):
        return plain[0]
    if any(isinstance(value, Bits) for value in plain):
        return bits_together([(condition, as_bits(value)) for condition, value in values])
    if any(isinstance(value, Truth | bool) for value in plain):
        return either([(condition, truth_term(value)) for condition, value in values])
    term = term_of(plain[-1])
    for condition, value in reversed(values[:-1]):
        term = z3.If(condition, term_of(value), term)
    named = fresh("either")
    define(Truth(named.term == term))
    return Integer(named.term, choices_together(values))


def either(values: list[tuple[Any, Any]]) -> Truth:
    """Return one condition for (condition, condition) pairs."""
    term = z3.simplify(z3.Or([z3.And(condition, value) for condition, value in values]))
    if z3.is_true(term) or z3.is_false(term):
        return Truth(term)
    ways.WORLD.names += 1
    named = z3.Bool(f"either!{ways.WORLD.names}")
    define(Truth(named == term))
    return Truth(named)


def bits_together(values: list[tuple[Any, Bits]]) -> Bits:
    """Return flags whose every bit is that of the condition which holds."""
    off = z3.BoolVal(val=False)
    on = {}
    for place in sorted({place for _, value in values for place in value.on}):
        bits = [(condition, value.on.get(place, off)) for condition, value in values]
        same = all(bit.eq(bits[0][1]) for _, bit in bits)
        on[place] = bits[0][1] if same else either(bits).term
    return Bits(on)


def choices_together(values: list[tuple[Any, Any]]) -> list[tuple[Any, int]] | None:
    """Return the constants that these values can be with their conditions, or None where there are others."""
    choices: list[tuple[Any, int]] = []
    for condition, value in values:
        if isinstance(value, int):
            choices.append((condition, value))
        elif value.choices is None:
            return None
        else:
            choices += [(z3.And(condition, inner), number) for inner, number in value.choices]
    return choices


def merged(function: Callable[..., Any], *, bounded: bool = False) -> Callable[..., Any]:
    """Return a function that takes all ways through this one and leaves their common result.

    Lists among its arguments are the arrays it writes to: their words are put
    together from all ways, as is what it returns.
    """

    def on_all_ways(*arguments: Any) -> Any:
        def run() -> tuple[Any, list[list[Any]]]:
            copies = [list(given) if isinstance(given, list) else given for given in arguments]
            with watched(on=bounded):
                returned = function(*copies)
            return returned, [copy for copy in copies if isinstance(copy, list)]

        outcomes = paths(run, bounded=function.__name__ if bounded else "", alone=True)
        for number, array in enumerate(given for given in arguments if isinstance(given, list)):
            for place in range(len(array)):
                array[place] = together([(o.condition, o.result[1][number][place]) for o in outcomes])
        return together([(o.condition, o.result[0]) for o in outcomes])

    return remembered(on_all_ways)


def remembered(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return a function that, once run, leaves the same results when a way comes to the same place again.

    So a way that is run again meets the same new names, and sooner.
    """

    def recalled(*arguments: Any) -> Any:
        arrays = [given for given in arguments if isinstance(given, list)]
        conditions = [condition for way in ways.WORLD.ways for condition in way.conditions]
        key = (recalled, *(place_of(condition) for condition in conditions), *map(signature, arguments))
        if key not in ways.WORLD.known:
            # Kept, as z3 gives the place of a term that is gone to another one.
            kept = (conditions, arguments, [list(array) for array in arrays])
            facts = ways.WORLD.ways[-1].facts
            count = len(facts)
            returned = function(*arguments)
            ways.WORLD.known[key] = (returned, [list(array) for array in arrays], facts[count:], kept)
            return returned
        returned, words, facts, _ = ways.WORLD.known[key]
        ways.define(facts)
        for array, known in zip(arrays, words, strict=True):
            array[:] = known
        return returned

    return recalled


def stand_in(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return a function that may take the place of a part of a step: its own arithmetic is none of the step's."""

    def unwatched(*arguments: Any) -> Any:
        with watched(on=False):
            return function(*arguments)

    return remembered(unwatched)


def signature(value: Any) -> Any:
    """Return what tells two arguments apart; equal terms of z3 are one."""
    if isinstance(value, list):
        return tuple(map(signature, value))
    if isinstance(value, Bits):
        return tuple((place, place_of(term)) for place, term in value.on.items())
    if isinstance(value, Integer):
        choices = value.choices or []
        return (place_of(value.term), *((place_of(condition), number) for condition, number in choices))
    return ("truth", place_of(value.term)) if isinstance(value, Truth) else value


def place_of(term: Any) -> int:
    """Return where z3 holds a term, in which equal ones that are not gone yet are the same."""
    place: int = term.ast.value
    return place
