"""What inspections tell of the bearings: an interval-censored likelihood of the values that set how long a film lasts.

A bearing found sound had not begun to touch in earnest by the end of its dry run, one that failed had, and one that was
scuffed lay between: each bounds a time from one side or two, none tells it. Values are drawn from their whole ranges,
each draw runs dry as it is told of the machine, and counts by how well it agrees with what was seen. The time told of a
dry run is taken as worth 25 % either way. The pressures of a run say nothing of a bearing, so without inspections the
range that a machine file draws from stands.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from replay.fitting.unknowns import MOST_Z, Unknown, values_of
from replay.ground.refusal import refusal
from replay.machine.found import FAILED, SCUFFED, SOUND, Inspection
from replay.physics.behaviour import TABLE
from replay.physics.drawing import Site
from replay.physics.schedule import Channel
from replay.physics.simulate import Case, Damage, simulate, simulate_pieces

Vector = NDArray[np.float64]

OF_FILM = ("lost_share", "least_film_ratio", "wipe_time_s", "body_time_s")
DRAWS = 200
WORTH = (0.8, 1.0, 1.25)  # assumed: of the time that is told of a dry run
DISBELIEF = 0.02  # assumed: share of inspections that are told wrongly
TOUCHED = 0.3  # assumed: of the heat that spoils a bearing, from which on an eye sees it
DRY_FROM_S, AFTER_S = 60.0, 180.0
ENDLESS_S = 3600.0
SO_FAR = 240  # samples of a dry run between two looks at the bearings
LIKELY = 1  # of three columns


@dataclass(frozen=True)
class Bearings:
    """What inspections leave of the ranges: values by keys of a machine file, one a member; told: that in words."""

    members: tuple[dict[str, float], ...]
    told: str


def bearings_of(site: Site, inspections: Sequence[Inspection], count: int, seed: int, file: str) -> Bearings:
    """Return bearings for so many members. Raises Refusal for inspections that no bearing in range would show."""
    if not inspections:
        return Bearings(({},) * count, "no inspections: the assumed range of the bearings applies")
    generator = np.random.default_rng([seed, 2])
    unknowns = [film_unknown(site, name) for name in OF_FILM]
    draws = np.clip(generator.standard_normal((DRAWS, len(unknowns))), -MOST_Z, MOST_Z)
    values = [values_of(unknowns, z) for z in draws]
    sites = [_site(site, its) for its in values]
    agreement = np.array([[_agreement(one, inspection) for inspection in inspections] for one in sites])
    if not agreement.all(axis=1).any():
        rows = ", ".join(f"{one.what} ({one.found})" for one in inspections)
        rule = "no bearing within the assumed ranges would be found like this in all of them"
        raise refusal(file, "[[inspection]]", rule, "rows of one and the same machine, the time without oil", rows)
    weights = (DISBELIEF + (1.0 - DISBELIEF) * agreement).prod(axis=1)
    weights /= weights.sum()
    places = np.searchsorted(np.cumsum(weights), (np.arange(count) + 0.5) / count)
    members = tuple(_figures(unknowns, values[min(int(place), DRAWS - 1)]) for place in places)
    lasts = np.array([_lasts_s(one) for one in sites])
    assumed = _span(lasts, np.full(DRAWS, 1.0 / DRAWS))
    seen = f"by {len(inspections)} inspection" + ("s" if len(inspections) > 1 else "")
    told = f"{seen}: a dry unloaded bearing lasts {_span(lasts, weights)}, where {assumed} was assumed"
    return Bearings(members, told)


def film_unknown(site: Site, name: str) -> Unknown:
    """Return one of `OF_FILM` with its whole range."""
    told = TABLE[name]
    return Unknown("behaviour", name, told.low, _one(getattr(site.behaviour, name)), told.high)


def _one(value: Any) -> float:
    return float(value[LIKELY] if isinstance(value, tuple) else value)


def _site(site: Site, values: dict[str, float]) -> Site:
    """Return a site whose three journals are alike, with these values."""
    changes: dict[str, Any] = {}
    for name in OF_FILM:
        value = values[f"behaviour {name}"]
        changes[name] = (value,) * 3 if isinstance(getattr(site.behaviour, name), tuple) else value
    return replace(site, behaviour=replace(site.behaviour, **changes))


def _figures(unknowns: Sequence[Unknown], values: dict[str, float]) -> dict[str, float]:
    return {one.path: values[one.key] for one in unknowns}


def _agreement(site: Site, inspection: Inspection) -> float:
    """Return the share of what the told time may mean that leaves a bearing as it was found."""
    found = [found_after(dry_run(site, worth * inspection.dry_s, reloaded=inspection.reloaded)) for worth in WORTH]
    return float(np.mean([one == inspection.found for one in found]))


def found_after(damage: Damage) -> str:
    """Return how bearings that suffered this would be found."""
    if damage.spells:
        return FAILED
    return SCUFFED if damage.most_heat >= TOUCHED else SOUND


def dry_run(site: Site, dry_s: float, *, reloaded: bool) -> Damage:
    """Return what bearings suffer in a vacuum without oil pressure, then stopped, or given suction and oil again."""
    return simulate(_dry_case(site, dry_s, reloaded=reloaded)).damage


def _dry_case(site: Site, dry_s: float, *, reloaded: bool) -> Case:
    plan = site.schedule().change(Channel.SUCTION_VALVE, DRY_FROM_S - 30.0, 0.0, 2.0)
    plan.change(Channel.PUMP_DRIVE, DRY_FROM_S, 0.0)
    end_s = DRY_FROM_S + dry_s
    if reloaded:
        plan.change(Channel.SUCTION_VALVE, end_s, 1.0, 2.0).change(Channel.PUMP_DRIVE, end_s, 1.0)
    else:
        plan.change(Channel.RUN, end_s, 0.0)
    return Case(
        site.machine,
        site.oil,
        site.refrigerant,
        plan,
        end_s + AFTER_S,
        site.start,
        behaviour=site.behaviour,
    )


def _lasts_s(site: Site) -> float:
    """Return how long a dry unloaded bearing lasts, s, endless beyond an hour."""
    for so_far in simulate_pieces(_dry_case(site, ENDLESS_S, reloaded=False), SO_FAR):
        if (spoilt := so_far.damage_s) is not None:  # all that comes later changes nothing of it
            return spoilt - DRY_FROM_S
    return np.inf


def _span(lasts: Vector, weights: Vector) -> str:
    """Return the middle nine tenths of times in words."""
    order = np.argsort(lasts)
    shares = np.cumsum(weights[order])
    low, high = (lasts[order[min(int(np.searchsorted(shares, at)), len(lasts) - 1)]] for at in (0.05, 0.95))
    ends = ["over an hour" if not np.isfinite(one) else f"{one / 60.0:.1f} min" for one in (low, high)]
    return f"{ends[0]} to {ends[1]}"
