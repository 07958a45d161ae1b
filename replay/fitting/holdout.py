"""A run that no fit has seen, predicted by every member, and how far they are off.

The member is made to follow the suction of the run, as in a fit; its oil pressure, and what the protection makes of
that, are the prediction. How the run began (oil temperature, refrigerant dissolved) is drawn anew for each member, and
so is what the readings of the fitted runs were off by: noise, and what is remembered from reading to reading.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from protect import ranges
from protect.ranges import NO_READING
from protect.state import CAUSE_CODE, SENSOR_CAUSE
from replay.engine.portable import Stop, replay_trace
from replay.fitting.driven import drive
from replay.fitting.members import Errors, Member, Problem, drawn_errors
from replay.fitting.runs import Run
from replay.fitting.unknowns import Unknown, run_unknowns, site_with, start_of, values_of
from replay.fitting.words import Misfit, misfits_of
from replay.ground.units import PSI_PA
from replay.settings import Settings

LEVELS_PSI = (4.5, 7.0, 9.0)  # of net oil pressure, where no settings name theirs
LEVELS = {f"{psi:g} psi": psi * PSI_PA for psi in LEVELS_PSI}  # Pa by their names
DOUBTED = "sensor doubted, no oil pressure judged"
COVERED = 0.9  # share of the members between the ends of an interval


@dataclass(frozen=True)
class Figure:
    """A figure of a run: as the readings have it, and of the members the median and the ends; None: does not happen."""

    name: str
    read: float | None
    median: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, eq=False)
class Prediction:
    """A run as the members make it.

    oil_pa: float64[members, n], what the sensor would read; net_error_pa: rms of the median's net oil pressure against
    the readings; below_s: time below each level; trip_s: first stop of the settings, in s of the log, where there are
    settings.
    """

    run: Run
    oil_pa: NDArray[np.float64]
    net_error_pa: float
    below_s: tuple[Figure, ...]
    trip_s: Figure | None
    misfits: tuple[Misfit, ...]


def predict(problem: Problem, members: Sequence[Member], run: Run, settings: Settings | None) -> Prediction:
    """Predict a run by the members of a fit."""
    scale = float(np.sqrt(np.mean([one.scale**2 for one in problem.errors])))
    usual = Errors(scale, float(np.mean([one.memory_s for one in problem.errors])))
    return _prediction(run, _driven(problem, members, run), usual, settings, problem.seed)


def fitted(problem: Problem, members: Sequence[Member], number: int, settings: Settings | None) -> Prediction:
    """Return what the members make of a run (counted from 1) that they were fitted to."""
    places = [values_of(problem.unknowns, np.array(one.place)) for one in members]
    run = problem.runs[number - 1]
    made = [drive(site_with(problem.site, values), start_of(values, number), run).oil_pa for values in places]
    return _prediction(run, np.array(made), problem.errors[number - 1], settings, problem.seed)


def _driven(problem: Problem, members: Sequence[Member], run: Run) -> NDArray[np.float64]:
    begun: list[Unknown] = run_unknowns(problem.site, run, "run 1")
    made = []
    for one in members:
        generator = np.random.default_rng([problem.seed, one.number, 1])
        values = values_of(problem.unknowns, np.array(one.place))
        drawn = values_of(begun, generator.standard_normal(len(begun)))
        made.append(drive(site_with(problem.site, values), start_of(drawn, 1), run).oil_pa)
    return np.array(made)


def _prediction(
    run: Run, oil_pa: NDArray[np.float64], errors: Errors, settings: Settings | None, seed: int
) -> Prediction:
    middle = np.median(oil_pa, axis=0)
    off = (middle - run.oil_pa)[run.read]
    told = np.array([one + _off_pa(run, errors, seed + number) for number, one in enumerate(oil_pa)])
    if settings is None:
        levels = LEVELS
    else:
        keys = {"floor": ranges.FLOOR, "cut-out": ranges.CUT_OUT, "cut-in": ranges.CUT_IN}
        levels = {name: float(settings.values[key]) for name, key in keys.items()}
    whole_s, tick_s = _below_s(run, run.suction_pa, np.inf), round(run.period_s, 3)
    below = [
        _figure(name, _below_s(run, run.oil_pa, level), [_below_s(run, one, level) for one in told], whole_s, tick_s)
        for name, level in levels.items()
    ]
    trip = None
    if settings is not None:
        made = [_stop_s(run, _trip(run, one, settings, seed + number)) for number, one in enumerate(told)]
        read = _stop(run, run.trace.oil_pa, settings)
        doubted = read is not None and read.cause & CAUSE_CODE == SENSOR_CAUSE  # sampled too slowly, say
        trip = _figure(f"trip ({DOUBTED})" if doubted else "trip", _stop_s(run, read), made, tick_s=tick_s)
    return Prediction(
        run, oil_pa, float(np.sqrt(np.mean(off * off))), tuple(below), trip, tuple(misfits_of(run, oil_pa))
    )


def _off_pa(run: Run, errors: Errors, seed: int) -> NDArray[np.float64]:
    """Draw what readings are off by for longer than one of them, Pa: float64[n]."""
    size = np.sqrt(np.maximum((errors.scale * run.sigma_pa) ** 2 - run.noise_pa**2, 0.0))
    return np.asarray(size * drawn_errors(np.random.default_rng([seed, 2]), run, errors))


def _below_s(run: Run, oil_pa: NDArray[np.float64], level_pa: float) -> float:
    """Return how long the settled machine runs with net oil pressure below a level, s."""
    lasts = np.diff(run.time_s, append=run.time_s[-1])
    return float(lasts[run.settled & (oil_pa - run.suction_pa < level_pa)].sum())


def _trip(run: Run, oil_pa: NDArray[np.float64], settings: Settings, seed: int) -> Stop | None:
    """Return when settings stop a member whose readings have the run's noise: without any they would stand still."""
    noise = np.random.default_rng(seed).normal(0.0, max(run.noise_pa, 1.0), oil_pa.size)
    readings = np.where(run.trace.oil_pa == NO_READING, NO_READING, np.rint(oil_pa + noise).astype(np.int64))
    return _stop(run, readings, settings)


