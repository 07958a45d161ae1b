"""The reference is proved by z3, and the proof can fail: each claim is refuted by a planted defect."""

import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
import z3
from click.testing import CliRunner
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

import protect
from protect import outputs, ranges, state
from protect.protection import step
from tests.campaigns.proof import proof
from tests.proof import claims, symbolic, ways
from tests.proof.logic import Logic, at
from tests.proof.symbolic import Bits, Integer, Truth, assume, prove
from tests.proof.theorems import Step
from tests.proof.ways import Unproved, paths
from tests.support.protection import MISSING, admit
from tests.support.strategies import any_settings, between, memories, readings

pytestmark = pytest.mark.slow("proves")


@pytest.fixture(scope="module")
def any_step() -> Step:
    """Return one step from any state with any settings and inputs."""
    return claims.any_step(Logic())


@pytest.mark.settled("protect", "tests/proof", packages=("z3-solver",))
@pytest.mark.outside(
    computation="claims on all admitted settings and inputs",
    source="z3 over the reference",
    status="consulted",
    agreement="as `python -m tests.campaigns proof` prints",
)
@pytest.mark.parametrize("claim", [claim for claim in claims.CLAIMS if claim not in claims.LONG])
def test_claim_is_proved(claim: str, any_step: Step) -> None:
    """Catches any defect that breaks the claim, for all admitted settings and inputs; its docstring is the theorem."""
    claims.show(claim, Logic(), any_step)


# claim: (file of protect, what stands there, the planted defect)
DEFECTS = {
    "derived_settings_are_bounded": ("settings", "rest) >> WEIGHT_BITS)", "rest) >> (WEIGHT_BITS - 1))"),
    "weight_bands": ("integral", "if net >= settings[CUT_OUT]:", "if net > settings[CUT_OUT]:"),
    "weight_in_vacuum": ("integral", "if suction < settings[VACUUM]:", "if suction <= settings[VACUUM]:"),
    "weight_falls_with_net_oil_pressure": ("settings", "// span", "// span + 1"),
    "accumulate_is_exact": ("integral", "if whole < 0:", "if whole < -1:"),
    "percent_is_exact": ("outputs", "<= 100 * state[INTEGRAL]", "< 100 * state[INTEGRAL]"),
    "power_up_establishes_the_invariant": ("state", "= settings[START_GRACE]", "= settings[START_GRACE] + 1"),
    "no_value_reaches_2_to_the_30": ("signals", "if elapsed < 0 or elapsed > ELAPSED_MOST:", "if elapsed < 0:"),
    "less_oil_pressure_never_gives_a_smaller_integral": (
        "integral",
        "counted = seen\n",
        "counted, gain = seen, -gain\n",
    ),
    "one_step_equals_two_halves": ("signals", "return unmoved - stuck_after", "return elapsed"),
    "the_same_decisions_in_one_step_and_in_two": (
        "table",
        "(PRIMING, LOW | IN_GRACE, LOW, STARVED, NONE)",
        "(PRIMING, LOW | IN_GRACE, LOW, STARVED, STOP_ON_SENSOR)",
    ),
    "steps_keep_the_invariant": (
        "integral",
        "if left > settings[START_GRACE]:",
        "if left > settings[START_GRACE] + 1:",
    ),
    "no_permission_when_stopped": ("outputs", "if state[STATE] >= TRIPPED:", "if state[STATE] > TRIPPED:"),
    "lockout_ends_only_by_a_press_of_the_reset": (
        "table",
        "(LOCKED_OUT, RESET_PRESS, RESET_PRESS, TRIPPED, FORGET_TRIPS)",
        "(LOCKED_OUT, RESTART_DUE, RESTART_DUE, TRIPPED, FORGET_TRIPS)",
    ),
    "locked_out_for_resets_until_the_memory_ends": (
        "table",
        "        state[CAUSE] = RESETS_CAUSE\n",
        "        state[CAUSE] = RESETS_CAUSE\n        state[MEMORY_LEFT] = settings[TRIP_MEMORY]\n",
    ),
    "no_permission_while_the_standstill_zero_is_violated": (
        "signals",
        "not within(net, -settings[REST_MOST], settings[REST_MOST])",
        "net > settings[REST_MOST]",
    ),
    "a_stop_has_its_cause": ("table", "state[CAUSE] = OIL_CAUSE", "state[CAUSE] = 0"),
    "a_trip_ends_only_at_standstill": ("table", "(TRIPPED, RUNNING | RESTART_DUE", "(TRIPPED, RESTART_DUE"),
    "low_oil_pressure_always_trips": ("table", "MOST_MOVES = 3", "MOST_MOVES = 2"),
    "low_oil_pressure_in_a_light_vacuum_always_trips": (
        "integral",
        "counted = past_grace(state, seen)\n",
        "counted = past_grace(state, seen) >> 1\n",
    ),
    "a_reload_on_a_debt_locks_out": (
        "conditions",
        "        if state[INTEGRAL] == 0:\n            state[FLAGS] &= ~VACUUM_SEEN\n",
        "        state[FLAGS] &= ~VACUUM_SEEN\n",
    ),
    "short_deficits_do_not_trip": ("conditions", ">= settings[TRIP_DELAY]:", ">= settings[TRIP_DELAY] - 1:"),
    "doubt_never_lowers_the_integral": (
        "integral",
        "settings, ONE, past_grace(state, outputs[DOUBTED])",
        "settings, -settings[RECOVERY], outputs[DOUBTED]",
    ),
    "a_change_within_two_halves_breaks_the_seal": ("seal", "weight += 2", "weight += 1"),
    "a_fill_never_agrees_with_its_seal": ("seal", "BEGIN = 1 ", "BEGIN = 0 "),
}


