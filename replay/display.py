"""Tables for the terminal. Only text: what they show was worked out elsewhere."""

from typing import Any

from rich import box
from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from replay.engine import CAUSES, STATES, Change, Replay
from replay.library import Entry, MustTrip
from replay.score import Failure, Score, Totals, Verdict
from replay.settings import Settings
from replay.trace import Trace

NOTHING = "-"
LEAST_WIDTH = 72
CAUTION = "Not a certified safety device. Local codes and licensed practice come first."
RULES = {
    "max_missed": "missed trips",
    "max_nuisance_per_1000h": "nuisance trips per 1000 run hours",
    "min_margin": "s worst margin",
}


def console() -> Console:
    """Return a console on standard output that marks up no text of the user's.

    On a terminal too narrow for the tables lines wrap; columns are never left out.
    """
    width = max(LEAST_WIDTH, Console().width)
    return Console(width=width, highlight=False, markup=False, emoji=False)


def seconds(value: float | None) -> str:
    """Return seconds to a tenth, or a dash."""
    return NOTHING if value is None else f"{value:.1f}"


def score_view(score: Score) -> RenderableType:
    """Return the report of `score`: families, what went wrong, the verdict."""
    parts: list[RenderableType] = [_families(score)]
    wrong = [v for v in score.verdicts if v.outcome in ("missed", "early", "nuisance")]
    if wrong:
        parts += [Text(), _traces("missed, early and nuisance", wrong)]
    if score.undecided:
        parts += [Text(), _traces("undecided, judged neither way", score.undecided)]
    parts += [Text(), _verdict(score)]
    return Group(*parts)


def _families(score: Score) -> Table:
    table = Table(box=box.HORIZONTALS, show_edge=False, show_footer=True, padding=0, pad_edge=False)
    titles = ("must\ntrip", "hit", "missed", "early", "median\nmargin\ns", "worst\nmargin\ns")
    table.add_column("family", "all", min_width=12, overflow="fold")
    for title, text in zip((*titles, "ride-\nthr.\nrun h", "nui-\nsance"), _counts(score.totals), strict=True):
        table.add_column(title, text, justify="right", no_wrap=True, vertical="bottom")
    for name, part in score.families.items():
        table.add_row(Text(name), *_counts(part))
    return table


def _counts(part: Totals) -> list[str]:
    tripping = [str(part.must_trip), str(part.hit), str(part.missed), str(part.early)]
    if part.must_trip == 0:
        tripping = [NOTHING] * 4
    hours = f"{part.ride_through_run_hours:.2f}" if part.ride_through else NOTHING
    nuisance = str(part.nuisance_trips) if part.ride_through or part.early else NOTHING
    return [*tripping, seconds(part.median_margin_s), seconds(part.worst_margin_s), hours, nuisance]


def _traces(title: str, verdicts: list[Verdict] | tuple[Verdict, ...]) -> Table:
    table = Table(
        title=title,
        title_justify="left",
        title_style="",
        box=box.HORIZONTALS,
        show_edge=False,
        padding=(0, 1, 0, 0),
        pad_edge=False,
    )
    table.add_column("trace", min_width=10, overflow="fold")
    for column in ("outcome", "first stop s", "cause", "deadline s", "stops"):
        table.add_column(column, justify="left" if column in ("outcome", "cause") else "right")
    for verdict in verdicts:
        table.add_row(
            Text(verdict.id),
            verdict.outcome.replace("_", " "),
            seconds(verdict.first_trip_s),
            verdict.cause or NOTHING,
            seconds(verdict.deadline_s),
            str(verdict.trips),
        )
    return table


def _verdict(score: Score) -> Text:
    whole = score.totals
    rate = whole.nuisance_per_1000h
    lines = [
        f"{len(score.verdicts)} traces judged, {len(score.undecided)} undecided; settings {score.settings.file}",
        f"missed {whole.missed} of {whole.must_trip} must-trip traces",
        f"nuisance trips {whole.nuisance_trips} in {whole.ride_through_run_hours:.2f} run hours: {rate:.1f} per 1000 h",
        "Acceptance: " + ("met" if score.met else "NOT MET") + ", judged on these counts.",
    ]
    lines.extend(_failure(failure) for failure in score.failures)
    lines.append(CAUTION)
    return Text("\n".join(lines), style="")


def _failure(failure: Failure) -> str:
    got = "no hours to count them over" if failure.got is None else f"{failure.got:g}"
    side = "at least" if failure.rule.startswith("min") else "at most"
    return f"  {failure.rule}: {got} {RULES[failure.rule]}, wanted {side} {failure.limit:g}"


def explain_view(
    trace: Trace, replay: Replay, settings: Settings, entry: Entry | None, verdict: Verdict | None
) -> RenderableType:
    """Return the report of `explain`: the label, the timeline, what came of it."""
    parts: list[RenderableType] = [Text(f"{trace.name}: {len(trace)} rows; settings {settings.file}")]
    if entry is not None:
        parts.append(Text(f"label: {label_text(entry)}; family {entry.family}"))
    table = Table(box=box.HORIZONTALS, show_edge=False, padding=0, pad_edge=False)
    table.add_column("time s", justify="right", no_wrap=True)
    for column in ("from", "to", "cause"):
        table.add_column(column, no_wrap=True)
    for column in ("net oil\npress.\nkPa", "suction\nkPa\nabs", "inte-\ngral\n%"):
        table.add_column(column, justify="right", no_wrap=True)
    for change in replay.changes:
        table.add_row(*change_cells(trace, change))
    parts.append(table)
    outcome = f"; outcome {verdict.outcome.replace('_', ' ')}" if verdict else ""
    parts.append(Text(f"{len(replay.stops)} stop(s), {replay.run_ms / 3.6e6:.3f} run hours{outcome}"))
    if replay.late:
        parts.append(Text(f"{replay.late} late tick(s): rows more than max_gap after the row before are not trusted"))
    parts.append(Text(CAUTION))
    return Group(*parts)


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


def label_text(entry: Entry) -> str:
    """Return a label in words."""
    if isinstance(entry.label, MustTrip):
        return f"must trip from {entry.label.earliest_s:g} s to {entry.label.deadline_s:g} s"
    return entry.label.replace("_", " ")
