"""The page of a triage: the fleet, the machine to open first on top, then each machine with its events and trends."""

import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from markupsafe import Markup

from replay.display import triage as telling
from replay.display.settings import settings_table
from replay.display.table import Table
from replay.display.terminal import CAUTION
from replay.drawing.around import Around, read_around
from replay.drawing.event_plot import event_svg
from replay.drawing.trend_plot import LEAST, spark_svg, trend_svg
from replay.ground.files import check_writable, write_text
from replay.ground.shown import shown_in
from replay.ground.wording import NOTHING, counted, duration, net_oil, seconds, tenths
from replay.report.templates import page
from replay.triage import kernel
from replay.triage.doubts import CANNOT_TELL, CHECK, SHARE, judged_told, net_trend, starts_per_h, zero_trend
from replay.triage.exposure import MS_PER_H, rates
from replay.triage.findings import Findings
from replay.triage.periods import FIGURES, Compared, worse
from replay.triage.ranking import ADVICE, RULE, notes, rank, reasons
from replay.triage.report import Triage

MOST_FILES = 40  # of a machine that are named
MOST_NAMES = 8  # of machines in the first sentence
MOST_REASONS = 2  # in the table of the fleet
QUIET = 5  # the first advice that asks for nothing
LEAST_WEEKS = 2
TEMPLATE = "fleet.html.j2"


def write_fleet(path: Path | str, report: Triage, events: int = 3) -> None:
    """Write a triage as one HTML file that needs no network, whole or not at all.

    events: how many of each machine are drawn, the gravest first; their files are read once more. Raises Refusal.
    """
    path = Path(path)
    check_writable(path)
    write_text(path, page(fleet_contents(report, events), TEMPLATE))


def fleet_contents(report: Triage, events: int = 3) -> dict[str, Any]:
    """Return what stands on the page, by the names of its template. Raises Refusal."""
    with shown_in(report.settings.units):
        return _contents(report, events)


def _contents(report: Triage, events: int) -> dict[str, Any]:
    pairs = report.compared()
    return {
        "title": "Compressor logs: which machine to open first",
        "said": _said(report),
        "tone": _tone(report),
        "summary": _summary(report),
        "fleet": _fleet(report),
        "machines": [_machine(number, pair, report, events) for number, pair in enumerate(pairs, start=1)],
        "files": [_files(found) for found in report.machines],
        "before": _before(pairs, report) if report.before else None,
        "gone": _gone(report),
        "exposure": telling.exposure_table(report),
        "obeyed": telling.obeyed_told(report),
        "rule": f"Order of the machines: {RULE}.",
        "settings": settings_table(report.settings),
        "caution": CAUTION,
    }


def _said(report: Triage) -> str:
    names = [found.machine for found in report.machines if rank(found) < CHECK]
    doubted = [found.machine for found in report.machines if CHECK <= rank(found) <= CANNOT_TELL]
    many = len(report.machines)
    first = f"{len(names)} of {counted(many, 'machine')} to look at, in this order: {_names(names)}."
    rest = f"For {len(doubted)} more the logs cannot tell until something is checked: {_names(doubted)}."
    if not names:
        first = "None of the machines was found starved in these logs."
        rest = rest.replace(" more", "")
    return f"{first} {rest}" if doubted else first


def _names(names: Sequence[str]) -> str:
    more = len(names) - MOST_NAMES
    return ", ".join(names[:MOST_NAMES]) + (f" and {more} more" if more > 0 else "")


def _tone(report: Triage) -> str:
    first = min((rank(found) for found in report.machines), default=CANNOT_TELL)
    return "not-met" if first < CHECK else "not-enough-evidence" if first <= CANNOT_TELL else "met"


def _summary(report: Triage) -> list[tuple[str, str]]:
    found = report.machines
    logged = sum(some.days.total()[kernel.DAY_LOGGED] for some in found)
    told = [("logs", period(found))]
    if report.before is not None:
        told.append(("period before", period(report.before.machines)))
    hours = (
        f"{tenths(logged / MS_PER_H)} h logged, {tenths(sum(some.run_ms for some in found) / MS_PER_H)} h of running"
    )
    return [*told, ("hours", hours), ("settings", f"{report.settings.file}: {telling.levels_told(report.settings)}")]


def period(machines: Sequence[Findings]) -> str:
    """Return from when to when the logs of some machines tell."""
    pieces = [piece for found in machines for piece in found.pieces]
    ends = [(piece.placed.clock.at(0), piece.placed.clock.at(piece.end_ms)) for piece in pieces]
    dated = [(begin, end) for begin, end in ends if begin is not None and end is not None]
    told = f"{counted(len(machines), 'machine')}, {counted(len(pieces), 'file')}"
    if dated:
        told += f", {_minute(min(begin for begin, _ in dated))} to {_minute(max(end for _, end in dated))}"
    undated = len(pieces) - len(dated)
    return told + (f"; {counted(undated, 'file')} that does not say when it began" if undated else "")


def _minute(at: dt.datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M %Z}"


