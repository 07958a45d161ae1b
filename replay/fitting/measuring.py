"""What one more measurement would tell: of the labels that are open now, the share that it would settle.

Machines are drawn that may all be this one: the members of a fit, and of what no fit has found the whole ranges that a
fit begins with. Drawn cases are labelled on each; a label that they do not agree on is open. A measurement is made on
each of them, too. What it shows is boiled down to one figure for each label: how far it speaks for damage, learnt on
one half of the machines (a kernel ridge regression on the main ways in which readings differ) and reckoned for the
other half, so that no machine's own label is in its figure. There each machine in turn is taken for the true one: the
`NEAREST` others by that figure are what the measurement would leave, and a label that nearly all of these agree on, and
rightly, is settled (approximate Bayesian computation with such figures: Fearnhead and Prangle 2012; from memory). As
many machines taken blindly agree now and then as well: that share, reckoned exactly, is taken off, so that a
measurement that tells nothing settles nothing. So few machines do not reach what good readings leave: what is told here
is rather too little.
"""

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from replay.fitting.driven import drive
from replay.fitting.inspections import OF_FILM, dry_run, film_unknown, found_after
from replay.fitting.members import robust
from replay.fitting.runs import MODEL_PA, Run, run_of
from replay.fitting.unknowns import MOST_Z, RunStart, figures_of, site_with, unknowns_of, values_of
from replay.ground.shown import asked
from replay.ground.units import atmosphere_pa
from replay.machine import MachineFile
from replay.machine.found import FOUND
from replay.physics import Channel, Schedule
from replay.physics.agreeing import AGREE, KINDS
from replay.physics.drawing import FOAMING, STILL, Site
from replay.physics.families import case_of, label_of
from replay.physics.simulate import Case, simulate
from replay.trace import Trace

Vector = NDArray[np.float64]
Show = Callable[["Possible"], Vector]  # what a measurement shows of a machine: readings in the size of their error

MACHINES, TRIES = 96, 4
NEAREST, ALIKE = 8, 7  # machines that a measurement leaves, and so many of them have to agree
WAYS = 6  # in which readings differ, the largest, are looked at
RIDGE = 0.3  # assumed
DECIDED = KINDS[:2]
BEGIN_S, END_S = 60.0, 900.0
SHUT_S, LONGER_S = 240.0, 600.0
DRY_MIN = (4.0, 8.0, 16.0)
LEVELS = (0.5, 0.3)  # of the usual suction
HELD = 1.1  # a throttled suction lies so far from the usual one and from the limiting vacuum, at least
TIED = 1e-9
SURE = 10.0  # sizes of its error by which one finding lies off the next
UNLIKE = 1e6  # readings of a machine that cannot make the run
NONE = -1  # a case that cannot be on a machine


@dataclass(frozen=True, eq=False)
class Possible:
    """A machine that may be this one: as a file with one member, and its site with sensors that may be off."""

    machine: MachineFile
    site: Site


class Measurement(NamedTuple):
    """Something that could be done: name, and what it shows of a machine."""

    name: str
    show: Show


class Told(NamedTuple):
    """What a measurement would settle: share of the open labels, and the standard error of that share."""

    name: str
    settles: float
    error: float


@dataclass(frozen=True)
class Forecast:
    """Measurements, the most telling first; open: labels that are open now, of so many cases.

    most: the share of the open ones that could be settled at all: the others are open on a machine known through and
    through, by the band of its bearings.
    """

    cases: int
    open: int
    most: float
    told: tuple[Told, ...]


def forecast(described: MachineFile, drawn: Sequence[tuple[str, int]], seed: int, each: Any, tick: Any) -> Forecast:
    """Reckon what measurements would settle of drawn cases; each, tick: as `replay.engine.workers` has them."""
    machines = possible(described, MACHINES, seed)
    kinds = np.array(each(functools.partial(_kinds, machines, seed), list(drawn), tick))
    told = [
        Told(one.name, *settles(kinds, np.array([one.show(machine) for machine in machines])))
        for one in measurements(described)
    ]
    asked_of = kinds[open_labels(kinds)]
    most = float(np.isin(asked_of, range(len(DECIDED))).mean()) if len(asked_of) else 0.0
    return Forecast(len(kinds), len(asked_of), most, tuple(sorted(told, key=lambda its: -its.settles)))


