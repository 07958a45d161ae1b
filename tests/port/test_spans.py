"""The spans of the places of the reference, which say what is too narrow for a port: each is proved, over any step.

The step runs on terms of z3 (tests/proof), with a hook at each place that proves the value within its span.
"""

from collections.abc import Callable
from typing import Any

import pytest

from tests.proof import lemmas, theorems, ways
from tests.proof.logic import Logic, within
from tests.proof.symbolic import Bits, Integer, Truth, assume, truth_term
from tests.proof.ways import Unproved, paths
from tests.wrong_ports import hooked, spans, wrong

pytestmark = pytest.mark.slow("proves")
STOOD_IN = ("weight", "accumulate", "percent")  # proved by themselves: they multiply


class HookedLogic(Logic):
    """The logic under proof, with a hook that proves each value within its span and notes where it did."""

    def __init__(self, known: dict[int, spans.Span]) -> None:
        self.program = hooked.Hooked()
        for name, module in self.program.modules.items():
            setattr(self, name, module)
        self.known, self.proved = known, set[int]()
        self.program.hook = self._prove

    def _prove(self, number: int, value: Any, first: Any, second: Any) -> Any:
        del first, second
        if number in self.known:
            least, most = self.known[number]
            claim = (
                (value & ~most) == 0
                if isinstance(value, Bits)
                else value
                if isinstance(value, Truth)
                else within(value, least, most)
            )
            if not isinstance(value, Truth | bool):
                ways.prove(truth_term(claim), str(self.program.places[number]))
            self.proved.add(number)
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
