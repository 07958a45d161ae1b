"""The one telling of a score for terminal, report, record, test runner and notebook: its tables and sentences."""

import csv
import io
import itertools
import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TypeVar

from rich.console import RenderableType
from rich.text import Text

from protect import ranges
from replay.display.labels import rests_words
from replay.display.table import Table
from replay.display.terminal import CAUTION, MEANING, terms, view
from replay.engine import cause_words
from replay.engine.baselines import PLAIN_TIMER
from replay.engine.causes import LATE_TICK
from replay.ground.wording import NOTHING, counted, duration, percent, rate, seconds, sure, tenths, words
from replay.score import Score, Totals, Verdict, evidence
from replay.score.by_machine import TRACE, ByMachine
from replay.score.comparators import Point
from replay.score.judgement import UNJUDGED, sensor_hits
from replay.score.once import CONTRADICT, OVERLAP, SAME
from replay.score.verdict import TOLD
from replay.score.windows import LATE, NO_STOP

T = TypeVar("T")
ALWAYS_PER_1000H = 1e6  # a stop for every few seconds of running
NUISANCE_PER_1000H = "nuisance trips per 1000 h"
IN_UPSET = "nuisance trip in an upset"
# How an amount of each rule is worded, and of what it is one.
RULES = {
    "max_missed": ("{:g}".format, "missed trips"),
    evidence.MISSED: (percent, "missed"),
    evidence.NUISANCE: (rate, NUISANCE_PER_1000H),
    "min_margin": ("{:g} s".format, "worst margin of hits"),
    evidence.MARGIN: (percent, "with less margin"),
    evidence.UPSET: (percent, "of upsets with a nuisance trip"),
    evidence.OUTSIDE: (rate, NUISANCE_PER_1000H),
}
RATES = (evidence.NUISANCE, evidence.OUTSIDE)
MOST_NAMED = 5
TWICE = {
    SAME: "{0} and {1} are the same recording: counted once.",
    OVERLAP: "{0} and {1} record the same {2}: counted once.",
    CONTRADICT: "{0} and {1} record the same {2}, and their labels there contradict each other.",
}
MOST_UNDECIDED = 20  # of more, so many of those that stop are listed
NONE_MARKED = "no upset is marked"
VERDICTS = {
    evidence.MET: "met",
    evidence.NOT_MET: "NOT MET",
    evidence.NOT_ENOUGH: "NOT ENOUGH EVIDENCE",
}


def score_view(score: Score, *, whole: bool = False) -> RenderableType:
    """Return the report of `score`: the verdict, families, what went wrong, plain laws beside, limits, the verdict.

    whole: every trace is listed, not only what went wrong.
    """
    listed: list[Table | RenderableType] = [verdict_line(score), families_table(score)]
    if whole:
        listed.append(traces_table("All traces that were judged", score.verdicts))
    elif score.wrong:
        listed.append(traces_table("Missed, early and nuisance", score.wrong))
    if score.undecided:
        listed.append(_undecided(score.undecided, whole=whole))
    below = ("  " + told for told in (*reasons(score), *warnings(score)))
    closing = Text("\n").join([*map(Text, apart(score)), verdict_line(score), *map(Text, below), Text(CAUTION)])
    return view(*listed, baselines_table(score), *comparing(score), claims_table(score), terms(summary(score)), closing)


def _undecided(undecided: Sequence[Verdict], *, whole: bool) -> Table:
    """Return what is judged neither way: all of few, of many the first that stop, and how many more there are."""
    stopped = [verdict for verdict in undecided if verdict.trips]
    shown = undecided if whole or len(undecided) <= MOST_UNDECIDED else stopped[:MOST_UNDECIDED]
    left = len(stopped) - len(shown), len(undecided) - max(len(stopped), len(shown))
    more = [f"{many} more {how} a stop" for many, how in zip(left, ("with", "without"), strict=True) if many > 0]
    told = f", {' and '.join(more)} (-v)" if more else ""
    return traces_table(f"Undecided, judged neither way{told}", shown)


def verdict_line(score: Score) -> Text:
    """Return the verdict in a sentence, in its colour."""
    return Text(said(score), style=MEANING[VERDICTS[score.verdict].lower()])


CSV_KEYS = ("id", "family", "machine", "outcome", "stop_s", "cause", "deadline_s", "margin_s", "stops", "run_hours")


