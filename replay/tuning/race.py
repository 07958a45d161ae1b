"""Which candidate costs least in a year: machine-years of ordinary duty, the same for all, until the others are beaten.

What a year costs is a sum of figures of `replay.forecast`, each at the price that the user states; what has no price
costs nothing. Every candidate runs the same machines, days, faults and noise, so two of them are compared year by year.
After FIRST machine-years, and then whenever their number has doubled, those are left out that are dearer than the
cheapest for certain (Student's t of the paired differences); the rest run on, until one is left or the years are used
up. That is racing (Maron and Moore 1994, from memory): a candidate that is left out has cost few years, and the choice
is that of all candidates run for all years unless a limit at SURE was wrong.
"""

import functools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from replay.engine.workers import Each, Progress
from replay.forecast.forecast import begin_keeping, one_year, recipe_of
from replay.forecast.rates import FIGURES, cost_of, weights_of
from replay.forecast.year import Wanted, Year
from replay.ground.refusal import nearest, refusal
from replay.ground.statistics import mean_interval
from replay.machine import MachineFile
from replay.settings import Settings

FIRST = 4  # machine-years of each candidate before any is left out
SURE = 0.99  # confidence of the limits by which one is left out
CONFIDENCE = 0.95  # of the limits that are shown
FORM = "FIGURE=COST, such as nuisance_stops=1 or lost_with=200"
MOST_CANDIDATES = 200
RULE_BY_YEARS = "the best verdict on [acceptance], then what a year costs least under"


@dataclass(frozen=True)
class Asked:
    """What candidates run. prices: of the figures of a year; years: machine-years, at most; keep: see `run_race`."""

    wanted: Wanted
    machine: MachineFile | None
    prices: Mapping[str, float]
    years: int
    keep: Path | None = None


@dataclass(frozen=True)
class Race:
    """Candidates by the machine-years that each has run. years, costs: by the candidate's number, one each year."""

    asked: Asked
    years: Mapping[int, tuple[Year, ...]]
    costs: Mapping[int, tuple[float, ...]]

    @property
    def ranking(self) -> list[int]:
        """Return the candidates, those that ran longest first, of these the cheapest."""
        return sorted(self.costs, key=lambda number: (-len(self.costs[number]), self.cost(number), number))

    @property
    def best(self) -> int:
        """Return the cheapest of those that ran to the end, the first of equals."""
        return self.ranking[0]

    @property
    def alike(self) -> list[int]:
        """Return those that cost what the best does, in every year."""
        return sorted(number for number, costs in self.costs.items() if costs == self.costs[self.best])

    def cost(self, number: int) -> float:
        """Return what a year costs under a candidate, in the mean of its years."""
        costs = self.costs[number]
        return math.fsum(costs) / len(costs)

    def dearer(self, number: int) -> tuple[float, float, float]:
        """Return by how much a year costs more under a candidate than under the best, with limits."""
        pairs = _pairs(self.costs[number], self.costs[self.best])
        return math.fsum(pairs) / len(pairs), *mean_interval(pairs, CONFIDENCE)

    def told_apart(self, number: int) -> bool:
        """Tell whether a candidate is dearer than the best for certain."""
        return self.dearer(number)[1] > 0.0

    def years_wanted(self, number: int) -> float | None:
        """Return how many machine-years would tell a candidate from the best, if things go on so; None of equals."""
        mean, lower, _ = self.dearer(number)
        if mean <= 0.0:
            return None
        return len(self.costs[number]) * ((mean - lower) / mean) ** 2

    def figure(self, number: int, figure: str) -> float:
        """Return a figure of the forecast per machine-year, in the mean of a candidate's years."""
        weights = weights_of(self.asked.wanted.per_year)
        costs = [cost_of(year, weights, {figure: 1.0}) for year in self.years[number]]
        return math.fsum(costs) / len(costs)

    def as_json(self) -> dict[str, Any]:
        """Return the report: what was run, and each candidate with its figures and its difference to the best."""
        machine = self.asked.machine and {"name": self.asked.machine.name, "digest": self.asked.machine.digest}
        rows = [
            {
                "number": number,
                "machine_years": len(self.costs[number]),
                "cost": round(self.cost(number), 6),
                "dearer": [round(value, 6) if math.isfinite(value) else None for value in self.dearer(number)],
                **{figure: round(self.figure(number, figure), 6) for figure in FIGURES},
            }
            for number in self.ranking
        ]
        return {
            "recipe": recipe_of(self.asked.wanted),
            "machine": machine,
            "most_machine_years": self.asked.years,
            "costs": dict(self.asked.prices),
            "candidates": rows,
        }


