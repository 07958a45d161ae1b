"""Which mistakes are equivalent: shown by z3 to leave every word that their function leaves, whatever it is given.

The function of the place runs on terms (tests/proof), once right and once with the mistake, on any state within the
invariant, any settings and inputs, and arguments within their spans. What it returns and what it leaves in the
arrays has to be proved the same on all its ways. What z3 refutes or does not decide, and what cannot be written down as a term,
stays open: the function may meet there what a step never gives it.
"""

import itertools
import re
import struct
from collections.abc import Callable, Iterator, Mapping
from types import FunctionType
from typing import Any

import z3

from protect import outputs, ranges, signals, state, table
from tests.proof import lemmas, merging, symbolic, ways
from tests.proof.logic import PARTS, Logic, Words, at, within
from tests.proof.symbolic import Bits, Integer, Truth, assume, every, implies
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
# What comes up where something cannot be proved, or not be written down as a term.
CANNOT = (
    ways.Unproved,
    TypeError,
    AttributeError,
    IndexError,
    ValueError,
    AssertionError,
    struct.error,
    z3.Z3Exception,
)


class Program(Logic):
    """The hooked reference as the logic under proof, its functions merged (tests/proof/merging.py)."""

    def __init__(self) -> None:
        self.program = hooked.Hooked()
        for name, module in self.program.modules.items():
            setattr(self, name, module)
        self.functions: dict[tuple[str, str], Any] = {}
        stand_ins = {"weight": self.any_weight, "accumulate": self.any_integral, "percent": any_percent}
        for part in PARTS:
            module = self.program.modules[part]
            for name, function in list(vars(module).items()):
                if isinstance(function, FunctionType) and function.__module__ == f"hooked.{part}":
                    self.functions[part, name] = function
        self.functions["protection", "step"] = self.program.protection.step
        for (part, name), function in self.functions.items():
            setattr(self.program.modules[part], name, stand_ins.get(name) or merging.merged(function))

    def any_weight(self, values: Words, net: Any, suction: Any) -> Integer:
        """Stand in for weight(): the same beyond cut-in and below the floor, and on either side of vacuum, and what is proved of it."""
        r, net, suction = self.ranges, Integer(symbolic.term_of(net)), Integer(symbolic.term_of(suction))
        least, most = values[r.FLOOR].term - 1, values[r.CUT_IN].term
        clipped = z3.If(net.term > most, most, z3.If(net.term < least, least, net.term))
        got = Integer(WEIGHT(clipped, (suction < values[r.VACUUM]).term))
        symbolic.define(*lemmas.weight_facts(self, values, net, suction, got))
        return got

    def any_integral(self, words: Words, values: Words, gain: Any, elapsed: Any) -> None:
        """Stand in for accumulate(): the same from the same, and nothing in no time or at no weight."""
        s = self.state
        before = [words[s.INTEGRAL], words[s.INTEGRAL_FRACTION]]
        given = [symbolic.term_of(word) for word in (*before, gain, elapsed)]
        was = lemmas.an_integral(self, words, values)
        words[s.INTEGRAL], words[s.INTEGRAL_FRACTION] = Integer(WHOLE(*given)), Integer(FRACTION(*given))
        still = at(elapsed, 0) | at(gain, 0)
        kept = at(words[s.INTEGRAL], before[0]) & at(words[s.INTEGRAL_FRACTION], before[1])
        fits = was & lemmas.accumulable(self, gain, elapsed)
        symbolic.define(implies(fits, lemmas.an_integral(self, words, values)), implies(fits & still, kept))


WEIGHT = z3.Function("weight", z3.IntSort(), z3.BoolSort(), z3.IntSort())
WHOLE, FRACTION = (z3.Function(name, *[z3.IntSort()] * 5) for name in ("whole", "fraction"))
PERCENT = z3.Function("percent", z3.IntSort(), z3.IntSort())


def any_percent(words: Words, values: Words) -> Integer:  # noqa: ARG001 - the arguments of percent()
    """Stand in for percent(): the same from the same."""
    return Integer(PERCENT(symbolic.term_of(words[state.INTEGRAL])))


# Functions of which more is known whenever a step calls them: (module, function) -> its name in `premises`.
PREMISES = {
    **{("conditions", name): name for name in (*spans.LATER, "evaluate") if name != "apply_effect"},
    ("table", "apply_effect"): "apply_effect",
    ("integral", "update"): "update_of_integral",
    ("signals", "settled_part"): "settled_part",
    ("integral", "accumulate"): "accumulate",
}


