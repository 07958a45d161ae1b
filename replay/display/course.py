"""What the logic did over one trace, and what became of machines that obeyed it."""

from typing import Any

from rich.console import RenderableType

from replay.display.table import Table
from replay.display.terminal import CAUTION, view
from replay.engine import STATES, Replay, told_cause
from replay.ground.wording import NOTHING, counted, tenths, words
from replay.library import Entry, label_text
from replay.library.told_time import on_the_clock, windows_on_the_clock
from replay.score.explaining import Explanation
from replay.settings import Settings
from replay.synth.closed_loop import ClosedLoop
from replay.trace import AnyTrace

MOST_CHANGES = 2000  # decisions that are listed: nobody reads a year of them line by line
LEAST_LEFT_S = 60.0  # behind a lockout, from which it is said that nothing of it is judged
# Of the machines that obeyed: keys of the report and heads of the table.
COURSES = {
    "machines": "runs",
    "lost_unprotected": "lost without",
    "lost_protected": "lost with",
    "doubtful_protected": "in doubt",
    "damage_prevented": "prevented",
    "stops": "stops",
    "restarts": "restarts",
    "lockouts": "lockouts",
    "least_reserve": "least film",
}


def explain_view(told: Explanation) -> RenderableType:
    """Return the report of `explain`: the label, the timeline, what came of it."""
    trace, replay = told.trace, told.replay
    head = f"{trace.name}: {len(trace)} rows; settings {told.settings.file}"
    if told.entry is not None:
        began = on_the_clock(told.entry, 0)
        head += f"; began {began}" if began else ""
        windows = "".join(
            f"\n  by the clock: {window}" for window in windows_on_the_clock(told.entry, told.entry.label)
        )
        head += f"\nlabel: {label_text(told.entry)}; family {told.entry.family}{windows}"
    outcome = f"; outcome {words(told.verdict.outcome)}" if told.verdict else ""
    closing = [f"{counted(len(replay.stops), 'stop')}, {replay.run_ms / 3.6e6:.3f} run hours{outcome}"]
    if replay.late:
        closing += [f"{counted(replay.late, 'late tick')}: rows more than max_gap after the row before are not trusted"]
    if replay.locked_out:
        closing = [*_behind_the_lockout(told), *closing]
    if len(replay.changes) > MOST_CHANGES:
        closing = [f"{len(replay.changes) - MOST_CHANGES} further decisions: --json FILE holds all of them", *closing]
    return view(
        head, timeline_table(trace, replay, told.settings, MOST_CHANGES, told.entry), "\n".join([*closing, CAUTION])
    )


def _behind_the_lockout(told: Explanation) -> list[str]:
    """Say which part of a trace was not judged, since the machine is locked out."""
    since_ms = told.replay.changes[-1].time_ms
    since_s = told.trace.seconds(since_ms)
    left_h = (told.trace.end_s - since_s) / 3600
    clock = on_the_clock(told.entry, since_ms) if told.entry else ""
    if left_h * 3600 < LEAST_LEFT_S:
        return []
    at = f"{tenths(since_s)} s" + (f" ({clock})" if clock else "")
    return [f"Locked out from {at} on: the {left_h:.1f} h behind it are NOT judged here; lubetrip triage follows them"]


def timeline_table(
    trace: AnyTrace, replay: Replay, settings: Settings, most: int | None = None, entry: Entry | None = None
) -> Table:
    """Return the decisions over a trace, the first so many of them; by the machine's clock where the entry tells it."""
    units = settings.units
    dated = entry is not None and entry.start_utc is not None
    clock = ["by the clock"] if dated else []
    heads = ("time s", *clock, "from", "to", "cause", f"net oil pressure {units.difference}", "suction", "integral %")
    rows = [
        (
            tenths(trace.seconds(change.time_ms)),
            *([on_the_clock(entry, change.time_ms)] if entry is not None and dated else []),
            words(STATES[change.before]),
            words(STATES[change.after]),
            told_cause(change.cause) or NOTHING,
            "in doubt" if change.net_pa is None else units.number(change.net_pa),
            NOTHING if change.suction_pa is None else units.suction(change.suction_pa, settings.altitude_m),
            str(change.integral_percent),
        )
        for change in replay.changes[:most]
    ]
    texts, wide = ({1, 2, 3, 4}, {1}) if dated else ({1, 2, 3}, set[int]())
    return Table(f"Decisions over {trace.name}", heads, rows, texts=frozenset(texts), wide=frozenset(wide))


def closed_loop_view(obeyed: ClosedLoop) -> RenderableType:
    """Return the report of `synth --closed-loop`: what became of the machines, by family."""
    report = obeyed.as_json()
    rows = [(name, *_counts(part)) for name, part in report["families"].items()]
    whole = report["totals"]
    lines = (
        f"{whole['machines']} machines under the protection, {whole['run_hours']:.2f} run hours",
        f"certain damage without it: {whole['lost_unprotected']}, of which prevented: {whole['damage_prevented']}",
        CAUTION,
    )
    heads = ("family", *COURSES.values())
    return view(Table("Machines that obeyed", heads, rows, ("all", *_counts(whole))), "\n".join(lines))


def _counts(part: dict[str, Any]) -> list[str]:
    values = [part[key] for key in COURSES]
    return [f"{value:.2f}" if isinstance(value, float) else str(value) for value in values]
