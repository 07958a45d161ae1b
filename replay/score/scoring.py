"""Outcomes of a library: each trace against its label, families, totals, the verdict."""

import functools
import math
import statistics
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from replay.engine import Engine, Replay, cause_of, doubts_of, engine_for, engine_named
from replay.engine.baselines import BASELINES
from replay.engine.scan import grid_of
from replay.engine.workers import Each, Progress, one_by_one, quiet, workers
from replay.ground.refusal import refusal
from replay.library import Entry, Library, library_digest, library_of, settings_of
from replay.library.agreement import rests
from replay.library.given import GivenLibrary, GivenSettings
from replay.score import evidence
from replay.score.by_machine import ByMachine, Seen, by_machine, machine_of
from replay.score.comparators import CameTo, Comparator, Counts, Own, comparators, counts
from replay.score.judge_digest import judge_digest
from replay.score.mix import Mix, read_mix
from replay.score.once import Once, counted_once, sensor_fails
from replay.score.windows import LATE, STOOD, Course, Felt, Found, Upsets, apart, felt, follow, met, not_told, run_ms_in
from replay.settings import Acceptance, Settings
from replay.trace import AnyTrace, open_trace

SCHEMA = "lubetrip-score/1"
WRONG = ("missed", "early", "nuisance")
SEVERITY = ("missed", "early", "hit", STOOD)  # of the windows of a trace, the worst first
UNDECIDED, TOLD = "undecided", "told already"
NEITHER = (UNDECIDED, TOLD)  # judged neither way
SENSOR = "sensor"  # cause of a stop
MOMENT_S = 0.001  # times of a trace are no finer
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
class Verdict:
    """One trace against its label.

    outcome: hit, missed, early, rode_through, nuisance, undecided (judged neither way), or told already (all that is
    to be judged in it stands in another trace); of several windows that of the worst. Times in s of the trace's own
    time; deadline_s and margin_s (the deadline minus the stop that decides) are those of that window. doubts: what a
    stop on a sensor names. late_ticks: rows more than max_gap after the one before, which no logic trusts.
    windows: each of a must-trip trace; nuisance_trips: stops that count as one; repeats: stops of a machine started
    into the same fault again; upsets: of a trace that rides through and has some marked; doubt: why it proves nothing;
    sensor_fails: family or origin name a sensor that does.
    run_hours, windows, stops that count and upsets are without what another trace tells already.
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
    doubt: str = ""
    sensor_fails: bool = False

    @property
    def outcomes(self) -> tuple[str, ...]:
        """Return the outcome of each window, or the one of a trace without."""
        return tuple(window.outcome for window in self.windows) or (self.outcome,)

    def as_json(self) -> dict[str, Any]:
        """Return the verdict as it stands in a report; a doubt where there is one, causes where windows are several."""
        several = len(self.windows) > 1
        windows = [{k: v for k, v in vars(window).items() if several or k != "cause"} for window in self.windows]
        told = {key: value for key, value in vars(self).items() if key not in ("doubt", "sensor_fails")}
        told |= {"windows": windows, "upsets": vars(self.upsets) if self.upsets else None}
        return told | {"doubt": self.doubt} if self.doubt else told


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


@dataclass(frozen=True)
class Score(Judgement):
    """All of one scoring run; claims: what the traces show, with limits; baselines: what plain logics do on them.

    comparators: the best that plain laws can do on them, cut-out and delay scanned (`replay.score.comparators`).
    verdicts: undecided ones left out; once: what the library tells more than once.
    """

    settings: Settings
    verdicts: tuple[Verdict, ...]
    undecided: tuple[Verdict, ...]
    once: Once
    families: dict[str, Totals]
    family_claims: dict[str, tuple[evidence.Claim, ...]]
    mix: Mix | None
    baselines: dict[str, Totals]
    comparators: tuple[Comparator, ...]
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
        """Return the traces that were missed, early or a nuisance trip."""
        return tuple(verdict for verdict in self.verdicts if verdict.outcome in WRONG)

    @property
    def outside(self) -> evidence.Claim | None:
        """Return the rate of nuisance trips outside of any upset over the hours without one; None where none is marked.

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

    @property
    def rests(self) -> dict[str, int]:
        """Return how many labels rest on what (`replay.library.words.BASES`), and how often reviewers differ."""
        return rests(self.once.library.entries)

    @property
    def by_machine(self) -> ByMachine:
        """Return the unit of evidence, and limits whose trials are machines."""
        acceptance = self.settings.acceptance
        machines = {entry.id: machine_of(entry) for entry in self.once.library.entries}
        judged = (verdict for verdict in self.verdicts if verdict.outcome not in NEITHER)
        seen = [_seen(machines[verdict.id], verdict, acceptance) for verdict in judged]
        return by_machine(seen, acceptance.shown_confidence)

    def as_json(self) -> dict[str, Any]:
        """Return the report in the form of its schema."""
        return {
            "schema": SCHEMA,
            "settings": self.settings.as_json(),
            "logic": self.engine.as_json(),
            "judge": {"digest": judge_digest()},
            "library": {"digest": self.library_digest},
            "traces": [verdict.as_json() for verdict in self.verdicts],
            "undecided": [verdict.as_json() for verdict in self.undecided],
            "told_twice": self.once.as_json(),
            "labels_rest": self.rests,
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
                "by_machine": self.by_machine.as_json(),
                "worst_family": self.worst_family,
                "margin_of_nine_in_ten_s": self.margin_limit_s,
                "outside_upsets": self.outside.as_json() if self.outside else None,
                "mix": self.mix.as_json() if self.mix else None,
            },
            "baselines": {name: _baseline_json(self, totals) for name, totals in self.baselines.items()},
            "comparators": [each.as_json() for each in self.comparators],
            "acceptance": {
                "limits": vars(self.settings.acceptance),
                "verdict": self.verdict,
                "met": self.met,
                "failures": [vars(failure) for failure in self.failures],
                "lacking": [claim.as_json() for claim in self.lacking],
                "unjudged": {name: UNJUDGED[name] for name in self.unjudged},
            },
        }


