"""The report of an import for the terminal."""

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from replay.display.terminal import CAUTION, plain_table
from replay.measured.assemble import HOUR_MS, LEAST_ROWS, Counts
from replay.measured.profile_keys import PRESSURES
from replay.measured.report import Report, hours_of, run_hours_of, signal_of, trace_of

SHOWN_TRACES = 20
SHOWN_PLACES = 6


def view(report: Report) -> RenderableType:
    """Return the report for the terminal."""
    if report.already:
        told = f"{report.source}: already in the library as {', '.join(report.already)}; nothing was done."
        return Text(f"{told} To read it with another profile, import it into a new library.")
    parts: list[RenderableType] = [Text(f"{report.source}  (SHA-256 {report.digest[:16]}..., by {report.profile})")]
    parts += [Text(f"  {note}") for note in report.notes]
    parts += [Text(), _rows_table(report.counts), Text(), _signals_table(report.counts), Text(), _traces_table(report)]
    if report.doubts:
        parts += [Text(), Text("look again")]
        parts += [_item(doubt) for doubt in report.doubts]
    parts += [Text(), Text("All labels are undecided. " + CAUTION)]
    return Group(*parts)


def _item(text: str) -> RenderableType:
    table = Table.grid(padding=(0, 1))
    table.add_row("  -", Text(text))
    return table


def _rows_table(counts: Counts) -> Table:
    table = plain_table(title="rows")
    table.add_column("", no_wrap=True)
    table.add_column("count", justify="right")
    table.add_column("")
    table.add_row("read", f"{counts.read}", "")
    table.add_row("kept", f"{counts.kept}", f"{hours_of(counts):.3f} h, of them running {run_hours_of(counts):.3f} h")
    for mend in counts.mends.values():
        shown = ", ".join(mend.places[:SHOWN_PLACES]) + (", ..." if mend.rows > SHOWN_PLACES else "")
        table.add_row("left out", f"{mend.rows}", f"{mend.why}: {shown}")
    if counts.without_status:
        why = "no running status within max_gap"
        if 2 * counts.without_status > counts.read:
            why += "; if it is written only where it changes: [running] on_change = true"
        table.add_row("left out", f"{counts.without_status}", why)
    if counts.blank:
        table.add_row("blank", f"{counts.blank}", "nothing in any column that is wanted")
    for signal, held in counts.held.items():
        if held:
            table.add_row("held", f"{held}", f"{_words(signal)}: the newest reading is older than the row")
    for signal, count in counts.passed_over.items():
        if count:
            table.add_row("passed over", f"{count}", f"{_words(signal)}: readings between two rows")
    lost = f"{counts.lost_ms / HOUR_MS:.3f} h lost, the longest {counts.longest_gap_ms / 1000:.0f} s; not filled"
    table.add_row("gaps", f"{counts.gaps}", lost if counts.gaps else "")
    dropped = sum(part.rows < LEAST_ROWS for part in counts.parts)
    if dropped:
        table.add_row("dropped", f"{dropped}", "stretches of a single row between two gaps")
    return table


def _signals_table(counts: Counts) -> Table:
    table = plain_table(title="signals")
    table.add_column("", no_wrap=True)
    for name in ("readings", "without", "least", "most", "unit", "still for"):
        table.add_column(name, justify="left" if name == "unit" else "right", no_wrap=True)
    for signal in counts.readings:
        found = signal_of(signal, counts)
        ends = [f"{found[end]:.1f}" if found[end] is not None else "-" for end in ("least", "most")]
        still = f"{found['longest_without_change_s']:.0f} s" if signal in PRESSURES else ""
        row = (f"{found['readings']}", f"{found['without']}", *ends, found["unit"], still)
        table.add_row(_words(signal), *row)
    return table


def _traces_table(report: Report) -> Table:
    table = plain_table(title="traces")
    table.add_column("id", overflow="fold")
    for name in ("rows", "h", "run h"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("start", overflow="fold")
    for line in report.traces[:SHOWN_TRACES]:
        made = trace_of(line)
        hours = (f"{made['hours']:.3f}", f"{made['run_hours']:.3f}")
        table.add_row(line.id, f"{made['rows']}", *hours, line.start.removeprefix("starts "))
    if len(report.traces) > SHOWN_TRACES:
        table.add_row(f"... and {len(report.traces) - SHOWN_TRACES} more", "", "", "", "")
    return table


def _words(signal: str) -> str:
    return signal.replace("_", " ")
