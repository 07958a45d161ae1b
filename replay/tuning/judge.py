"""Every candidate over every trace of a library, judged as `lubetrip score` judges one.

The traces are the pieces of work. What is kept of a candidate on a trace is its
verdict; figures over any part of the library are made of the verdicts as a score makes
its own, so a candidate here and its settings file scored later have the same figures.
"""

import functools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from replay.engine.workers import Each
from replay.library import Entry
from replay.score import Verdict, evidence, judge
from replay.score.judgement import Judgement, judgement
from replay.settings import Acceptance, Settings
from replay.sweep import Candidates, arrange, prepare, sweep
from replay.trace import Trace, read_trace

ORDER = (evidence.MET, evidence.NOT_ENOUGH, evidence.NOT_MET)  # from the best to the worst verdict
ALIKE_DIGITS = 3  # of a nuisance limit, to which alike ones are alike
BATCH = 4096  # candidates that go over a trace at a time


@dataclass(frozen=True)
class Figures(Judgement):
    """What a candidate came to over some traces, and how it is compared with others."""

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
        """Return missed-trip limit, nuisance limit (per 1000 h), worst margin (s) turned round: smaller is better.

        The nuisance limit to ALIKE_DIGITS: a stop that comes a second earlier leaves a second less of running, and
        of as many nuisance trips that moves digits beyond, for which nobody gives up margin.
        """
        return self.missed_limit, float(f"{self.nuisance_limit:.{ALIKE_DIGITS}g}"), -self.margin_s

    @property
    def rank(self) -> tuple[int, float, float, float]:
        """Return what the choice goes by: verdict, then missed-trip limit, nuisance limit, margin."""
        return ORDER.index(self.verdict), *self.objectives


RULE = "the best verdict on [acceptance], then the lowest missed-trip limit, then nuisance limit, then the best margin"


def figures(verdicts: Iterable[Verdict], acceptance: Acceptance) -> Figures:
    """Return the figures of some verdicts."""
    return Figures(**vars(judgement(verdicts, acceptance)))


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


def verdict_on(entry: Entry, trace: Trace, settings: Candidates) -> Verdict:
    """Return the verdict of one candidate, arranged for a sweep, on one trace or another form of it."""
    return judge(entry, trace, sweep(prepare(trace), settings)[0])


def judge_all(
    entries: Sequence[Entry], candidates: Sequence[Settings], each: Each, tick: Callable[[], object]
) -> list[tuple[Verdict, ...]]:
    """Return of every candidate its verdicts in the order of the traces.

    tick is called after each trace of a batch of candidates.
    """
    found: list[tuple[Verdict, ...]] = []
    for begin in range(0, len(candidates), BATCH):
        batch = arrange(candidates[begin : begin + BATCH])
        found += zip(*each(functools.partial(judged_trace, batch), entries, tick), strict=True)
    return found