def _finite(number: float) -> float | None:
    """Return a number JSON can hold."""
    return None if number == float("inf") else round(number, 6)


def _hits(verdicts: Iterable[Verdict]) -> list[Found]:
    return [window for verdict in verdicts for window in verdict.windows if window.outcome == "hit"]


def _margins(verdicts: Iterable[Verdict]) -> list[float]:
    return [window.margin_s for window in _hits(verdicts) if window.margin_s is not None]


def _seen(machine: str, verdict: Verdict, acceptance: Acceptance) -> Seen:
    """Return what a trace that was judged shows of its machine."""
    found = [window for window in verdict.windows if window.outcome in ("hit", "missed")]
    missed = any(window.outcome == "missed" for window in found)
    thin = [m for m in _margins([verdict]) if m < acceptance.min_margin_s]
    stopped = bool(verdict.upsets and verdict.upsets.stopped)
    met = bool(verdict.upsets and verdict.upsets.stopped + verdict.upsets.rode_through)
    nuisance = verdict.nuisance_trips > 0
    hours = not verdict.windows and verdict.run_hours > 0
    could = bool(found), hours or nuisance, bool(found), met
    return Seen(machine, could, (missed, nuisance, missed or bool(thin), stopped))


def _baseline_json(score: Score, totals: Totals) -> dict[str, Any]:
    broken = [failure.rule for failure in unmet(totals, score.settings.acceptance)]
    return {**vars(totals), "nuisance_per_1000h": _finite(totals.nuisance_per_1000h), "rules_not_met": broken}


class _ByLabel(NamedTuple):
    """What stops are by a label: outcome of the trace, nuisance trips, repeats, and the windows that are told here."""

    outcome: str
    nuisance: int
    repeats: int
    windows: tuple[Found, ...]
    worst: Found | None


