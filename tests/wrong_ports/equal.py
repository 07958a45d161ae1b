"""Which mistakes are none: shown by z3 to leave every word that their function leaves, whatever it is given.

The function of the place runs on terms (tests/proof), once right and once with the mistake, on any state within the
invariant, any settings and inputs, and arguments within their spans. What it returns and what it leaves in the
arrays has to be proved the same on all its ways. What z3 refutes or does not decide, and what cannot be written down as a term,
stays open: the function may meet there what a step never gives it.
"""

import itertools
import struct
from collections.abc import Callable, Iterator
from types import FunctionType
from typing import Any

import z3

from protect import ranges, state
from tests.proof import lemmas, merging, symbolic, ways
from tests.proof.logic import PARTS, Logic, Words, at, within
from tests.proof.symbolic import Bits, Integer, Truth, assume, fresh
from tests.wrong_ports import hooked, spans, wrong

EFFORT = 2_000_000  # how hard z3 may try at one word, in its own steps
CHANNELS = (state.OIL_SEEN, state.SUCTION_SEEN, state.CRANKCASE_SEEN)
# Arguments that have to be plain numbers: each of these is shown.
PLAIN: dict[str, dict[str, tuple[int, ...]]] = {
    "run_down": {"place": (state.RESTART_LEFT, state.MEMORY_LEFT, state.FAULT_TIME)},
    "stuck_part": {"seen": CHANNELS},
    "channel_doubt": {"missing": (1 << 16, 1 << 19, 1 << 22)},
}
ARRAYS = ("state", "settings", "inputs", "outputs", "results")
BITS = {"bits": 27}
RUNNING = ("running",)


class Program(Logic):
    """The hooked reference as the logic under proof, its functions merged (tests/proof/merging.py)."""

    def __init__(self) -> None:
        self.program = hooked.Hooked()
        for name, module in self.program.modules.items():
            setattr(self, name, module)
        self.functions: dict[tuple[str, str], Any] = {}
        stand_ins = {
            "weight": lemmas.weight_standin(self),
            "accumulate": lemmas.accumulate_standin(self),
            "percent": lemmas.percent_standin(),
        }
        for part in PARTS:
            module = self.program.modules[part]
            for name, function in list(vars(module).items()):
                if isinstance(function, FunctionType) and function.__module__ == f"hooked.{part}":
                    self.functions[part, name] = function
        for (part, name), function in self.functions.items():
            setattr(self.program.modules[part], name, stand_ins.get(name) or merging.merged(function))


