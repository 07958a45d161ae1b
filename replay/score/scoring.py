"""Outcomes of a library: each trace against its label, families, totals, the verdict."""

import functools
import statistics
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from replay.engine import Engine, Replay, cause_of, doubts_of, engine_for, engine_named
from replay.engine.baselines import BASELINES
from replay.engine.workers import Each, Progress, one_by_one, quiet, workers
from replay.ground.refusal import refusal
from replay.library import Entry, Library, library_digest, library_of, settings_of
from replay.library.given import GivenLibrary, GivenSettings
from replay.score import evidence
from replay.score.mix import Mix, read_mix
from replay.score.windows import LATE, STOOD, Course, Found, Upsets, felt, follow, met
from replay.settings import Acceptance, Settings
from replay.trace import AnyTrace, open_trace

SCHEMA = "lubetrip-score/1"
WRONG = ("missed", "early", "nuisance")
SEVERITY = ("missed", "early", "hit", STOOD)  # of the windows of a trace, the worst first


@dataclass(frozen=True)
class Verdict:
    """One trace against its label.

    outcome: hit, missed, early, rode_through, nuisance, or undecided (judged neither way); of several windows that of
    the worst. Times in s of the trace's own time; deadline_s and margin_s (the deadline minus the stop that decides)
    are those of that window. doubts: what a stop on a sensor names. late_ticks: rows more than max_gap after the one
    before, which no logic trusts.
    windows: each of a must-trip trace; nuisance_trips: stops that count as one; repeats: stops of a machine started
    into the same fault again; upsets: of a trace that rides through and has some marked.
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
    doubts: tuple[str, ...] = ()
    nuisance_trips: int = 0
    repeats: int = 0
    windows: tuple[Found, ...] = ()
    upsets: Upsets | None = None

    @property
    def outcomes(self) -> tuple[str, ...]:
        """Return the outcome of each window, or the one of a trace without."""
        return tuple(window.outcome for window in self.windows) or (self.outcome,)

    def as_json(self) -> dict[str, Any]:
        """Return the verdict as it stands in a report."""
        windows = [vars(window) for window in self.windows]
        return {**vars(self), "windows": windows, "upsets": vars(self.upsets) if self.upsets else None}


@dataclass(frozen=True)
class Totals:
    """Counts over some verdicts. A stop before `earliest_s` is a nuisance trip too, and no hit.

    must_trip, hit, missed, early, stood and late count windows, one a trace where it has no more; late: the missed by
    how they stand to the band of the deadline. upsets: those met by a running machine; the three behind it are None
    where no upset is marked.
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
    upsets: int
    upsets_stopped: int | None
    stops_outside_upsets: int | None
    hours_outside_upsets: float | None

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


