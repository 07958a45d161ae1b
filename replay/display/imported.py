"""The report of an import for the terminal."""

import re
from collections import Counter
from collections.abc import Iterator

from rich.console import Group, RenderableType

from replay.display import terminal
from replay.display.table import Table
from replay.display.terminal import CAUTION, terms
from replay.ground.shown import asked
from replay.ground.wording import NOTHING, counted, tenths, words
from replay.measured.assemble import HOUR_MS, LEAST_ROWS, Counts
from replay.measured.importing import Imports
from replay.measured.losses import judged_share, said_first
from replay.measured.profile_keys import PRESSURES
from replay.measured.report import Report, hours_of, run_hours_of, signal_of

FULL = 10  # files whose reports are shown in full
SHOWN_TRACES = 20
SHOWN_REASONS = 10
SHOWN_PLACES = 6
SHOWN_WORST = 3  # of each kind of loss
FIGURE = re.compile(r"\d[\d.]*")


def view_all(found: Imports) -> RenderableType:
    """Return the reports one after the other; of many files a summary, which is all that can be read."""
    new = [report for report in found.reports if not report.already]
    if len(found.reports) + len(found.refused) <= FULL:
        closing = [f"New labels are undecided. {CAUTION}"] if new else []
        return Group(*(part for one in found.reports for part in (view(one), "")), *closing)
    hours, running = sum(hours_of(one.counts) for one in new), sum(run_hours_of(one.counts) for one in new)
    told = [
        f"in: {len(new)}, as {sum(len(one.traces) for one in new)} traces of {hours:.1f} h, running {running:.1f} h",
        f"already there: {len(found.reports) - len(new)}",
        f"refused: {len(found.refused)}",
    ]
    why = Counter(_reason(text) for text in found.refused)
    refused = [(f"  {count}", text) for text, count in why.most_common(SHOWN_REASONS)]
    first = list(_look_first(new))
    doubted = [(FIGURE.sub("..", doubt), one.source) for one in new for doubt in one.doubts]
    firsts = dict(reversed(doubted))
    again = [
        (f"  {count}", f"{doubt} (first {firsts[doubt]})")
        for doubt, count in Counter(doubt for doubt, _ in doubted).most_common(SHOWN_REASONS)
    ]
    return Group(
        "\n".join(told),
        *(Group("", "refused, and why", terms(refused)) for _ in refused[:1]),
        *(Group("", "LOOK FIRST", terms(first)) for _ in first[:1]),
        *(Group("", "look again (files each)", terms(again)) for _ in again[:1]),
        "",
        f"For each file by itself: --json FILE. All labels are undecided. {CAUTION}",
    )


def _look_first(new: list[Report]) -> Iterator[tuple[str, str]]:
    """Yield what lost much, with its loss: of each kind of loss the worst few, and how many more there are."""
    kinds: dict[str, list[tuple[str, str]]] = {}
    for one in sorted(new, key=lambda one: judged_share(one.counts)):
        if said := " ".join(said_first(one.counts)):
            named = f"{one.source}, {one.machine}" if one.machine else one.source
            kinds.setdefault(FIGURE.sub("..", said), []).append((f"  {named}", said))
    for some in kinds.values():
        yield from some[:SHOWN_WORST]
        if len(some) > SHOWN_WORST:
            yield "  ...", f"{len(some) - SHOWN_WORST} more of this kind"


def _reason(text: str) -> str:
    """Return why a file was refused, without the file and the value that stands in it."""
    return text.partition(": ")[2].rpartition("; accepted")[0] or text


def view(report: Report) -> RenderableType:
    """Return the report for the terminal."""
    if report.already:
        told = f"{report.source}: already in the library as {', '.join(report.already)}; nothing was done."
        return Group(f"{told} To read it with another profile, import it into a new library.")
    head = [f"LOOK FIRST: {first[0]} {'; '.join(first[1:])}" for first in [said_first(report.counts)] if first]
    head += [f"machine {report.machine}"] * bool(report.machine)
    head += [f"{report.source}  (SHA-256 {report.digest[:16]}..., by {report.profile})"]
    doubts = [Group("look again", terms(("  -", doubt) for doubt in report.doubts))] if report.doubts else []
    return terminal.view(
        "\n".join([*head, *(f"  {note}" for note in report.notes)]),
        _rows_table(report.counts),
        _signals_table(report.counts),
        _traces_table(report),
        *doubts,
        *([f"replaced: {', '.join(report.replaced)}"] if report.replaced else []),
    )


def _rows_table(counts: Counts) -> Table:
    kept = f"{hours_of(counts):.3f} h, of them running {run_hours_of(counts):.3f} h, {counted(counts.starts, 'start')}"
    rows = [("read", f"{counts.read}", ""), ("kept", f"{counts.kept}", kept)]
    for why, mend in counts.mends.items():
        shown = ", ".join(mend.first[:SHOWN_PLACES]) + (", ..." if mend.rows > SHOWN_PLACES else "")
        rows.append(("left out", f"{mend.rows}", f"{why}: {shown}"))
    why = "no running status within max_gap"
    if 2 * counts.without_status > counts.read:
        why += "; if it is written only where it changes: [running] on_change = true"
    dropped = sum(part.rows < LEAST_ROWS for part in counts.parts)
    lost = f"{counts.lost_ms / HOUR_MS:.3f} h lost, the longest {counts.longest_gap_ms / 1000:.0f} s; not filled"
    more = [
        ("left out", counts.without_status, why),
        ("blank", counts.blank, "nothing in any column that is used"),
        ("made", counts.made, "rows put between those of the file, holding the readings"),
        *(("not good", n, f"{words(name)}: marked so in the file") for name, n in counts.not_good.items()),
        *(("held", n, f"{words(name)}: the newest reading is older than the row") for name, n in counts.held.items()),
        *(("passed over", n, f"{words(name)}: readings between two rows") for name, n in counts.passed_over.items()),
        ("gaps", counts.gaps, lost),
        ("dropped", dropped, "stretches of a single row between two gaps"),
    ]
    rows += [(what, f"{count}", of if count else "") for what, count, of in more if count or what == "gaps"]
    return Table("Rows", ("", "count", ""), rows, texts=frozenset({2}))


def _signals_table(counts: Counts) -> Table:
    rows = []
    for signal in counts.readings:
        found = signal_of(signal, counts)
        still = f"{found['longest_without_change_s']:.0f} s" if signal in PRESSURES else ""
        ends = [found["least"], found["most"]]
        told = [NOTHING if end is None else asked().number(1000 * end) for end in ends]
        shown = (*told, asked().absolute) if signal in PRESSURES else (*map(tenths, ends), found["unit"])
        rows.append((words(signal), f"{found['readings']}", f"{found['without']}", *shown, still))
    heads = ("", "readings", "without", "least", "most", "unit", "still for")
    return Table("Signals", heads, rows, texts=frozenset({5}))


def _traces_table(report: Report) -> Table:
    rows = []
    for line in report.traces[:SHOWN_TRACES]:
        hours = (f"{line.hours:.3f}", f"{line.run_hours:.3f}")
        rows.append((line.id, f"{line.rows}", *hours, line.start.removeprefix("starts ")))
    if len(report.traces) > SHOWN_TRACES:
        rows.append((f"... and {len(report.traces) - SHOWN_TRACES} more", "", "", "", ""))
    return Table("Traces", ("id", "rows", "h", "run h", "start"), rows, texts=frozenset({4}))
