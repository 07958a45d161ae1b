"""A machine over its days as SVG: net oil pressure running and at rest, time to oil pressure, starved and run time."""

from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

import numpy as np

from protect import ranges
from replay.drawing import svg
from replay.drawing.looks import BLUE, CURVE, GREEN, INK, LINES, PURPLE, VERMILLION
from replay.drawing.svg import Scale, named_below
from replay.drawing.trace_plot import LEFT, RIGHT, WIDTH
from replay.settings import Settings
from replay.triage import kernel
from replay.triage.days import Day, Days
from replay.triage.doubts import LEAST_DAY_MS, LEAST_REST_MS, MS_PER_H
from replay.triage.trends import Trend

LEAST = 2  # days; one shows nothing
TOP, TALL, LOW, BETWEEN = 10.0, 96.0, 52.0, 12.0
ABOUT = 8
WIDE, HIGH = 150.0, 30.0  # of the drawing in a table
ROOM = 0.08


@dataclass(frozen=True)
class Row:
    """One panel: its name, (day, figure) of each, the line through them, levels (kind of line, value, words)."""

    name: str
    points: Sequence[tuple[int, float]]
    colour: str
    tall: bool = False
    bars: bool = False
    line: Trend | None = None
    size: float = 1.0  # of the unit, in which the line is not yet
    levels: tuple[tuple[str, float, str], ...] = ()


def trend_svg(
    days: Days, net: Trend | None, zero: Trend | None, before: Day | None, settings: Settings, words: str
) -> str:
    """Return the drawing of a log of some days; before: all of the period before, drawn as a level.

    words: they tell those who cannot see it what it shows.
    """
    rows = _rows(days, net, zero, before, settings)
    height = TOP + sum((TALL if row.tall else LOW) + BETWEEN for row in rows) + 34
    root = svg.drawing(WIDTH, height, words)
    numbers = [number for number, _ in days.in_order()]
    time = Scale(min(numbers) - 0.5, max(numbers) + 0.5, LEFT, RIGHT)
    top = TOP
    for row in rows:
        bottom = top + (TALL if row.tall else LOW)
        _panel(root, time, row, top, bottom)
        top = bottom + BETWEEN
    step = max(1, -(-(max(numbers) - min(numbers)) // ABOUT))
    ticks = [(float(number), _short(days, number)) for number in range(min(numbers), max(numbers) + 1, step)]
    named_below(root, time, top - BETWEEN, "day" if days.dated else "day of the log", ticks)
    return svg.markup(root)


def spark_svg(days: Days, settings: Settings, words: str) -> str:
    """Return net oil pressure of running by day as a drawing in one line of a table, cut-out dashed."""
    root = svg.drawing(WIDE, HIGH, words)
    running = [(at, day.net_pa) for at, day in days.in_order() if day.net_pa is not None]
    cut_out = settings.values[ranges.CUT_OUT]
    scale = Scale(0.0, 1.1 * max([cut_out, *(figure for _, figure in running)]), HIGH - 1, 1)
    colour, _, dash = LINES["cut-out"]
    svg.line(root, (0, scale.at(cut_out), WIDE, scale.at(cut_out)), colour, 1.0, dash)
    if running:
        first, last = running[0][0], running[-1][0]
        time = Scale(first - 0.5, last + 0.5, 0, WIDE)
        x, y = (np.array(values, float) for values in zip(*running, strict=True))
        svg.curve(root, time.at(x), scale.at(y), CURVE, 1.6)
    return svg.markup(root)


def _short(days: Days, number: int) -> str:
    return days.told(number)[5:] if days.dated else str(number + 1)


def _rows(days: Days, net: Trend | None, zero: Trend | None, before: Day | None, settings: Settings) -> list[Row]:
    cut_out, units = settings.values[ranges.CUT_OUT], settings.units
    levels = [("cut-out", cut_out / units.size_pa, f"cut-out {units.net(cut_out)}")]
    if before is not None and before.net_pa is not None:
        levels.append(("likely", before.net_pa / units.size_pa, f"before {units.net(before.net_pa)}"))
    every = days.in_order()
    running = [
        (at, day.net_pa / units.size_pa)
        for at, day in every
        if day.net_pa is not None and day[kernel.DAY_NET_MS] >= LEAST_DAY_MS
    ]
    rest = [
        (at, day.rest_pa / units.size_pa)
        for at, day in every
        if day.rest_pa is not None and day[kernel.DAY_REST_MS] >= LEAST_REST_MS
    ]
    build = [(at, day.build_ms / 1000) for at, day in every if day.build_ms is not None]
    rows = [
        Row(
            f"net oil {units.difference}", running, CURVE, tall=True, line=net, size=units.size_pa, levels=tuple(levels)
        ),
        Row(f"at rest {units.difference}", rest, BLUE, line=zero, size=units.size_pa),
        Row("to oil s", build, PURPLE),
        Row("starved min", [(at, day[kernel.DAY_LOW] / 60_000) for at, day in every], VERMILLION, bars=True),
        Row("run h", [(at, day[kernel.DAY_RUN] / MS_PER_H) for at, day in every], GREEN, bars=True),
    ]
    return [row for row in rows if row.points]


def _panel(root: ET.Element, time: Scale, row: Row, top: float, bottom: float) -> None:
    figures = [figure for _, figure in row.points]
    ends = [*figures, 0.0, *(value for _, value, _ in row.levels)]
    low, high = min(ends), max(*ends, min(ends) + 1.0)
    scale = Scale(low - ROOM * (high - low) * (low < 0), high + ROOM * (high - low), bottom, top)
    for kind, value, words in row.levels:
        colour, width, dash = LINES[kind]
        svg.line(root, (LEFT, scale.at(value), RIGHT, scale.at(value)), colour, width, dash)
        svg.text(root, RIGHT + 6, scale.at(value) + 3.5, words)
    if row.bars:
        wide = max(0.8 * (time.at(1.0) - time.at(0.0)), 1.0)
        for day, figure in row.points:
            svg.box(
                root, (time.at(float(day)) - wide / 2, scale.at(figure), wide, bottom - scale.at(figure)), row.colour
            )
    else:
        _dots(root, time, scale, row)
    if row.line is not None and row.line.sure:
        ends_at = [(float(day), value / row.size) for day, value in _ends(row.line)]
        (x1, y1), (x2, y2) = ((time.at(day), scale.at(value)) for day, value in ends_at)
        svg.line(root, (x1, y1, x2, y2), row.colour, 1.6)
    svg.beside(root, scale, LEFT, row.name, scale.ticks(4 if row.tall else 2), 40)
    svg.box(root, (LEFT, top, RIGHT - LEFT, bottom - top), "none", INK)


def _ends(line: Trend) -> tuple[tuple[int, float], tuple[int, float]]:
    return (line.first_day, line.first), (line.last_day, line.last)


def _dots(root: ET.Element, time: Scale, scale: Scale, row: Row) -> None:
    days, figures = (np.array(values, float) for values in zip(*row.points, strict=True))
    apart = np.insert(days, np.arange(1, len(days)), np.nan)
    svg.curve(root, time.at(apart), scale.at(np.insert(figures, np.arange(1, len(days)), np.nan)), row.colour, 4.0)
