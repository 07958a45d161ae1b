"""The report of an import: what was read, kept, left out, held, lost; ranges; what looks wrong."""

from dataclasses import dataclass, field
from typing import Any

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from replay.display.terminal import CAUTION, plain_table
from replay.measured.assemble import HOUR_MS, LEAST_ROWS, Counts, Part
from replay.measured.profile_keys import CHANNELS, PRESSURES
from replay.measured.unit_text import WANTED

SHOWN_TRACES = 20
SHOWN_PLACES = 6


@dataclass(frozen=True)
class TraceLine:
    """One trace that was made: its id, its file in the library, when it starts, what is in it."""

    id: str
    file: str
    start: str
    part: Part


@dataclass(frozen=True)
class Report:
    """What an import did with one file; `already` names the entries of a file that was imported before."""

    source: str
    digest: str
    profile: str = ""
    fingerprint: str = ""
    notes: list[str] = field(default_factory=list)
    counts: Counts = field(default_factory=Counts)
    traces: list[TraceLine] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    already: list[str] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """Return the report as plain JSON values; pressures in kPa absolute, times in s and h."""
        head = {"file": self.source, "sha256": self.digest}
        if self.already:
            return head | {"already_imported_as": self.already}
        counts = self.counts
        return head | {
            "profile": self.profile,
            "fingerprint": self.fingerprint,
            "notes": self.notes,
            "rows": {
                "read": counts.read,
                "kept": counts.kept,
                "blank": counts.blank,
                "without_running_status": counts.without_status,
                "left_out": {m.why: {"rows": m.rows, "first": m.places} for m in counts.mends.values()},
            },
            "held": counts.held,
            "passed_over": counts.passed_over,
            "gaps": {
                "count": counts.gaps,
                "lost_h": counts.lost_ms / HOUR_MS,
                "longest_s": counts.longest_gap_ms / 1000,
                "traces_dropped": sum(part.rows < LEAST_ROWS for part in counts.parts),
            },
            "hours": {"kept": _hours(counts), "running": _run_hours(counts)},
            "signals": {signal: _signal(signal, counts) for signal in counts.readings},
            "traces": [_trace(line) for line in self.traces],
            "doubts": self.doubts,
        }


def _hours(counts: Counts) -> float:
    return sum(part.end_ms - part.start_ms for part in counts.parts) / HOUR_MS


def _run_hours(counts: Counts) -> float:
    return sum(part.run_ms for part in counts.parts) / HOUR_MS


def _trace(line: TraceLine) -> dict[str, Any]:
    part = line.part
    return {
        "id": line.id,
        "file": line.file,
        "start": line.start,
        "rows": part.rows,
        "hours": (part.end_ms - part.start_ms) / HOUR_MS,
        "run_hours": part.run_ms / HOUR_MS,
    }


def _signal(signal: str, counts: Counts) -> dict[str, Any]:
    seen = counts.readings[signal]
    pressure = signal in PRESSURES
    size = 1000.0 if pressure else 1.0
    unit = "kPa absolute" if pressure else WANTED[CHANNELS[signal]]
    found = {"unit": unit, "readings": seen.readings, "without": seen.missing, "out_of_range": seen.beyond}
    found |= {"least": seen.least / size, "most": seen.most / size} if seen.readings else {"least": None, "most": None}
    return found | ({"longest_without_change_s": seen.flat_ms / 1000} if pressure else {})


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
    table.add_row("kept", f"{counts.kept}", f"{_hours(counts):.3f} h, of them running {_run_hours(counts):.3f} h")
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
        found = _signal(signal, counts)
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
        made = _trace(line)
        hours = (f"{made['hours']:.3f}", f"{made['run_hours']:.3f}")
        table.add_row(line.id, f"{made['rows']}", *hours, line.start.removeprefix("starts "))
    if len(report.traces) > SHOWN_TRACES:
        table.add_row(f"... and {len(report.traces) - SHOWN_TRACES} more", "", "", "", "")
    return table


def _words(signal: str) -> str:
    return signal.replace("_", " ")
