"""A judgement: what verdicts add up to, and whether that meets [acceptance]."""

import statistics
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from replay.score import evidence
from replay.score.verdict import NEITHER, Verdict, hits, margins_of
from replay.score.windows import LATE, STOOD
from replay.settings import Acceptance

SENSOR = "sensor"  # cause of a stop
DOUBTED = "traces in doubt"
# The rules that an outcome breaks: as long as none of them is broken, the acceptance admits it.
BREAKING = {
    "missed": ("max_missed", evidence.MISSED, evidence.MARGIN),
    "early": (evidence.NUISANCE, evidence.UPSET),
    "nuisance": (evidence.NUISANCE, evidence.UPSET),
}
# What is missing where a rule had nothing to be judged on.
UNJUDGED = {
    "max_missed": "no fault was found by its oil pressure, and none was missed: nothing to judge it on",
    "max_nuisance_per_1000h": "no machine of a ride-through trace ran: no hours to judge it on",
    "min_margin": "no fault was hit: no margin to judge it on",
    DOUBTED: "a verdict cannot rest on them",
}


@dataclass(frozen=True)
class Totals:
    """Counts over some verdicts. A stop before `earliest_s` is a nuisance trip too, and no hit.

    must_trip, hit, missed, early, stood and late count windows, one a trace where it has no more; late: the missed by
    how they stand to the band of the deadline. upsets: those met by a running machine; the three behind it are None
    where no upset is marked. hits_by_cause: of the stop; sensor_hits: hits by a sensor in families of which none names
    one that fails; doubted: traces that prove nothing. Margins are of the hits; worst_late_margin_s is of missed faults
    that were stopped after all, and below 0.
    """

    must_trip: int
    hit: int
    missed: int
    early: int
    stood: int
    late: dict[str, int]
    repeats: int
    ride_through: int
    ride_through_run_hours: float
    nuisance_trips: int
    median_margin_s: float | None
    worst_margin_s: float | None
    worst_likely_margin_s: float | None
    worst_late_margin_s: float | None
    upsets: int
    upsets_stopped: int | None
    stops_outside_upsets: int | None
    hours_outside_upsets: float | None
    hits_by_cause: dict[str, int]
    sensor_hits: int
    doubted: int

    @property
    def nuisance_per_1000h(self) -> float:
        """Nuisance trips per 1000 ride-through run hours; infinite where there are trips and no hours."""
        if self.nuisance_trips == 0:
            return 0.0
        if self.ride_through_run_hours == 0:
            return float("inf")
        return 1000.0 * self.nuisance_trips / self.ride_through_run_hours


@dataclass(frozen=True)
class Failure:
    """A rule of [acceptance] that was not met."""

    rule: str
    limit: float
    got: float | None


@dataclass(frozen=True)
class Judgement:
    """What some traces come to under [acceptance]: counts, what they show with limits, the rules that are broken."""

    totals: Totals
    claims: tuple[evidence.Claim, ...]
    failures: tuple[Failure, ...]

    def admits(self, outcome: str) -> bool:
        """Say whether the acceptance admits so many traces of an outcome that is wrong by the label."""
        return not any(failure.rule in BREAKING[outcome] for failure in self.failures)

    @property
    def lacking(self) -> tuple[evidence.Claim, ...]:
        """Return the rules that the traces may meet, but do not show to be met."""
        return tuple(claim for claim in self.claims if claim.verdict == evidence.NOT_ENOUGH)

    @property
    def unjudged(self) -> tuple[str, ...]:
        """Return what of UNJUDGED is so: rules that nothing was judged on, traces in doubt."""
        whole = self.totals
        missing = {
            "max_missed": whole.hit - whole.sensor_hits + whole.missed == 0,
            "max_nuisance_per_1000h": whole.ride_through_run_hours == 0,
            "min_margin": whole.hit == 0,
            DOUBTED: whole.doubted > 0,
        }
        return tuple(name for name, so in missing.items() if so)

    @property
    def verdict(self) -> str:
        """Return met, not met (a rule is broken) or not enough evidence.

        That is where none is broken, and one is not shown to be met, or had nothing to be judged on.
        """
        if self.failures:
            return evidence.NOT_MET
        return evidence.NOT_ENOUGH if self.lacking or self.unjudged else evidence.MET