def score_csv(score: Score) -> str:
    """Return the outcomes as CSV, a line for each trace; of several windows the first, with the worst margin of all."""
    machines = {entry.id: entry.machine for entry in score.once.library.entries}
    stream = io.StringIO()
    table = csv.writer(stream, lineterminator="\n")
    table.writerow(CSV_KEYS)
    for v in (*score.verdicts, *score.undecided):
        deadline = v.windows[0].deadline_s if v.windows else None
        told = (v.first_trip_s, cause_words(v.cause, v.doubts), deadline, v.margin_s, v.trips, round(v.run_hours, 6))
        table.writerow((v.id, v.family, machines[v.id], v.outcome, *("" if part is None else part for part in told)))
    return stream.getvalue()


def said(score: Score) -> str:
    """Return the verdict in a sentence."""
    on = "the counts" if all(claim.wanted is None for claim in score.claims) else "counts and limits"
    return f"Acceptance: {VERDICTS[score.verdict]}, judged on {on}."


def reasons(score: Score) -> list[str]:
    """Return what is broken, or else what is not shown."""
    told = []
    for failure in score.failures:
        show, of = RULES[failure.rule]
        got = f"{of}, no hours to count them over" if failure.got is None else f"{show(failure.got)} {of}"
        side = "at least" if failure.rule == "min_margin" else "at most"
        told.append(f"{failure.rule}: {got}, wanted {side} {show(failure.limit)}")
    for claim in score.lacking if not score.failures else ():
        show, of = RULES[claim.rule]
        good = ", all of them good" if claim.rule in (evidence.MISSED, evidence.MARGIN) else " without a stop"
        needs = f"; needs another {_further(claim)}{good}" if claim.further else ""
        limit = f"shown at most {show(claim.upper)} {of}" if math.isfinite(claim.upper) else f"no limit shown for {of}"
        told.append(f"{claim.rule}: {limit}, wanted at most {show(claim.wanted)}{needs}")
    return told if score.failures else [*_unjudged(score), *told]


def _unjudged(score: Score) -> list[str]:
    said = {failure.rule for failure in score.failures} or {claim.rule for claim in score.lacking if claim.further}
    return [f"{name}: {UNJUDGED[name]}" for name in score.unjudged if name not in said]


def warnings(score: Score) -> list[str]:
    """Return what to look at before the verdict is believed; beside a broken rule, what else was not judged."""
    told = _unjudged(score) if score.failures else []
    left = score.totals.doubted
    told += [f"WARNING: {v.id}: {v.doubt}" for v in _first(v for v in score.verdicts if v.doubt and v.outcome != TOLD)]
    told += [f"WARNING: {left - MOST_NAMED} more traces in doubt"] if left > MOST_NAMED else []
    told += _too_slow(score)
    by_sensor = sensor_hits(score.verdicts)
    if by_sensor:
        named = [*_first(dict.fromkeys(by_sensor)), *["..."] * (len(set(by_sensor)) > MOST_NAMED)]
        told.append(
            f"WARNING: {len(by_sensor)} of {score.totals.hit} hits are stops on a sensor, though nothing says that a"
            f" sensor fails ({', '.join(named)}): they do not show that the fault was found"
        )
    return told


def _too_slow(score: Score) -> list[str]:
    """Say which traces are stopped because the settings want rows closer to each other than their logs have them."""
    slow = [v.id for v in score.verdicts if v.late_ticks and LATE_TICK in v.doubts]
    if not slow:
        return []
    named = ", ".join([*_first(slow), *["..."] * (len(slow) > MOST_NAMED)])
    gap = duration(score.settings.values[ranges.MAX_GAP])
    return [
        f"WARNING: {len(slow)} of {len(score.verdicts)} traces are stopped because their rows come further apart than"
        f" max_gap = {gap}, whatever they read ({named}): give a copy of the settings with [sensors] max_gap above the"
        " step of the logs"
    ]


def _first(some: Iterable[T]) -> list[T]:
    """Return the first of some, as many as a sentence names."""
    return list(itertools.islice(some, MOST_NAMED))


