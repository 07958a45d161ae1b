"""The spans of the places of the reference, which say what is too narrow for a port: each is proved, over any step.

The step runs on terms of z3 (tests/proof), with a hook at each place that proves the value within its span.
"""

import functools
from collections.abc import Callable
from types import FunctionType
from typing import Any

import pytest

from protect import outputs, ranges
from tests.gates.wrong_ports import listed
from tests.proof import lemmas, symbolic, theorems, ways
from tests.proof.logic import Logic, within
from tests.proof.symbolic import Bits, Integer, Truth, assume, every, prove, truth_term
from tests.proof.ways import Unproved, paths
from tests.support.toolchain import vector_set
from tests.wrong_ports import equal, exhausted, hooked, spans, wrong
from tests.wrong_ports.equivalents import DISJOINT

pytestmark = pytest.mark.slow("proves")
STOOD_IN = ("weight", "accumulate", "percent")  # proved by themselves: they multiply


class HookedLogic(Logic):
    """The logic under proof, with a hook that notes each value's span; at the end of each way through a function all are proved."""

    def __init__(self, known: dict[int, spans.Span]) -> None:
        self.program = hooked.Hooked()
        for name, module in self.program.modules.items():
            setattr(self, name, module)
        self.known, self.proved, self.claims = known, set[int](), list[tuple[int, Truth]]()
        self.program.hook = self._claim

    def prove_at_ends(self) -> None:
        """Let every function prove at its end what was noted in it."""
        for module in self.program.modules.values():
            for name, function in list(vars(module).items()):
                if isinstance(function, FunctionType) and function.__module__ == module.__name__:
                    setattr(module, name, self._proving(function))

    def _proving(self, function: FunctionType) -> Callable[..., Any]:
        @functools.wraps(function)
        def proved(*arguments: Any) -> Any:
            before = len(self.claims)
            returned = function(*arguments)
            own = self.claims[before:]
            del self.claims[before:]
            if own:
                prove(
                    every(claim for _, claim in own), ", ".join(str(self.program.places[number]) for number, _ in own)
                )
                self.proved.update(number for number, _ in own)
            return returned

        return proved

    def _claim(self, number: int, value: Any, first: Any, second: Any) -> Any:
        del first, second
        if number in self.known:
            least, most = self.known[number]
            if isinstance(value, Truth | bool):
                claim = Truth(truth_term(True))  # noqa: FBT003 - 0 or 1 lies in every span
            elif isinstance(value, Bits):
                claim = (value & ~most) == 0  # so it is at most `most`, and bits are a number from 0 on
                if least > 0:
                    claim &= value >= least
            else:
                claim = within(value, least, most)
            self.claims.append((number, claim))
        return value


def known_spans(function: Callable[[str], bool]) -> dict[int, spans.Span]:
    """Return the spans of the places in some functions by number."""
    places = hooked.Hooked().places
    return {
        number: span for number, place in enumerate(places) if function(place.function) and (span := wrong.span(place))
    }


def any_step(logic: Logic) -> None:
    """Take any step; the parts that multiply are stood in for."""
    theorems.any_step(logic)


def weight(logic: Logic) -> None:
    """Work out the weight of any pressures."""
    values, net, suction = logic.derived_settings(), lemmas.net_oil_pressure("net"), lemmas.pressure("suction")
    paths(lambda: logic.integral.weight(values, net, suction))


def accumulate(logic: Logic) -> None:
    """Add to any integral what may be added."""
    s, values = logic.state, logic.any_settings()
    words: list[Any] = [0] * s.STATE_SIZE
    words[s.INTEGRAL], words[s.INTEGRAL_FRACTION] = Integer.named("integral"), Integer.named("fraction")
    assume(lemmas.an_integral(logic, words, values))
    for sign in (1, -1):
        size, elapsed = Integer.named(f"size {sign}"), Integer.named(f"elapsed {sign}")
        gain = size * sign
        with ways.pushed(ways.WORLD.solver):
            assume(gain >= 0 if sign > 0 else gain < 0, lemmas.accumulable(logic, gain, elapsed))
            paths(lambda g=gain, e=elapsed: logic.integral.accumulate(list(words), values, g, e))  # type: ignore[misc]