def total(verdicts: Iterable[Verdict]) -> Totals:
    """Count outcomes; margins are those of the hits, upsets those of the traces that ride through."""
    verdicts = list(verdicts)
    found = [window for verdict in verdicts for window in verdict.windows]
    outcomes = [window.outcome for window in found]
    rides = [verdict for verdict in verdicts if verdict.outcome in ("rode_through", "nuisance")]
    upsets = [verdict.upsets for verdict in rides if verdict.upsets is not None]
    marked = any(some.rode_through + some.stopped + some.stood for some in upsets)
    margins = margins_of(verdicts)
    likely = [window.likely_margin_s for window in hits(verdicts) if window.likely_margin_s is not None]
    late = [window.margin_s for window in found if window.outcome == "missed" and window.margin_s is not None]
    return Totals(
        must_trip=len(found),
        hit=outcomes.count("hit"),
        missed=outcomes.count("missed"),
        early=outcomes.count("early"),
        stood=outcomes.count(STOOD),
        late={late: sum(window.late == late for window in found) for late in LATE},
        repeats=sum(verdict.repeats for verdict in verdicts),
        ride_through=len(rides),
        ride_through_run_hours=round(sum(verdict.run_hours for verdict in rides), 6),
        nuisance_trips=sum(verdict.nuisance_trips for verdict in verdicts if verdict.outcome not in NEITHER),
        median_margin_s=round(statistics.median(margins), 3) if margins else None,
        worst_margin_s=min(margins, default=None),
        worst_likely_margin_s=min(likely, default=None),
        worst_late_margin_s=min(late, default=None),
        upsets=sum(some.rode_through + some.stopped for some in upsets),
        upsets_stopped=sum(some.stopped for some in upsets) if marked else None,
        stops_outside_upsets=sum(some.stops_outside for some in upsets) if marked else None,
        hours_outside_upsets=round(sum(some.hours_outside for some in upsets), 6) if marked else None,
        hits_by_cause=dict(sorted(Counter(window.cause or "" for window in hits(verdicts)).items())),
        sensor_hits=len(sensor_hits(verdicts)),
        doubted=sum(verdict.doubt != "" for verdict in verdicts if verdict.outcome not in NEITHER),
    )


def sensor_hits(verdicts: Iterable[Verdict]) -> list[str]:
    """Return the ids of traces, one a window, that were hit by a sensor where nothing says that one fails."""
    found = ((verdict, window) for verdict in verdicts for window in verdict.windows if window.outcome == "hit")
    return [v.id for v, window in found if window.cause == SENSOR and not v.sensor_fails]


def unmet(totals: Totals, acceptance: Acceptance) -> tuple[Failure, ...]:
    """Return the rules of [acceptance] that the totals do not meet, judged on the counts themselves."""
    failures = []
    if totals.missed > acceptance.max_missed:
        failures.append(Failure("max_missed", acceptance.max_missed, totals.missed))
    if totals.nuisance_per_1000h > acceptance.max_nuisance_per_1000h:
        rate = finite(totals.nuisance_per_1000h)
        failures.append(Failure("max_nuisance_per_1000h", acceptance.max_nuisance_per_1000h, rate))
    if totals.worst_margin_s is not None and totals.worst_margin_s < acceptance.min_margin_s:
        failures.append(Failure("min_margin", acceptance.min_margin_s, totals.worst_margin_s))
    return tuple(failures)


def judgement(verdicts: Iterable[Verdict], acceptance: Acceptance) -> Judgement:
    """Judge traces by their verdicts; undecided ones count for nothing."""
    verdicts = list(verdicts)
    return judgement_of(total(verdicts), margins_of(verdicts), acceptance)


def judgement_of(totals: Totals, margins: list[float], acceptance: Acceptance) -> Judgement:
    """Judge counts and the margins (s) of the hits."""
    hours, upsets = totals.ride_through_run_hours, (totals.upsets_stopped or 0, totals.upsets)
    claims = evidence.claims(margins, totals.missed, totals.nuisance_trips, hours, upsets, acceptance)
    return Judgement(totals, claims, broken(totals, claims, acceptance))


def broken(totals: Totals, claims: Iterable[evidence.Claim], acceptance: Acceptance) -> tuple[Failure, ...]:
    """Return the rules that the counts break, and those on a limit that even the value seen breaks, each once."""
    failures = {failure.rule: failure for failure in unmet(totals, acceptance)}
    for claim in claims:
        if claim.wanted is not None and claim.verdict == evidence.NOT_MET:
            failures.setdefault(claim.rule, Failure(claim.rule, claim.wanted, evidence.rounded(claim.point)))
    return tuple(failures.values())


def finite(number: float) -> float | None:
    """Return a number JSON can hold."""
    return None if number == float("inf") else round(number, 6)