def _by_label(entry: Entry, trace: AnyTrace, stops: Sequence[Felt]) -> _ByLabel:
    course = follow(entry.windows, stops, entry.told) if entry.windows else Course((), 0, 0)
    outcome, nuisance, found = str(entry.label), course.nuisance, not_told(entry.told, course.windows)
    if entry.label == "ride_through":
        nuisance = len(apart(entry.told, stops))
        outcome = "nuisance" if nuisance else "rode_through"
    if is_told(entry, trace) or (course.windows and not found):
        outcome, nuisance, found = TOLD, 0, ()
    worst = min(found, key=lambda window: SEVERITY.index(window.outcome), default=None)
    return _ByLabel(worst.outcome if worst else outcome, nuisance, course.repeats if found else 0, found, worst)


def judge(entry: Entry, trace: AnyTrace, replay: Replay) -> Verdict:
    """Compare what the logic did over a trace with the trace's label.

    Raises Refusal for a window or an upset that does not lie in the trace: in other units, or of another trace.
    """
    check_within(entry, trace)
    stops = felt(trace, replay)
    outcome, nuisance, repeats, found, worst = _by_label(entry, trace, stops)
    first = replay.stops[0] if replay.stops else None
    run_ms = max(0.0, replay.run_ms - run_ms_in(entry.told, trace, stops)) if entry.told else replay.run_ms
    rides = outcome in ("nuisance", "rode_through")
    return Verdict(
        id=entry.id,
        family=entry.family,
        outcome=outcome,
        first_trip_s=trace.seconds(first.time_ms) if first else None,
        cause=cause_of(first.cause) if first else None,
        deadline_s=worst.deadline_s if worst else None,
        margin_s=worst.margin_s if worst else None,
        run_hours=round(run_ms / 3.6e6, 6),
        trips=len(replay.stops),
        locked_out=replay.locked_out,
        late_ticks=replay.late,
        doubts=doubts_of(first.cause) if first else (),
        nuisance_trips=nuisance,
        repeats=repeats,
        windows=found,
        upsets=met(entry.upsets, trace, replay, entry.told) if rides else None,
        doubt=entry.doubt,
        sensor_fails=sensor_fails(entry),
    )


def is_told(entry: Entry, trace: AnyTrace) -> bool:
    """Say whether another trace of the library tells all of this one."""
    return any(begin <= trace.start_s + MOMENT_S and trace.end_s <= end + MOMENT_S for begin, end in entry.told)


def check_within(entry: Entry, trace: AnyTrace) -> None:
    """Refuse a window whose beginning or deadline, and an upset whose beginning, does not lie in the trace.

    A window may begin before it: the fault may have come before the recording.
    """
    start_s, end_s = trace.start_s, trace.end_s
    places = [
        (f"must_trip.{key}", "a window", getattr(window, key))
        for window in entry.windows
        for key in ("earliest_s", "deadline_s")
    ]
    for key, what, second in (*places, *(("upsets", "an upset", begin_s) for begin_s, _ in entry.upsets)):
        before = second < start_s and key != "must_trip.earliest_s"
        if second > end_s or before:
            accepted = f"{what} in seconds of the trace's own time, {start_s:.12g} to {end_s:.12g}"
            rule = "before the trace begins" if before else "after the trace has ended"
            raise refusal(entry.path, f"{key} in the library", rule, accepted, second)


def total(verdicts: Iterable[Verdict]) -> Totals:
    """Count outcomes; margins are those of the hits, upsets those of the traces that ride through."""
    verdicts = list(verdicts)
    found = [window for verdict in verdicts for window in verdict.windows]
    outcomes = [window.outcome for window in found]
    rides = [verdict for verdict in verdicts if verdict.outcome in ("rode_through", "nuisance")]
    upsets = [verdict.upsets for verdict in rides if verdict.upsets is not None]
    marked = any(some.rode_through + some.stopped + some.stood for some in upsets)
    margins = _margins(verdicts)
    likely = [window.likely_margin_s for window in _hits(verdicts) if window.likely_margin_s is not None]
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
        hits_by_cause=dict(sorted(Counter(window.cause or "" for window in _hits(verdicts)).items())),
        sensor_hits=len(sensor_hits(verdicts)),
        doubted=sum(verdict.doubt != "" for verdict in verdicts if verdict.outcome not in NEITHER),
    )