def _stop(run: Run, oil_pa: NDArray[np.int64], settings: Settings) -> Stop | None:
    stops = replay_trace(replace(run.trace, oil_pa=oil_pa), settings).stops
    return stops[0] if stops else None


def _stop_s(run: Run, stop: Stop | None) -> float | None:
    return None if stop is None else run.trace.seconds(stop.time_ms)


def _figure(
    name: str, read: float | None, made: Sequence[float | None], most: float = np.inf, tick_s: float = 0.001
) -> Figure:
    """Return a figure with the members' interval, to the most there is; what does not happen lies beyond every time.

    tick_s: between samples; ends that were widened lie at one.
    """
    times = sorted(np.inf if one is None else one for one in made)
    beyond = round((1.0 - COVERED) / 2.0 * (len(times) + 1), 9)  # each end, the run itself counted as one more member
    out = max(int(beyond), 1)
    middle = float(np.quantile(times, 0.5, method="nearest"))
    low, high = times[out - 1], times[len(times) - out]
    if beyond < 1.0 and np.isfinite(middle):
        below, above = (_wider(len(times)) * one / tick_s for one in (middle - low, high - middle))
        low = max(middle - tick_s * np.ceil(round(below, 6)), 0.0)
        high = min(middle + tick_s * np.ceil(round(above, 6)), most)
    return Figure(name, read, *(None if not np.isfinite(one) else round(float(one), 3) for one in (middle, low, high)))


def _wider(members: int) -> float:
    """Return by how much the span of so few members has to be widened to hold what it is said to.

    By Student's t for one more of a normal sample, over where the outermost of it lies on average (Blom 1958; both from
    memory); 1 from 19 members on.
    """
    from scipy.special import ndtri, stdtrit

    reach = float(stdtrit(members - 1, (1.0 + COVERED) / 2.0)) * np.sqrt(1.0 + 1.0 / members)
    return max(1.0, float(reach / ndtri((members - 0.375) / (members + 0.25))))
