"""Every candidate over every trace of a library, judged as `lubetrip score` judges one.

The traces are the pieces of work. What is kept of a candidate on a trace is its
verdict; figures over any part of the library are made of the verdicts by the
functions of `replay.score.scoring`, so a candidate here and its settings file scored
later have the same figures.
"""

import functools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from replay.engine.workers import Each
from replay.library import Entry
from replay.score import Totals, Verdict, evidence, judge
from replay.score.scoring import Failure, broken, claims, total
from replay.settings import Acceptance, Settings
from replay.sweep import Candidates, arrange, prepare, sweep
from replay.trace import Trace, read_trace

ORDER = (evidence.MET, evidence.NOT_ENOUGH, evidence.NOT_MET)  # from the best to the worst verdict
BATCH = 4096  # candidates that go over a trace at a time


@dataclass(frozen=True)
class Figures:
    """What a candidate came to over some traces."""

    totals: Totals
    claims: tuple[evidence.Claim, ...]
    failures: tuple[Failure, ...]

    @property
    def verdict(self) -> str:
        """Return met, not met or not enough evidence."""
        if self.failures:
            return evidence.NOT_MET
        lacking = any(claim.verdict == evidence.NOT_ENOUGH for claim in self.claims)
        return evidence.NOT_ENOUGH if lacking else evidence.MET

    @property
    def missed_limit(self) -> float:
        """Upper limit of the missed-trip probability."""
        return self.claims[0].upper

    @property
    def nuisance_limit(self) -> float:
        """Upper limit of the nuisance trips per 1000 run hours; infinite without hours."""
        return self.claims[1].upper

    @property
    def margin_s(self) -> float:
        """Worst margin of the hits, s; minus infinity where nothing was hit."""
        worst = self.totals.worst_margin_s
        return float("-inf") if worst is None else worst

    @property
    def objectives(self) -> tuple[float, float, float]:
        """Return missed-trip limit, nuisance limit (per 1000 h), worst margin (s) turned round: smaller is better."""
        return self.missed_limit, self.nuisance_limit, -self.margin_s

    @property
    def rank(self) -> tuple[int, float, float, float]:
        """Return what the choice goes by: verdict, then missed-trip limit, nuisance limit, margin."""
        return ORDER.index(self.verdict), *self.objectives


RULE = "the best verdict on [acceptance], then the lowest missed-trip limit, then nuisance limit, then the best margin"


def figures(verdicts: Iterable[Verdict], acceptance: Acceptance) -> Figures:
    """Return the figures of some verdicts; undecided ones count for nothing."""
    judged = [verdict for verdict in verdicts if verdict.outcome != "undecided"]
    totals, found = total(judged), claims(judged, acceptance)
    return Figures(totals, found, broken(totals, found, acceptance))


def judged_trace(candidates: Candidates, entry: Entry) -> list[Verdict]:
    """Return the verdict of every candidate on one trace, in their order."""
    trace = read_trace(entry.path)
    known: dict[tuple[object, ...], Verdict] = {}
    verdicts = []
    for replay in sweep(prepare(trace), candidates):
        seen = (replay.stops, replay.run_ms, replay.locked_out)
        if seen not in known:
            known[seen] = judge(entry, trace, replay)
        verdicts.append(known[seen])
    return verdicts


def outcome(entry: Entry, trace: Trace, settings: Candidates) -> str:
    """Return the outcome of one candidate, arranged for a sweep, on one trace or another form of it."""
    return judge(entry, trace, sweep(prepare(trace), settings)[0]).outcome


@dataclass(frozen=True)
class Outcomes:
    """Verdicts by trace (as in the library) and by candidate."""

    rows: tuple[list[Verdict], ...]
    acceptance: Acceptance

    def of(self, candidate: int, traces: Iterable[int]) -> Figures:
        """Return the figures of a candidate over some traces."""
        return figures((self.rows[trace][candidate] for trace in traces), self.acceptance)


def judge_all(
    entries: Sequence[Entry], candidates: Sequence[Settings], each: Each, tick: Callable[[], object]
) -> Outcomes:
    """Judge every candidate over every trace; tick is called after each trace of a batch of candidates."""
    rows: list[list[Verdict]] = [[] for _ in entries]
    for begin in range(0, len(candidates), BATCH):
        batch = arrange(candidates[begin : begin + BATCH])
        for row, found in zip(rows, each(functools.partial(judged_trace, batch), entries, tick), strict=True):
            row.extend(found)
    return Outcomes(tuple(rows), candidates[0].acceptance)