def possible(described: MachineFile, count: int, seed: int) -> list[Possible]:
    """Draw machines that may be the described one."""
    generator = np.random.default_rng([seed, 4])
    stated = described.stated.get("oil.behaviour")
    found: list[Possible] = []
    for number in range(TRIES * count):
        if len(found) == count:
            break
        kind = stated or ("still", "foaming")[number % 2]
        oils = FOAMING if kind == "foaming" else STILL
        known = described.members[number % len(described.members)] if described.members else {}
        middle = replace(described, members=()).middle(oils)
        unknowns = unknowns_of(middle, described.stated, ())
        z = np.clip(generator.standard_normal(len(unknowns)), -MOST_Z, MOST_Z)
        films = [film_unknown(middle, name) for name in OF_FILM]
        film = values_of(films, np.clip(generator.standard_normal(len(films)), -MOST_Z, MOST_Z))
        figures = {path: (value, value) for path, value in figures_of(middle, unknowns, z).items()}
        figures |= {one.path: (film[one.key],) * 2 for one in films if one.path not in described.stated}
        machine = replace(
            described, stated={**described.stated, "oil.behaviour": kind}, members=({**figures, **known},)
        )
        sensors = {key: value for key, value in values_of(unknowns, z).items() if key.startswith("sensors ")}
        try:
            found.append(Possible(machine, site_with(machine.middle(oils), sensors)))
        except ValueError:  # values that no machine has together
            continue
    return found


def _kinds(machines: Sequence[Possible], seed: int, which: tuple[str, int]) -> list[int]:
    """Return the label of a case on each machine, as a place in `KINDS`, NONE where it cannot be."""
    return [_kind(one, seed, which) for one in machines]


def _kind(one: Possible, seed: int, which: tuple[str, int]) -> int:
    try:
        case = case_of(*which, seed, sites=one.machine.site)
        (kind,) = label_of(simulate(case), case.chain.fault_s)
    except ValueError:
        return NONE
    return KINDS.index(kind)


