"""All claims of the proof by name, and how one is shown."""

from collections.abc import Callable
from typing import Any

from tests.proof import lemmas, sealing, theorems, ways
from tests.proof.logic import Logic
from tests.proof.theorems import Step

ON_PARTS: tuple[Callable[[Logic], None], ...] = (
    lemmas.derived_settings_are_bounded,
    lemmas.weight_bands,
    lemmas.weight_in_vacuum,
    lemmas.weight_falls_with_net_oil_pressure,
    lemmas.accumulate_is_exact,
    lemmas.percent_is_exact,
    theorems.power_up_establishes_the_invariant,
    theorems.no_value_reaches_2_to_the_30,
    theorems.less_oil_pressure_never_gives_a_smaller_integral,
    theorems.one_step_equals_two_halves,
    theorems.the_same_decisions_in_one_step_and_in_two,
    sealing.a_change_within_two_halves_breaks_the_seal,
    sealing.a_fill_never_agrees_with_its_seal,
)
# These are shown of one and the same step from any state.
ON_ANY_STEP: tuple[Callable[[Step, Logic], None], ...] = (
    theorems.steps_keep_the_invariant,
    theorems.a_stop_has_its_cause,
    theorems.no_permission_when_stopped,
    theorems.lockout_ends_only_by_a_press_of_the_reset,
    theorems.locked_out_for_resets_until_the_memory_ends,
    theorems.no_permission_while_the_standstill_zero_is_violated,
    theorems.a_trip_ends_only_at_standstill,
    theorems.low_oil_pressure_always_trips,
    theorems.low_oil_pressure_in_a_light_vacuum_always_trips,
    theorems.a_reload_on_a_debt_locks_out,
    theorems.short_deficits_do_not_trip,
    theorems.doubt_never_lowers_the_integral,
)
# Too long for the tests; `python -m tests.campaigns proof` proves it.
LONG = ("the_same_decisions_in_one_step_and_in_two",)
CLAIMS: dict[str, Callable[..., None]] = {claim.__name__: claim for claim in (*ON_PARTS, *ON_ANY_STEP)}


def any_step(logic: Logic) -> Step:
    """Take a step that the claims on any step can share."""
    with ways.inside(ways.World()):
        return theorems.any_step(logic)


def show(name: str, logic: Logic, step: Step | None = None) -> None:
    """Prove one claim; `step` is one that it may share. Raises Unproved."""
    claim: Any = CLAIMS[name]
    if claim in ON_PARTS:
        with ways.inside(ways.World()):
            claim(logic)
        return
    step = step or any_step(logic)
    with ways.inside(step.world), ways.pushed(step.world.solver):
        claim(step, logic)
