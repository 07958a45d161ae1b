"""The report of `triage` for the terminal: which machine to open first, and why; then its events."""

import datetime as dt
from pathlib import Path

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from protect import ranges
from replay.display.table import Table
from replay.display.terminal import CAUTION, view
from replay.ground.wording import NOTHING, kilopascals, rate, seconds, sure, tenths
from replay.triage.events import AT_START, DOUBT, STARVED, Event
from replay.triage.exposure import MS_PER_H, Rate
from replay.triage.ranking import ADVICE, RULE, duration, mostly_late, rank, reasons
from replay.triage.report import Triage, rates
from replay.triage.run import Findings

UNIX_TIME_S = (946684800.0, 4102444800.0)  # 2000 to 2100: seconds that are most likely since 1970
DAY_S = 86400.0
HOUR_S = 3600.0
QUIET = 4  # the first advice that asks for nothing


def triage_view(report: Triage, most_events: int = 3) -> RenderableType:
    """Return the report: machines, events of those to look at, how often, what the settings would have done."""
    shown = [(found, found.gravest.all()) for found in report.machines if most_events]
    events = [_events(found, some, most_events) for found, some in shown if some]
    return view(_machines(report), *events, _exposure(report), _closing(report))


def _machines(report: Triage) -> Table:
    rows = []
    for found in report.machines:
        place = rank(found)
        advice = ADVICE[place].upper() if place < QUIET else ADVICE[place]
        why = ": ".join(filter(None, (advice, "; ".join(reasons(found)))))
        often = rates([found], report.confidence)[0]
        hours = tenths(found.run_ms / MS_PER_H)
        shown = NOTHING if often.seen is None else f"{rate(often.seen)}\n{_limits(often)}"
        rows.append((found.machine, why, hours, str(often.events), shown))
    heads = ("machine", "what to do, and why", "run hours", "starved spells", "per 1000 h, limits")
    return Table("The machine to open first on top", heads, rows, texts=frozenset({1}))


def _limits(often: Rate) -> str:
    return NOTHING if often.interval is None else " to ".join(map(rate, often.interval))


def _events(found: Findings, events: tuple[Event, ...], most: int) -> RenderableType:
    stops = ", ".join(f"{count} on {cause}" for cause, count in sorted(found.stops.items())) or "no stop"
    obeyed = f"; these settings, obeyed: {stops}" + (f", {found.lockouts} lockout(s)" if found.lockouts else "")
    head = f"{found.machine}: {found.logs} log(s), {found.rows} rows, {found.starts} start(s)"
    parts: list[RenderableType] = [Text(head + obeyed, style="bold")]
    for event in events[:most]:
        first, *more = _event(event)
        parts += [Padding(Text(first), (0, 0, 0, 2)), *(Padding(Text(line), (0, 0, 0, 6)) for line in more)]
    rest = len(events) + found.gravest.left_out - most
    if rest > 0:
        parts.append(Text(f"  and {rest} more: --events N shows them, --csv FILE lists them"))
    return Group(*parts)


def _event(event: Event) -> list[str]:
    """Return an event in lines."""
    end = ", until the end of the log" if event.ends_with_log else ""
    start = moment(event.seconds(event.start_ms))
    head = f"{Path(event.file).name}, {start}: {event.kind} of {duration(event.length_ms)}{end}"
    if event.kind == DOUBT:
        return [head, f"{duration(event.doubt_ms)} in doubt: {', '.join(event.doubts)}"]
    return [head, *(_starved(event) if event.starved else _vacuum(event))]


def _vacuum(event: Event) -> list[str]:
    oil = f"net oil pressure down to {kilopascals(event.net_least_pa)}"
    short = f", {duration(event.low_ms)} short of oil" if event.low_ms else ", not short of oil"
    suction = f"suction down to {kilopascals(event.suction_least_pa)} abs"
    return [f"{suction}, {duration(event.vacuum_ms)} in vacuum", oil + short]


def _starved(event: Event) -> list[str]:
    lines = [f"net oil pressure down to {kilopascals(event.net_least_pa)}, integral {event.integral_percent} %"]
    vacuum = f"{duration(event.vacuum_ms)} in vacuum" if event.vacuum_ms else "not in vacuum"
    lines.append(f"suction down to {kilopascals(event.suction_least_pa)} abs, {vacuum}")
    if event.reload_at_ms is not None:
        again = f"LOADED AGAIN at {moment(event.seconds(event.reload_at_ms))} for {duration(event.reload_ms)}"
        suction = f"suction up to {kilopascals(event.reload_suction_pa)} abs"
        lines.append(f"{again} before the oil film was back, {suction}")
    if event.stop_at_ms is not None:
        after = duration(event.stop_at_ms - event.start_ms)
        lines.append(f"these settings stop it {after} into the spell; it ran on for {duration(event.ran_on_ms)}")
    return lines


def moment(at_s: float | None) -> str:
    """Return a time of a log as one reads it: a date where it can only be one, days where there are many seconds."""
    if at_s is None:
        return NOTHING
    if UNIX_TIME_S[0] <= at_s < UNIX_TIME_S[1]:
        return f"{dt.datetime.fromtimestamp(at_s, dt.UTC):%Y-%m-%d %H:%M:%S} UTC"
    if abs(at_s) < HOUR_S:
        return seconds(at_s)
    days, rest = divmod(at_s, DAY_S)
    clock = f"{int(rest) // 3600:02d}:{int(rest) // 60 % 60:02d}:{int(rest) % 60:02d}"
    return f"{seconds(at_s)} ({f'day {days:.0f}, ' if days else ''}{clock})"


def _exposure(report: Triage) -> Table:
    rows = [
        (often.what, str(often.events), f"{often.hours:.2f}", rate(often.seen), _limits(often))
        for often in rates(report.machines, report.confidence)
    ]
    heads = ("", "seen", "run hours", "per 1000 h", f"limits, {sure(report.confidence)}")
    return Table("How often, all machines together", heads, rows)


def _closing(report: Triage) -> str:
    found = report.machines
    starved = sum(some.events[STARVED] + some.events[AT_START] for some in found)
    stops = sum(sum(some.stops.values()) for some in found)
    hours = sum(some.run_ms for some in found) / MS_PER_H
    lockouts = sum(some.lockouts for some in found)
    values = report.settings.values
    levels = ("cut_out", ranges.CUT_OUT), ("floor", ranges.FLOOR), ("vacuum", ranges.VACUUM), ("reload", ranges.RELOAD)
    told = ", ".join(f"{name.replace('_', '-')} {kilopascals(values[place])}" for name, place in levels)
    late = sum(map(mostly_late, found))
    gap = duration(values[ranges.MAX_GAP])
    slow = (
        f"{late} machine(s) NOT JUDGED: their rows are further apart than max_gap = {gap} of these settings, so every"
        " reading counts as too old. Give a copy of the settings, with [sensors] max_gap above the step of the logs."
    )
    lines = [
        *([slow] if late else []),
        f"{len(found)} machine(s), {hours:.2f} run hours, {starved} starved spell(s)",
        f"Settings {report.settings.file}: {told}.",
        f"Obeyed, they would have stopped {stops} x and locked out {lockouts} x. Spells are those of the logs as they"
        " are, past the point where the settings would have stopped the machine.",
        f"Order: {RULE}.",
        CAUTION,
    ]
    return "\n".join(lines)
