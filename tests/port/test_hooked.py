"""The hooked reference: without a wrong hook it is the reference, and no place of it is without a hook."""

import ast
from collections import Counter

import pytest

from protect import outputs, ranges, state
from protect.protection import step
from replay.port import adversary
from tests.wrong_ports import hooked
from tests.wrong_ports.hooked import Hooked
from tests.wrong_ports.wrong import STEP_MODULES


@pytest.mark.parametrize("hooks", [True, False])
def test_takes_the_steps_of_the_reference(hooks: bool) -> None:
    """Catches a hook that changes a value, an order or a choice by itself: random walks, every word compared."""
    program, rng = Hooked(hooks=hooks), [11]
    for _ in range(60):
        values, mood, inputs = [0] * ranges.SETTINGS_SIZE, [0] * adversary.MOOD_SIZE, [0] * ranges.INPUTS_SIZE
        adversary.draw_settings(rng, values)
        adversary.draw_mood(rng, mood)
        memory, results = [0] * state.STATE_SIZE, [0] * outputs.OUTPUTS_SIZE
        state.power_up(memory, values)
        shadow, shown = [0] * state.STATE_SIZE, [0] * outputs.OUTPUTS_SIZE
        program.state.power_up(shadow, values)
        for _ in range(40):
            adversary.draw_inputs(rng, memory, values, mood, inputs)
            step(memory, values, inputs, results)
            program.protection.step(shadow, values, inputs, shown)
            assert (shadow, shown) == (memory, results)


def test_every_place_of_the_source_has_its_hook() -> None:
    """Catches an operator, a comparison, a store, a read or a call of the step that no mistake could be planted at."""
    wanted: Counter[str] = Counter()
    for name in STEP_MODULES:
        tree = ast.parse((hooked.FOLDER / f"{name}.py").read_text())
        for function in hooked.functions(tree):
            parts = [part for statement in function.body for part in ast.walk(statement)]
            indices = {id(part) for node in parts if isinstance(node, ast.Subscript) for part in ast.walk(node.slice)}
            for node in parts:
                if id(node) in indices:
                    continue  # which place is looked at is a mistake of its own, "place 7 instead"
                wanted[hooked.OPERATION] += isinstance(node, ast.BinOp | ast.AugAssign)
                wanted[hooked.COMPARISON] += isinstance(node, ast.Compare)
                if isinstance(node, ast.Subscript) and not (
                    isinstance(node.value, ast.Name) and node.value.id.isupper()
                ):
                    wanted[hooked.STORE if isinstance(node.ctx, ast.Store) else hooked.READ] += 1
                if isinstance(node, ast.AugAssign) and isinstance(node.target, ast.Subscript):
                    wanted[hooked.READ] += 1
                wanted[hooked.CALL] += isinstance(node, ast.Expr) and isinstance(node.value, ast.Call)
    found = Counter(place.kind for place in Hooked().places if place.module in STEP_MODULES)

    assert {kind: found[kind] for kind in wanted} == dict(wanted)


def test_a_wrong_value_at_one_place_goes_through() -> None:
    """Catches hooks that are called but whose answer is thrown away."""
    program = Hooked()
    (number,) = (
        n
        for n, place in enumerate(program.places)
        if place.text == "state[STATE] >= TRIPPED" and place.module == "outputs"
    )
    program.hook = lambda n, value, first, second: not value if n == number else value
    values = [0] * ranges.SETTINGS_SIZE
    adversary.draw_settings([7], values)
    memory, results = [0] * state.STATE_SIZE, [0] * outputs.OUTPUTS_SIZE
    state.power_up(memory, values)
    program.protection.step(memory, values, [0] * ranges.INPUTS_SIZE, results)

    assert results[outputs.RUN_PERMISSION] == 0
