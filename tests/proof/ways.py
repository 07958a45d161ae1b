"""The ways through the code: what is assumed on each, where they fork, and what is proved on them.

The code is run again and again, until every way through it has been taken
(`paths`). A way is left out only when z3 says that no values lead there; one that
it is not sure about is taken. What z3 does not decide within its limit is no
proof: `prove` raises Unproved.

Conditions and values are terms of z3 here; `symbolic` has the integers.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

import z3

z3.z3.Z3_DEBUG = False  # z3 itself looks at every term as well; that its Python does so too costs a fifth of the time
LIMIT = 1 << 30  # no value of a step may reach it
# How hard z3 may try, counted in its own steps, so that a verdict depends on no clock:
LOOK = 1_000_000  # to look whether a way exists
PROOF = 40_000_000  # to prove, once
TRIES = 4  # a proof may be begun anew with another seed


class Unproved(AssertionError):  # noqa: N818 - a verdict, not a mishap
    """A claim that z3 refuted, with the values that refute it, or did not decide in time."""

    def __init__(self, claim: str, counterexample: dict[str, int] | None) -> None:
        self.counterexample = counterexample
        told = "not decided in time" if counterexample is None else f"refuted by {counterexample}"
        super().__init__(f"{claim}: {told}")


class Turn(NamedTuple):
    """How one fork was taken, and whether it was the only way there is."""

    taken: bool
    only: bool


class Way:
    """One way through the code: turns and their conditions, facts about new names, values that came up.

    `looker` is the solver that is asked which ways there are.
    """

    def __init__(self, prefix: list[Turn], todo: list[list[Turn]], looker: Any) -> None:
        self.prefix, self.todo, self.looker = prefix, todo, looker
        self.turns: list[Turn] = []
        self.conditions: list[Any] = []
        self.facts: list[Any] = []
        self.values: list[Any] = []


class World:
    """What is assumed, on a stack, and the ways that are being walked, the innermost last."""

    def __init__(self) -> None:
        self.solver = z3.Solver()
        self.ways = [Way([], [], self.solver)]
        self.names = 0
        self.watching = False
        self.known: dict[Any, Any] = {}

    def fork(self, condition: Any) -> bool:
        """Decide a condition: as this way is to go, or the one way there is, or both in turn."""
        way = self.ways[-1]
        place = len(way.turns)
        turn = way.prefix[place] if place < len(way.prefix) else self.look(condition, way)
        way.turns.append(turn)
        if not turn.only:
            condition = condition if turn.taken else z3.Not(condition)
            way.conditions.append(condition)
            self.solver.add(condition)
            if way.looker is not self.solver:
                way.looker.add(condition)
        return turn.taken

    def look(self, condition: Any, way: Way) -> Turn:
        """Find out which ways there are at a fork, and leave the second for later."""
        if way.looker.check(condition) == z3.unsat:
            return Turn(taken=False, only=True)
        if way.looker.check(z3.Not(condition)) == z3.unsat:
            return Turn(taken=True, only=True)
        way.todo.append([*way.turns, Turn(taken=False, only=False)])
        return Turn(taken=True, only=False)


WORLD = World()


@contextmanager
def inside(world: World) -> Iterator[None]:
    """Go by what this world assumes and knows, until the end."""
    global WORLD  # noqa: PLW0603 - operators have no argument for it
    before, WORLD = WORLD, world
    try:
        yield
    finally:
        WORLD = before


def define(facts: list[Any]) -> None:
    """Say what is known of a new name. Unlike what is assumed, it stays known when its way has ended."""
    WORLD.solver.add(*facts)
    WORLD.ways[-1].facts.extend(facts)


def prove(claim: Any, name: str) -> None:
    """Show that a claim follows from what is assumed on this way. Raises Unproved."""
    negated = z3.simplify(z3.Not(claim))
    if z3.is_false(negated):
        return
    verdict, solver = z3.unknown, WORLD.solver
    for seed in range(TRIES):
        if seed:
            solver = z3.Solver()
            solver.set("random_seed", seed)
            solver.add(WORLD.solver.assertions())
        solver.set("rlimit", PROOF)
        verdict = solver.check(negated)
        if verdict != z3.unknown:
            break
    WORLD.solver.set("rlimit", LOOK)
    if verdict != z3.unsat:
        raise Unproved(name, counterexample(solver.model()) if verdict == z3.sat else None)


def counterexample(model: Any) -> dict[str, int]:
    """Return the values of a model by name, without the names that came up in between."""
    named = {str(name): model[name] for name in model.decls() if name.arity() == 0 and "!" not in str(name)}
    return {name: value.as_long() if z3.is_int_value(value) else bool(value) for name, value in sorted(named.items())}


class Outcome(NamedTuple):
    """What one way came to: under which condition, and what was returned."""

    condition: Any
    result: Any


def paths(run: Callable[[], Any], *, bounded: str = "", alone: bool = False) -> list[Outcome]:
    """Run code on every way through it; what is assumed on a way is forgotten at its end.

    bounded: prove that no value on the way reaches 2**30, under this name. alone:
    look which ways there are without what is assumed outside: more ways, sooner found.
    """
    looker = z3.Solver() if alone else WORLD.solver
    todo: list[list[Turn]] = [[]]
    outcomes = []
    while todo:
        way = Way(todo.pop(), todo, looker)
        with pushed(WORLD.solver), pushed(looker):
            looker.set("rlimit", LOOK)
            WORLD.ways.append(way)
            try:
                result = run()
                if bounded:
                    prove_bounded(way, bounded)
            finally:
                WORLD.ways.pop()
        outcomes.append(Outcome(z3.And(way.conditions), result))
        if way.facts:
            define([z3.Implies(z3.And(way.conditions), z3.And(way.facts))])
    return outcomes


@contextmanager
def watched(*, on: bool = True) -> Iterator[None]:
    """Note the result of every operator, or none."""
    before, WORLD.watching = WORLD.watching, on
    try:
        yield
    finally:
        WORLD.watching = before


@contextmanager
def pushed(solver: Any) -> Iterator[None]:
    """Forget at the end what a solver is told meanwhile."""
    solver.push()
    try:
        yield
    finally:
        solver.pop()


def prove_bounded(way: Way, name: str) -> None:
    """Show that no value noted on a way reaches 2**30."""
    terms = {term.get_id(): term for term in way.values}.values()
    prove(z3.And([z3.And(term > -LIMIT, term < LIMIT) for term in terms]), f"values of {name} below 2**30")
