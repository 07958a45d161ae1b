"""From a library, base settings and what is varied to the Pareto set and the settings that are chosen."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from replay.engine.workers import Each
from replay.library import Library
from replay.score.once import counted_once
from replay.settings import Settings
from replay.synth import Recipe
from replay.tuning.fresh import Fresh, on_fresh_library
from replay.tuning.holdout import Split, split
from replay.tuning.judge import ORDER, Figures, figures, judge_all
from replay.tuning.pareto import Choice, chosen, front, middle
from replay.tuning.race import Race
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
    """All of one tuning run. lines: the base settings, then every candidate; front and best give their numbers.

    race: what their years cost, where the best was chosen by that.
    """

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
    race: Race | None = None

    @property
    def chosen(self) -> Line:
        """Return the candidate that the rule chooses."""
        return self.lines[self.best.candidate]

    @property
    def base(self) -> Line:
        """Return the base settings."""
        return self.lines[BASE]

    @property
    def at_an_end(self) -> list[str]:
        """Return the keys whose chosen value is the first or the last of three or more that were varied."""
        choice = self.chosen.candidate.choice
        axes = zip(self.space.axes, choice, strict=True) if choice else ()
        return [axis.key for axis, place in axes if axis.is_end(place)]

    @property
    def gains(self) -> bool:
        """Tell whether the chosen candidate is better than the base settings, by the rule it was chosen by."""
        if self.race is not None:
            base = self.racing_base
            return base is None or self.race.told_apart(base)
        return self.chosen.tuning.rank < self.base.tuning.rank

    @property
    def racing_base(self) -> int | None:
        """Return the number under which the base settings ran for what years cost, None where they did not."""
        values = self.base.candidate.settings.values
        racing = self.race.costs if self.race else ()
        return next((number for number in racing if self.lines[number].candidate.settings.values == values), None)


def tune(
    library: Library,
    space: Space,
    each: Each,
    tick: Callable[[], object],
    *,
    budget: int | None = None,
    seed: int = 1,
    fresh: Recipe | None = None,
    race: Callable[[Mapping[int, Settings]], Race] | None = None,
) -> Tuning:
    """Judge the grid of a space, or with a budget what a search proposes, and choose.

    fresh: of a library that the chosen and the base settings are judged on beside it; race: what lets candidates, by
    their numbers, run whole years and chooses the cheapest. tick is called after each trace of each batch.
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
    raced = race(_acceptable(lines)) if race else None
    if raced is not None:
        found, best = _cheapest(raced, space, lines, found)
    pair = (space.base, lines[best.candidate].candidate.settings)
    beside = on_fresh_library(fresh, pair, tick) if fresh else None
    return Tuning(library, space, tuple(lines), left_out, parts, found, best, budget, seed, beside, raced)


def _places(space: Space, lines: Sequence[Line]) -> NDArray[np.float64]:
    """Return where candidates stand between least (0) and most (1) of what is varied, float64[n, axes]."""
    spans = [max(1, len(axis.options) - 1) for axis in space.axes]
    return np.array([line.candidate.choice for line in lines], float) / spans


def _acceptable(lines: Sequence[Line]) -> dict[int, Settings]:
    """Return the settings with the best verdict on the library, each once, by a candidate's number."""
    best = min(ORDER.index(line.whole.verdict) for line in lines)
    found: dict[tuple[int, ...], int] = {}
    for line in (*lines[1:], lines[BASE]):
        if ORDER.index(line.whole.verdict) == best:
            found.setdefault(line.candidate.settings.values, line.number)
    return {number: lines[number].candidate.settings for number in found.values()}


def _cheapest(
    race: Race, space: Space, lines: Sequence[Line], found: tuple[Choice, ...]
) -> tuple[tuple[Choice, ...], Choice]:
    """Return the Pareto set with what a year costs least under, and that: of equals the one in their middle."""
    alike = [number for number in race.alike if number != BASE] or [BASE]
    best = Choice(alike[middle(_places(space, [lines[number] for number in alike]))], len(alike))
    return (best, *(one for one in found if one.candidate != best.candidate)), best


def _choose(space: Space, lines: Sequence[Line]) -> tuple[tuple[Choice, ...], Choice]:
    """Return the Pareto set on the tuning part, the chosen one first if it is not in it, and the chosen one."""
    figures = [line.tuning for line in lines]
    places = _places(space, lines)
    found, best = front(figures, places), chosen(figures, places)
    objectives = figures[best.candidate].objectives
    same = next((one for one in found if figures[one.candidate].objectives == objectives), None)
    if same is None:
        found.insert(0, best)
    numbered = [Choice(lines[one.candidate].number, one.alike) for one in found]
    return tuple(numbered), numbered[found.index(same or best)]