def checked_costs(costs: Mapping[str, float]) -> dict[str, float]:
    """Return the costs of figures of a year. Raises Refusal for one that is none."""
    for figure, cost in costs.items():
        if figure not in FIGURES:
            raise refusal("tune", "--cost", "no figure of a year", nearest(figure, FIGURES), figure)
        if not 0.0 <= cost < math.inf:
            raise refusal("tune", f"--cost {figure}", "not what a year can cost", "0 or more", cost)
    if not any(costs.values()):
        raise refusal("tune", "--cost", "nothing costs anything, so no year is dearer than another", FORM)
    return dict(costs)


def run_race(candidates: Mapping[int, Settings], asked: Asked, each: Each, progress: Progress) -> Race:
    """Let candidates run machine-years until one is left, or so many years are used up.

    What is asked to be kept has a folder for each candidate, named by the digest of its settings, as `forecast --keep`
    takes it: an interrupted run is taken up there. Raises Refusal.
    """
    if len(candidates) > MOST_CANDIDATES:
        rule = f"{len(candidates)} candidates with the best verdict, too many to run whole years"
        raise refusal("tune", "--vary", rule, f"up to {MOST_CANDIDATES}: fewer values, or a stricter [acceptance]")
    wanted, prices, years = asked.wanted, asked.prices, asked.years
    folders = {number: _folder(asked, settings) for number, settings in candidates.items()}
    found: dict[int, list[Year]] = {number: [] for number in candidates}
    weights = weights_of(wanted.per_year)
    running, done = [*candidates], 0

    def costs(number: int) -> tuple[float, ...]:
        return tuple(cost_of(year, weights, prices) for year in found[number])

    while done < years and (len(running) > 1 or not done):
        goal = min(max(FIRST, 2 * done), years)
        pieces = [(number, year) for year in range(done, goal) for number in running]
        work = functools.partial(_run, wanted, {number: candidates[number] for number in running}, folders)
        with progress(len(pieces), f"machine-years {done + 1} to {goal}, {len(running)} candidates") as stage:
            for (number, _), year in zip(pieces, each(work, pieces, stage.advance), strict=True):
                found[number].append(year)
        done = goal
        best = min(running, key=lambda number: math.fsum(costs(number)))
        running = [number for number in running if not _beaten(costs(number), costs(best))]
    kept = {number: tuple(its) for number, its in found.items()}
    return Race(asked, kept, {number: costs(number) for number in kept})


def _beaten(costs: Sequence[float], by: Sequence[float]) -> bool:
    """Tell whether a candidate is dearer than another for certain."""
    return mean_interval(_pairs(costs, by), SURE)[0] > 0.0


def _pairs(costs: Sequence[float], others: Sequence[float]) -> list[float]:
    """Return the differences of the years that both have run."""
    return [one - other for one, other in zip(costs, others, strict=False)]


def _folder(asked: Asked, settings: Settings) -> Path | None:
    """Return the folder of a candidate, made ours."""
    if asked.keep is None:
        return None
    folder = asked.keep.absolute() / settings.digest[:12]
    begin_keeping(folder, asked.wanted, asked.machine, settings)
    return folder


def _run(
    wanted: Wanted,
    candidates: Mapping[int, Settings],
    folders: Mapping[int, Path | None],
    piece: tuple[int, int],
) -> Year:
    """Run a machine-year of a candidate."""
    number, year = piece
    return one_year(wanted, candidates[number], folders[number], year)[0]