def premises(logic: Logic, function: str, given: Mapping[str, Any]) -> list[Truth]:
    """Return what holds beside the invariant whenever a step calls a function, by its name; each is proved of any step.

    given: the arguments of the function by name.
    """
    words, values, inputs, results = (given.get(name, []) for name in ("state", "settings", "inputs", "outputs"))
    effect, elapsed = given.get("effect", 0), given.get("elapsed", 0)
    flags, s = symbolic.as_bits(words[state.FLAGS]), logic.state
    told = []
    if function == "accumulate":
        gain = given["gain"]
        told.append((gain <= 0) | (gain >= ranges.SETTINGS[ranges.VACUUM_WEIGHT][2]))
    if function in spans.LATER:
        told.append(flags & s.FRESH == 0)
    if function == "evaluate":
        told.append(symbolic.as_bits(results[outputs.CONDITIONS]) & ~signals.DOUBTS == 0)
        suction = inputs[ranges.SUCTION_PRESSURE]
        held = within(suction, values[ranges.SUCTION_LEAST], values[ranges.SUCTION_MOST])
        told.append(implies(~at(results[outputs.CREDIBLE], 0), held))
    if function == "update_of_integral":
        all_held = [
            within(inputs[place], values[least], values[most])
            for place, least, most in (
                (ranges.OIL_PRESSURE, ranges.OIL_LEAST, ranges.OIL_MOST),
                (ranges.SUCTION_PRESSURE, ranges.SUCTION_LEAST, ranges.SUCTION_MOST),
            )
        ]
        told.append(implies(~at(results[outputs.SEEN], 0), every(all_held)))
    if function == "settled_part":
        told.append(elapsed <= values[ranges.MAX_GAP])
    if function == "apply_effect":
        pressed, press = flags & s.RESET_PRESSED != 0, flags & s.RESET_HELD != 0
        told.append(implies(at(effect, table.FORGET_TRIPS) | at(effect, table.REFUSE_RESET), pressed & press))
        told.append(implies(at(effect, table.FORGET_TRIPS), flags & s.RESETS != s.RESETS))
        cause = symbolic.as_bits(words[state.CAUSE])
        told.append(implies(at(effect, table.REFUSE_RESET), cause <= s.RESETS_CAUSE))
    return told


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

    def arguments(  # noqa: C901 - a branch for each kind of argument
        self, function: Callable[..., Any], names: tuple[str, ...], chosen: dict[str, int]
    ) -> list[Any]:
        """Return any arguments of a function within their spans; `chosen` are plain numbers."""
        logic = self.logic
        multiplies = function.__name__ in ("weight", "percent")
        values = logic.derived_settings() if multiplies else logic.bounded_settings()
        for place, (least, most) in spans.SETTING_SPANS.items():
            assume(within(values[place], least, most))
        given = logic.any_inputs()
        for place in (ranges.OIL_PRESSURE, ranges.SUCTION_PRESSURE, ranges.CRANKCASE_PRESSURE):
            given[place] = Integer.named(f"reading.{place}")
            assume(within(given[place], *spans.READING))
        memory = logic.any_state(values)
        for place in (state.OIL_SEEN, state.SUCTION_SEEN, state.CRANKCASE_SEEN):
            memory[place] = Integer.named(f"seen.{place}")
            assume(within(memory[place], *spans.READING))
            assume(implies(at(memory[place], ranges.NO_READING), at(memory[place + 1], 0)))
        arrays: dict[str, Words] = {"settings": values, "state": memory, "inputs": given}
        results: Words = [Integer.named(f"result.{n}") for n in range(len(spans.WORDS["outputs"]))]
        for place, (least, most) in spans.WORDS["outputs"].items():
            assume(within(results[place], least, most))
        for place in (outputs.STOP_CAUSE, outputs.CONDITIONS):
            results[place] = Bits.named(f"result.{place}", symbolic.BITS)
        memory[state.STATE].choices = [(memory[state.STATE].term == now, now) for now in range(state.LOCKED_OUT + 1)]
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
        called = PREMISES.get((function.__module__.partition(".")[2], function.__name__), "")
        assume(*premises(logic, called, {**arrays, **dict(zip(names, made, strict=True))}))
        if function.__name__ == "accumulate":
            assume(lemmas.accumulable(logic, made[2], made[3]))
        return made

    @staticmethod
    def outcome(function: Callable[..., Any], arguments: list[Any]) -> list[Any]:
        """Return what a function returns, and every word that it leaves in its arrays."""
        copies = [list(given) if isinstance(given, list) else given for given in arguments]
        returned = merging.merged(function)(*copies)
        if function.__module__.endswith("timers") and function.__name__ == "update":
            copies[0][state.FLAGS] = (
                copies[0][state.FLAGS] & ~state.FRESH
            )  # off before it is looked at again: `evaluate`
        if function.__name__ == "settled_part" and isinstance(returned, Integer):
            returned = Integer(z3.If(returned.term < 0, -1, returned.term))  # below 0 is all that is looked at then
        if function.__name__ == "stuck_part" and isinstance(returned, Integer):
            # Of a step that is late or has a missing reading all is in doubt, and what was stuck is not looked at.
            leads_nowhere = z3.Or(copies[4].term > spans.SEEN, copies[2].term == ranges.NO_READING)
            returned = Integer(z3.If(leads_nowhere, 0, returned.term))
        return [returned, *(word for copy in copies if isinstance(copy, list) for word in copy)]

    def same(self, mistake: wrong.Mistake, number: int) -> bool:
        """Say whether z3 shows a mistake at a place to be equivalent."""
        place = self.logic.program.places[number]
        key = (
            place.module,
            "step" if place.module == "protection" else place.function,
        )  # what measures is looked at whole
        if key not in self.logic.functions:
            return False
        function = self.logic.functions[key]
        try:
            change = symbolic_change(mistake, place.of)
            if key not in self.given:
                self.given[key] = list(self.settings_of(function))

            def hook(n: int, value: Any, first: Any, second: Any) -> Any:
                return change(value, first, second) if n == number else value

            return all(self._same(function, given, hook) for given in self.given[key])
        except CANNOT:
            return False

    def same_word(self, mistake: wrong.Mistake, array: str, word: int) -> bool:
        """Say whether z3 shows a word of the settings or inputs that is kept wrongly as a whole to change no function."""
        self.logic.program.hook = hooked.plain
        try:
            change = symbolic_change(mistake)
            for key, function in self.logic.functions.items():
                names = function.__code__.co_varnames[: function.__code__.co_argcount]
                if array not in names or key[0] not in PARTS:  # the step itself is made of these
                    continue
                if key not in self.given:
                    self.given[key] = list(self.settings_of(function))
                if not all(
                    self._same_word(function, given, names.index(array), word, change) for given in self.given[key]
                ):
                    return False
        except CANNOT:
            return False
        return True

    def _same_word(
        self,
        function: Callable[..., Any],
        given: tuple[ways.World, list[Any], Any],
        at_place: int,
        word: int,
        change: wrong.Change,
    ) -> bool:
        world, arguments, right = given
        with ways.inside(world), ways.pushed(world.solver):
            changed = list(arguments)
            changed[at_place] = list(arguments[at_place])
            changed[at_place][word] = change(changed[at_place][word], None, None)
            wrongly = self.outcome(function, changed)
            own = 1 + sum(len(given) for given in arguments[:at_place] if isinstance(given, list)) + word
            return all(
                alike(world, mine, other)
                for n, (mine, other) in enumerate(zip(right, wrongly, strict=True))
                if n != own
            )

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


