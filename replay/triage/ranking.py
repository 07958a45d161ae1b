"""Which machine to open first, and why: one stated rule."""

from replay.engine.causes import LATE_TICK
from replay.ground.wording import counted, duration, times
from replay.triage import kernel
from replay.triage.doubts import CANNOT_TELL, CHECK, NEXT, NOTE
from replay.triage.events import AT_START, DOUBT, STARVED, VACUUM
from replay.triage.findings import Findings

RULE = (
    "(1) loaded again before the oil film was back, the most often first; (2) ran on past the point where these"
    " settings stop them, or most starts ended before oil pressure came, the longest without oil first; (3) starved in"
    " any other way, or oil pressure falling, by starved time; (4) sensors in doubt, by running time in doubt; (5) the"
    " logs cannot tell; (6) the rest, by name"
)
ADVICE = ("open first", "open next", "watch", "check the sensors", "cannot tell", "not starved", "did not run")


def rank(found: Findings) -> int:
    """Return the place in ADVICE of one machine: what its events say, or its doubts where those say more."""
    doubts = [CANNOT_TELL] if found.doubts is None else [doubt.advice for doubt in found.doubts]
    return min(_events_rank(found), *doubts, NOTE)


def _events_rank(found: Findings) -> int:
    if found.reloads:
        return 0
    if found.past_stop:
        return 1
    if found.events[STARVED] or found.events[AT_START]:
        return 2
    if found.events[DOUBT]:
        return CANNOT_TELL if mostly_late(found) else CHECK
    return 5 if found.run_ms else 6


def order(found: Findings) -> tuple[int, int, int, str]:
    """Return what the machines are sorted by, as RULE says."""
    place = rank(found)
    within = {
        0: (-found.reloads, -found.ran_on_ms),
        NEXT: (-found.ran_on_ms - found.days.total()[kernel.DAY_DRY], 0),
        2: (-found.starved_ms, 0),
        3: (-found.doubted_ms, 0),
    }
    first, second = within.get(place, (0, 0))
    return place, first, second, found.machine


def reasons(found: Findings) -> tuple[str, ...]:
    """Return why a machine stands where it stands, the gravest reason first."""
    told = [doubt.text for doubt in found.doubts or () if doubt.first]
    if mostly_late(found):
        told.append("rows further apart than max_gap: NOT JUDGED")
    if found.reloads:
        told.append(f"loaded again {times(found.reloads)} before the oil film was back")
    if found.past_stop:
        told.append(f"ran on {duration(found.ran_on_ms)} past a stop by these settings, in {_spells(found.past_stop)}")
    starved = found.events[STARVED] + found.events[AT_START]
    if starved:
        told.append(f"{duration(found.starved_ms)} short of oil in {_spells(starved)}")
    if found.events[AT_START]:
        told.append(f"{counted(found.events[AT_START], 'start')} without oil pressure")
    if found.events[DOUBT]:
        running = f", {duration(found.doubted_ms)} of running" if found.doubted_ms else " at standstill"
        told.append(f"sensors in doubt {times(found.events[DOUBT])}{running}")
    told += [doubt.text for doubt in found.doubts or () if doubt.advice < NOTE and not doubt.first]
    if found.events[VACUUM] and not starved:
        told.append(f"ran {times(found.events[VACUUM])} in vacuum, {duration(found.vacuum_ms)}")
    return tuple(told)


def notes(found: Findings) -> tuple[str, ...]:
    """Return how the files of a machine were put together."""
    return tuple(doubt.text for doubt in found.doubts or () if doubt.advice == NOTE)


def mostly_late(found: Findings) -> bool:
    """Say whether most of the running time went unjudged because the log's rows come later than max_gap."""
    late = any(LATE_TICK in event.doubts for event in found.gravest.all() if event.kind == DOUBT)
    return late and 2 * found.doubted_ms > found.run_ms


def _spells(count: int) -> str:
    return f"{count} spell" + "s" * (count > 1)
