"""A period against the one before: the same figures of the same machine, and what of them got worse."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from replay.ground.wording import net_oil, percent, pressure, rate, seconds, tenths
from replay.triage.doubts import FALL, starts_per_h
from replay.triage.exposure import MS_PER_H, rates
from replay.triage.findings import Findings

SLOWER = 1.5  # times the time to oil pressure before; assumed
MOVED_PA = 10_000  # of the standstill zero; assumed, as a drift within a log


@dataclass(frozen=True)
class Compared:
    """A machine now and before, None where it was not logged."""

    machine: str
    now: Findings
    before: Findings | None


def compared(now: Iterable[Findings], before: Iterable[Findings]) -> list[Compared]:
    """Return the machines of this period in their order, each with itself in the period before, by name."""
    named = {found.machine: found for found in before}
    return [Compared(found.machine, found, named.get(found.machine)) for found in now]


FIGURES: dict[str, Callable[[Findings], str]] = {
    "run hours": lambda found: tenths(found.run_ms / MS_PER_H),
    "starved per 1000 h": lambda found: rate(rates([found], 0.95)[0].seen),
    "net oil running": lambda found: pressure(found.days.total().net_pa),
    "net oil at rest": lambda found: pressure(found.days.total().rest_pa),
    "time to oil": lambda found: seconds(_s(found.days.total().build_ms)),
    "starts an hour": lambda found: tenths(starts_per_h(found)),
}


def worse(pair: Compared, confidence: float) -> list[str]:
    """Return what got worse by more than chance or a stated limit, in words."""
    if pair.before is None:
        return []
    told = []
    now, before = (rates([found], confidence)[0].interval for found in (pair.now, pair.before))
    if now is not None and before is not None and now[0] > before[1]:
        told.append("starved more often")
    new, old = pair.now.days.total(), pair.before.days.total()
    if new.net_pa is not None and old.net_pa is not None and new.net_pa < (1 - FALL) * old.net_pa:
        told.append(f"net oil pressure running down by {percent(round(1 - new.net_pa / old.net_pa, 2))}")
    if new.rest_pa is not None and old.rest_pa is not None and abs(new.rest_pa - old.rest_pa) >= MOVED_PA:
        told.append(f"standstill zero moved by {net_oil(new.rest_pa - old.rest_pa)}")
    if new.build_ms is not None and old.build_ms is not None and new.build_ms > SLOWER * old.build_ms:
        told.append("oil pressure comes later after a start")
    return told


def _s(milliseconds: float | None) -> float | None:
    return None if milliseconds is None else milliseconds / 1000
