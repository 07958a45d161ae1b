"""One machine under two names: the same days or the same spells in the logs of both, so that all of it counts twice."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace

from replay.triage import kernel
from replay.triage.doubts import CANNOT_TELL
from replay.triage.exposure import MS_PER_H
from replay.triage.findings import Doubt, Findings


def told_by_several(machines: Iterable[Findings]) -> list[Findings]:
    """Return the findings, with a doubt where those of another name hold the same readings at the same times.

    Sums of a day that agree in every word, or a spell that agrees in time, length and lowest net oil pressure, are no
    coincidence; logs that nobody can date are not compared.
    """
    found, alike = list(machines), defaultdict[tuple[int, ...] | tuple[str, ...], list[str]](list)
    for one in found:
        for mark in _marks(one):
            alike[mark].append(one.machine)
    return [_doubted(one, {name for mark in _marks(one) for name in alike[mark]} - {one.machine}) for one in found]


def _doubted(found: Findings, others: set[str]) -> Findings:
    if not others:
        return found
    names = " and ".join(sorted(others))
    text = f"the same readings stand under {names}: one machine under two names? Hours and spells count twice"
    return replace(found, doubts=(Doubt(CANNOT_TELL, text, first=True), *(found.doubts or ())))


def _marks(found: Findings) -> set[tuple[int, ...] | tuple[str, ...]]:
    """Return what no other machine can show by chance: days of running with their sums, spells with their figures."""
    marks: set[tuple[int, ...] | tuple[str, ...]] = set()
    if found.days.dated:
        for number, day in found.days.in_order():
            if day[kernel.DAY_NET_MS] >= MS_PER_H and day[kernel.DAY_BUILT]:
                marks.add((number, *day.sums))
    for event in found.gravest.all():
        if event.starved and event.clock.utc_s is not None and event.net_least_pa is not None:
            begin = event.clock.utc_s * 1000 + event.start_ms
            marks.add((f"{begin:.0f}", f"{event.length_ms}", f"{event.net_least_pa} {event.suction_least_pa}"))
    return marks