def summary(score: Score) -> list[tuple[str, str]]:
    """Return the counts that stand beside the verdict."""
    whole = score.totals
    hours = whole.ride_through_run_hours
    often = f"{rate(whole.nuisance_per_1000h)} per 1000 h" if hours else "no hours to count them over"
    return [
        ("traces", _counted(score)),
        ("missed trips", f"{whole.missed} of {whole.must_trip} faults"),
        ("hits by cause", ", ".join(f"{cause} {count}" for cause, count in whole.hits_by_cause.items()) or NOTHING),
        ("early stops", f"{whole.early}"),
        ("nuisance trips", f"{whole.nuisance_trips} in {hours:.2f} run hours: {often}"),
        ("upsets", _upsets(whole)),
        ("worst margin of hits", seconds(whole.worst_margin_s)),
        ("late stops", _late_stops(whole)),
        ("labels rest", rests_words(score.rests)),
        ("unit of evidence", _unit(score.by_machine)),
        ("settings", f"{Path(score.settings.file).name}, digest {score.settings.digest[:12]}"),
    ]


def _late_stops(whole: Totals) -> str:
    """Return how many of the missed faults were stopped after all, and the worst margin of those, which is below 0."""
    late = whole.missed - whole.late[NO_STOP]
    return f"{late} of the missed; worst margin {seconds(whole.worst_late_margin_s)}" if late else "none"


def _unit(told: ByMachine) -> str:
    if told.unit == TRACE:
        return "a trace: no two are recordings of one machine"
    return f"a trace in these limits, a machine in those by machine ({told.machines} of them)"


def _counted(score: Score) -> str:
    told = sum(verdict.outcome == TOLD for verdict in score.verdicts)
    others = f", {told} counted already in others" if told else ""
    return f"{len(score.verdicts) - told} judged, {len(score.undecided)} undecided{others}"


def _upsets(whole: Totals) -> str:
    """Return what upsets came to, and what came without one."""
    if whole.upsets_stopped is None:
        return "none marked in this library, so the chance of a nuisance trip in one is not known"
    stops = counted(whole.stops_outside_upsets or 0, "stop")
    outside = f"{stops} in {whole.hours_outside_upsets:.2f} run hours without upset"
    return f"{whole.upsets_stopped} of {whole.upsets} had a nuisance trip; {outside}"


def late_words(whole: Totals) -> list[str]:
    """Return how the missed faults stand to the band of the deadline, the least late first."""
    return [f"{count} of the {whole.missed} missed: {LATE[late]}." for late, count in whole.late.items() if count]


def apart(score: Score) -> list[str]:
    """Return what the limits over all traces would hide."""
    whole = score.totals
    told = [*twice(score), *late_words(whole)]
    if whole.early:
        told.append(
            f"{whole.early} early: an early stop does not show that its fault is found, so the limits leave it out."
        )
    if whole.stood:
        told.append(f"{whole.stood} faults came while an earlier stop still held the machine: neither hit nor missed.")
    if whole.repeats:
        told.append(f"{whole.repeats} stops came after a restart into the same fault: they count neither way.")
    if whole.worst_likely_margin_s is not None:
        told.append(f"Worst margin of hits to the likely deadline: {seconds(whole.worst_likely_margin_s)}.")
    late = [verdict for verdict in (*score.verdicts, *score.undecided) if verdict.late_ticks]
    if late:
        rows = sum(verdict.late_ticks for verdict in late)
        told += [f"{rows} rows of {len(late)} traces come more than max_gap after the row before: not trusted."]
    if score.worst_family is not None:
        claim = score.family_claims[score.worst_family][0]
        shown = f"missed {claim.events} of {claim.of:g}, at most {percent(claim.upper)}"
        told.append(f"Family with the fewest faults to go by: {score.worst_family}, {shown}.")
    if score.mix is not None:
        mixed = f"{percent(score.mix.missed_probability)}, at most {percent(score.mix.upper)}"
        told.append(f"Missed in the stated mix of faults: {mixed}.")
    told += machine_words(score)
    if score.margin_limit_s is not None:
        confident = sure(score.settings.acceptance.shown_confidence)
        told.append(f"Nine in ten such faults leave {tenths(score.margin_limit_s)} s or more, {confident}.")
    return told