def percent(logic: Logic) -> None:
    """Work out the percentage of any integral."""
    s, values = logic.state, logic.derived_settings()
    words: list[Any] = [0] * s.STATE_SIZE
    words[s.INTEGRAL] = Integer.named("integral")
    assume(within(words[s.INTEGRAL], 0, values[logic.ranges.TRIP_DELAY]))
    paths(lambda: logic.outputs.percent(words, values))


PARTS: dict[str, Callable[[Logic], None]] = {"weight": weight, "accumulate": accumulate, "percent": percent}


def show(run: Callable[[Logic], None], known: dict[int, spans.Span]) -> HookedLogic:
    """Prove spans on all ways of a run."""
    logic = HookedLogic(known)
    logic.prove_at_ends()
    with ways.inside(ways.World()):
        run(logic)
    return logic


@pytest.mark.parametrize("part", [*STOOD_IN, "the rest"])
def test_every_value_stays_within_the_span_of_its_place(part: str) -> None:
    """Catches a width called enough that is not: a span is proved for all settings, states and inputs."""
    known = known_spans(lambda name: name == part if part in STOOD_IN else name not in STOOD_IN)
    logic = show(PARTS.get(part, any_step), known)
    assert logic.proved == set(known)


def test_a_span_that_is_too_narrow_is_refuted() -> None:
    """Catches a proof that would hold of any span."""
    known = known_spans(lambda name: name == "accumulate")
    number = next(n for n in known if "(gain >> WEIGHT_BITS) * elapsed" in str(hooked.Hooked().places[n]))

    with pytest.raises(Unproved):
        show(accumulate, {number: (0, known[number][1] - 1)})


def test_bits_stay_within_what_is_stated_of_their_place() -> None:
    """Catches a place of few bits that holds others too, and two sides that share a bit where xor is called the same."""
    logic = HookedLogic({})
    places, proved, apart = logic.program.places, set[int](), set[int]()
    stated = {
        n: mask for n, place in enumerate(places) if wrong.span(place) and (mask := spans.mask_of(place)) is not None
    }
    none = listed()

    def within_mask(number: int, value: Any, first: Any, second: Any) -> Any:
        if number in stated and not isinstance(value, bool):
            bits = symbolic.as_bits(value)
            prove(bits & ~stated[number] == 0, str(places[number]))
            on = spans.always_on(places[number])
            prove(bits & on == on, str(places[number]))
            proved.add(number)
        if places[number].of == "BitOr" and none.get(f"{places[number]} [BitXor for BitOr]") == DISJOINT:
            prove(symbolic.as_bits(first) & second == 0, str(places[number]))
            apart.add(number)
        return value

    logic.program.hook = within_mask
    with ways.inside(ways.World()):
        any_step(logic)

    assert proved == stated.keys()
    assert {f"{places[n]} [BitXor for BitOr]" for n in apart} == {name for name, how in none.items() if how == DISJOINT}