def sensor_hits(verdicts: Iterable[Verdict]) -> list[str]:
    """Return the ids of traces, one a window, that were hit by a sensor where nothing says that one fails."""
    hits = ((verdict, window) for verdict in verdicts for window in verdict.windows if window.outcome == "hit")
    return [v.id for v, window in hits if window.cause == SENSOR and not v.sensor_fails]


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
    return judgement_of(total(verdicts), _margins(verdicts), acceptance)


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


@dataclass(frozen=True)
class Judged:
    """One trace: its verdict, beside it those of the plain logics, and what each point of the grid comes to."""

    verdict: Verdict
    plain: dict[str, Verdict]
    scanned: Counts | None = None


def judged(entry: Entry, trace: AnyTrace, settings: Settings, replay: Replay) -> Judged:
    """Return the verdict on a trace replayed with settings, and beside it those of the plain logics.

    Raises Refusal as `judge`.
    """
    return Judged(
        judge(entry, trace, replay),
        {name: judge(entry, trace, baseline(trace, settings)) for name, baseline in BASELINES.items()},
        plain_counts(entry, trace, settings),
    )


def plain_counts(entry: Entry, trace: AnyTrace, settings: Settings) -> Counts:
    """Return what each point of the grid of plain laws comes to on a trace. Raises Refusal as `judge`."""
    check_within(entry, trace)
    return counts(trace, settings, functools.partial(_came_to, entry, trace))


def _came_to(entry: Entry, trace: AnyTrace, replay: Replay) -> CameTo:
    """Return windows missed, nuisance trips and margins of a trace, as `total` counts them of `judge`'s verdict."""
    told = _by_label(entry, trace, felt(trace, replay))
    trips = told.nuisance if told.outcome not in NEITHER else 0
    margins = (w.margin_s if w.outcome == "hit" and w.margin_s is not None else math.nan for w in told.windows)
    return CameTo(sum(window.outcome == "missed" for window in told.windows), trips, tuple(margins))


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
    once = counted_once(library, each)
    rows = each(functools.partial(_judge_file, settings, engine), once.library.entries, tick)
    return score_of(once, settings, engine, rows)


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


def score_of(once: Once, settings: Settings, engine: Engine, rows: Sequence[Judged]) -> Score:
    """Return the score of a library whose traces have been judged, in the order of its entries, by this engine."""
    library = once.library
    verdicts = [row.verdict for row in rows]
    decided = tuple(verdict for verdict in verdicts if verdict.outcome != UNDECIDED)
    families = {
        name: judgement((v for v in decided if v.family == name), settings.acceptance)
        for name in sorted({verdict.family for verdict in decided})
    }
    whole = judgement(decided, settings.acceptance)
    scanned = [row.scanned for row in rows if row.scanned is not None]
    own = Own(whole.totals.missed, whole.totals.nuisance_trips, whole.totals.worst_margin_s)
    return Score(
        **vars(whole),
        settings=settings,
        verdicts=decided,
        undecided=tuple(verdict for verdict in verdicts if verdict.outcome == UNDECIDED),
        once=once,
        families={name: part.totals for name, part in families.items()},
        family_claims={name: part.claims for name, part in families.items()},
        mix=read_mix(
            library,
            [(v.family, outcome) for v in decided for outcome in v.outcomes],
            settings.acceptance.shown_confidence,
        ),
        baselines={name: total(row.plain[name] for row in rows) for name in BASELINES},
        comparators=comparators(grid_of(settings), scanned, own),
        library_digest=library_digest(library, once.sha256),
        engine=engine,
    )
