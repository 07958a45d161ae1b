"""Members of the ensemble: each is a fit of its own, to its own draw of what is not known.

Randomised maximum likelihood (Oliver, He and Reynolds 1996; from memory): a member draws a place in every range and
an error of every reading from what they may be, and is fitted to both by least squares. Where the model is linear the
members are draws of the posterior; where it is not, they start at many places and end where the readings allow. What
the runs do not tell stays where it was drawn, so its whole range is in the ensemble. Every second member draws the
opposite of the one before it, so that what the draws have by chance does not move the middle of a small ensemble.

A reading's error is remembered over some time, since what the model cannot make is not made again at the next sample:
readings within that time count as one (`Errors.memory_s`). The size of the errors is that of the noise and of the
model, or larger where the first fits show it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from replay.fitting.driven import drive
from replay.fitting.runs import Run
from replay.fitting.unknowns import MOST_Z, Unknown, site_with, start_of, values_of
from replay.physics.drawing import Site

Vector = NDArray[np.float64]

SCOUTS = 40  # draws of the ranges, the best of which a member starts from
SCOUT_PASSES, PASSES = 12, 6  # of least squares, at most
DAMPINGS = (0.0, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0)  # shares of each slope's own square that a step is held back by
LITTLE = 1e-3  # of the sum of squares: a pass that gains no more is the last
STEP_Z = 0.06  # of the slopes
SILENT = 0.05  # an unknown that moves all readings together by less of their error a z is left where it was drawn
LOOK_AGAIN = 3  # passes after which the silent ones are tried again
ROBUST = 2.5  # errors beyond so many of their size count by its logarithm, not its square
IMPOSSIBLE = 50.0  # error of every reading, of a machine that cannot run so
SEED = 20211


class Errors(NamedTuple):
    """What readings of one run may be off by: times `Run.sigma_pa`, remembered for so long."""

    scale: float = 1.0
    memory_s: float = 8.0  # assumed, until fits have shown it


@dataclass(frozen=True)
class Problem:
    """What is to be fitted: a site's unknowns to runs. errors: one a run; starts: of members, () draws them."""

    site: Site
    unknowns: tuple[Unknown, ...]
    runs: tuple[Run, ...]
    errors: tuple[Errors, ...]
    starts: tuple[tuple[float, ...], ...] = ()
    seed: int = SEED

    def misfits(self, z: Vector) -> list[Vector]:
        """Return, of each run, how far its readings are off those of the machine at z, in `Run.sigma_pa`."""
        values = values_of(self.unknowns, z)
        try:
            site = site_with(self.site, values)
            told = [drive(site, start_of(values, at), run).oil_pa for at, run in enumerate(self.runs, start=1)]
        except ValueError:
            return [np.full(int(run.read.sum()), IMPOSSIBLE) for run in self.runs]
        return [((run.oil_pa - oil) / run.sigma_pa)[run.read] for oil, run in zip(told, self.runs, strict=True)]

    def residuals(self, z: Vector, drawn: "Drawn | None" = None) -> Vector:
        """Return the errors, robustly weighted, and the distances from the ranges' drawn places, in one array."""
        parts = []
        for number, (run, errors, misfit) in enumerate(zip(self.runs, self.errors, self.misfits(z), strict=True)):
            off = misfit / errors.scale + (0.0 if drawn is None else drawn.errors[number])
            parts.append(robust(off) / np.sqrt(remembered(run, errors)))
        return np.concatenate([*parts, z - (0.0 if drawn is None else drawn.place)])

    def likelihood(self, z: Vector) -> float:
        """Return the logarithm of the likelihood of z, but for a constant; the ranges left out."""
        told = self.residuals(z)[: -len(self.unknowns)]
        return -0.5 * float(told @ told)


class Drawn(NamedTuple):
    """What a member is fitted to: places in the ranges, and errors of the readings of each run in their size."""

    place: Vector
    errors: list[Vector]


@dataclass(frozen=True)
class Member:
    """One fit. place: z of every unknown; likelihood: see `Problem`; silent: places of those that told it nothing."""

    number: int
    place: list[float]
    likelihood: float
    simulations: int
    silent: list[int] = field(default_factory=list)


