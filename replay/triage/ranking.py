"""Which machine to open first, and why: one stated rule."""

from replay.engine.causes import LATE_TICK
from replay.ground.wording import seconds
from replay.triage.events import AT_START, DOUBT, STARVED, VACUUM
from replay.triage.exposure import MS_PER_H
from replay.triage.run import Findings

RULE = (
    "first the machines that were loaded again before the oil film was back, the most often on top; then those that"
    " ran on past the point where these settings stop them, the longest on top; then those starved otherwise, by"
    " starved time; then those whose sensors were in doubt while running, by that time; then the rest by name"
)
ADVICE = ("open first", "open next", "watch", "check the sensors", "not starved", "did not run")
MS_PER_MIN = 60000


def rank(found: Findings) -> int:
    """Return the place in ADVICE of one machine."""
    if found.reloads:
        return 0
    if found.past_stop:
        return 1
    if found.events[STARVED] or found.events[AT_START]:
        return 2
    if found.events[DOUBT]:
        return 3
    return 4 if found.run_ms else 5


def order(found: Findings) -> tuple[int, int, int, str]:
    """Return what the machines are sorted by, as RULE says."""
    place = rank(found)
    within = {0: (-found.reloads, -found.ran_on_ms), 1: (-found.ran_on_ms, 0), 2: (-found.starved_ms, 0)}
    first, second = within.get(place, (-found.doubted_ms if place == 3 else 0, 0))  # noqa: PLR2004 - ADVICE
    return place, first, second, found.machine


def reasons(found: Findings) -> tuple[str, ...]:
    """Return why a machine stands where it stands, the gravest reason first."""
    told = []
    if found.reloads:
        told.append(f"loaded again {found.reloads} x before the oil film was back")
    if found.past_stop:
        told.append(f"ran on {duration(found.ran_on_ms)} past a stop by these settings, in {_spells(found.past_stop)}")
    starved = found.events[STARVED] + found.events[AT_START]
    if starved:
        told.append(f"{duration(found.starved_ms)} short of oil in {_spells(starved)}")
    if found.events[AT_START]:
        told.append(f"{found.events[AT_START]} start(s) without oil pressure")
    if found.events[DOUBT]:
        told.append(f"sensors in doubt {found.events[DOUBT]} x, {duration(found.doubted_ms)}")
        if mostly_late(found):
            told.append("rows further apart than max_gap: NOT JUDGED")
    if found.events[VACUUM] and not starved:
        told.append(f"ran {found.events[VACUUM]} x in vacuum, {duration(found.vacuum_ms)}")
    return tuple(told)


def mostly_late(found: Findings) -> bool:
    """Say whether most of the running time went unjudged because the log's rows come later than max_gap."""
    late = any(LATE_TICK in event.doubts for event in found.gravest.all() if event.kind == DOUBT)
    return late and 2 * found.doubted_ms > found.run_ms


def _spells(count: int) -> str:
    return f"{count} spell" + "s" * (count > 1)


def duration(time_ms: int) -> str:
    """Return a length of time as one reads it."""
    if time_ms < 2 * MS_PER_MIN:
        return seconds(time_ms / 1000)
    if time_ms < 2 * MS_PER_H:
        return f"{time_ms / MS_PER_MIN:.1f} min"
    return f"{time_ms / MS_PER_H:.1f} h"