def machine_words(score: Score) -> list[str]:
    """Return the limits whose trials are machines, where traces of one machine hang together."""
    found = score.by_machine
    if found.unit == TRACE:
        return []
    what = ("a missed fault", "a nuisance trip", "a hit with less margin than asked for or none", "a stop in an upset")
    limits = [
        f"with {name} {claim.events} of {claim.of:g}, at most {percent(claim.upper)}"
        for name, claim in zip(what, found.claims, strict=True)
        if claim.of
    ]
    confident = sure(score.settings.acceptance.shown_confidence)
    return [f"By machine, since traces of one machine are not independent: {'; '.join(limits)}, {confident}."]


def twice(score: Score) -> list[str]:
    """Return what the library tells more than once."""
    entries, pairs = score.once.library.entries, score.once.twice
    told = []
    for kind, what in TWICE.items():
        some = [pair for pair in pairs if pair.kind == kind]
        told += [what.format(entries[p.first].id, entries[p.second].id, seconds(p.seconds)) for p in _first(some)]
        told += [f"{len(some) - MOST_NAMED} more pairs of traces likewise."] if len(some) > MOST_NAMED else []
    told += [f"One machine by several spellings: {', '.join(map(repr, names))}." for names in score.once.spellings]
    return told


def claims_table(score: Score) -> Table:
    """Return what all traces show, with limits, what is wanted, and what it would take."""
    limits = score.settings.acceptance
    confident = sure(limits.shown_confidence)
    heads = ("quantity", "seen", "value", f"at most, {confident}", "allowed")
    rows = []
    margin = f"margin under {limits.min_margin_s:g} s"
    named = list(zip(("missed-trip probability", NUISANCE_PER_1000H, margin, IN_UPSET), score.claims, strict=True))
    if score.outside is not None:
        named.append((f"{NUISANCE_PER_1000H} without upset", score.outside))
    for name, claim in named:
        show, _ = RULES[claim.rule]
        seen = f"{claim.events} in {claim.of:.2f} h" if claim.rule in RATES else f"{claim.events} of {claim.of:g}"
        if claim.rule == evidence.UPSET and score.totals.upsets_stopped is None:
            seen = NONE_MARKED
        shown = (show(claim.point), show(claim.upper), show(claim.wanted))
        rows.append((name, seen, *shown, _further(claim), claim.verdict))
    wide, texts = frozenset({2, 6}), frozenset({6})
    return Table("What these traces show", (*heads, "still needed", "verdict"), rows, texts=texts, wide=wide)


def _further(claim: evidence.Claim) -> str:
    """Return how much more it would take, never rounded down."""
    if claim.further is None or claim.verdict != evidence.NOT_ENOUGH:
        return NOTHING
    if claim.rule in RATES:
        return f"{math.ceil(10 * claim.further) / 10:g} h"
    return f"{math.ceil(claim.further)} {'upsets' if claim.rule == evidence.UPSET else 'faults'}"


def families_table(score: Score) -> Table:
    """Return counts, margins and limits of each family and of all."""
    confident = sure(score.settings.acceptance.shown_confidence)
    heads = (
        *("family", "must trip", "hit", "missed", "early", f"missed at most, {confident}"),
        *("median s", "worst s", "run h", "nuisance trips"),
        *(f"per 1000 h at most, {confident}", "upsets with a stop"),
    )
    rows = [_family(name, part, score.family_claims[name]) for name, part in score.families.items()]
    foot = _family("all", score.totals, score.claims)
    caption = "Evidence by family: margins of hits, run hours of ride-through traces"
    return Table(caption, heads, rows, foot, wide=frozenset({5, 10, 11}))


def _family(name: str, part: Totals, claims: tuple[evidence.Claim, ...]) -> list[str]:
    tripping, riding = [NOTHING] * 5, [NOTHING] * 4
    if part.must_trip:
        tripping = [str(part.must_trip), str(part.hit), str(part.missed), str(part.early), percent(claims[0].upper)]
    if part.ride_through:
        upsets = NOTHING if part.upsets_stopped is None else f"{part.upsets_stopped} of {part.upsets}"
        riding = [f"{part.ride_through_run_hours:.2f}", str(part.nuisance_trips), rate(claims[1].upper), upsets]
    elif part.nuisance_trips:
        riding[1] = str(part.nuisance_trips)
    return [name, *tripping, tenths(part.median_margin_s), tenths(part.worst_margin_s), *riding]