def open_labels(kinds: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Return which cases the machines do not agree on; kinds: int[cases, machines]."""
    shares = [np.mean(kinds == place, axis=1) for place in range(len(DECIDED))]
    return np.asarray(np.max(shares, axis=0) < AGREE)


def settles(kinds: NDArray[np.int64], shown: Vector) -> tuple[float, float]:
    """Return the share of the open labels that a measurement settles rightly beyond chance, and its standard error.

    kinds: as `open_labels` has them; shown: float64[machines, n], what it shows of each machine.
    """
    asked_of = kinds[open_labels(kinds)]
    machines = len(shown)
    if not len(asked_of):
        return 0.0, 0.0
    speaks = (asked_of == 0).astype(float) - (asked_of == 1)  # for damage, against it
    halves = np.arange(machines) % 2 == 0, np.arange(machines) % 2 == 1
    near = _nearness(shown)
    gains = np.zeros(machines)
    for learnt, held in (halves, halves[::-1]):
        weights = near[np.ix_(held, learnt)] @ np.linalg.inv(
            near[np.ix_(learnt, learnt)] + RIDGE * np.eye(int(learnt.sum()))
        )
        middle = speaks[:, learnt].mean(axis=1, keepdims=True)
        figures = (speaks[:, learnt] - middle) @ weights.T
        gains[held] = np.mean([_gains(*pair) for pair in zip(asked_of[:, held], figures, strict=True)], axis=0)
    return float(gains.mean()), float(gains.std(ddof=1) / np.sqrt(machines))


def _nearness(shown: Vector) -> NDArray[np.float64]:
    """Return how like each other machines are in what they show, 0 to 1, float64[m, m]."""
    spread = shown - np.median(shown, axis=0)
    ways, sizes, _ = np.linalg.svd(robust(spread), full_matrices=False)
    places = ways[:, :WAYS] * np.sqrt(len(shown)) * (sizes[:WAYS] > np.sqrt(len(shown)))
    squared = ((places[:, None, :] - places[None, :, :]) ** 2).sum(axis=2)
    return np.asarray(np.exp(-squared / (2.0 * max(float(np.median(squared)), 1e-9))))


def _gains(kinds: NDArray[np.int64], figures: Vector) -> Vector:
    """Return, of one label and each machine as the true one, whether it is settled rightly, less what chance does."""
    from scipy.stats import hypergeom

    lots = np.random.default_rng(len(kinds)).random((len(kinds), len(kinds)))  # between those that are equally near
    far = np.abs(figures[:, None] - figures[None, :]) + TIED * lots
    np.fill_diagonal(far, np.inf)
    left = np.argsort(far, axis=1, kind="stable")[:, :NEAREST]
    others = len(kinds) - 1
    found = np.zeros(len(kinds))
    for place in range(len(DECIDED)):
        its = kinds == place
        blindly = float(hypergeom.sf(ALIKE - 1, others, max(int(its.sum()) - 1, 0), NEAREST))
        found += its * ((its[left].sum(axis=1) >= ALIKE) - blindly)
    return found


def measurements(described: MachineFile) -> list[Measurement]:
    """Return what could be measured: runs of `END_S`, and inspections; the last tells nothing, to be held against."""
    site = described.middle()
    found = [
        _run("a run with the suction valve shut for 4 min", site, 0.0, SHUT_S),
        _run("a run with the suction valve shut for 10 min", site, 0.0, LONGER_S),
    ]
    air = atmosphere_pa(described.altitude_m)
    levels = {f"a run with the suction valve throttled to {asked().suction(air, described.altitude_m)}": air}
    for level in LEVELS:
        levels[f"a run throttled to {100 * level:.0f} % of the usual suction, absolute"] = level * site.suction_pa
    for name, level in levels.items():
        if HELD * site.limiting_vacuum_pa < level < site.suction_pa / HELD:
            found.append(_run(name, site, site.throttle_opening(site.schedule(), level), LONGER_S))
    found += [
        Measurement(f"an inspection after {minutes:g} min without oil pressure", functools.partial(_found, minutes))
        for minutes in DRY_MIN
    ]
    return [*found, _run("a run in which nothing happens", site, 1.0, LONGER_S)]


def _run(name: str, site: Site, opening: float, lasts_s: float) -> Measurement:
    """Return a run with the suction valve at an opening for a while, its suction that of the machine in the middle."""
    plan: Schedule = site.schedule().change(Channel.SUCTION_VALVE, BEGIN_S, opening, 3.0)
    plan.change(Channel.SUCTION_VALVE, BEGIN_S + lasts_s, 1.0, 3.0)
    case = Case(site.machine, site.oil, site.refrigerant, plan, END_S, site.start, behaviour=site.behaviour)
    made = simulate(case)
    suction = made.true_suction_pa.astype(np.int64)
    oil = made.true_oil_pa.astype(np.int64)
    trace = Trace(name, 0.0, made.time_ms, oil, suction, suction, made.running, np.zeros_like(made.running))
    return Measurement(name, functools.partial(_read, run_of(trace)))


def _read(run: Run, one: Possible) -> Vector:
    """Return what a machine would read in a run, in the size of its error."""
    start = RunStart(one.site.oil_temperature_c, 1.0)
    try:
        return drive(one.site, start, run).oil_pa / MODEL_PA
    except ValueError:
        return np.full(run.time_s.size, UNLIKE)


def _found(minutes: float, one: Possible) -> Vector:
    """Return how a bearing would be found, as a place in `FOUND`."""
    place = FOUND.index(found_after(dry_run(one.site, 60.0 * minutes, reloaded=False)))
    return SURE * np.array([float(place)])