def _fleet(report: Triage) -> Table:
    rows = []
    for number, found in enumerate(report.machines, start=1):
        whole, often = found.days.total(), rates([found], report.confidence)[0]
        share = found.judged_share
        words = f"net oil pressure of {found.machine} by day"
        row = (
            Markup('<a href="#machine-{}">{}</a>').format(number, found.machine),
            ": ".join(filter(None, (ADVICE[rank(found)].upper(), "; ".join(reasons(found)[:MOST_REASONS])))),
            _lines(telling.hours_told(found), f"running {tenths(found.run_ms / MS_PER_H)}"),
            judged_told(share) + (" (!)" if share < SHARE else ""),
            _lines(str(often.events), duration(found.starved_ms) if found.starved_ms else ""),
            _oil(whole.net_pa),
            _oil(whole.rest_pa),
            tenths(starts_per_h(found)),
            Markup(spark_svg(found.days, report.settings, words)),  # noqa: S704 - text in it is escaped
        )
        rows.append(row)
    heads = (
        "machine",
        "what to do, and the first reasons",
        "hours logged of elapsed",
        "judged on",
        "starved spells",
        "net oil running",
        "net oil at rest",
        "starts an hour",
        "net oil by day, cut-out dashed",
    )
    return Table("Machines, the one to open first on top", heads, rows, texts=frozenset({1}))


def _lines(*lines: str) -> Markup:
    return Markup("<br>").join(filter(None, lines))


def _oil(pascals: float | None) -> Markup:
    return _lines(*net_oil(pascals).removesuffix(")").split(" ("))


def _machine(number: int, pair: Compared, report: Triage, most: int) -> dict[str, Any]:
    found = pair.now
    events = found.gravest.all()
    drawn = [_event(around, report) for around in read_around(found, events[:most], report.settings)]
    rest = len(events) + found.gravest.left_out - len(drawn)
    return {
        "id": f"machine-{number}",
        "name": found.machine,
        "advice": ADVICE[rank(found)],
        "reasons": reasons(found),
        "figures": telling.figures(found),
        "worse": worse(pair, report.confidence),
        "notes": notes(found),
        "trend": _trend(pair, report) if len(found.days.by_number) >= LEAST else None,
        "weeks": _weeks(found) if len(found.days.weeks()) >= LEAST_WEEKS else None,
        "events": drawn,
        "more": f"{counted(rest, 'more event')} of this machine not drawn: --csv FILE lists them." if rest > 0 else "",
        "asked": rank(found) < QUIET,
    }


def _event(around: Around, report: Triage) -> dict[str, Any]:
    head, *lines = telling.event_lines(around.event, report.settings.altitude_m)
    drawing = event_svg(around, report.settings, f"Plot of this event: {head}")
    return {"head": head, "lines": lines, "drawing": Markup(drawing)}  # noqa: S704 - text in it is escaped


def _trend(pair: Compared, report: Triage) -> dict[str, Any]:
    found = pair.now
    before = None if pair.before is None else pair.before.days.total()
    words = f"{found.machine} by day: net oil pressure running and at standstill, time to oil, starved and run time"
    drawing = trend_svg(found.days, net_trend(found), zero_trend(found), before, report.settings, words)
    lines = "; a line where a trend is sure" + ("; dashed: the mean of the period before" if before else "")
    return {"caption": words + lines + ".", "drawing": Markup(drawing)}  # noqa: S704 - our own drawing


def _weeks(found: Findings) -> Table:
    rows = [
        (
            found.days.told(first),
            tenths(day[kernel.DAY_RUN] / MS_PER_H),
            tenths(day[kernel.DAY_LOW] / 60_000),
            net_oil(day.net_pa),
            net_oil(day.rest_pa),
            NOTHING if day.build_ms is None else seconds(day.build_ms / 1000),
            str(day[kernel.DAY_STARTS]),
            str(day[kernel.DAY_NEVER]),
        )
        for first, day in found.days.weeks()
    ]
    heads = (
        "week from",
        "run h",
        "starved min",
        "net oil running",
        "at standstill",
        "time to oil",
        "starts",
        "without oil",
    )
    return Table(f"{found.machine} week by week", heads, rows)


def _files(found: Findings) -> Table:
    rows = []
    for piece in found.pieces[:MOST_FILES]:
        placed = piece.placed
        ends = (placed.clock.at(0), placed.clock.at(piece.end_ms))
        begin, end = (NOTHING if at is None else f"{at:%Y-%m-%d %H:%M:%S %Z}" for at in ends)
        name = placed.part.path.name
        rows.append((name, placed.part.source or NOTHING, begin, end, str(piece.rows), str(piece.doubled)))
    more = len(found.pieces) - MOST_FILES
    caption = f"Files of {found.machine}" + (f", and {more} more: --json FILE lists them" if more > 0 else "")
    heads = ("file", "logger's file", "first row", "last row", "rows", "counted already")
    return Table(caption, heads, rows, texts=frozenset({1, 2, 3}))


def _before(pairs: Sequence[Compared], report: Triage) -> Table:
    rows = []
    for pair in pairs:
        told = "; ".join(worse(pair, report.confidence)) or ("no worse" if pair.before else "not logged before")
        cells = [_now_and_before(pair, figure) for figure in FIGURES.values()]
        rows.append((pair.machine, told, *cells))
    caption = "Each machine compared with itself: this period above, the one before below"
    return Table(caption, ("machine", "what got worse", *FIGURES), rows, texts=frozenset({1}))


def _now_and_before(pair: Compared, figure: Callable[[Findings], str]) -> Markup:
    was = "" if pair.before is None else f"was {figure(pair.before)}"
    return _lines(figure(pair.now), was)


def _gone(report: Triage) -> str:
    still = {found.machine for found in report.machines}
    names = [found.machine for found in (report.before.machines if report.before else ()) if found.machine not in still]
    return f"Logged before and no longer: {', '.join(names)}." if names else ""