def symbolic_change(mistake: wrong.Mistake, of: str = "") -> wrong.Change:
    """Return a change that works on terms too; a float may be anything within its precision."""
    what = mistake.what
    if what == "as before the step":
        moved = spans.UNMOVED.get(mistake.place)
        if moved is None:
            raise ways.Unproved("a function knows nothing of the step before it", None)
        return lambda v, *_: v if moved == 0 else (v & ~moved) | (Bits.named("before", symbolic.BITS) & moved)
    change = _symbolic_change(mistake, of)

    def on_bits(value: Any, first: Any, second: Any) -> Any:
        wrapped = SIGNED_WRAP.fullmatch(what)
        if isinstance(value, Bits) and wrapped and max(value.on, default=0) < int(wrapped[1]):
            return signed(value, int(wrapped[1]))
        if isinstance(value, Bits) and len(value.on) <= FEW and ALONE.match(what):
            return tabulated(lambda number: mistake.change(number, None, None), value)
        return change(value, first, second)

    return on_bits


SIGNED_WRAP = re.compile(r"wraps in (\d+) bits, signed")


def signed(value: Bits, count: int) -> Bits:
    """Return bits of which the highest of so many stands for the sign."""
    sign = value.on.get(count - 1, z3.BoolVal(val=False))
    return Bits({**value.on, **dict.fromkeys(range(count, symbolic.SIGNED), sign)})


