"""Whether anything hangs on the step: drawn cases of all families at the step in use, at a half and at a quarter of it."""

import click

from replay.physics.kernel import _DIGEST
from replay.physics.model import STEP_S
from tests.physics_shown.cases import SEED, UNDECIDED, Outcome, outcomes
from tests.results import close, record_option

STEPS_S = (STEP_S, STEP_S / 2.0, STEP_S / 4.0)


def flips(coarse: list[Outcome], fine: list[Outcome]) -> list[str]:
    """Return the names of the cases decided both times, and not alike."""
    pairs = zip(coarse, fine, strict=True)
    return [a.name for a, b in pairs if a.label != b.label and UNDECIDED not in {a.label, b.label}]


def moves_s(coarse: list[Outcome], fine: list[Outcome]) -> dict[str, float]:
    """Return how far the deadline of each case moves from the coarse step to the fine one, in s."""
    pairs = [(a, b.deadline_s) for a, b in zip(coarse, fine, strict=True)]
    return {a.name: b - a.deadline_s for a, b in pairs if a.deadline_s is not None and b is not None}


@click.command()
@click.option("--cases", "count", default=330, show_default=True, help="Drawn cases, the families in turn.")
@click.option("--seed", default=SEED, show_default=True)
@record_option
def halving(count: int, seed: int, record: bool) -> None:
    """Halve the step twice: labels that flip, deadlines and key figures that move. Exit status 1 if a label flips."""
    at = [outcomes(count, seed, step_s) for step_s in STEPS_S]
    told, found = [], 0
    for step_s, fine in zip(STEPS_S[1:], at[1:], strict=True):
        coarse = at[0]
        turned = flips(coarse, fine)
        moved = moves_s(coarse, fine)
        worst = max(moved, key=lambda name: abs(moved[name]), default="")
        edge = sum((a.label == UNDECIDED) != (b.label == UNDECIDED) for a, b in zip(coarse, fine, strict=True))
        below = max(abs(a.below_9_s - b.below_9_s) for a, b in zip(coarse, fine, strict=True))
        floor = max(abs(a.below_floor_s - b.below_floor_s) for a, b in zip(coarse, fine, strict=True))
        verdicts = sum(a.verdict != b.verdict for a, b in zip(coarse, fine, strict=True))
        found += len(turned)
        told.append(
            f"{STEPS_S[0]:g} to {step_s:g} s: {len(turned)} labels flip, {edge} into or out of undecided, "
            f"{verdicts} verdicts change, deadline moves {moved.get(worst, 0.0):+.1f} s at most, "
            f"time below 9 psi {below:.1f} s, below the floor {floor:.1f} s"
        )
        click.echo(told[-1] + (f" ({worst}); {', '.join(turned)}" if worst else ""))
    close(f"{count} cases: {'; '.join(told)}; physics {_DIGEST:012x}", record=record)
    raise SystemExit(1 if found else 0)
