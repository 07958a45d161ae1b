"""What the labels of a library rest on, how far reviewers agree, and where they differ."""

from collections import Counter
from collections.abc import Iterable

from rich.console import RenderableType

from replay.display.table import Table
from replay.display.terminal import terms, view
from replay.ground.wording import NOTHING, counted, percent, words
from replay.library import Entry, Library
from replay.library.agreement import CONFIDENCE, DIFFER, agreements, is_unseen, rests
from replay.library.label import LABELS, kind_of, words_of
from replay.library.words import AGREE, INSPECTION, NOBODY, ONE, PHYSICS, TWO

# What a label rests on, as a sentence says it.
RESTS = {
    INSPECTION: "on an inspection",
    TWO: "on two reviewers or more",
    ONE: "on one reviewer",
    PHYSICS: "on physics",
    NOBODY: "on nobody named",
}
UNSEEN = "imported, and nobody has looked at it"


def labelled(library: Library) -> str:
    """Return how many traces have each label: a library that decides little is known before anybody tunes on it."""
    kinds = Counter(kind_of(entry.label) for entry in library.entries)
    told = (f"{kinds[kind]} {words(kind)}" for kind in LABELS if kinds[kind])
    return f"{counted(len(library.entries), 'trace')}, {', '.join(told)}"


def labels_view(library: Library) -> RenderableType:
    """Return what labels rest on, agreement, and disagreements, for a terminal."""
    entries = library.entries
    undecided = [entry for entry in entries if entry.label == "undecided"]
    apart, unseen = [entry for entry in undecided if entry.differ], [entry for entry in undecided if is_unseen(entry)]
    told = [
        ("traces", f"{len(entries)}: {len(entries) - len(undecided)} labelled, {len(undecided)} undecided"),
        ("labels rest", rests_words(rests(entries))),
        ("undecided", f"{len(apart)} where reviewers differ, {len(unseen)} that nobody has looked at"),
    ]
    parts = [terms(told)]
    found = agreement_table(entries)
    notes = []
    if found.rows:
        notes.append(
            "kappa: Cohen 1960; 1 is full agreement, 0 what chance would give; its interval is"
            f" rough with few traces. Windows agree where they share {percent(AGREE)} of their time or more (assumed)."
        )
    listed = [disagreements_table(apart)] if apart else []
    return view(*parts, *([found] if found.rows else []), *listed, *notes)


def rests_words(counts: dict[str, int]) -> str:
    """Return what labels rest on, in a line."""
    told = [f"{counts[basis]} {words}" for basis, words in RESTS.items() if counts[basis]]
    apart = [f"{counts[DIFFER]} undecided because {DIFFER}"] if counts[DIFFER] else []
    return ", ".join([*told, *apart]) or "on nothing: none is decided"


def agreement_table(entries: Iterable[Entry]) -> Table:
    """Return each pair of reviewers with the traces that both have labelled."""
    rows = []
    for pair in agreements(entries):
        kappa = pair.kappa
        between = NOTHING if kappa is None else f"{kappa.low:.2f} to {kappa.high:.2f}"
        shown = (NOTHING if kappa is None else f"{kappa.value:.2f}", between, percent(pair.median_overlap))
        rows.append((f"{pair.first} and {pair.second}", str(pair.traces), f"{pair.alike} of {pair.traces}", *shown))
    heads = ("reviewers", "traces of both", "same kind", "kappa", f"interval, {percent(CONFIDENCE)}", "windows shared")
    return Table("Agreement of reviewers", heads, rows)


def disagreements_table(entries: Iterable[Entry]) -> Table:
    """Return what each reviewer says of traces on which they differ, a row for each."""
    rows = [
        (entry.id if first else "", word.by, word.on.isoformat(), words_of(word.label), word.inspection or NOTHING)
        for entry in entries
        for first, word in zip((True, *(False,) * len(entry.words)), entry.words, strict=False)
    ]
    heads = ("trace", "reviewer", "on", "says", "inspection")
    return Table("Reviewers differ: undecided until settled", heads, rows, texts=frozenset({1, 2, 3, 4}))


def undecided_words(entry: Entry) -> str:
    """Return why a trace is undecided, and its note."""
    if is_unseen(entry):
        return UNSEEN + (f"; {entry.note}" if entry.note else "")
    said = "; ".join(f"{word.by}: {words_of(word.label)}" for word in entry.words)
    return "; ".join(part for part in ((f"{DIFFER}: {said}" if entry.differ else ""), entry.note) if part) or NOTHING
