"""Which candidates are not beaten in every figure by another, and which of them is chosen."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from replay.tuning.judge import Figures


@dataclass(frozen=True)
class Choice:
    """A candidate that stands for all with the same figures; `alike` is how many there are, it included."""

    candidate: int
    alike: int


def front(figures: Sequence[Figures], places: NDArray[np.float64]) -> list[Choice]:
    """Return the Pareto set, the best by `Figures.rank` first.

    A candidate is in it when no other is as good in all of missed-trip limit,
    nuisance limit and worst margin and better in one. places: float64[n, axes],
    where each stands between least (0) and most (1) of what is varied. Of
    candidates with the same figures the one nearest to their middle stands for
    all: its neighbours are as good as it is.
    """
    rows, kinds = np.unique(np.array([one.objectives for one in figures]), axis=0, return_inverse=True)
    kinds = kinds.reshape(-1)
    kept = np.empty((0, rows.shape[1]))
    choices = []
    for kind, row in enumerate(rows):  # sorted: what beats a row stands before it
        if (kept <= row).all(axis=1).any():
            continue
        kept = np.vstack([kept, row])
        alike = np.flatnonzero(kinds == kind)
        choices.append(Choice(int(alike[middle(places[alike])]), len(alike)))
    return sorted(choices, key=lambda choice: (figures[choice.candidate].rank, choice.candidate))


def chosen(figures: Sequence[Figures], places: NDArray[np.float64]) -> Choice:
    """Return the best candidate by `Figures.rank`; among equals the one nearest to their middle."""
    ranks = [one.rank for one in figures]
    best = min(ranks)
    alike = np.array([number for number, rank in enumerate(ranks) if rank == best])
    return Choice(int(alike[middle(places[alike])]), len(alike))


def middle(places: NDArray[np.float64]) -> int:
    """Return which of some places (float64[n, axes]) stands nearest to their mean, the first of equals."""
    apart = ((places - places.mean(axis=0)) ** 2).sum(axis=1)
    return int(np.argmin(np.round(apart, 12)))
