"""From a library, base settings and what is varied to the Pareto set and the settings that are chosen."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from replay.engine.workers import Each
from replay.library import Library
from replay.tuning.fresh import Fresh, on_fresh_library, recipe_of
from replay.tuning.holdout import Split, split
from replay.tuning.judge import Figures, Outcomes, judge_all
from replay.tuning.pareto import Choice, chosen, front
from replay.tuning.search import search
from replay.tuning.vary import Candidate, Space, every_candidate

MOST_CANDIDATES = 50_000
BASE = 0  # number of the base settings; candidates count from 1


@dataclass(frozen=True)
class Line:
    """One candidate (or the base settings: no candidate) and its figures on the parts of the library."""

    number: int
    candidate: Candidate | None
    tuning: Figures
    held_out: Figures | None
    whole: Figures


@dataclass(frozen=True)
class Tuning:
    """All of one tuning run. lines: the base settings, then every candidate; front and best give their numbers."""

    library: Library
    space: Space
    lines: tuple[Line, ...]
    left_out: int
    split: Split
    front: tuple[Choice, ...]
    best: Choice
    budget: int | None
    seed: int
    fresh: Fresh | None

    @property
    def chosen(self) -> Line:
        """Return the candidate that the rule chooses."""
        return self.lines[self.best.candidate]

    @property
    def base(self) -> Line:
        """Return the base settings."""
        return self.lines[BASE]

    @property
    def gains(self) -> bool:
        """Tell whether the chosen candidate is better than the base settings, by the rule it was chosen by."""
        return self.chosen.tuning.rank < self.base.tuning.rank


def tune(
    library: Library,
    space: Space,
    each: Each,
    tick: Callable[[], object],
    *,
    budget: int | None = None,
    seed: int = 1,
    fresh_seed: int | None = None,
) -> Tuning:
    """Judge the grid of a space, or with a budget what a search proposes, and choose.

    fresh_seed: of the library that the chosen and the base settings are judged
    on beside it; None for none. tick is called after each trace of each batch of candidates.
    """
    parts = split(library.entries)
    rows: list[list[Figures]] = []  # on the tuning part, the held-out part and the whole, by candidate

    def judged(candidates: Sequence[Candidate]) -> list[Figures]:
        settings = [candidate.settings for candidate in candidates]
        outcomes = judge_all(library.entries, settings, each, tick)
        some = [_figures(outcomes, place, parts, len(library.entries)) for place in range(len(settings))]
        rows.extend(some)
        return [row[0] for row in some]

    base = _figures(judge_all(library.entries, [space.base], each, tick), 0, parts, len(library.entries))
    if budget is None or budget >= space.size:
        candidates, left_out = every_candidate(space, MOST_CANDIDATES)
        judged(candidates)
    else:
        candidates, left_out = search(space, budget, seed, judged)
    lines = [_line(BASE, None, base)]
    lines += [_line(number, *pair) for number, pair in enumerate(zip(candidates, rows, strict=True), start=1)]
    found, best = _choose(space, lines[1:])
    fresh = None
    recipe = recipe_of(library)
    if fresh_seed is not None and recipe is not None:
        pair = (space.base, candidates[best.candidate - 1].settings)
        fresh = on_fresh_library(recipe, fresh_seed, pair, tick)
    return Tuning(library, space, tuple(lines), left_out, parts, found, best, budget, seed, fresh)


def _figures(outcomes: Outcomes, candidate: int, parts: Split, traces: int) -> list[Figures]:
    """Return figures on the tuning part, the held-out part (where there is one) and the whole."""
    whole = outcomes.of(candidate, range(traces))
    if not parts.held_out:
        return [whole, whole]
    return [outcomes.of(candidate, parts.tuning), outcomes.of(candidate, parts.held_out), whole]


def _line(number: int, candidate: Candidate | None, found: list[Figures]) -> Line:
    held_out = found[1] if len(found) > 2 else None  # noqa: PLR2004 - all three parts
    return Line(number, candidate, found[0], held_out, found[-1])


def _choose(space: Space, lines: Sequence[Line]) -> tuple[tuple[Choice, ...], Choice]:
    """Return the Pareto set on the tuning part, the chosen one first if it is not in it, and the chosen one."""
    figures = [line.tuning for line in lines]
    spans = [max(1, len(axis.options) - 1) for axis in space.axes]
    places = np.array([line.candidate.choice for line in lines if line.candidate is not None]) / spans
    found = [Choice(one.candidate + 1, one.alike) for one in front(figures, places)]
    best = chosen(figures, places)
    best = Choice(best.candidate + 1, best.alike)
    same = [
        one
        for one in found
        if lines[one.candidate - 1].tuning.objectives == lines[best.candidate - 1].tuning.objectives
    ]
    if same:
        best = same[0]
    else:
        found.insert(0, best)
    return tuple(found), best
