"""What the report says: tables as rows of text, drawings, sentences. All figures are those of `replay.score`."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

from markupsafe import Markup

from replay.display import comparison
from replay.display import score as telling
from replay.display.course import timeline_table
from replay.display.guarantee import main_lines
from replay.display.labels import undecided_words
from replay.display.settings import acceptance_table, settings_table
from replay.display.table import Table
from replay.display.terminal import CAUTION
from replay.drawing import margins, tradeoff
from replay.drawing.diagram import diagram_svg
from replay.drawing.picture import picture
from replay.drawing.svg import clean, markup
from replay.drawing.table_view import rule_rows, state_words
from replay.drawing.trace_plot import STRETCHES, trace_svg
from replay.ground.wording import NOTHING, seconds
from replay.library import Entry, Library, label_text
from replay.report.junit import complaint
from replay.report.record import TERMS, versions
from replay.report.templates import script
from replay.score import Score, Verdict
from replay.score.comparison import Comparison
from replay.score.judge_digest import judge_digest
from replay.score.verdict import TOLD
from replay.score.windows import STOOD
from replay.settings.guarantee import guarantee
from replay.trace import read_trace

WORST = 10
MOST_CHANGES = 40  # lines of a timeline that are shown
RANKS = ("missed", "early", "nuisance", "hit", STOOD, "rode_through", TOLD)


def contents(
    score: Score, library: Library, strips: Sequence[ET.Element], tuning: Path | None = None
) -> dict[str, Any]:
    """Return what stands in the report of a score, by the names of its page; a strip for each entry of the library.

    Raises Refusal.
    """
    entries = {entry.id: entry for entry in library.entries}
    ordered = worst_first(score.verdicts)
    return {
        "title": f"Lubrication protection: {library.folder.resolve().name}",
        "by": "",
        "verdict": score.verdict,
        "said": telling.said(score),
        "reasons": [*telling.reasons(score), *telling.warnings(score)],
        "summary": telling.summary(score),
        "claims": telling.claims_table(score),
        "apart": telling.apart(score),
        "families": telling.families_table(score),
        "baselines": telling.baselines_table(score),
        "comparators": telling.comparing(score),
        "tradeoff": _figure(tradeoff.words(score), tradeoff.tradeoff_svg(score)) if score.comparators else None,
        "margins": _figure(margins.words(score), margins.margins_svg(score)),
        "worst": [_case(entries[verdict.id], verdict, score) for verdict in ordered[:WORST]],
        "undecided": _undecided(score, entries) if score.undecided else None,
        "traces": _traces((*ordered, *score.undecided), library, strips),
        "settings": settings_table(score.settings),
        "acceptance": acceptance_table(score.settings),
        "guarantee": main_lines(guarantee(score.settings)),
        "rules": _rules(),
        "diagram": _figure(
            "Each arrow carries the numbers of its rows in the table. Orange: run permission is withdrawn. "
            "Purple: the manual reset. Thick frames: no run permission.",
            diagram_svg(),
        ),
        "digests": _digests(score),
        "terms": TERMS,
        "caution": CAUTION,
        "tuning": _tuning(tuning, score) if tuning else None,
        "changes": None,
        **script("traces.js"),
    }


def changes(compared: Comparison, other: str) -> dict[str, Any]:
    """Return what changed from another score, called A, to the one of the report, called B."""
    return {
        "named": f"A is {other}, B is this report.",
        "verdict": comparison.verdict(compared),
        "parts": comparison.parts(compared),
        "lines": comparison.lines(compared),
    }


def worst_first(verdicts: Iterable[Verdict]) -> list[Verdict]:
    """Return the missed first, then early, nuisance, hits by their margin, then those that rode through."""
    no_stop = -math.inf  # of a missed trace: worse than a late stop
    return sorted(
        verdicts,
        key=lambda v: (RANKS.index(v.outcome), no_stop if v.margin_s is None else v.margin_s, -v.trips, v.id),
    )


def _figure(caption: str, drawing: str) -> dict[str, str]:
    return {"caption": caption, "drawing": Markup(drawing)}  # noqa: S704 - our own drawing


def _case(entry: Entry, verdict: Verdict, score: Score) -> dict[str, Any]:
    """Draw one trace at length: what should have been and was, drawing and timeline."""
    trace = read_trace(entry.path)
    replay = score.engine.replay(trace, score.settings)
    said = complaint(entry, verdict)
    shown = picture(trace, score.settings, entry, stretches=STRETCHES)
    facts = f"family {entry.family}; machine {entry.machine}; oil {entry.oil}; {entry.origin}"
    return {
        "title": entry.id,
        "said": said + ("" if verdict.margin_s is None else f"; margin {seconds(verdict.margin_s)}"),
        "facts": facts + (f"; {entry.note}" if entry.note else ""),
        "drawing": Markup(trace_svg(shown, f"Plot of {entry.id}. {said}.")),  # noqa: S704 - text in it is escaped
        "timeline": timeline_table(trace, replay, score.settings, MOST_CHANGES),
        "cut": max(len(replay.changes) - MOST_CHANGES, 0),
    }


def _undecided(score: Score, entries: dict[str, Entry]) -> Table:
    told = telling.traces_table("Undecided traces, judged neither way", score.undecided)
    return _beside(told, ("what is known",), [(undecided_words(entries[row[0]]),) for row in told.rows])


def _traces(verdicts: Iterable[Verdict], library: Library, strips: Sequence[ET.Element]) -> Table:
    drawn = {entry.id: (entry, strip) for entry, strip in zip(library.entries, strips, strict=True)}
    told = telling.traces_table("All traces, worst first", verdicts)
    cells = []
    for row in told.rows:
        entry, strip = drawn[row[0]]
        strip.set("aria-label", clean(f"net oil pressure of {entry.id}"))
        cells.append((label_text(entry), Markup(markup(strip))))  # noqa: S704 - our own drawing
    return _beside(told, ("label", "net oil pressure, cut-out, first stop"), cells)


def _beside(told: Table, heads: Sequence[str], cells: Sequence[Sequence[Any]]) -> Table:
    """Return a table with columns of words or drawings added to each row."""
    added = range(len(told.heads), len(told.heads) + len(heads))
    rows = [(*row, *more) for row, more in zip(told.rows, cells, strict=True)]
    return replace(told, heads=(*told.heads, *heads), rows=rows, texts=told.texts | set(added))


def _rules() -> Table:
    rows = [
        (str(row.number), state_words(row.state), row.when, state_words(row.next_state), row.outcome or NOTHING)
        for row in rule_rows()
    ]
    heads = ("row", "in state", "when", "next state", "effect")
    caption = "Cause and effect: the first row that applies is taken, then the table is read again from the new state"
    return Table(caption, heads, rows, texts=frozenset({1, 2, 3, 4}))


def _tuning(folder: Path, score: Score) -> dict[str, Any]:
    from replay.display.tuning import pareto_table
    from replay.report import tuning_view

    found = tuning_view.read_tuning(folder)
    said, pareto = tuning_view.sentences(found, score), pareto_table(found, ("whole",))
    return {"sentences": said, "plots": tuning_view.plots(folder), "pareto": pareto}


def _digests(score: Score) -> Table:
    rows = [
        ("settings", score.settings.digest),
        ("logic", score.engine.digest),  # the engine is left out: each gives the same in every bit
        ("judge", judge_digest()),
        ("library", score.library_digest),
        *(("version, " + name, version) for name, version in versions().items()),
    ]
    return Table("Digests and versions", ("of", "value"), rows, texts=frozenset({1}))
