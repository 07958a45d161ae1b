"""The report of `triage` for the terminal: which machine to open first, and why; then its events."""

from pathlib import Path

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from protect import ranges
from replay.display.table import Table
from replay.display.terminal import CAUTION, view
from replay.engine import doubt_words
from replay.ground.shown import shown_in
from replay.ground.wording import NOTHING, counted, duration, net_oil, rate, seconds, suction, sure, tenths
from replay.settings import Settings
from replay.triage import kernel
from replay.triage.doubts import starts_per_h
from replay.triage.events import AT_START, DOUBT, STARVED, Event
from replay.triage.exposure import MS_PER_H, Rate, rates
from replay.triage.findings import Findings
from replay.triage.obeyed import RESET_AFTER_MS
from replay.triage.ranking import ADVICE, RULE, mostly_late, notes, rank, reasons
from replay.triage.report import Triage

DAY_S = 86400.0
HOUR_S = 3600.0
QUIET = 5  # the first advice that asks for nothing


def triage_view(report: Triage, most_events: int = 3) -> RenderableType:
    """Return the report: machines, events of those to look at, how often, what the settings would have done."""
    shown = [(found, found.gravest.all()) for found in report.machines if most_events]
    with shown_in(report.settings.units):
        events = [_events(report, found, some, most_events) for found, some in shown if some or found.doubts]
        return view(*_not_judged(report), _machines(report), *events, exposure_table(report), _closing(report))


def _not_judged(report: Triage) -> list[str]:
    """Say before all else that the settings want rows closer to each other than the logs have them."""
    late = sum(map(mostly_late, report.machines))
    gap = duration(report.settings.values[ranges.MAX_GAP])
    told = (
        f"{counted(late, 'machine')} NOT JUDGED: rows are further apart than max_gap = {gap} of these"
        " settings: every reading counts as too old. Use a copy of the settings with [sensors] max_gap above the"
        " step of the logs, and stuck_after longer than their readings stand still."
    )
    return [told] if late else []


def _machines(report: Triage) -> Table:
    rows = []
    for found in report.machines:
        often = rates([found], report.confidence)[0]
        hours = f"{tenths(found.run_ms / MS_PER_H)}\nlogged\n{hours_told(found)}"
        shown = NOTHING if often.seen is None else f"{rate(often.seen)}\n{_limits(often)}"
        rows.append((found.machine, advice(found), hours, str(often.events), shown))
    heads = ("machine", "what to do, and why", "run hours", "starved spells", "per 1000 h, limits")
    return Table("Machines, the one to open first on top", heads, rows, texts=frozenset({1}))


def advice(found: Findings) -> str:
    """Return what to do with a machine, and why."""
    place = rank(found)
    told = ADVICE[place].upper() if place < QUIET else ADVICE[place]
    return ": ".join(filter(None, (told, "; ".join(reasons(found)))))


def _limits(often: Rate) -> str:
    return NOTHING if often.interval is None else " to ".join(map(rate, often.interval))


def _events(report: Triage, found: Findings, events: tuple[Event, ...], most: int) -> RenderableType:
    stops = ", ".join(f"{count} on {cause}" for cause, count in sorted(found.stops.items())) or "no stop"
    locked = f", {counted(found.lockouts, 'lockout')}" if found.lockouts else ""
    obeyed = f"; under these settings: {stops}{locked}"
    head = f"{found.machine}: {counted(found.logs, 'log')}, {found.rows} rows, {counted(found.starts, 'start')}"
    parts: list[RenderableType] = [Text(head + obeyed, style="bold")]
    parts += [Padding(Text(line), (0, 0, 0, 2)) for line in (*figures(found), *notes(found))]
    for event in events[:most]:
        first, *more = event_lines(event, report.settings.altitude_m)
        parts += [Padding(Text(first), (0, 0, 0, 2)), *(Padding(Text(line), (0, 0, 0, 6)) for line in more)]
    rest = len(events) + found.gravest.left_out - most
    if rest > 0:
        parts.append(Text(f"  and {rest} more: --events N shows them, --csv FILE lists them"))
    return Group(*parts)


def hours_told(found: Findings) -> str:
    """Return the hours of the logs, of those from the first to the last row."""
    return f"{tenths(found.days.total()[kernel.DAY_LOGGED] / MS_PER_H)} of {tenths(found.elapsed_ms / MS_PER_H)}"


def figures(found: Findings) -> list[str]:
    """Return what a healthy machine is known by: hours, net oil pressure running and at rest, its starts."""
    whole = found.days.total()
    lines = [f"logged {hours_told(found)} h"]
    if whole.net_pa is not None:
        lines[0] += f"; running net oil pressure {net_oil(whole.net_pa)}"
    if whole.rest_pa is not None:
        lines[0] += f", at standstill {net_oil(whole.rest_pa)}"
    often = starts_per_h(found)
    if found.starts and often is not None:
        told = f"{tenths(often)} starts an hour"
        if whole.build_ms is not None:
            slowest = seconds(whole[kernel.DAY_BUILD_MOST] / 1000)
            told += f"; oil pressure after {seconds(whole.build_ms / 1000)}, at most {slowest}"
        lines.append(f"{told}; {counted(whole[kernel.DAY_NEVER], 'start')} stopped before it came")
    return lines


