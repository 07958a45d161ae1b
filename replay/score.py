"""Outcomes of a library: each trace against its label, families, totals, the verdict."""

import functools
import statistics
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from replay import evidence
from replay.baselines import BASELINES
from replay.engine import CAUSES, STATES, Replay, replay_trace
from replay.engines import logic_as_json
from replay.errors import refusal
from replay.library import Entry, Library, MustTrip
from replay.library_digest import library_digest
from replay.mix import Mix, read_mix
from replay.settings import Acceptance, Settings
from replay.trace import Trace, read_trace
from replay.workers import Each, one_by_one

SCHEMA = "lubetrip-score/1"
WRONG = ("missed", "early", "nuisance")


@dataclass(frozen=True)
class Verdict:
    """One trace against its label.

    outcome: hit, missed, early, rode_through, nuisance, or undecided (judged
    neither way). Times in s of the trace's own time; margin_s is the deadline
    minus the first stop. late_ticks: rows more than max_gap after the one before,
    which no logic trusts.
    """

    id: str
    family: str
    outcome: str
    first_trip_s: float | None
    cause: str | None
    deadline_s: float | None
    margin_s: float | None
    run_hours: float
    trips: int
    locked_out: bool
    late_ticks: int = 0


@dataclass(frozen=True)
class Totals:
    """Counts over some verdicts. A stop before `earliest_s` is a nuisance trip too, and no hit."""

    must_trip: int
    hit: int
    missed: int
    early: int
    ride_through: int
    ride_through_run_hours: float
    nuisance_trips: int
    median_margin_s: float | None
    worst_margin_s: float | None

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
class Score:
    """All of one scoring run.

    claims: what the traces show, with limits; baselines: what plain logics do on the same traces.
    """

    settings: Settings
    verdicts: tuple[Verdict, ...]
    undecided: tuple[Verdict, ...]
    totals: Totals
    families: dict[str, Totals]
    failures: tuple[Failure, ...]
    claims: tuple[evidence.Claim, ...]
    family_claims: dict[str, tuple[evidence.Claim, ...]]
    mix: Mix | None
    baselines: dict[str, Totals]
    library_digest: str
    logic: dict[str, Any]

    @property
    def lacking(self) -> tuple[evidence.Claim, ...]:
        """Return the rules that the traces may meet, but do not show to be met."""
        return tuple(claim for claim in self.claims if claim.verdict == evidence.NOT_ENOUGH)

    @property
    def verdict(self) -> str:
        """Return met, not met (a rule is broken) or not enough evidence (none is, and one is not shown to be met)."""
        if self.failures:
            return evidence.NOT_MET
        return evidence.NOT_ENOUGH if self.lacking else evidence.MET

    @property
    def met(self) -> bool:
        """True when every rule of [acceptance] is met."""
        return self.verdict == evidence.MET

    @property
    def wrong(self) -> tuple[Verdict, ...]:
        """Return the traces that were missed, stopped early or stopped for nothing."""
        return tuple(verdict for verdict in self.verdicts if verdict.outcome in WRONG)

    @property
    def margins_s(self) -> list[float]:
        """Return the margins of the hits."""
        return _margins(self.verdicts)

    @property
    def margin_limit_s(self) -> float | None:
        """Return the margin that nine must-trip traces in ten leave, at the confidence of [acceptance]."""
        return evidence.margin_limit(self.margins_s, self.totals.missed, self.settings.acceptance.shown_confidence)

    @property
    def worst_family(self) -> str | None:
        """Return the family with must-trip traces of which least is known to be good."""
        tried = {name: claims[0] for name, claims in self.family_claims.items() if self.families[name].must_trip}
        return max(tried, key=lambda name: (tried[name].upper, name), default=None)

    def _repr_html_(self) -> str:
        from replay.notebook import score_html

        return score_html(self)

    def _repr_svg_(self) -> str:
        from replay.notebook import score_svg

        return score_svg(self)

    def as_json(self) -> dict[str, Any]:
        """Return the report in the form of its schema."""
        return {
            "schema": SCHEMA,
            "settings": self.settings.as_json(),
            "logic": self.logic,
            "library": {"digest": self.library_digest},
            "traces": [vars(verdict) for verdict in self.verdicts],
            "undecided": [vars(verdict) for verdict in self.undecided],
            "families": {
                name: {**vars(totals), "claims": [claim.as_json() for claim in self.family_claims[name]]}
                for name, totals in self.families.items()
            },
            "totals": {
                **vars(self.totals),
                "nuisance_per_1000h": _finite(self.totals.nuisance_per_1000h),
                "undecided": len(self.undecided),
            },
            "evidence": {
                "claims": [claim.as_json() for claim in self.claims],
                "worst_family": self.worst_family,
                "margin_of_nine_in_ten_s": self.margin_limit_s,
                "mix": self.mix.as_json() if self.mix else None,
            },
            "baselines": {name: _baseline_json(self, totals) for name, totals in self.baselines.items()},
            "acceptance": {
                "limits": vars(self.settings.acceptance),
                "verdict": self.verdict,
                "met": self.met,
                "failures": [vars(failure) for failure in self.failures],
                "lacking": [claim.as_json() for claim in self.lacking],
            },
        }


