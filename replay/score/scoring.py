"""Score a library: replay every trace, judge it by its label, and the whole by its acceptance."""

import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from replay.engine import Engine, Replay, engine_for, engine_named
from replay.engine.baselines import BASELINES
from replay.engine.scan import grid_of
from replay.engine.workers import Each, Progress, one_by_one, quiet, workers
from replay.library import Entry, Library, library_digest, library_of, settings_of
from replay.library.agreement import rests
from replay.library.given import GivenLibrary, GivenSettings
from replay.score import evidence
from replay.score.by_machine import ByMachine, by_machine, machine_of, seen_of
from replay.score.comparators import CameTo, Comparator, Counts, Own, comparators, counts
from replay.score.judge_digest import judge_digest
from replay.score.judgement import UNJUDGED, Judgement, Totals, finite, judgement, total, unmet
from replay.score.mix import Mix, read_mix
from replay.score.once import Once, counted_once
from replay.score.verdict import NEITHER, UNDECIDED, WRONG, Verdict, by_label, check_within, judge, margins_of
from replay.score.windows import felt
from replay.settings import Settings
from replay.trace import AnyTrace, open_trace

SCHEMA = "lubetrip-score/1"


@dataclass(frozen=True)
class Score(Judgement):
    """All of one scoring run; claims: what the traces show, with limits; baselines: what plain laws do on them.

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
        return margins_of(self.verdicts)

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
        seen = [seen_of(machines[verdict.id], verdict, acceptance) for verdict in judged]
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
                "nuisance_per_1000h": finite(self.totals.nuisance_per_1000h),
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


def _baseline_json(score: Score, totals: Totals) -> dict[str, Any]:
    broken = [failure.rule for failure in unmet(totals, score.settings.acceptance)]
    return {**vars(totals), "nuisance_per_1000h": finite(totals.nuisance_per_1000h), "rules_not_met": broken}


@dataclass(frozen=True)
class Judged:
    """One trace: its verdict, beside it those of the plain laws, and what each point of the grid comes to."""

    verdict: Verdict
    plain: dict[str, Verdict]
    scanned: Counts | None = None


def judged(entry: Entry, trace: AnyTrace, settings: Settings, replay: Replay) -> Judged:
    """Return the verdict on a trace replayed with settings, and beside it those of the plain laws.

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
    told = by_label(entry, trace, felt(trace, replay))
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
