"""What the logic did over one trace, and what became of machines that obeyed it."""

from typing import Any

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from replay.display.terminal import CAUTION, NOTHING
from replay.engine import CAUSES, STATES, Change, Replay
from replay.library import Entry, label_text
from replay.score import Verdict
from replay.settings import Settings
from replay.trace import Trace


def explain_view(
    trace: Trace, replay: Replay, settings: Settings, entry: Entry | None, verdict: Verdict | None
) -> RenderableType:
    """Return the report of `explain`: the label, the timeline, what came of it."""
    parts: list[RenderableType] = [Text(f"{trace.name}: {len(trace)} rows; settings {settings.file}")]
    if entry is not None:
        parts.append(Text(f"label: {label_text(entry)}; family {entry.family}"))
    parts.append(timeline_view(trace, replay))
    outcome = f"; outcome {verdict.outcome.replace('_', ' ')}" if verdict else ""
    parts.append(Text(f"{len(replay.stops)} stop(s), {replay.run_ms / 3.6e6:.3f} run hours{outcome}"))
    if replay.late:
        parts.append(Text(f"{replay.late} late tick(s): rows more than max_gap after the row before are not trusted"))
    parts.append(Text(CAUTION))
    return Group(*parts)


def timeline_view(trace: Trace, replay: Replay) -> RenderableType:
    """Return the decisions over a trace."""
    table = Table(box=box.HORIZONTALS, show_edge=False, padding=0, pad_edge=False)
    table.add_column("time s", justify="right", no_wrap=True)
    for column in ("from", "to", "cause"):
        table.add_column(column, no_wrap=True)
    for column in ("net oil\npress.\nkPa", "suction\nkPa\nabs", "inte-\ngral\n%"):
        table.add_column(column, justify="right", no_wrap=True)
    for change in replay.changes:
        table.add_row(*change_cells(trace, change))
    return table


def change_cells(trace: Trace, change: Change) -> list[str]:
    """Return one line of the timeline."""
    return [
        f"{trace.seconds(change.time_ms):.1f}",
        STATES[change.before].replace("_", " "),
        STATES[change.after].replace("_", " "),
        CAUSES[change.cause] or NOTHING,
        NOTHING if change.net_pa is None else f"{change.net_pa / 1000:.1f}",
        NOTHING if change.suction_pa is None else f"{change.suction_pa / 1000:.1f}",
        str(change.integral_percent),
    ]


def closed_loop_view(report: dict[str, Any]) -> RenderableType:
    """Return the report of `synth --closed-loop`: what became of the machines, by family."""
    table = Table(box=box.HORIZONTALS, show_edge=False, show_footer=True, padding=0, pad_edge=False)
    table.add_column("family", "all", min_width=12, overflow="fold")
    titles = ("runs", "lost\nwith-\nout", "lost\nwith", "in\ndoubt", "pre-\nvent-\ned", "stops", "re-\nstarts")
    columns = zip((*titles, "lock-\nouts", "least\nfilm"), _course_counts(report["totals"]), strict=True)
    for title, text in columns:
        table.add_column(title, text, justify="right", no_wrap=True, vertical="bottom")
    for name, part in report["families"].items():
        table.add_row(Text(name), *_course_counts(part))
    whole = report["totals"]
    lines = (
        f"{whole['machines']} machines under the protection, {whole['run_hours']:.2f} run hours",
        f"certain damage without it {whole['lost_unprotected']}, of these prevented {whole['damage_prevented']}",
        CAUTION,
    )
    return Group(table, Text(), Text("\n".join(lines)))


def _course_counts(part: dict[str, Any]) -> list[str]:
    keys = ("machines", "lost_unprotected", "lost_protected", "doubtful_protected", "damage_prevented")
    counts = [str(part[key]) for key in (*keys, "stops", "restarts", "lockouts")]
    return [*counts, f"{part['least_reserve']:.2f}"]
