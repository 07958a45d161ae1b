"""Integers that build terms of z3 under Python's operators, so that unmodified integer code can be proved.

An `Integer` stands for all values of a z3 term. Arithmetic and comparisons build
new terms, exactly: `>>` by a constant is division rounded down, `& 2**k - 1` is
the remainder, both as Python has them for negative numbers too. Where the code
asks whether something is true, the run forks (`ways`).

Results of operators under `watched` are noted, and `ways.paths` can be asked to
prove all of them below 2**30 in magnitude.
"""

from typing import TYPE_CHECKING, Any, Self

import z3

from tests.proof import ways

if TYPE_CHECKING:
    from collections.abc import Iterable

BITS = 27  # of flags, conditions and causes
SIGNED = 40  # bits of a number below 0, the highest of which go on for ever


def assume(*conditions: "Truth | bool") -> None:
    """Take conditions as given from here to the end of this way."""
    ways.WORLD.solver.add(*map(truth_term, conditions))


def define(*facts: "Truth | bool") -> None:
    """Say what is known of a new name. Unlike what is assumed, it stays known when its way has ended."""
    ways.define([truth_term(fact) for fact in facts])


def prove(claim: "Truth | bool", name: str) -> None:
    """Show that a claim follows from what is assumed on this way. Raises Unproved."""
    ways.prove(truth_term(claim), name)


class Truth:
    """A condition; asking for it forks."""

    def __init__(self, term: Any) -> None:
        self.term = term

    def __bool__(self) -> bool:
        return ways.WORLD.fork(self.term)

    def __and__(self, other: "Truth | bool") -> "Truth":
        return Truth(z3.And(self.term, truth_term(other)))

    def __or__(self, other: "Truth | bool") -> "Truth":
        return Truth(z3.Or(self.term, truth_term(other)))

    def __invert__(self) -> "Truth":
        return Truth(z3.Not(self.term))

    __rand__, __ror__ = __and__, __or__


def truth_term(value: "Truth | bool") -> Any:
    """Return a condition as a term of z3."""
    return value.term if isinstance(value, Truth) else z3.BoolVal(bool(value))


def implies(given: "Truth | bool", then: "Truth | bool") -> Truth:
    """Return the condition `if given, then`."""
    return Truth(z3.Implies(truth_term(given), truth_term(then)))


def every(conditions: "Iterable[Truth | bool]") -> Truth:
    """Return the condition that all of these hold."""
    return Truth(z3.And([truth_term(condition) for condition in conditions]))


class Integer:
    """All values of a term. `choices` are (condition, constant) pairs where it can only be one of these."""

    __hash__ = None  # type: ignore[assignment]

    def __init__(self, term: Any, choices: list[tuple[Any, int]] | None = None) -> None:
        self.term = term
        self.choices = choices

    @classmethod
    def named(cls, name: str) -> Self:
        """Return any integer at all; the name tells it in a counterexample."""
        return cls(z3.Int(name))

    def __add__(self, other: "Integer | int") -> "Integer":
        return noted(self.term + term_of(other))

    def __sub__(self, other: "Integer | int") -> "Integer":
        return noted(self.term - term_of(other))

    def __rsub__(self, other: int) -> "Integer":
        return noted(other - self.term)

    def __mul__(self, other: "Integer | int") -> "Integer":
        return noted(self.term * term_of(other))

    def __neg__(self) -> "Integer":
        return noted(-self.term)

    def __lshift__(self, bits: int) -> "Integer":
        return noted(self.term * (1 << bits))

    def __rshift__(self, bits: int) -> "Integer":
        return noted(self.term / (1 << bits))

    def __floordiv__(self, other: "Integer") -> "Integer":
        """Divide by a positive number, rounded down: the one q with q * other <= self < (q + 1) * other."""
        prove(other > 0, "a divisor is positive")
        quotient = fresh("quotient")
        rest = self.term - quotient.term * other.term
        define(Truth(rest >= 0), Truth(rest < other.term))
        return noted(quotient.term)

    def __rfloordiv__(self, other: int) -> "Integer":
        return Integer(z3.IntVal(other)) // self

    def __and__(self, mask: "int | Bits") -> "Integer | Bits":
        if self.choices is not None:
            return as_bits(self) & mask
        if not isinstance(mask, int) or mask & (mask + 1):
            raise TypeError(f"remainder by {mask} + 1, which is no power of two")
        return noted(self.term % (mask + 1))

    def __or__(self, other: "Integer | int | Bits") -> "Bits":
        return as_bits(self) | other

    __radd__, __rmul__, __rand__, __ror__ = __add__, __mul__, __and__, __or__

    def __eq__(self, other: object) -> Truth:  # type: ignore[override]
        return Truth(self.term == term_of(other))

    def __ne__(self, other: object) -> Truth:  # type: ignore[override]
        return Truth(self.term != term_of(other))

    def __lt__(self, other: "Integer | int") -> Truth:
        return Truth(self.term < term_of(other))

    def __le__(self, other: "Integer | int") -> Truth:
        return Truth(self.term <= term_of(other))

    def __gt__(self, other: "Integer | int") -> Truth:
        return Truth(self.term > term_of(other))

    def __ge__(self, other: "Integer | int") -> Truth:
        return Truth(self.term >= term_of(other))

    def __bool__(self) -> bool:
        return ways.WORLD.fork(self.term != 0)


