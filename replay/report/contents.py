"""What the report says: tables as rows of text, drawings, sentences. All figures are those of `replay.score`."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

from markupsafe import Markup

from replay.display.course import change_cells
from replay.display.terminal import CAUTION
from replay.drawing import margins
from replay.drawing.diagram import diagram_svg
from replay.drawing.picture import picture
from replay.drawing.svg import clean, markup
from replay.drawing.table_view import rule_rows, state_words
from replay.drawing.trace_plot import STRETCHES, trace_svg
from replay.library import Entry, Library, label_text
from replay.report import evidence_tables
from replay.report.junit import complaint
from replay.report.parts import NOTHING, Case, Figure, Image, Table, dash
from replay.report.record import TERMS, versions
from replay.report.units_view import acceptance_table, settings_table
from replay.score import Score, Verdict, evidence
from replay.trace import read_trace

WORST = 10
MOST_CHANGES = 40  # lines of a timeline that are shown
RANKS = ("missed", "early", "nuisance", "hit", "rode_through")
SAID = {
    evidence.MET: "The acceptance is met.",
    evidence.NOT_MET: "The acceptance is NOT met.",
    evidence.NOT_ENOUGH: "There is NOT ENOUGH EVIDENCE for the acceptance.",
}


@dataclass(frozen=True)
class Tuning:
    """What a tuning run found."""

    sentences: Sequence[str]
    plots: Sequence[Image]
    pareto: Table


@dataclass(frozen=True)
class Contents:
    """Everything the page is filled with."""

    title: str
    verdict: str
    said: str
    reasons: Sequence[str]
    summary: Sequence[tuple[str, str]]
    claims: Table
    apart: Sequence[str]
    families: Table
    baselines: Table
    margins: Figure
    worst: Sequence[Case]
    undecided: Table | None
    traces: Table
    settings: Table
    acceptance: Table
    rules: Table
    diagram: Figure
    digests: Table
    terms: str = TERMS
    caution: str = CAUTION
    tuning: Tuning | None = None


def contents(score: Score, library: Library, strips: Sequence[ET.Element], tuning: Path | None = None) -> Contents:
    """Return what stands in the report of a score; a strip for each entry of the library. Raises Refusal."""
    entries = {entry.id: entry for entry in library.entries}
    ordered = worst_first(score.verdicts)
    return Contents(
        title=f"Lubrication protection: {library.folder.resolve().name}",
        verdict=score.verdict,
        said=SAID[score.verdict],
        reasons=evidence_tables.reasons(score),
        summary=evidence_tables.summary(score),
        claims=evidence_tables.claims_table(score),
        apart=evidence_tables.apart(score),
        families=evidence_tables.families_table(score),
        baselines=evidence_tables.baselines_table(score),
        margins=Figure(margins.words(score), Markup(margins.margins_svg(score))),  # noqa: S704 - our own drawing
        worst=[_case(entries[verdict.id], verdict, score) for verdict in ordered[:WORST]],
        undecided=_undecided(score, entries) if score.undecided else None,
        traces=_traces((*ordered, *score.undecided), library, strips),
        settings=settings_table(score.settings),
        acceptance=acceptance_table(score.settings),
        rules=_rules(),
        diagram=Figure(
            "Each arrow carries the numbers of its rows in the table. Orange: run permission is withdrawn. "
            "Purple: the manual reset. Thick frames: no run permission.",
            Markup(diagram_svg()),  # noqa: S704 - our own drawing
        ),
        digests=_digests(score),
        tuning=_tuning(tuning, score) if tuning else None,
    )


def worst_first(verdicts: Iterable[Verdict]) -> list[Verdict]:
    """Return the missed first, then early, nuisance, hits by their margin, and those that rode through."""
    no_stop = -math.inf  # of a missed trace: worse than a late stop
    return sorted(
        verdicts,
        key=lambda v: (RANKS.index(v.outcome), no_stop if v.margin_s is None else v.margin_s, -v.trips, v.id),
    )


def _case(entry: Entry, verdict: Verdict, score: Score) -> Case:
    """Draw one trace at length."""
    trace = read_trace(entry.path)
    replay = score.engine.replay(trace, score.settings)
    said = complaint(entry, verdict)
    shown = picture(trace, score.settings, entry, stretches=STRETCHES)
    heads = ("time s", "from", "to", "cause", "net oil pressure kPa", "suction kPa abs", "integral %")
    rows = [change_cells(trace, change) for change in replay.changes[:MOST_CHANGES]]
    facts = f"family {entry.family}; machine {entry.machine}; oil {entry.oil}; {entry.origin}"
    return Case(
        title=entry.id,
        said=said + ("" if verdict.margin_s is None else f"; margin {verdict.margin_s:.1f} s"),
        facts=facts + (f"; {entry.note}" if entry.note else ""),
        drawing=Markup(trace_svg(shown, f"Plot of {entry.id}. {said}.")),  # noqa: S704 - text in it is escaped
        timeline=Table(f"Decisions over {entry.id}", heads, rows, texts=frozenset({1, 2, 3})),
        cut=max(len(replay.changes) - MOST_CHANGES, 0),
    )


def _undecided(score: Score, entries: dict[str, Entry]) -> Table:
    rows = [
        (v.id, v.family, dash(v.first_trip_s), v.cause or NOTHING, str(v.trips), entries[v.id].note or NOTHING)
        for v in score.undecided
    ]
    heads = ("trace", "family", "first stop s", "cause", "stops", "note")
    return Table("Undecided traces, judged neither way", heads, rows, texts=frozenset({1, 3, 5}))


def _traces(verdicts: Iterable[Verdict], library: Library, strips: Sequence[ET.Element]) -> Table:
    drawn = {entry.id: (entry, strip) for entry, strip in zip(library.entries, strips, strict=True)}
    rows: list[tuple[Any, ...]] = []
    for verdict in verdicts:
        entry, strip = drawn[verdict.id]
        strip.set("aria-label", clean(f"net oil pressure of {verdict.id}"))
        outcome = verdict.outcome.replace("_", " ")
        times = (dash(verdict.first_trip_s), dash(verdict.margin_s))
        drawing = Markup(markup(strip))  # noqa: S704 - our own drawing
        rows.append((verdict.id, label_text(entry), outcome, *times, str(verdict.trips), drawing))
    heads = ("trace", "label", "outcome", "first stop s", "margin s", "stops", "net oil pressure, cut-out, first stop")
    return Table("All traces, worst first", heads, rows, texts=frozenset({1, 2, 6}))


def _rules() -> Table:
    rows = [
        (str(row.number), state_words(row.state), row.when, state_words(row.next_state), row.outcome or NOTHING)
        for row in rule_rows()
    ]
    heads = ("row", "in state", "when", "next state", "effect")
    caption = "Cause and effect: the first row that applies is taken, then the table is read again from the new state"
    return Table(caption, heads, rows, texts=frozenset({1, 2, 3, 4}))


def _tuning(folder: Path, score: Score) -> Tuning:
    from replay.report import tuning_view

    found = tuning_view.read_tuning(folder)
    return Tuning(tuning_view.sentences(found, score), tuning_view.plots(folder), tuning_view.pareto_table(found))


def _digests(score: Score) -> Table:
    rows = [
        ("settings", score.settings.digest),
        ("logic", score.engine.digest),  # the engine is left out: each gives the same in every bit
        ("library", score.library_digest),
        *(("version, " + name, version) for name, version in versions().items()),
    ]
    return Table("Digests and versions", ("of", "value"), rows, texts=frozenset({1}))