class Prover:
    """The functions of the reference, each with any arguments, and what it makes of them."""

    def __init__(self) -> None:
        self.logic = Program()
        self.given: dict[tuple[str, str], list[tuple[ways.World, list[Any], Any]]] = {}

    def settings_of(self, function: Callable[..., Any]) -> Iterator[tuple[ways.World, list[Any], Any]]:
        """Yield (world, arguments, right outcome) of a function for every choice of its plain arguments."""
        names = function.__code__.co_varnames[: function.__code__.co_argcount]
        plain = PLAIN.get(function.__name__, {})
        for choice in itertools.product(*plain.values()):
            chosen = dict(zip(plain, choice, strict=True))
            world = ways.World()
            with ways.inside(world):
                arguments = self.arguments(function, names, chosen)
                if world.solver.check() == z3.unsat:
                    raise ways.Unproved("there is something to be given", None)  # else anything would be shown
                yield world, arguments, self.outcome(function, arguments)

    def arguments(self, function: Callable[..., Any], names: tuple[str, ...], chosen: dict[str, int]) -> list[Any]:
        """Return any arguments of a function within their spans; `chosen` are plain numbers."""
        logic = self.logic
        multiplies = function.__name__ in ("weight", "percent")
        values = logic.derived_settings() if multiplies else logic.bounded_settings()
        for place, (least, most) in spans.SETTING_SPANS.items():
            assume(within(values[place], least, most))
        arrays: dict[str, Words] = {"settings": values, "state": logic.any_state(values), "inputs": logic.any_inputs()}
        results: Words = [Integer.named(f"result.{n}") for n in range(len(spans.WORDS["outputs"]))]
        for place, (least, most) in spans.WORDS["outputs"].items():
            assume(within(results[place], least, most))
        results[4] = Bits.named("result.conditions", 27)
        arrays["outputs"] = arrays["results"] = results
        made: list[Any] = []
        for name in names:
            if name in chosen:
                made.append(chosen[name])
            elif name in ARRAYS:
                made.append(arrays[name])
            elif name in BITS:
                made.append(Bits.named(name, BITS[name]))
            else:
                word = Integer.named(name)
                where = f"{function.__module__.partition('.')[2]}.{function.__name__}.{name}"
                assume(within(word, *spans.NAMES.get(where, spans.WORD)))
                made.append(word)
        if function.__name__ == "accumulate":
            assume(lemmas.accumulable(logic, made[2], made[3]))
        return made

    @staticmethod
    def outcome(function: Callable[..., Any], arguments: list[Any]) -> list[Any]:
        """Return what a function returns, and every word that it leaves in its arrays."""
        copies = [list(given) if isinstance(given, list) else given for given in arguments]
        returned = merging.merged(function)(*copies)
        return [returned, *(word for copy in copies if isinstance(copy, list) for word in copy)]

    def same(self, mistake: wrong.Mistake, number: int) -> bool:
        """Say whether z3 shows a mistake at a place to be none."""
        place, change = self.logic.program.places[number], symbolic_change(mistake)
        key = place.module, place.function
        if key not in self.logic.functions:
            return False
        function = self.logic.functions[key]
        try:
            if key not in self.given:
                self.given[key] = list(self.settings_of(function))
            return all(
                self._same(function, given, lambda n, v, x, y: change(v, x, y) if n == number else v)
                for given in self.given[key]
            )
        except (
            ways.Unproved,
            TypeError,
            AttributeError,
            IndexError,
            ValueError,
            AssertionError,
            struct.error,
            z3.Z3Exception,
        ):
            return False

    def _same(self, function: Callable[..., Any], given: tuple[ways.World, list[Any], Any], hook: hooked.Hook) -> bool:
        world, arguments, right = given
        self.logic.program.hook = hook
        try:
            with ways.inside(world), ways.pushed(world.solver):
                wrongly = self.outcome(function, arguments)
                return all(alike(world, mine, other) for mine, other in zip(right, wrongly, strict=True))
        finally:
            self.logic.program.hook = hooked.plain


def alike(world: ways.World, mine: Any, other: Any) -> bool:
    """Say whether two words are proved the same."""
    if merging.signature(mine) == merging.signature(other):
        return True
    if mine is None or other is None:
        return False
    if isinstance(mine, Truth | bool) or isinstance(other, Truth | bool):
        claim = symbolic.truth_term(mine) == symbolic.truth_term(other)
    elif isinstance(mine, Bits) or isinstance(other, Bits):
        claim = (symbolic.as_bits(mine) == symbolic.as_bits(other)).term
    else:
        claim = at(mine, other).term
    world.solver.set("rlimit", EFFORT)
    found = world.solver.check(z3.Not(claim))
    world.solver.set("rlimit", ways.LOOK)
    return bool(found == z3.unsat)


def symbolic_change(mistake: wrong.Mistake) -> wrong.Change:
    """Return a change that works on terms too; a float may be anything within its precision."""
    what = mistake.what
    if what == "as a single float":
        return lambda v, *_: rounded(v)
    if what in ("in single floats", "divided as single floats"):
        return lambda v, *_: rounded(v, exact=0)
    if what.startswith("in units of"):
        unit = int(what.split()[3].rstrip(","))
        more = unit // 2 if what.endswith("rounded") else 0
        return lambda v, *_: (
            Integer((v.term + more) / unit * unit) if isinstance(v, Integer) else (v + more) // unit * unit
        )
    if what in ("without its sign", "the distance"):
        return lambda v, *_: -v if v < 0 else v
    return mistake.change


def rounded(value: Any, *, exact: int = 1 << 24) -> Any:
    """Return any number that a single float may make of one: itself up to 2**24, beyond it something near."""
    if isinstance(value, int):
        return int(wrong.single(value))
    anything = fresh("float")
    size = z3.If(value.term < 0, -value.term, value.term)
    off = z3.If(anything.term < value.term, value.term - anything.term, anything.term - value.term)
    symbolic.define(Truth(off * (1 << 22) <= size + (1 << 22)), Truth(z3.Implies(size <= exact, off == 0)))
    return anything


__all__ = ["Prover", "ranges"]
