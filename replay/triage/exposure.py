"""How often: events per 1000 run hours, with exact limits (Garwood 1936).

The hours are those in which an event could have been seen: running, with
credible readings.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from replay.ground.statistics import rate_interval
from replay.triage.events import AT_START, DOUBT, STARVED, VACUUM
from replay.triage.findings import Findings

PER_H = 1000.0
MS_PER_H = 3.6e6


@dataclass(frozen=True)
class Rate:
    """Events per 1000 run hours, two-sided limits at `confidence`; None where there are no hours to count over."""

    what: str
    events: int
    hours: float
    confidence: float

    @property
    def seen(self) -> float | None:
        """Return the rate that was seen, per 1000 run hours."""
        return PER_H * self.events / self.hours if self.hours else None

    @property
    def interval(self) -> tuple[float, float] | None:
        """Return the limits of the rate, per 1000 run hours."""
        return rate_interval(self.events, self.hours / PER_H, self.confidence) if self.hours else None

    def as_json(self) -> dict[str, Any]:
        """Return the rate in the form of the report."""
        low, high = (None, None) if self.interval is None else (round(limit, 6) for limit in self.interval)
        seen = None if self.seen is None else round(self.seen, 6)
        told = {"what": self.what, "events": self.events, "run_hours": round(self.hours, 6)}
        return {**told, "per_1000h": seen, "low": low, "high": high, "confidence": self.confidence}


def rates(findings: Iterable[Findings], confidence: float) -> list[Rate]:
    """Return how often it happened, over all of these machines."""
    some = list(findings)
    hours = sum(found.seen_ms for found in some) / MS_PER_H
    counts = {
        "starved spells": sum(found.events[STARVED] + found.events[AT_START] for found in some),
        "of these past a stop": sum(found.past_stop for found in some),
        "of these loaded too early": sum(found.reloads for found in some),
        "of these at a start": sum(found.events[AT_START] for found in some),
        "vacuum running": sum(found.events[VACUUM] for found in some),
        "sensor doubts": sum(found.events[DOUBT] for found in some),
    }
    return [Rate(what, events, hours, confidence) for what, events in counts.items()]