def event_lines(event: Event, altitude_m: float) -> list[str]:
    """Return an event in lines, the first with its file and its moment."""
    end = ", until the log breaks off" if event.ends_with_log else ""
    source = f" (from {event.source})" if event.source not in ("", Path(event.file).name) else ""
    start = event_moment(event, event.start_ms)
    head = f"{Path(event.file).name}{source}, {start}: {event.kind} of {duration(event.length_ms)}{end}"
    if event.kind == DOUBT:
        return [head, f"{duration(event.doubt_ms)} in doubt: {doubt_words(event.doubts)}"]
    return [head, *(_starved(event, altitude_m) if event.starved else _vacuum(event, altitude_m))]


def _vacuum(event: Event, altitude_m: float) -> list[str]:
    oil = f"net oil pressure down to {net_oil(event.net_least_pa)}"
    short = f", {duration(event.low_ms)} short of oil" if event.low_ms else ", not short of oil"
    down = f"suction down to {suction(event.suction_least_pa, altitude_m)}"
    return [f"{down}, {duration(event.vacuum_ms)} in vacuum", oil + short]


def _starved(event: Event, altitude_m: float) -> list[str]:
    lines = [f"net oil pressure down to {net_oil(event.net_least_pa)}, integral {event.integral_percent} %"]
    vacuum = f"{duration(event.vacuum_ms)} in vacuum" if event.vacuum_ms else "not in vacuum"
    lines.append(f"suction down to {suction(event.suction_least_pa, altitude_m)}, {vacuum}")
    if event.reload_at_ms is not None:
        again = f"LOADED AGAIN at {event_moment(event, event.reload_at_ms)} for {duration(event.reload_ms)}"
        lines.append(
            f"{again} before the oil film was back, suction up to {suction(event.reload_suction_pa, altitude_m)}"
        )
    if event.stop_at_ms is not None:
        after = duration(event.stop_at_ms - event.start_ms)
        lines.append(
            f"these settings would have stopped it {after} into the spell; it ran on for {duration(event.ran_on_ms)}"
        )
    return lines


def event_moment(event: Event, time_ms: int) -> str:
    """Return a time of an event on the wall where that is known, else in the time of its file."""
    at = event.clock.at(time_ms)
    return moment(event.seconds(time_ms)) if at is None else f"{at:%Y-%m-%d %H:%M:%S %Z}"


def moment(at_s: float | None) -> str:
    """Return a time of a log that no calendar knows as one reads it, days where there are many seconds."""
    if at_s is None:
        return NOTHING
    if abs(at_s) < HOUR_S:
        return seconds(at_s)
    days, rest = divmod(at_s, DAY_S)
    clock = f"{int(rest) // 3600:02d}:{int(rest) // 60 % 60:02d}:{int(rest) % 60:02d}"
    return f"{seconds(at_s)} ({f'day {days:.0f}, ' if days else ''}{clock})"


def exposure_table(report: Triage) -> Table:
    """Return how often things happened, over all machines together."""
    rows = [
        (often.what, str(often.events), f"{often.hours:.2f}", rate(often.seen), _limits(often))
        for often in rates(report.machines, report.confidence)
    ]
    heads = ("", "seen", "hours judged", "per 1000 h", f"limits, {sure(report.confidence)}")
    return Table("How often, all machines together", heads, rows)


def _closing(report: Triage) -> str:
    found = report.machines
    starved = sum(some.events[STARVED] + some.events[AT_START] for some in found)
    hours = sum(some.run_ms for some in found) / MS_PER_H
    lines = [
        f"{counted(len(found), 'machine')}, {hours:.2f} run hours, {counted(starved, 'starved spell')}",
        f"Settings {report.settings.file}: {levels_told(report.settings)}.",
        obeyed_told(report),
        f"Order: {RULE}.",
        CAUTION,
    ]
    return "\n".join(lines)


def levels_told(settings: Settings) -> str:
    """Return the levels of some settings as the trade reads them."""
    cut_out, floor = (net_oil(settings.values[place]) for place in (ranges.CUT_OUT, ranges.FLOOR))
    vacuum, reload = (suction(settings.values[place], settings.altitude_m) for place in (ranges.VACUUM, ranges.RELOAD))
    return f"cut-out {cut_out}, floor {floor}, vacuum {vacuum}, reload {reload}"


def obeyed_told(report: Triage) -> str:
    """Return what the settings, obeyed, would have done, and what becomes of their lockouts here."""
    found = report.machines
    stops, lockouts = sum(sum(some.stops.values()) for some in found), sum(some.lockouts for some in found)
    ran = sum(some.run_ms for some in found) / MS_PER_H
    would = sum(some.obeyed_run_ms for some in found) / MS_PER_H
    locked = (
        " A lockout holds a machine until somebody resets it by hand, at a time that nobody knows. Each is taken to"
        f" be reset after {duration(RESET_AFTER_MS)} (assumed), so the stops that follow are counted too."
    )
    return (
        f"Under these settings there would have been {counted(stops, 'stop')}, {lockouts} of them with a lockout, and"
        f" {would:.1f} of the {ran:.1f} run hours.{locked if lockouts else ''} Starved spells are those of the logs as"
        " recorded, past the point where the settings would have stopped the machine."
    )