def _finite(number: float) -> float | None:
    """Return a number JSON can hold."""
    return None if number == float("inf") else round(number, 6)


def _margins(verdicts: Iterable[Verdict]) -> list[float]:
    return [verdict.margin_s for verdict in verdicts if verdict.outcome == "hit" and verdict.margin_s is not None]


def _baseline_json(score: Score, totals: Totals) -> dict[str, Any]:
    broken = [failure.rule for failure in unmet(totals, score.settings.acceptance)]
    return {**vars(totals), "nuisance_per_1000h": _finite(totals.nuisance_per_1000h), "rules_not_met": broken}


def judge(entry: Entry, trace: Trace, replay: Replay) -> Verdict:
    """Compare what the logic did over a trace with the trace's label.

    Raises Refusal for a window that begins after the trace has ended: a label in other units, or of another trace.
    """
    end_s = trace.seconds(int(trace.time_ms[-1]))
    if isinstance(entry.label, MustTrip) and entry.label.earliest_s > end_s:
        accepted = f"a window in seconds of the trace's own time, up to {end_s:.12g}"
        where = "must_trip.earliest_s in the library"
        raise refusal(entry.path, where, "after the trace has ended", accepted, entry.label.earliest_s)
    first = replay.stops[0] if replay.stops else None
    first_s = trace.seconds(first.time_ms) if first else None
    deadline = entry.label.deadline_s if isinstance(entry.label, MustTrip) else None
    margin = None if first_s is None or deadline is None else round(deadline - first_s, 3)
    return Verdict(
        id=entry.id,
        family=entry.family,
        outcome=_outcome(entry.label, first_s),
        first_trip_s=first_s,
        cause=CAUSES[first.cause] if first else None,
        deadline_s=deadline,
        margin_s=margin,
        run_hours=round(replay.run_ms / 3.6e6, 6),
        trips=len(replay.stops),
        locked_out=replay.locked_out,
        late_ticks=replay.late,
    )


def _outcome(label: MustTrip | str, first_s: float | None) -> str:
    if isinstance(label, MustTrip):
        if first_s is None or first_s > label.deadline_s:
            return "missed"
        return "early" if first_s < label.earliest_s else "hit"
    if label == "ride_through":
        return "rode_through" if first_s is None else "nuisance"
    return label


def total(verdicts: Iterable[Verdict]) -> Totals:
    """Count outcomes; margins are those of the hits."""
    verdicts = list(verdicts)
    outcomes = [verdict.outcome for verdict in verdicts]
    rides = [verdict for verdict in verdicts if verdict.outcome in ("rode_through", "nuisance")]
    margins = _margins(verdicts)
    return Totals(
        must_trip=sum(outcome in ("hit", "missed", "early") for outcome in outcomes),
        hit=outcomes.count("hit"),
        missed=outcomes.count("missed"),
        early=outcomes.count("early"),
        ride_through=len(rides),
        ride_through_run_hours=round(sum(verdict.run_hours for verdict in rides), 6),
        nuisance_trips=sum(verdict.trips for verdict in rides) + outcomes.count("early"),
        median_margin_s=round(statistics.median(margins), 3) if margins else None,
        worst_margin_s=min(margins) if margins else None,
    )


def unmet(totals: Totals, acceptance: Acceptance) -> tuple[Failure, ...]:
    """Return the rules of [acceptance] that the totals do not meet, judged on the counts themselves."""
    failures = []
    if totals.missed > acceptance.max_missed:
        failures.append(Failure("max_missed", acceptance.max_missed, totals.missed))
    if totals.nuisance_per_1000h > acceptance.max_nuisance_per_1000h:
        rate = _finite(totals.nuisance_per_1000h)
        failures.append(Failure("max_nuisance_per_1000h", acceptance.max_nuisance_per_1000h, rate))
    if totals.worst_margin_s is not None and totals.worst_margin_s < acceptance.min_margin_s:
        failures.append(Failure("min_margin", acceptance.min_margin_s, totals.worst_margin_s))
    return tuple(failures)


