"""From a library, base settings and what is varied to the Pareto set and the settings that are chosen."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from replay.engine.workers import Each
from replay.library import Library
from replay.score.once import counted_once
from replay.synth import Recipe
from replay.tuning.fresh import Fresh, on_fresh_library
from replay.tuning.holdout import Split, split
from replay.tuning.judge import Figures, figures, judge_all
from replay.tuning.pareto import Choice, chosen, front
from replay.tuning.search import search
from replay.tuning.vary import Candidate, Space, every_candidate

MOST_CANDIDATES = 50_000
BASE = 0  # number of the base settings; candidates count from 1


@dataclass(frozen=True)
class Line:
    """One candidate (number BASE: the base settings) and its figures on the parts of the library."""

    number: int
    candidate: Candidate
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
    fresh: Recipe | None = None,
) -> Tuning:
    """Judge the grid of a space, or with a budget what a search proposes, and choose.

    fresh: of a library that the chosen and the base settings are judged on beside it. tick is called after each
    trace of each batch of candidates.
    """
    once = counted_once(library, each)
    library, acceptance = once.library, space.base.acceptance
    parts = split(library.entries, once.twice)
    lines: list[Line] = []

    def judged(candidates: Sequence[Candidate]) -> list[Figures]:
        found = judge_all(library.entries, [candidate.settings for candidate in candidates], each, tick)
        first = len(lines)
        for candidate, verdicts in zip(candidates, found, strict=True):
            tuning, held_out = ([verdicts[place] for place in part] for part in (parts.tuning, parts.held_out))
            apart = figures(held_out, acceptance) if held_out else None
            whole = figures(verdicts, acceptance)
            lines.append(Line(len(lines), candidate, figures(tuning, acceptance), apart, whole))
        return [line.tuning for line in lines[first:]]

    judged([space.base_candidate])
    if budget is None or budget >= space.size:
        candidates, left_out = every_candidate(space, MOST_CANDIDATES)
        judged(candidates)
    else:
        left_out = search(space, budget, seed, judged)
    found, best = _choose(space, lines[1:])
    pair = (space.base, lines[best.candidate].candidate.settings)
    beside = on_fresh_library(fresh, pair, tick) if fresh else None
    return Tuning(library, space, tuple(lines), left_out, parts, found, best, budget, seed, beside)


def _choose(space: Space, lines: Sequence[Line]) -> tuple[tuple[Choice, ...], Choice]:
    """Return the Pareto set on the tuning part, the chosen one first if it is not in it, and the chosen one."""
    figures = [line.tuning for line in lines]
    spans = [max(1, len(axis.options) - 1) for axis in space.axes]
    places = np.array([line.candidate.choice for line in lines]) / spans
    found, best = front(figures, places), chosen(figures, places)
    objectives = figures[best.candidate].objectives
    same = next((one for one in found if figures[one.candidate].objectives == objectives), None)
    if same is None:
        found.insert(0, best)
    numbered = [Choice(lines[one.candidate].number, one.alike) for one in found]
    return tuple(numbered), numbered[found.index(same or best)]
