"""What machine-years say about a year: each figure with its limits, by family and in all.

A figure of a family is a weighted sum of Poisson counts: so many machine-years in which it came once, twice, ..., each
with its own weight, so that several stops of one fault are one event of more weight. Limits: `weighted_interval`.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from replay.forecast.year import DUTY, Year, sampled_per_year
from replay.ground.statistics import mean_interval, proportion_interval, weighted_interval
from replay.physics.days import YEAR_H

CONFIDENCE = 0.95
NARROW = 0.2  # half width of an interval, share of its figure, that more years are asked for
DEVIATIONS = 1.96  # of a normal, within which 95 % lie

# Figures of a machine-year: name, what of a tally makes it.
FIGURES: dict[str, tuple[str, ...]] = {
    "nuisance_stops": ("nuisance",),
    "justified_stops": ("justified",),
    "doubtful_stops": ("doubtful",),
    "sensor_stops": ("sensor",),
    "lockouts": ("lockouts",),
    "down_h": ("down_h",),
    "lost_without": ("lost_without",),
    "doubtful_without": ("doubtful_without",),
    "lost_with": ("lost_with",),
    "doubtful_with": ("doubtful_with",),
}


@dataclass(frozen=True)
class Rate:
    """A figure per machine-year with its two-sided limits."""

    per_year: float
    lower: float
    upper: float

    def as_json(self) -> list[float]:
        """Return figure and limits."""
        return [round(value, 6) for value in (self.per_year, self.lower, self.upper)]


def counted(year: Year, family: str, figure: str) -> float:
    """Return what a machine-year counts of a figure in a family, unweighted."""
    tally = year.tallies.get(family)
    return float(sum(getattr(tally, name) for name in FIGURES[figure])) if tally else 0.0


def rate_of(years: Sequence[Year], families: Sequence[str], figure: str, weights: dict[str, float]) -> Rate:
    """Return a figure of some families together; weights: of one event in each of them."""
    exposure = sum(year.hours for year in years) / YEAR_H
    parts, largest = [], 0.0
    for family in families:
        counts = [count for year in years if (count := counted(year, family, figure))]
        weight = weights[family] / exposure
        parts += [(1.0, weight * count) for count in counts]
        largest = max(largest, weight * max([1.0, *counts]))
    return Rate(*weighted_interval(parts, largest, CONFIDENCE))


def weights_of(per_year: Mapping[str, float]) -> dict[str, float]:
    """Return the weight of one event in each family."""
    return {DUTY: 1.0, **{name: rate / sampled_per_year(rate) for name, rate in per_year.items() if rate > 0.0}}


def missed(years: Sequence[Year], families: Sequence[str]) -> dict[str, Any]:
    """Return how many sampled faults spoil a machine for certain, and how many did so under the protection."""
    faults = int(sum(counted(year, family, "lost_without") for year in years for family in families))
    lost = int(sum(counted(year, family, "lost_with") for year in years for family in families))
    lower, upper = proportion_interval(min(lost, faults), faults, CONFIDENCE)
    return {"sampled": faults, "missed": lost, "lower": round(lower, 6), "upper": round(upper, 6)}


def dominating(rates: dict[str, Rate]) -> tuple[str, float] | None:
    """Return the family that brings most of a figure, and its share; None where there is nothing of it."""
    whole = sum(rate.per_year for rate in rates.values())
    if whole <= 0.0:
        return None
    family = max(rates, key=lambda name: rates[name].per_year)
    return family, rates[family].per_year / whole


def years_wanted(
    years: Sequence[Year], families: Sequence[str], figure: str, weights: dict[str, float]
) -> float | None:
    """Return how many machine-years would bring a figure's interval to a fifth either way; None of nothing seen."""
    exposure = sum(year.hours for year in years) / YEAR_H
    marks = [weights[family] * counted(year, family, figure) for family in families for year in years]
    total, spread = sum(marks), sum(mark * mark for mark in marks)
    return exposure * spread / (total * NARROW / DEVIATIONS) ** 2 if total > 0.0 else None


def cost_of(year: Year, weights: Mapping[str, float], prices: Mapping[str, float]) -> float:
    """Return what a machine-year costs: the sum of its figures, each at its price (by the names of FIGURES)."""
    counts = (
        (weights[family] * price, counted(year, family, figure))
        for figure, price in prices.items()
        for family in year.tallies
    )
    return math.fsum(each * count for each, count in counts) / (year.hours / YEAR_H)


def paired(
    ones: Sequence[Year], others: Sequence[Year], figure: str, weights: dict[str, float]
) -> dict[str, float | None]:
    """Return the mean difference (first less second) of a figure per machine-year of the same machines, with limits.

    The limits are those of the choice by cost (`replay.tuning.race`); None where fewer than two years, or years that
    all come out alike, say nothing of how far they spread: what is rarer than they are long may still differ.
    """
    prices = {figure: 1.0}
    differences = [
        cost_of(one, weights, prices) - cost_of(other, weights, prices) for one, other in zip(ones, others, strict=True)
    ]
    mean = sum(differences) / len(differences)
    lower, upper = mean_interval(differences, CONFIDENCE) if len(set(differences)) > 1 else (None, None)
    return {"difference": mean, "lower": lower, "upper": upper}
