"""An integer that remembers the largest result of all arithmetic it took part in."""

import operator
from collections.abc import Callable
from typing import Any


class Watched(int):
    """Behaves as an int; every result of an operator is watched in turn."""

    largest = 0  # magnitude, over all of them

    @classmethod
    def keep(cls, value: int) -> "Watched":
        """Watch a value and remember its magnitude."""
        cls.largest = max(cls.largest, abs(value))
        return cls(value)


def watch(operation: Callable[..., int], *, swapped: bool = False) -> Callable[..., Any]:
    """Return a method that does the operation on plain integers and watches its result."""

    def method(*operands: int) -> Watched:
        plain = [int(operand) for operand in (reversed(operands) if swapped else operands)]
        return Watched.keep(operation(*plain))

    return method


for name in ("add", "sub", "mul", "floordiv", "mod", "lshift", "rshift", "and_", "or_", "xor"):
    dunder = name.rstrip("_")
    setattr(Watched, f"__{dunder}__", watch(getattr(operator, name)))
    setattr(Watched, f"__r{dunder}__", watch(getattr(operator, name), swapped=True))
for name in ("neg", "invert", "abs", "pos"):
    setattr(Watched, f"__{name}__", watch(getattr(operator, name)))