# Outcome, stop, its cause, deadline, two margins.
Row = tuple[str, float | None, str | None, float | None, float | None, float | None]


def traces_table(caption: str, verdicts: Iterable[Verdict]) -> Table:
    """Return what became of traces, in their order; one of several windows has a row for each."""
    heads = ("trace", "family", "outcome", "stop s", "cause", "deadline s", "margin s", "margin to likely s", "stops")
    rows = []
    for v in verdicts:
        cause = cause_words(v.cause, v.doubts) or NOTHING
        windows: list[Row] = [
            (w.outcome, w.stop_s, w.cause, w.deadline_s, w.margin_s, w.likely_margin_s) for w in v.windows
        ]
        for outcome, stop_s, by, deadline_s, *margins in windows or [
            (v.outcome, v.first_trip_s, None, None, None, None)
        ]:
            times = (tenths(stop_s), cause if stop_s == v.first_trip_s else by or NOTHING, tenths(deadline_s))
            rows.append((v.id, v.family, words(outcome), *times, *map(tenths, margins), str(v.trips)))
    return Table(caption, heads, rows, texts=frozenset({1, 2, 4}), wide=frozenset({1, 6, 7}))


def comparing(score: Score) -> list[Table]:
    """Return the table of plain laws at their best, where they were scanned."""
    return [comparators_table(score)] if score.comparators else []


def comparators_table(score: Score) -> Table:
    """Return the best that plain laws can do on the same traces, beside the settings."""
    whole = score.totals
    margins = (tenths(whole.worst_margin_s), tenths(whole.median_margin_s))
    own = (str(whole.missed), str(whole.nuisance_trips), *margins)
    rows: list[tuple[str, ...]] = [("these settings", "", "", "", *own)]
    for each in score.comparators:
        for said, point in (
            ("with no more missed trips", each.no_more_missed),
            ("with no more nuisance trips", each.no_more_nuisance),
        ):
            if point is None:
                rows.append((each.law, said, *[NOTHING] * 6))
            else:
                margins = (tenths(point.worst_margin_s), tenths(point.median_margin_s))
                counts = (str(point.missed), str(point.nuisance_trips))
                rows.append((each.law, said, *_numbers(score, point), *counts, *margins))
    figures = ("missed", "nuisance trips", "worst margin s", "median margin s")
    heads = ("law", "at its best", "cut-out", "delay", *figures)
    return Table(kept(score), heads, rows, texts=frozenset({1}), wide=frozenset({7}))


def kept(score: Score) -> str:
    """Say whether the settings earn their keep beside plain laws at their best."""
    for each in score.comparators:
        if each.as_good:
            told = f"the {each.law} with {', '.join(_numbers(score, each.as_good))} is as good or better"
            return f"These settings do not earn their keep on these traces: {told}"
    best = "Plain laws at their best on these traces: none is as good as these settings"
    own = score.totals.worst_margin_s
    for each in score.comparators:
        if each.thinner and own is not None:
            left = each.thinner.worst_margin_s
            less = "hits nothing" if left is None else f"its worst margin is {own - left:.1f} s shorter"
            numbers = ", ".join(_numbers(score, each.thinner))
            return f"{best}; the {each.law} with {numbers} has no more missed or nuisance trips, but {less}"
    return best


def _numbers(score: Score, point: Point) -> tuple[str, str]:
    return score.settings.units.net(point.cut_out_pa), f"{point.delay_ms / 1000:g} s"


def baselines_table(score: Score) -> Table:
    """Return what plain laws do on the same traces."""
    rows = []
    values = score.settings.values
    numbers = f"{score.settings.units.net(values[ranges.CUT_OUT])}, {values[ranges.TRIP_DELAY] / 1000:g} s"
    for name, part in {"these settings": score.totals, **score.baselines}.items():
        often = part.nuisance_per_1000h
        counts = (str(part.hit), str(part.missed), str(part.early), tenths(part.worst_margin_s))
        shown = "always" if often >= ALWAYS_PER_1000H else rate(often)
        called = f"{name}, {numbers}" if name == PLAIN_TIMER else name
        rows.append((called, *counts, str(part.nuisance_trips), shown))
    heads = ("law", "hit", "missed", "early", "worst margin s", "nuisance trips", "per 1000 h")
    return Table("Plain laws on the same traces", heads, rows)