FEW = 14  # bits whose every choice is gone through
# Changes that look at the value alone.
ALONE = re.compile(
    r"wraps|held|without its|in units|one more|one less|negated|nothing|0 |below 0|no reading|as a single float"
)


def tabulated(change: Callable[[int], int], value: Bits) -> Bits:
    """Return what a change makes of bits, of which every choice is gone through; below 0 as `symbolic.SIGNED` bits."""
    places = sorted(value.on)
    choices = [
        sum(1 << place for n, place in enumerate(places) if number >> n & 1) for number in range(1 << len(places))
    ]
    made = [int(change(choice)) for choice in choices]
    known: dict[tuple[int, ...], Any] = {}

    def term(table: tuple[int, ...], depth: int) -> Any:
        if len(set(table)) == 1:
            return z3.BoolVal(val=bool(table[0]))
        if table not in known:
            half = len(table) // 2
            low, high = term(table[:half], depth - 1), term(table[half:], depth - 1)
            known[table] = low if low.eq(high) else z3.simplify(z3.If(value.on[places[depth]], high, low))
        return known[table]

    on = {bit: term(tuple(m >> bit & 1 for m in made), len(places) - 1) for bit in range(symbolic.SIGNED)}
    return Bits({bit: held for bit, held in on.items() if not z3.is_false(held)})


def _symbolic_change(mistake: wrong.Mistake, of: str) -> wrong.Change:  # noqa: PLR0911 - a return for each kind
    """Return a change that works on terms too; `of`: the operator at its place."""
    what = mistake.what
    if what == "compared as single floats":
        return lambda _, x, y: hooked.OPERATORS[of](rounded(number_of(x)), rounded(number_of(y)))
    if what == "in single floats":
        return lambda _, x, y: rounded(hooked.OPERATORS[of](rounded(x), rounded(y)))
    if what == "divided as single floats" and of == "RShift":
        return lambda _, x, y: shifted_float(x, y)
    if what == "towards nothing":
        return unless_below_0
    if what in ("the larger", "the smaller"):
        return lambda v, x, y: one_of_two(v, x[y], larger=what == "the larger")
    if what == "as a single float":
        return lambda v, *_: rounded(v)
    if what == "divided as single floats":
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


def number_of(value: Any) -> Any:
    """Return bits as the number that they are."""
    return Integer(value.number) if isinstance(value, Bits) else value


def shifted_float(value: Any, bits: int) -> Any:
    """Return a float, which is not below 0, divided by a power of two, which is exact, without its fraction."""
    symbolic.prove(value >= 0, "a dividend is not below 0")
    return rounded(value) >> bits


def unless_below_0(value: Any, shifted: Any, _: Any) -> Any:
    """Return what was shifted, which is the same rounded either way as long as it is not below 0."""
    symbolic.prove(shifted >= 0, "what is shifted is not below 0")
    return value


def one_of_two(new: Any, old: Any, *, larger: bool) -> Any:
    """Return the larger or smaller of what is stored and what was; of bits only where that is always what is stored."""
    if not (isinstance(new, Bits) or isinstance(old, Bits)):
        return max(old, new) if larger else min(old, new)
    given, was = symbolic.as_bits(new), symbolic.as_bits(old)
    both = given & was
    try:
        symbolic.prove(both == (was if larger else given), "what is stored has all bits of what was, or the other way")
    except ways.Unproved:
        symbolic.prove(given >= Integer(was.number) if larger else given <= Integer(was.number), "what is stored wins")
    return new


# By what stays exact: some number for each, the same for the same, as a function that is run again has to come to it again.
DIGITS = 24  # of a single float
SINGLE = {exact: z3.Function(f"single {exact}", z3.IntSort(), z3.IntSort()) for exact in (0, 1 << 24)}


def rounded(value: Any, *, exact: int = 1 << 24) -> Any:
    """Return any number that a single float may make of one: itself up to 2**24, beyond it something near."""
    if isinstance(value, int):
        return int(wrong.single(value))
    if isinstance(value, Bits) and max(value.on, default=0) < DIGITS and exact:
        return value
    anything = Integer(SINGLE[exact](value.term))
    size = z3.If(value.term < 0, -value.term, value.term)
    off = z3.If(anything.term < value.term, value.term - anything.term, anything.term - value.term)
    symbolic.define(Truth(off * (1 << 22) <= size + (1 << 22)), Truth(z3.Implies(size <= exact, off == 0)))
    return anything


__all__ = ["Prover", "ranges"]