def claims(verdicts: Iterable[Verdict], acceptance: Acceptance) -> tuple[evidence.Claim, ...]:
    """Return what judged traces show about missed trips, nuisance trips and margins."""
    verdicts = list(verdicts)
    totals = total(verdicts)
    margins, hours = _margins(verdicts), totals.ride_through_run_hours
    return evidence.claims(margins, totals.missed, totals.nuisance_trips, hours, acceptance)


def broken(totals: Totals, claims: Iterable[evidence.Claim], acceptance: Acceptance) -> tuple[Failure, ...]:
    """Return the rules that the counts break, and those on a limit that even the value seen breaks, each once."""
    failures = {failure.rule: failure for failure in unmet(totals, acceptance)}
    for claim in claims:
        if claim.wanted is not None and claim.verdict == evidence.NOT_MET:
            failures.setdefault(claim.rule, Failure(claim.rule, claim.wanted, evidence.rounded(claim.point)))
    return tuple(failures.values())


def judge_trace(
    settings: Settings, run: Callable[[Trace, Settings], Replay], entry: Entry
) -> tuple[Verdict, dict[str, Verdict]]:
    """Replay one trace; return its verdict, and beside it those of the plain logics."""
    trace = read_trace(entry.path)
    verdict = judge(entry, trace, run(trace, settings))
    return verdict, {name: judge(entry, trace, baseline(trace)) for name, baseline in BASELINES.items()}


def score(
    library: Library,
    settings: Settings,
    tick: Callable[[], object] = lambda: None,
    run: Callable[[Trace, Settings], Replay] = replay_trace,
    logic: dict[str, Any] | None = None,
    each: Each = one_by_one,
) -> Score:
    """Replay every trace of a library and judge it; `tick` is called after each trace.

    run is the engine, and logic what the report says of it; without them, the interpreted one.
    each says who works (`replay.workers`). Raises Refusal, with the line, for a trace that cannot be read.
    """
    rows = each(functools.partial(judge_trace, settings, run), library.entries, tick)
    verdicts = [verdict for verdict, _ in rows]
    judged = tuple(verdict for verdict in verdicts if verdict.outcome != "undecided")
    totals, found = total(judged), claims(judged, settings.acceptance)
    names = sorted({verdict.family for verdict in judged})
    families = {name: tuple(v for v in judged if v.family == name) for name in names}
    return Score(
        settings=settings,
        verdicts=judged,
        undecided=tuple(verdict for verdict in verdicts if verdict.outcome == "undecided"),
        totals=totals,
        families={name: total(part) for name, part in families.items()},
        failures=broken(totals, found, settings.acceptance),
        claims=found,
        family_claims={name: claims(part, settings.acceptance) for name, part in families.items()},
        mix=read_mix(library, judged, settings.acceptance.shown_confidence),
        baselines={name: total(plain[name] for _, plain in rows) for name in BASELINES},
        library_digest=library_digest(library),
        logic=logic or logic_as_json("portable"),
    )


def explain_json(trace: Trace, replay: Replay, settings: Settings, verdict: Verdict | None) -> dict[str, Any]:
    """Return the timeline of one trace in the form of its schema; pressures in Pa, absolute."""
    return {
        "schema": "lubetrip-explain/1",
        "settings": settings.as_json(),
        "logic": logic_as_json("portable"),
        "trace": trace.name,
        "timeline": [
            {
                "time_s": trace.seconds(change.time_ms),
                "from": STATES[change.before],
                "to": STATES[change.after],
                "cause": CAUSES[change.cause],
                "net_oil_pressure_pa": change.net_pa,
                "suction_pressure_pa": change.suction_pa,
                "integral_percent": change.integral_percent,
            }
            for change in replay.changes
        ],
        "stops": [{"time_s": trace.seconds(stop.time_ms), "cause": CAUSES[stop.cause]} for stop in replay.stops],
        "run_hours": round(replay.run_ms / 3.6e6, 6),
        "late_ticks": replay.late,
        "locked_out": replay.locked_out,
        "verdict": vars(verdict) if verdict else None,
    }
