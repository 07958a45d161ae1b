"""A search of spaces too large for a grid: NSGA-II (Deb and others 2002, from memory) proposes, the same judge decides.

Candidates come in generations, so that a whole generation goes over each trace
at once. The same space, library, budget and seed propose the same candidates.
"""

import warnings
from collections.abc import Callable, Sequence
from typing import Any

from replay.ground.extras import install
from replay.ground.refusal import refusal
from replay.tuning.judge import Figures
from replay.tuning.vary import Candidate, Space

LEAST, MOST = 8, 50  # candidates of a generation
GENERATIONS = 12  # at least, where that leaves enough to each
PATIENCE = 20  # proposals for each one wanted, before a space counts as used up
FAR = 1e12  # in place of infinity, which sorts as well

Judge = Callable[[Sequence[Candidate]], Sequence[Figures]]


def search(space: Space, budget: int, seed: int, judge: Judge) -> int:
    """Judge up to `budget` candidates, generation by generation; return how many proposals contradicted themselves.

    Raises Refusal where optuna is missing.
    """
    study = _study(budget, seed)
    from optuna.trial import TrialState

    known: dict[tuple[int, ...], tuple[float, ...] | None] = {}
    judged = asked = 0
    while judged < budget and len(known) < space.size and asked < PATIENCE * budget:
        trials = [study.ask() for _ in range(generation(budget))]
        asked += len(trials)
        choices = [
            tuple(trial.suggest_int(axis.key, 0, len(axis.options) - 1) for axis in space.axes) for trial in trials
        ]
        fresh: list[Candidate] = []
        for choice in dict.fromkeys(choices):
            if choice not in known and len(fresh) < budget - judged:
                candidate = space.candidate(choice)
                if candidate is None:
                    known[choice] = None
                else:
                    fresh.append(candidate)
        judged += len(fresh)
        for candidate, figures in zip(fresh, judge(fresh) if fresh else (), strict=True):
            known[candidate.choice] = tuple(min(FAR, value) for value in figures.objectives)
        for trial, choice in zip(trials, choices, strict=True):
            values = known.get(choice)
            study.tell(trial, values, state=TrialState.FAIL if values is None else None)
    return sum(values is None for values in known.values())


def _study(budget: int, seed: int) -> Any:
    try:
        import optuna
    except ModuleNotFoundError:
        raise refusal("--budget", "", "needs optuna", install("search"), budget) from None
    optuna.logging.set_verbosity(optuna.logging.ERROR)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", optuna.exceptions.ExperimentalWarning)
        near = optuna.samplers.nsgaii.SBXCrossover()  # children near their parents, not only with values of theirs
    sampler = optuna.samplers.NSGAIISampler(population_size=generation(budget), seed=seed, crossover=near)
    return optuna.create_study(directions=["minimize"] * 3, sampler=sampler)


def generation(budget: int) -> int:
    """Return how many candidates go over the library at a time."""
    return min(MOST, max(LEAST, budget // GENERATIONS))
