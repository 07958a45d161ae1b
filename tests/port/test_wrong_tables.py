"""What the check of wrong tables takes as never standing together is proved of any step."""

from collections.abc import Callable

import numpy as np
import pytest
import z3

from protect import conditions, state, table
from tests.proof import claims, symbolic, ways
from tests.proof.logic import Logic, at
from tests.proof.symbolic import assume, implies, prove
from tests.proof.theorems import Step
from tests.wrong_ports import tables, wrong

pytestmark = pytest.mark.slow("proves")


@pytest.fixture(scope="module")
def any_step() -> Step:
    """Return one step from any state with any settings and inputs."""
    return claims.any_step(Logic())


def further_invariants(words: list[object], logic: Logic) -> symbolic.Truth:
    """Say that a stopped machine has no spell open and a starved one no grace left: invariants beside those of the proof."""
    s = logic.state
    flags = symbolic.as_bits(words[s.FLAGS])
    stopped = implies(at(words[s.STATE], s.STOPPED), flags & (s.IN_SPELL | s.VACUUM_SEEN) == 0)
    return stopped & implies(at(words[s.STATE], s.STARVED), at(words[s.GRACE_LEFT], 0))


def refute(step: Step, now: int, where: Callable[[int, tables.Bits], tables.Mask]) -> None:
    """Prove that no step comes to these conditions in a state."""
    bits = symbolic.as_bits(step.results[Logic().outputs.CONDITIONS])
    never = tables.ALL[where(now, tables.ALL)]
    # The mask of a claim is made of few names: told by the bits that are always on, or always off, in it.
    if not len(never):
        return
    always, off = int(np.bitwise_and.reduce(never)), int(np.bitwise_and.reduce(~never & (len(tables.ALL) - 1)))
    told = [p for p in range(tables.COUNT) if (always | off) >> p & 1]
    assert len(never) == len(tables.ALL) >> len(told)
    held = [bits.on.get(p, z3.BoolVal(val=False)) == z3.BoolVal(val=bool(always >> p & 1)) for p in told]
    prove(implies(at(step.before[state.STATE], now), symbolic.Truth(z3.Not(z3.And(held)))), f"never from state {now}")


@pytest.mark.settled("protect", "tests/proof", "tests/wrong_ports", packages=("z3-solver",))
@pytest.mark.parametrize("name", tables.NEVER)
def test_never_stands_together(name: str, any_step: Step) -> None:
    """Catches a wrong table that is called none because conditions cannot meet, when they can."""
    logic = Logic()
    with ways.inside(any_step.world), ways.pushed(any_step.world.solver):
        assume(further_invariants(any_step.before, logic))
        for now in tables.STATES:
            refute(any_step, now, tables.NEVER[name])


def test_steps_keep_the_further_invariants(any_step: Step) -> None:
    """Catches an invariant that steps do not keep."""
    logic = Logic()
    with ways.inside(any_step.world), ways.pushed(any_step.world.solver):
        assume(further_invariants(any_step.before, logic))
        prove(further_invariants(any_step.after, logic), "kept")


def test_a_right_table_is_the_same_and_a_lost_row_is_not() -> None:
    """Catches a comparison of tables that calls any two the same."""
    assert tables.same(table.TABLE, table.MOST_MOVES)
    assert not tables.same(table.TABLE[1:], table.MOST_MOVES)
    assert tables.told_apart(table.TABLE, 1)
    assert len(conditions.NAMES) == tables.COUNT
    assert sum(1 for _ in wrong.wrong_tables(list(table.TABLE))) > 1000