def fit_member(problem: Problem, number: int) -> Member:
    """Fit one member. Same problem and number, same member."""
    if problem.starts:
        generator = np.random.default_rng([problem.seed, number // 2])
        start = np.array(problem.starts[int(generator.integers(len(problem.starts)))])
        drawn = draw(generator, problem, (1.0, -1.0)[number % 2])
    else:
        generator = np.random.default_rng([problem.seed, number])
        start = max((_place(generator, problem) for _ in range(SCOUTS)), key=problem.likelihood)
        drawn = Drawn(np.zeros(len(start)), [np.zeros(int(run.read.sum())) for run in problem.runs])
    slopes = _Slopes(problem, drawn)
    place = _least(slopes, start, PASSES if problem.starts else SCOUT_PASSES)
    silent = np.flatnonzero(~slopes.heard)
    place[silent] = drawn.place[silent]
    simulations = slopes.simulations + 1 + (0 if problem.starts else SCOUTS)
    return Member(number, place.tolist(), problem.likelihood(place), simulations, silent.tolist())


def draw(generator: np.random.Generator, problem: Problem, way: float = 1.0) -> Drawn:
    """Draw what a member is fitted to; way: -1 for the opposite."""
    place = way * _place(generator, problem)
    errors = [
        way * drawn_errors(generator, *its)[its[0].read] for its in zip(problem.runs, problem.errors, strict=True)
    ]
    return Drawn(place, errors)


def _least(slopes: "_Slopes", start: Vector, passes: int) -> Vector:
    """Return where the squares of the residuals are least, from a start on.

    By Levenberg and Marquardt (Marquardt 1963; from memory), but that each pass tries all dampings and takes the best:
    pressures are rough over z, since gas that lets go a moment earlier moves all that comes after, and a simulation
    costs next to nothing beside the slopes.
    """
    z, here = start, slopes.residuals(start)
    for _ in range(passes):
        rise = slopes.at(z, here)
        square, down = rise.T @ rise, -rise.T @ here
        steps = [np.linalg.solve(square + damping * np.diag(np.diag(square)), down) for damping in DAMPINGS]
        tried = [np.clip(z + step, -MOST_Z, MOST_Z) for step in steps]
        told = [slopes.residuals(one) for one in tried]
        best = int(np.argmin([one @ one for one in told]))
        gain = float(here @ here - told[best] @ told[best])
        if gain > 0.0:
            z, here = tried[best], told[best]
        if gain <= LITTLE * float(here @ here):
            break
    return z


class _Slopes:
    """Residuals of a member and their slopes; unknowns that have shown no effect are not tried at every pass."""

    def __init__(self, problem: Problem, drawn: Drawn) -> None:
        self.problem, self.drawn = problem, drawn
        self.heard = np.ones(len(problem.unknowns), dtype=bool)
        self.passes = self.simulations = 0

    def residuals(self, z: Vector) -> Vector:
        """Return the residuals at z."""
        self.simulations += 1
        return self.problem.residuals(z, self.drawn)

    def at(self, z: Vector, here: Vector) -> NDArray[np.float64]:
        """Return the slopes by each unknown at z, where the residuals are here."""
        count = len(z)
        slopes = np.zeros((len(here), count))
        slopes[-count:] = np.eye(count)
        if self.passes % LOOK_AGAIN == 0:
            self.heard[:] = True
        self.passes += 1
        for i in np.flatnonzero(self.heard)[::-1]:  # first what changes no machine, or a start: see `driven`
            step = -STEP_Z if z[i] > 0.0 else STEP_Z
            beside = z.copy()
            beside[i] += step
            slopes[:-count, i] = ((self.residuals(beside) - here) / step)[:-count]
        self.heard = np.linalg.norm(slopes[:-count], axis=0) >= SILENT
        return slopes


def robust(off: Vector) -> Vector:
    """Return errors whose squares grow ever less once they are large (by Cauchy).

    Gas that lets go a few seconds early is far off twice, and may be nearer the truth than gas that never does.
    """
    return np.asarray(np.sign(off) * ROBUST * np.sqrt(np.log1p((off / ROBUST) ** 2)))


def remembered(run: Run, errors: Errors) -> float:
    """Return how many readings count as one."""
    return max(1.0, errors.memory_s / run.period_s)


def _place(generator: np.random.Generator, problem: Problem) -> Vector:
    return np.clip(generator.standard_normal(len(problem.unknowns)), -MOST_Z + 0.1, MOST_Z - 0.1)


def drawn_errors(generator: np.random.Generator, run: Run, errors: Errors) -> Vector:
    """Draw errors of a run's readings, of unit size, each remembered in the next: float64[n]."""
    from scipy.signal import lfilter

    count = remembered(run, errors)  # of an AR(1): (1 + a)/(1 - a)
    a = (count - 1.0) / (count + 1.0)
    fresh = generator.standard_normal(run.time_s.size) * np.sqrt(1.0 - a * a)
    fresh[0] /= np.sqrt(1.0 - a * a)
    return np.asarray(lfilter([1.0], [1.0, -a], fresh))


def shown_errors(problem: Problem, members: Sequence[Member]) -> tuple[Errors, ...]:
    """Return the errors that the best of some members shows: their size, and for how long they are remembered."""
    best = max(members, key=lambda one: one.likelihood)
    found = []
    for run, errors, misfit in zip(problem.runs, problem.errors, problem.misfits(np.array(best.place)), strict=True):
        off = robust(misfit)
        scale = max(1.0, float(np.sqrt(np.mean(off * off))))
        found.append(Errors(scale, max(errors.memory_s, _memory_s(run, off))))
    return tuple(found)


def _memory_s(run: Run, off: Vector) -> float:
    """Return the time that errors are remembered for, from their autocorrelation up to where it is lost."""
    off = off - off.mean()
    power = float(off @ off) or 1.0
    total = 1.0
    for lag in range(1, len(off) // 4):
        correlation = float(off[:-lag] @ off[lag:]) / power
        if correlation < 0.1:  # noqa: PLR2004 - lost
            break
        total += 2.0 * correlation
    return total * run.period_s