@dataclass(frozen=True)
class Score(Judgement):
    """All of one scoring run; claims: what the traces show, with limits; baselines: what plain logics do on them."""

    settings: Settings
    verdicts: tuple[Verdict, ...]
    undecided: tuple[Verdict, ...]
    families: dict[str, Totals]
    family_claims: dict[str, tuple[evidence.Claim, ...]]
    mix: Mix | None
    baselines: dict[str, Totals]
    library_digest: str
    engine: Engine

    def __repr__(self) -> str:
        """Return the verdict and the counts in one line."""
        whole = self.totals
        return (
            f"Score({self.verdict}: {whole.hit} of {whole.must_trip} faults hit, {whole.missed} missed, "
            f"{whole.nuisance_trips} nuisance trips in {whole.ride_through_run_hours:.2f} run hours; "
            f"settings {self.settings.digest[:12]}, library {self.library_digest[:12]}, engine {self.engine.name})"
        )

    @property
    def met(self) -> bool:
        """True when every rule of [acceptance] is met."""
        return self.verdict == evidence.MET

    @property
    def wrong(self) -> tuple[Verdict, ...]:
        """Return the traces that were missed, stopped early or stopped for nothing."""
        return tuple(verdict for verdict in self.verdicts if verdict.outcome in WRONG)

    @property
    def outside(self) -> evidence.Claim | None:
        """Return the rate of nuisance stops outside of any upset over the hours without one; None where none is marked.

        Both are of the traces that ride through, as the upsets are.
        """
        stops, hours = self.totals.stops_outside_upsets, self.totals.hours_outside_upsets
        if stops is None or hours is None:
            return None
        return evidence.rate(evidence.OUTSIDE, stops, hours, self.settings.acceptance.shown_confidence)

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

    def as_json(self) -> dict[str, Any]:
        """Return the report in the form of its schema."""
        return {
            "schema": SCHEMA,
            "settings": self.settings.as_json(),
            "logic": self.engine.as_json(),
            "library": {"digest": self.library_digest},
            "traces": [verdict.as_json() for verdict in self.verdicts],
            "undecided": [verdict.as_json() for verdict in self.undecided],
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
                "outside_upsets": self.outside.as_json() if self.outside else None,
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


def _hits(verdicts: Iterable[Verdict]) -> list[Found]:
    return [window for verdict in verdicts for window in verdict.windows if window.outcome == "hit"]


def _margins(verdicts: Iterable[Verdict]) -> list[float]:
    return [window.margin_s for window in _hits(verdicts) if window.margin_s is not None]


def _baseline_json(score: Score, totals: Totals) -> dict[str, Any]:
    broken = [failure.rule for failure in unmet(totals, score.settings.acceptance)]
    return {**vars(totals), "nuisance_per_1000h": _finite(totals.nuisance_per_1000h), "rules_not_met": broken}


def judge(entry: Entry, trace: AnyTrace, replay: Replay) -> Verdict:
    """Compare what the logic did over a trace with the trace's label.

    Raises Refusal for a window or an upset that begins after the trace has ended: in other units, or of another trace.
    """
    _check_within(entry, trace)
    course = follow(entry.windows, felt(trace, replay)) if entry.windows else Course((), 0, 0)
    outcome, nuisance = str(entry.label), course.nuisance
    if entry.label == "ride_through":
        outcome, nuisance = "nuisance" if replay.stops else "rode_through", len(replay.stops)
    worst = min(course.windows, key=lambda window: SEVERITY.index(window.outcome), default=None)
    first = replay.stops[0] if replay.stops else None
    return Verdict(
        id=entry.id,
        family=entry.family,
        outcome=worst.outcome if worst else outcome,
        first_trip_s=trace.seconds(first.time_ms) if first else None,
        cause=cause_of(first.cause) if first else None,
        deadline_s=worst.deadline_s if worst else None,
        margin_s=worst.margin_s if worst else None,
        run_hours=round(replay.run_ms / 3.6e6, 6),
        trips=len(replay.stops),
        locked_out=replay.locked_out,
        late_ticks=replay.late,
        doubts=doubts_of(first.cause) if first else (),
        nuisance_trips=nuisance,
        repeats=course.repeats,
        windows=course.windows,
        upsets=met(entry.upsets, trace, replay) if entry.label == "ride_through" else None,
    )


def _check_within(entry: Entry, trace: AnyTrace) -> None:
    end_s = trace.end_s
    begins = [("must_trip.earliest_s", window.earliest_s) for window in entry.windows]
    for key, second in (*begins, *(("upsets", begin_s) for begin_s, _ in entry.upsets)):
        if second > end_s:
            what = "an upset" if key == "upsets" else "a window"
            accepted = f"{what} in seconds of the trace's own time, up to {end_s:.12g}"
            raise refusal(entry.path, f"{key} in the library", "after the trace has ended", accepted, second)


def total(verdicts: Iterable[Verdict]) -> Totals:
    """Count outcomes; margins are those of the hits, upsets those of the traces that ride through."""
    verdicts = list(verdicts)
    windows = [window for verdict in verdicts for window in verdict.windows]
    outcomes = [window.outcome for window in windows]
    rides = [verdict for verdict in verdicts if verdict.outcome in ("rode_through", "nuisance")]
    upsets = [verdict.upsets for verdict in rides if verdict.upsets is not None]
    marked = any(some.rode_through + some.stopped + some.stood for some in upsets)
    margins = _margins(verdicts)
    likely = [window.likely_margin_s for window in _hits(verdicts) if window.likely_margin_s is not None]
    return Totals(
        must_trip=len(windows),
        hit=outcomes.count("hit"),
        missed=outcomes.count("missed"),
        early=outcomes.count("early"),
        stood=outcomes.count(STOOD),
        late={late: sum(window.late == late for window in windows) for late in LATE},
        repeats=sum(verdict.repeats for verdict in verdicts),
        ride_through=len(rides),
        ride_through_run_hours=round(sum(verdict.run_hours for verdict in rides), 6),
        nuisance_trips=sum(verdict.nuisance_trips for verdict in verdicts if verdict.outcome != "undecided"),
        median_margin_s=round(statistics.median(margins), 3) if margins else None,
        worst_margin_s=min(margins, default=None),
        worst_likely_margin_s=min(likely, default=None),
        upsets=sum(some.rode_through + some.stopped for some in upsets),
        upsets_stopped=sum(some.stopped for some in upsets) if marked else None,
        stops_outside_upsets=sum(some.stops_outside for some in upsets) if marked else None,
        hours_outside_upsets=round(sum(some.hours_outside for some in upsets), 6) if marked else None,
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


def judgement(verdicts: Iterable[Verdict], acceptance: Acceptance) -> Judgement:
    """Judge traces by their verdicts; undecided ones count for nothing."""
    verdicts = list(verdicts)
    totals, margins = total(verdicts), _margins(verdicts)
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


@dataclass(frozen=True)
class Judged:
    """One trace: its verdict, and beside it those of the plain logics."""

    verdict: Verdict
    plain: dict[str, Verdict]


def judged(entry: Entry, trace: AnyTrace, settings: Settings, replay: Replay) -> Judged:
    """Return the verdict on a trace replayed with settings, and beside it those of the plain logics.

    Raises Refusal as `judge`.
    """
    return Judged(
        judge(entry, trace, replay),
        {name: judge(entry, trace, baseline(trace, settings)) for name, baseline in BASELINES.items()},
    )


def _judge_file(settings: Settings, engine: Engine, entry: Entry) -> Judged:
    trace = open_trace(entry.path)
    return judged(entry, trace, settings, engine.replay(trace, settings))


def score(
    library: Library,
    settings: Settings,
    tick: Callable[[], object] = lambda: None,
    engine: Engine | None = None,
    each: Each = one_by_one,
) -> Score:
    """Replay every trace of a library and judge it; `tick` is called after each trace.

    engine is what replays, the interpreted logic unless another is given; the score names it.
    each says who works (`replay.engine.workers`). Raises Refusal, with the line, for a trace that cannot be read.
    """
    engine = engine or engine_named("portable")
    rows = each(functools.partial(_judge_file, settings, engine), library.entries, tick)
    return score_of(library, settings, engine, rows)


def score_library(
    library: GivenLibrary,
    settings: GivenSettings = None,
    *,
    engine: str | None = None,
    jobs: int = 1,
    cluster: str | None = None,
    progress: Progress = quiet,
) -> Score:
    """Replay every trace of a library and judge it by its label; without settings, under those the library names.

    engine: "portable", "compiled" or "c"; without it, what is done soonest. jobs: processes of this machine that
    work; cluster: address of a Dask scheduler instead. The result is a `Score`: `verdict`, `totals`, `families`,
    `wrong`, `as_json()`. Raises Refusal.
    """
    library = library_of(library)
    checked = settings_of(settings, library, library.folder)
    replaying = engine_named(engine) if engine else engine_for(entry.path for entry in library.entries)
    with workers(jobs, cluster) as each, progress(len(library.entries), "replaying") as stage:
        return score(library, checked, stage.advance, replaying, each)


def score_of(library: Library, settings: Settings, engine: Engine, rows: Sequence[Judged]) -> Score:
    """Return the score of a library whose traces have been judged, in the order of its entries, by this engine."""
    verdicts = [row.verdict for row in rows]
    decided = tuple(verdict for verdict in verdicts if verdict.outcome != "undecided")
    families = {
        name: judgement((v for v in decided if v.family == name), settings.acceptance)
        for name in sorted({verdict.family for verdict in decided})
    }
    return Score(
        **vars(judgement(decided, settings.acceptance)),
        settings=settings,
        verdicts=decided,
        undecided=tuple(verdict for verdict in verdicts if verdict.outcome == "undecided"),
        families={name: part.totals for name, part in families.items()},
        family_claims={name: part.claims for name, part in families.items()},
        mix=read_mix(
            library,
            [(v.family, outcome) for v in decided for outcome in v.outcomes],
            settings.acceptance.shown_confidence,
        ),
        baselines={name: total(row.plain[name] for row in rows) for name in BASELINES},
        library_digest=library_digest(library),
        engine=engine,
    )