def fresh(name: str) -> Integer:
    """Return an integer under a name that is not in use."""
    ways.WORLD.names += 1
    return Integer.named(f"{name}!{ways.WORLD.names}")


def noted(term: Any) -> Integer:
    """Return the result of an operator, remembered on the way it came up on."""
    if ways.WORLD.watching:
        ways.WORLD.ways[-1].values.append(term)
    return Integer(term)


def term_of(value: object) -> Any:
    """Return an integer of either kind as a term of z3."""
    if isinstance(value, Integer):
        return value.term
    if isinstance(value, int):
        return z3.IntVal(int(value))
    raise TypeError(f"{value!r} is no integer")


class Bits:
    """Flags or conditions, bit by bit: place -> condition of z3; a place that is missing is off."""

    __hash__ = None  # type: ignore[assignment]

    def __init__(self, on: dict[int, Any]) -> None:
        self.on = on

    @classmethod
    def named(cls, name: str, count: int) -> Self:
        """Return any setting of the lowest `count` bits."""
        return cls({place: z3.Bool(f"{name}.{place}") for place in range(count)})

    def __and__(self, other: "int | Bits") -> "Bits":
        mask = as_bits(other)
        both = self.on.keys() & mask.on.keys()
        return Bits({place: z3.simplify(z3.And(self.on[place], mask.on[place])) for place in sorted(both)})

    def __or__(self, other: "Integer | int | Bits") -> "Bits":
        more = as_bits(other)
        off = z3.BoolVal(val=False)
        places = sorted(self.on.keys() | more.on.keys())
        return Bits({p: z3.simplify(z3.Or(self.on.get(p, off), more.on.get(p, off))) for p in places})

    def __xor__(self, other: "Integer | int | Bits") -> "Bits":
        more = as_bits(other)
        off = z3.BoolVal(val=False)
        places = sorted(self.on.keys() | more.on.keys())
        return Bits({p: z3.simplify(z3.Xor(self.on.get(p, off), more.on.get(p, off))) for p in places})

    __rand__, __ror__, __rxor__ = __and__, __or__, __xor__

    def __eq__(self, other: object) -> Truth:  # type: ignore[override]
        if isinstance(other, Integer) and other.choices is None:
            return Truth(self.number == other.term)
        wanted = as_bits(other)
        off = z3.BoolVal(val=False)
        places = sorted(self.on.keys() | wanted.on.keys())
        return Truth(z3.simplify(z3.And([self.on.get(p, off) == wanted.on.get(p, off) for p in places])))

    def __ne__(self, other: object) -> Truth:  # type: ignore[override]
        return ~(self == other)

    def __ge__(self, other: "Integer | int") -> Truth:
        return Truth(self.number >= term_of(other))

    def __le__(self, other: "Integer | int") -> Truth:
        return Truth(self.number <= term_of(other))

    def __gt__(self, other: "Integer | int") -> Truth:
        return Truth(self.number > term_of(other))

    def __lt__(self, other: "Integer | int") -> Truth:
        return Truth(self.number < term_of(other))

    def __add__(self, other: int) -> "Bits":
        """Add a constant, bit by bit with its carry."""
        off = carry = z3.BoolVal(val=False)
        on = {}
        for place in range(max(BITS, *self.on) + 1):
            own, more = self.on.get(place, off), z3.BoolVal(val=bool(other >> place & 1))
            on[place] = z3.simplify(z3.Xor(z3.Xor(own, more), carry))
            carry = z3.simplify(z3.Or(z3.And(own, more), z3.And(carry, z3.Or(own, more))))
        return Bits({place: bit for place, bit in on.items() if not z3.is_false(bit)})

    __radd__ = __add__

    @property
    def number(self) -> Any:
        """Return the term of the number that these bits are."""
        return z3.Sum([z3.IntVal(0), *(z3.If(bit, 1 << place, 0) for place, bit in self.on.items())])

    def __bool__(self) -> bool:
        return ways.WORLD.fork((self != 0).term)


def as_bits(value: object) -> Bits:
    """Return flags in any form bit by bit."""
    if isinstance(value, Bits):
        return value
    if isinstance(value, Integer) and value.choices is not None:
        places = range(BITS)
        return Bits({p: z3.Or([c for c, number in value.choices if number >> p & 1]) for p in places})
    if isinstance(value, int):
        return Bits({place: z3.BoolVal(val=True) for place in range(SIGNED) if value >> place & 1})
    raise TypeError(f"{value!r} is not known bit by bit")
