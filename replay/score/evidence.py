"""What a replayed library shows, and whether that is enough: claims with their exact confidence limits.

Where [acceptance] gives `confidence`, the one-sided upper limit at that confidence is
judged, not the value seen: of the missed-trip probability against
`max_missed_probability`, of the nuisance rate against `max_nuisance_per_1000h`, of
the share of faults that leave less than `min_margin` against what
`min_margin_coverage` leaves over, and, where `max_nuisance_probability` is given, of
the probability of a nuisance trip in an upset against that. A rule is met when the limit is within it, not met
when even the value seen is beyond it, and between the two there is not enough evidence.
"""

import math
from dataclasses import dataclass
from typing import Any

from replay.ground.statistics import (
    exposure_needed,
    proportion_interval,
    proportion_upper,
    rate_interval,
    rate_upper,
    tolerance_limit,
    trials_needed,
)
from replay.settings import Acceptance

MET = "met"
NOT_MET = "not met"
NOT_ENOUGH = "not enough evidence"
NOT_JUDGED = "not judged"
MISSED, NUISANCE, MARGIN = "max_missed_probability", "max_nuisance_per_1000h", "min_margin_coverage"
UPSET = "max_nuisance_probability"
OUTSIDE = "nuisance_outside_upsets_per_1000h"  # shown, never judged
SHOWN_COVERAGE = 0.9  # of the tolerance limit that a report shows


@dataclass(frozen=True)
class Claim:
    """One quantity with its limits.

    events: seen; of: trials, or run hours; point, interval (two-sided) and upper
    (one-sided) are probabilities, or rates per 1000 h. wanted: what the rule
    allows, None without one; further: traces or hours more, without a further
    event, that would show it, None where nothing more is needed or nothing would do.
    """

    rule: str
    events: int
    of: float
    point: float | None
    interval: tuple[float, float]
    upper: float
    wanted: float | None = None
    further: float | None = None

    @property
    def verdict(self) -> str:
        """Return met, not met or not enough evidence; not judged where nothing is wanted."""
        if self.wanted is None:
            return NOT_JUDGED
        if self.upper <= self.wanted:
            return MET
        if self.point is not None and self.point > self.wanted:
            return NOT_MET
        return NOT_ENOUGH

    def as_json(self) -> dict[str, Any]:
        """Return the claim as JSON can hold it: without infinities, rounded to what a hand calculation needs."""
        numbers = {name: rounded(getattr(self, name)) for name in ("of", "point", "upper", "wanted", "further")}
        interval = [rounded(limit) for limit in self.interval]
        return {"rule": self.rule, "events": self.events, **numbers, "interval": interval, "verdict": self.verdict}


def rounded(number: float | None) -> float | None:
    """Return a number to nine digits, None for one that JSON cannot hold."""
    return None if number is None or not math.isfinite(number) else float(f"{number:.9g}")


def chance(rule: str, events: int, trials: int, confidence: float, wanted: float | None = None) -> Claim:
    """Return the claim about a probability, 0 to 1 as `wanted` is. Without trials it may be anything up to 1.

    Raises ValueError for counts that cannot be.
    """
    interval = proportion_interval(events, trials, confidence)
    upper = proportion_upper(events, trials, confidence)
    further = None
    if wanted is not None and upper > wanted > 0:
        further = float(trials_needed(events, wanted, confidence) - trials)
    return Claim(rule, events, trials, events / trials if trials else None, interval, upper, wanted, further)


def rate(rule: str, events: int, hours: float, confidence: float, wanted: float | None = None) -> Claim:
    """Return the claim about a rate; it, its limits and `wanted` are per 1000 h. Raises ValueError as its limits do."""
    low, high = (1000 * limit for limit in rate_interval(events, hours, confidence))
    upper = 1000 * rate_upper(events, hours, confidence)
    further = None
    if wanted is not None and upper > wanted > 0:
        further = exposure_needed(events, wanted / 1000, confidence) - hours
    return Claim(rule, events, hours, 1000 * events / hours if hours else None, (low, high), upper, wanted, further)


def claims(
    margins: list[float], missed: int, nuisance: int, hours: float, upsets: tuple[int, int], acceptance: Acceptance
) -> tuple[Claim, ...]:
    """Return the claims of a library: missed-trip probability, nuisance rate, too small a margin, nuisance in an upset.

    margins: of the hits, in s. A trial of the first and the third is a window that was hit or missed: an early stop
    came before there was anything to find. upsets: those with a stop, and all that a running machine met.
    """
    confidence, judged = acceptance.shown_confidence, acceptance.confidence is not None
    trials = len(margins) + missed
    thin = missed + sum(margin < acceptance.min_margin_s for margin in margins)
    return (
        chance(MISSED, missed, trials, confidence, acceptance.max_missed_probability if judged else None),
        rate(NUISANCE, nuisance, hours, confidence, acceptance.max_nuisance_per_1000h if judged else None),
        chance(MARGIN, thin, trials, confidence, 1 - acceptance.min_margin_coverage if judged else None),
        chance(UPSET, *upsets, confidence, acceptance.max_nuisance_probability if judged else None),
    )


def margin_limit(margins: list[float], missed: int, confidence: float) -> float | None:
    """Return the margin (s) that nine faults in ten leave at this confidence; a missed one leaves none."""
    limit = tolerance_limit([*margins, *[-math.inf] * missed], SHOWN_COVERAGE, confidence)
    return None if limit is None or math.isinf(limit) else limit