@pytest.fixture
def copy_of_protect(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """Return a copy of the package, under a name of its own, that can be imported."""
    name = "defective_protect"
    folder = tmp_path / name
    shutil.copytree(Path(protect.__file__).parent, folder, ignore=shutil.ignore_patterns("__pycache__"))
    for path in folder.glob("*.py"):
        path.write_text(path.read_text().replace("from protect", f"from {name}"))
    monkeypatch.syspath_prepend(str(tmp_path))
    yield folder
    for module in [module for module in sys.modules if module.split(".")[0] == name]:
        del sys.modules[module]


@pytest.mark.settled("protect", "tests/proof", packages=("z3-solver",))
@pytest.mark.parametrize("claim", claims.CLAIMS)
def test_a_planted_defect_refutes_the_claim(claim: str, copy_of_protect: Path) -> None:
    """Catches a claim that nothing could refute, and one that is red for want of time: values refute it."""
    part, good, bad = DEFECTS[claim]
    path = copy_of_protect / f"{part}.py"
    text = path.read_text()
    assert text.count(good) == 1
    path.write_text(text.replace(good, bad))

    with pytest.raises(Unproved) as refuted:
        claims.show(claim, Logic(copy_of_protect.name))

    assert refuted.value.counterexample


class Concrete:
    """Settings, a state within the invariant and inputs, as plain integers, and what the step makes of them."""

    def __init__(self, data: st.DataObject) -> None:
        named = data.draw(any_settings())
        pressures = tuple(declared(reading) for reading in data.draw(readings(named)))
        self.values, self.before = admit(named), data.draw(memories(named, pressures))
        if self.before[state.STATE] >= state.TRIPPED:
            on_sensor = [3 | 1 << 18, 3 | 5 << 24] if self.before[state.STATE] == state.TRIPPED else []
            self.before[state.CAUSE] = data.draw(st.sampled_from([0, 1, 2, 4, *on_sensor]))
        elapsed = data.draw(st.one_of(between(0, named["max_gap"]), st.sampled_from([-1, 1_799_999, 1_800_001])))
        self.inputs = [elapsed, data.draw(st.integers(0, 1)), data.draw(st.integers(0, 1)), *pressures]
        self.after, self.results = list(self.before), [0] * outputs.OUTPUTS_SIZE
        step(self.after, self.values, self.inputs, self.results)


def declared(reading: int) -> int:
    """Return a reading as near as the declared range has it; none stays none."""
    return reading if reading == MISSING else min(max(reading, -100_000), 20_000_000)


def possible() -> bool:
    """Say whether there are values with everything that is assumed."""
    solver = z3.Solver()
    solver.add(ways.WORLD.solver.assertions())
    verdict = solver.check()
    assert verdict != z3.unknown, solver.reason_unknown()
    return verdict == z3.sat


def equal(symbolic_words: list[Integer | Bits | int], words: list[int]) -> Truth:
    """Say whether symbolic words have these values."""
    pairs = zip(symbolic_words, words, strict=True)
    return symbolic.every(w == n if isinstance(w, Bits) else at(w, n) for w, n in pairs)


@pytest.fixture(scope="module")
def free_step() -> Step:
    """Return a step of the unmodified code, no stand-ins, from any state."""
    logic = Logic()
    with ways.inside(ways.World()), logic.with_merged_parts():
        values, inputs = logic.derived_settings(), logic.any_inputs()
        before = logic.any_state(values)
        return Step(values, inputs, before, *logic.step(before, values, inputs), ways.WORLD)


@settings(max_examples=15, phases=[Phase.generate])
@given(st.data())
def test_the_symbolic_step_is_the_step(free_step: Step, data: st.DataObject) -> None:
    """Catches an operator, a fork or a merge that means something else than Python does, and an invariant too narrow."""
    known = Concrete(data)
    with ways.inside(free_step.world), ways.pushed(free_step.world.solver):
        given_words = [*free_step.values, *free_step.inputs, *free_step.before]
        assume(equal(given_words, [*known.values, *known.inputs, *known.before]))
        assert possible()
        prove(equal([*free_step.after, *free_step.results], [*known.after, *known.results]), "the same step")


@settings(max_examples=10, phases=[Phase.generate])
@given(st.data())
def test_the_stand_ins_leave_room_for_what_the_step_does(any_step: Step, data: st.DataObject) -> None:
    """Catches assumptions that contradict each other or the logic, from which anything could be proved."""
    known = Concrete(data)
    words = [*any_step.inputs, *any_step.before, *any_step.after, *any_step.results]
    values = [*known.inputs, *known.before, *known.after, *known.results]
    with ways.inside(any_step.world), ways.pushed(any_step.world.solver):
        assume(equal(any_step.values[: ranges.SETTING_COUNT], known.values[: ranges.SETTING_COUNT]))
        assume(equal(words, values))
        assert possible()


@given(st.integers(-(10**9), 10**9), st.integers(-(10**9), 10**9), st.integers(0, 20), st.integers(1, 10**9))
@settings(max_examples=30)
def test_arithmetic_is_that_of_python(a: int, b: int, bits: int, divisor: int) -> None:
    """Catches shifts and masks that round towards zero, and a division that is not the one rounded down."""
    with ways.inside(ways.World()):
        x, y, d = Integer.named("x"), Integer.named("y"), Integer.named("d")
        assume(at(x, a), at(y, b), at(d, divisor))
        mask = (1 << bits) - 1
        for got, wanted in (
            (x + y, a + b),
            (x - y, a - b),
            (7 - x, 7 - a),
            (x * y, a * b),
            (-x, -a),
            (x << bits, a << bits),
            (x >> bits, a >> bits),
            (x & mask, a & mask),
            (x // d, a // divisor),
            (1000 // d, 1000 // divisor),
        ):
            prove(at(got, wanted), "as Python has it")


def test_all_ways_are_taken_and_none_that_does_not_exist() -> None:
    """Catches a fork whose second way is never run, which would prove half of the code."""
    with ways.inside(ways.World()):
        x = Integer.named("x")
        assume(x >= 0)
        outcomes = paths(lambda: "negative" if x < 0 else "small" if x < 10 else "large")

    assert sorted(outcome.result for outcome in outcomes) == ["large", "small"]


def test_what_is_not_decided_is_no_proof(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches an `unknown` of z3 that passes for a proof: here Fermat's last theorem for cubes, in too few steps."""
    monkeypatch.setattr(ways, "PROOF", 1_000)
    with ways.inside(ways.World()):
        x, y, z = (Integer.named(name) for name in "xyz")
        assume(x >= 1, y >= 1, z >= 1)
        with pytest.raises(Unproved, match="not decided") as undecided:
            prove(~at(x * x * x + y * y * y, z * z * z), "no cube is the sum of two")

    assert undecided.value.counterexample is None


def test_a_value_past_the_limit_is_refuted() -> None:
    """Catches a watch that notes nothing: 2**29 doubled reaches the limit, one less does not."""
    for most, reaches in ((1 << 29, True), ((1 << 29) - 1, False)):
        with ways.inside(ways.World()):
            x = Integer.named("x")
            assume(x >= 0, x <= most)

            def run(x: Integer = x) -> Integer:
                with ways.watched():
                    return x + x

            if reaches:
                with pytest.raises(Unproved, match=f"refuted by {{'x': {most}}}"):
                    paths(run, bounded="the double")
            else:
                assert len(paths(run, bounded="the double")) == 1


def test_admitted_settings_are_those_that_the_check_finds_right() -> None:
    """Catches a proof over fewer settings than are admitted: both ends of every range are among them."""
    with ways.inside(ways.World()):
        values = Logic().any_settings()
        for place, (_, _, least, most) in enumerate(ranges.SETTINGS):
            for limit in (least, most):
                reached = ways.WORLD.solver.check((values[place] == limit).term) == z3.sat
                ends = {ranges.CUT_OUT: 1_000_000, ranges.CUT_IN: 1_000, ranges.FLOOR: 1_000_000}
                assert reached == (ends.get(place) != limit) or place >= ranges.VACUUM
            assert ways.WORLD.solver.check((values[place] == least - 1).term) == z3.unsat
            assert ways.WORLD.solver.check((values[place] == most + 1).term) == z3.unsat


def test_the_campaign_says_what_it_proved(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a campaign that succeeds with a claim that is not proved."""
    names = ["weight_bands", "percent_is_exact"]
    good = CliRunner().invoke(proof, names)
    monkeypatch.setattr(ways, "PROOF", 10)
    bad = CliRunner().invoke(proof, names)

    assert (good.exit_code, bad.exit_code) == (0, 1)
    assert "2 of 2 claims proved" in good.output
    assert "NOT PROVED" in bad.output