def test_what_the_prover_takes_as_given_holds_in_any_step(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a premise under which a mistake is called none, and that a step does not keep."""
    logic = HookedLogic({})
    logic.program.hook = hooked.plain
    called = set[str]()

    def checked(name: str, function: FunctionType, does: Callable[..., Any] | None = None) -> Callable[..., Any]:
        names = function.__code__.co_varnames[: function.__code__.co_argcount]

        @functools.wraps(function)
        def call(*arguments: Any) -> Any:
            for claim in equal.premises(logic, name, dict(zip(names, arguments, strict=True))):
                prove(claim, name)
                called.add(name)
            return (does or function)(*arguments)

        return call

    for (part, name), called_by in equal.PREMISES.items():
        module = logic.program.modules[part]
        setattr(module, name, checked(called_by, getattr(module, name)))
    # In any step a lemma stands in for this one, and has to be given what is told of it.
    added, given = lemmas.accumulate_standin, logic.integral.accumulate
    monkeypatch.setattr(lemmas, "accumulate_standin", lambda of: checked("accumulate", given.__wrapped__, added(of)))
    with ways.inside(ways.World()):
        any_step(logic)

    assert called == set(equal.PREMISES.values())


def test_what_is_called_unmoved_is_as_before_the_step() -> None:
    """Catches a word that is called untouched so far in a step and is not, over all steps of the vectors."""
    hunt = wrong.Hunt()
    numbers = {m.place: n for n, some in hunt.other.items() for m in some if m.what == "as before the step"}
    watched = {numbers[place]: moved for place, moved in spans.UNMOVED.items()}
    program, seen = hooked.Hooked(), set[int]()
    memory: list[int] = []
    before: list[int] = []

    def compare(number: int, value: Any, array: Any, index: Any) -> Any:
        if number in watched and array is memory:
            assert (value ^ before[index]) & ~watched[number] == 0 if watched[number] else value == before[index]
            seen.add(number)
        return value

    program.hook = compare
    for case in vector_set().cases:
        memory[:] = case.start
        results = [0] * outputs.OUTPUTS_SIZE
        for tick in case.ticks:
            before[:] = memory
            program.protection.step(memory, list(case.settings), list(tick.inputs), results)

    assert seen == watched.keys()


def test_what_the_prover_does_not_look_at_leads_nowhere() -> None:
    """Catches a part of a step whose value is looked at where it is said not to be, over all steps of the vectors."""
    program, wrongly = hooked.Hooked(), hooked.Hooked()
    late, lost = [False], [False]

    def dropped(number: int, value: Any, first: Any, second: Any) -> Any:
        del first, second
        place = wrongly.places[number]
        if place.function == "observe" and place.kind == hooked.VALUE:
            if place.text.startswith("settled_part("):
                return max(value, -1)
            if place.text.startswith("stuck_part(") and (late[0] or lost[0]):
                return 0
        return value

    wrongly.hook = dropped
    told = 0
    for case in vector_set().cases:
        memory, results = list(case.start), [0] * outputs.OUTPUTS_SIZE
        for tick in case.ticks:
            late[0] = not 0 <= tick.inputs[ranges.ELAPSED] <= spans.SEEN
            lost[0] = ranges.NO_READING in tick.inputs[ranges.OIL_PRESSURE :]
            other, shown = list(memory), list(results)
            wrongly.protection.step(other, list(case.settings), list(tick.inputs), shown)
            program.protection.step(memory, list(case.settings), list(tick.inputs), results)
            assert (other, shown) == (memory, results)
            told += late[0]

    assert told


@pytest.mark.parametrize("name", exhausted.PERCENTAGES)
def test_a_percentage_that_is_put_right_hangs_on_no_rounding(name: str) -> None:
    """Catches a mistake that is listed as gone through for all numbers, and tells another percentage for some."""
    assert exhausted.first_difference(exhausted.PERCENTAGES[name]) is None


def test_a_percentage_that_is_rounded_too_coarsely_is_seen() -> None:
    """Catches a look at all numbers that finds no difference whatever is given."""
    assert exhausted.first_difference(lambda integral, scale: (integral * scale + 500) // 1000 * 1000 >> 23) == (
        20487,
        4712,
    )


def test_a_light_gain_is_held_by_the_doubt_behind_it() -> None:
    """Catches a mistake listed as harmless that adds another integral, and a look that finds no difference whatever is given."""
    assert exhausted.added_alike()
    assert not exhausted.added_alike("gain += 1\n    if gain >= 1000:")
