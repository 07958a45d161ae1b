"""The report of `triage` for the terminal: which machine to open first, and why; then its events."""

import datetime as dt
from pathlib import Path

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from protect import ranges
from replay.display.terminal import CAUTION, NOTHING, plain_table
from replay.triage.events import AT_START, DOUBT, STARVED, Event
from replay.triage.exposure import Rate
from replay.triage.ranking import ADVICE, RULE, duration, mostly_late, rank, reasons
from replay.triage.report import Triage, rates
from replay.triage.run import Findings

UNIX_TIME_S = (946684800.0, 4102444800.0)  # 2000 to 2100: seconds that are most likely since 1970
DAY_S = 86400.0
HOUR_S = 3600.0
QUIET = 4  # the first advice that asks for nothing


def triage_view(report: Triage, most_events: int) -> RenderableType:
    """Return the report: machines, events of those to look at, how often, what the settings would have done."""
    parts: list[RenderableType] = [_machines(report)]
    for found in report.machines:
        events = found.gravest.all()
        if events and most_events:
            parts += [Text(), *_events(found, events, most_events)]
    parts += [Text(), _exposure(report), Text(), _closing(report)]
    return Group(*parts)


def _machines(report: Triage) -> Table:
    table = plain_table(title="the machine to open first on top")
    table.add_column("machine", overflow="fold", min_width=8, max_width=24)
    table.add_column("what to do, and why", overflow="fold", ratio=1)
    for title in ("run\nhours", "starved\nspells", "per 1000 h,\nlimits"):
        table.add_column(title, justify="right", no_wrap=True, vertical="bottom")
    for found in report.machines:
        rate = rates([found], report.confidence)[0]
        table.add_row(Text(found.machine), _why(found), f"{found.run_ms / 3.6e6:.1f}", str(rate.events), _often(rate))
    return table


def _why(found: Findings) -> Text:
    place = rank(found)
    why = Text(ADVICE[place].upper() if place < QUIET else ADVICE[place], style="bold" if place < QUIET else "")
    told = reasons(found)
    return why.append(": " + "; ".join(told), style="not bold") if told else why


def _often(rate: Rate) -> str:
    if rate.seen is None or rate.interval is None:
        return NOTHING
    low, high = rate.interval
    return f"{_short(rate.seen)}\n{_short(low)} to {_short(high)}"


def _short(number: float) -> str:
    return f"{number:.0f}" if number >= 100 else f"{number:.3g}"  # noqa: PLR2004 - three digits


def _events(found: Findings, events: tuple[Event, ...], most: int) -> list[RenderableType]:
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
    return parts


def _event(event: Event) -> list[str]:
    """Return an event in lines."""
    end = ", until the end of the log" if event.ends_with_log else ""
    start = moment(event.seconds(event.start_ms))
    head = f"{Path(event.file).name}, {start}: {event.kind} of {duration(event.length_ms)}{end}"
    if event.kind == DOUBT:
        return [head, f"{duration(event.doubt_ms)} in doubt: {', '.join(event.doubts)}"]
    return [head, *(_starved(event) if event.starved else _vacuum(event))]


def _vacuum(event: Event) -> list[str]:
    oil = f"net oil pressure down to {_kpa(event.net_least_pa)}"
    short = f", {duration(event.low_ms)} short of oil" if event.low_ms else ", not short of oil"
    return [f"suction down to {_kpa(event.suction_least_pa)} abs, {duration(event.vacuum_ms)} in vacuum", oil + short]


def _starved(event: Event) -> list[str]:
    lines = [f"net oil pressure down to {_kpa(event.net_least_pa)}, integral {event.integral_percent} %"]
    vacuum = f"{duration(event.vacuum_ms)} in vacuum" if event.vacuum_ms else "not in vacuum"
    lines.append(f"suction down to {_kpa(event.suction_least_pa)} abs, {vacuum}")
    if event.reload_at_ms is not None:
        again = f"LOADED AGAIN at {moment(event.seconds(event.reload_at_ms))} for {duration(event.reload_ms)}"
        lines.append(f"{again} before the oil film was back, suction up to {_kpa(event.reload_suction_pa)} abs")
    if event.stop_at_ms is not None:
        after = duration(event.stop_at_ms - event.start_ms)
        lines.append(f"these settings stop it {after} into the spell; it ran on for {duration(event.ran_on_ms)}")
    return lines


def _kpa(pascals: int | None) -> str:
    return NOTHING if pascals is None else f"{pascals / 1000:.1f} kPa"


def moment(seconds: float | None) -> str:
    """Return a time of a log as one reads it: a date where it can only be one, days where there are many seconds."""
    if seconds is None:
        return NOTHING
    if UNIX_TIME_S[0] <= seconds < UNIX_TIME_S[1]:
        return f"{dt.datetime.fromtimestamp(seconds, dt.UTC):%Y-%m-%d %H:%M:%S} UTC"
    if abs(seconds) < HOUR_S:
        return f"{seconds:.1f} s"
    days, rest = divmod(seconds, DAY_S)
    clock = f"{int(rest) // 3600:02d}:{int(rest) // 60 % 60:02d}:{int(rest) % 60:02d}"
    return f"{seconds:.1f} s ({f'day {days:.0f}, ' if days else ''}{clock})"


def _exposure(report: Triage) -> Table:
    table = plain_table(title="how often, all machines together")
    table.add_column("", no_wrap=True)
    titles = ("seen", "run hours", "per 1000 h", f"limits,\n{100 * report.confidence:g} % sure")
    for title in titles:
        table.add_column(title, justify="right", no_wrap=True, vertical="bottom")
    for rate in rates(report.machines, report.confidence):
        seen = NOTHING if rate.seen is None else _short(rate.seen)
        limits = NOTHING if rate.interval is None else " to ".join(map(_short, rate.interval))
        table.add_row(rate.what, str(rate.events), f"{rate.hours:.2f}", seen, limits)
    return table


def _closing(report: Triage) -> Text:
    found = report.machines
    starved = sum(some.events[STARVED] + some.events[AT_START] for some in found)
    stops = sum(sum(some.stops.values()) for some in found)
    hours = sum(some.run_ms for some in found) / 3.6e6
    lockouts = sum(some.lockouts for some in found)
    values = report.settings.values
    levels = ("cut_out", ranges.CUT_OUT), ("floor", ranges.FLOOR), ("vacuum", ranges.VACUUM), ("reload", ranges.RELOAD)
    told = ", ".join(f"{name.replace('_', '-')} {_kpa(values[place])}" for name, place in levels)
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
    return Text("\n".join(lines))
