"""Whether runs are of the described machine, and all of one: machines drawn from the file's ranges follow each run.

They follow its suction as a member of a fit does, and a few figures are told of each and of the readings: what the
pump holds, what the sensors read at standstill, how soon pressure builds up. A run whose figure lies outside of what
all of them make is another machine's, or its sensors are not what the file says. Two runs each of which the file may
have made are not of one machine where their figures differ by more than those of any one drawn machine do.

A machine that lies within the ranges of the file in all of this is one that the file describes: the narrower the
ranges, the more strangers are known. What no member comes near to is refused after the fit.
"""

from collections.abc import Callable, Sequence
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from replay.fitting.driven import drive
from replay.fitting.members import Problem
from replay.fitting.runs import USUAL, Run
from replay.fitting.unknowns import MOST_Z, site_with, start_of, values_of
from replay.ground.refusal import Refusal, refusal
from replay.ground.wording import pressure

Vector = NDArray[np.float64]

DRAWN = 60
NEAR = 0.08  # assumed: share of what is drawn by which a figure may lie beyond it, beside its `near`
STOOD_S = 60.0  # from which on a standing machine's net oil pressure is its sensors' zero
UP = 0.5  # of the usual net oil pressure: built up


class Trait(NamedTuple):
    """A figure that tells machines apart: of (run, oil pressure in Pa) -> figure, NaN where the run shows none."""

    name: str
    of: Callable[[Run, Vector], float]
    near: float  # assumed: how far beyond what is drawn is no contradiction, beside `NEAR`
    words: Callable[[float], str]


def _usual(run: Run, oil_pa: Vector) -> float:
    return float(np.quantile((oil_pa - run.suction_pa)[run.settled], USUAL))


def _standing(run: Run, oil_pa: Vector) -> float:
    """Return the median of net oil pressure where the machine has stood for a while."""
    stood = _since(run, ~run.running) >= STOOD_S
    return float(np.median((oil_pa - run.suction_pa)[stood])) if stood.any() else np.nan


def _build_up(run: Run, oil_pa: Vector) -> float:
    """Return how long after its first start a machine that stood has half of its usual net oil pressure, s."""
    starts = np.flatnonzero(np.diff(run.running.astype(np.int8)) > 0) + 1
    if not starts.size:
        return np.nan
    net, begin = oil_pa - run.suction_pa, int(starts[0])
    up = np.flatnonzero(net[begin:] > UP * _usual(run, oil_pa))
    after = run.time_s[begin + int(up[0])] if up.size else run.time_s[-1]
    return float(after - run.time_s[begin])


def _since(run: Run, there: NDArray[np.bool_]) -> Vector:
    """Return for how long something has held at each sample, s; below zero where it does not."""
    last = np.maximum.accumulate(np.where(there, -1, np.arange(there.size)))
    begun = run.time_s[np.minimum(last + 1, there.size - 1)]
    return np.where(there, run.time_s - begun, -1.0)


def _seconds(value: float) -> str:
    return f"{value:.0f} s"


TRAITS = (
    Trait("net oil pressure at its highest", _usual, 5e3, pressure),
    Trait("net oil pressure at standstill", _standing, 5e3, pressure),
    Trait("time from start to oil pressure", _build_up, 30.0, _seconds),
)


def refuse_strangers(problems: Sequence[Problem], file: str) -> None:
    """Refuse runs that no machine of a file makes, or no one machine of it. Raises Refusal.

    problems: of the same runs, one for each oil that the machine may have: one that makes them all is enough.
    """
    refused = [_strange(problem, file) for problem in problems]
    if None not in refused:
        raise next(one for one in refused if one is not None)


def _strange(problem: Problem, file: str) -> Refusal | None:
    generator = np.random.default_rng([problem.seed, 3])
    places = np.clip(generator.standard_normal((DRAWN, len(problem.unknowns))), -MOST_Z, MOST_Z)
    made = [its for z in places if (its := _made(problem, z)) is not None]
    runs = problem.runs
    for trait in TRAITS:
        read = [trait.of(run, run.oil_pa) for run in runs]
        drawn = np.array([[trait.of(run, oil) for run, oil in zip(runs, its, strict=True)] for its in made])
        for number, run in enumerate(runs):
            if (ends := _beyond(trait, read[number], drawn[:, number])) is not None:
                return _not_this(run, trait, read[number], ends, len(made), file)
        for one, other in combinations(range(len(runs)), 2):
            if (ends := _beyond(trait, read[one] - read[other], drawn[:, one] - drawn[:, other])) is not None:
                both = f"{trait.words(read[one])} and {trait.words(read[other])}"
                low, high = (trait.words(end) for end in ends)
                why = f"{trait.name} is {both}, a difference of {low} to {high} on any one machine"
                return not_one(runs[one], runs[other], why)
    return None


def _made(problem: Problem, z: Vector) -> list[Vector] | None:
    """Return the oil pressure that a machine makes of each run; None for one that cannot run so."""
    values = values_of(problem.unknowns, z)
    try:
        site = site_with(problem.site, values)
        return [drive(site, start_of(values, at), run).oil_pa for at, run in enumerate(problem.runs, start=1)]
    except ValueError:
        return None


def _beyond(trait: Trait, read: float, drawn: Vector) -> tuple[float, float] | None:
    """Return what is drawn, where what is read lies beyond it by more than may be."""
    if np.isnan(read) or np.isnan(drawn).all():
        return None
    low, high = float(np.nanmin(drawn)), float(np.nanmax(drawn))
    more = trait.near + NEAR * max(abs(low), abs(high))
    return None if low - more <= read <= high + more else (low, high)


def _not_this(run: Run, trait: Trait, read: float, drawn: tuple[float, float], count: int, file: str) -> Refusal:
    low, high = (trait.words(one) for one in drawn)
    drawn_told = f"{count} machines within the ranges of {file} have {low} to {high}"
    rule = f"{trait.words(read)}, where {drawn_told}: another machine's log"
    would = "a run of the machine that the file describes, or ranges that are true of it"
    return refusal(run.id, trait.name, rule, would)


def not_one(one: Run, other: Run, why: str) -> Refusal:
    """Return the refusal of two runs that are not of one machine."""
    rule = f"these two are not one machine: {why}"
    return refusal(f"{one.id}, {other.id}", "", rule, "runs of one machine with the same sensors")
