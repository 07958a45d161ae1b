"""An event of triage as SVG: net oil pressure, suction, the log's own running status, against the clock on the wall."""

from collections.abc import Sequence
from xml.etree import ElementTree as ET

import numpy as np

from protect import ranges
from replay.drawing import svg
from replay.drawing.around import Around
from replay.drawing.decimation import Floats
from replay.drawing.looks import BAND, BLUE, CURVE, GREEN, INK, LINES
from replay.drawing.picture import Level, Panel
from replay.drawing.svg import Scale, named_below
from replay.drawing.trace_plot import LEFT, RIGHT, WIDTH, bars, draw_panel
from replay.drawing.wall_clock import clock_ticks
from replay.ground.shown import other_units
from replay.ground.units import atmosphere_pa
from replay.settings import Settings

HEIGHT = 372.0
NET, SUCTION, RUNNING = (38.0, 178.0), (188.0, 278.0), (290.0, 312.0)
MORE = 24.0  # of width than a trace has: names of levels with "kPa gauge"
LEAST_PA = 10_000.0
ROOM = 0.06


def event_svg(around: Around, settings: Settings, words: str) -> str:
    """Return the drawing; `words` tell those who cannot see it what it shows."""
    event = around.event
    root = svg.drawing(WIDTH + MORE, HEIGHT, words)
    time = Scale(around.begin_s, around.end_s, LEFT, RIGHT)
    begin, end = (time.at(ms / 1000) for ms in (event.start_ms, event.end_ms))
    svg.box(root, (begin, NET[0], max(end - begin, 1.0), RUNNING[1] - NET[0]), BAND)
    draw_panel(root, time, _net(around, settings), NET, CURVE)
    draw_panel(root, time, _suction(around, settings), SUCTION, BLUE)
    bars(root, time, around.running, RUNNING[0] + 4, RUNNING[1] - RUNNING[0] - 8, GREEN)
    svg.text(root, LEFT - 6, RUNNING[1] - 7, "running", "end")
    svg.text(root, RIGHT + 15, RUNNING[1] - 7, "as the log says")
    _mark(root, time, event.start_ms, event.kind, "earliest", 0)
    _mark(root, time, event.stop_at_ms, "these settings stop it", "stop", 1)
    _mark(root, time, event.reload_at_ms, "loaded again", "deadline", 2)
    for top, bottom in (NET, SUCTION, RUNNING):
        svg.box(root, (LEFT, top, RIGHT - LEFT, bottom - top), "none", INK)
    name, ticks = clock_ticks(around.begin_s, around.end_s, event.clock)
    named_below(root, time, RUNNING[1], name, ticks)
    return svg.markup(root)


def _mark(root: ET.Element, time: Scale, at_ms: int | None, words: str, kind: str, row: int) -> None:
    """Draw a moment through all panels, its name above beside it, on the side where there is room."""
    if at_ms is None:
        return
    colour, width, dash = LINES[kind]
    place, top = time.at(at_ms / 1000), 2.0 + 12 * row
    svg.line(root, (place, top, place, RUNNING[1]), colour, width, dash)
    right = place < (LEFT + RIGHT) / 2
    svg.text(root, place + (3 if right else -3), top + 9, words, "start" if right else "end")


def _joined(parts: Sequence[tuple[Floats, Floats]]) -> tuple[Floats, Floats]:
    if not parts:
        return np.zeros(0), np.zeros(0)
    times, values = zip(*parts, strict=True)
    return np.concatenate(times), np.concatenate(values)


def _net(around: Around, settings: Settings) -> Panel:
    units, other = settings.units, other_units(settings.units)
    x, y = _joined(around.net)
    y = y * 1000 / units.size_pa
    levels = [
        Level(kind, settings.values[place] / units.size_pa, f"{kind} {units.net(settings.values[place])}")
        for kind, place in (("cut-in", ranges.CUT_IN), ("cut-out", ranges.CUT_OUT), ("floor", ranges.FLOOR))
    ]
    real = [*y[np.isfinite(y)], 0.0, LEAST_PA / units.size_pa, *(level.value for level in levels)]
    second = (other.difference, units.size_pa / other.size_pa, 0.0)
    return Panel(f"net oil {units.difference}", x, y, tuple(levels), *_ends(real), second)


def _suction(around: Around, settings: Settings) -> Panel:
    """Return suction as gauges show it, in both halves of the trade."""
    air, units, other = atmosphere_pa(settings.altitude_m), settings.units, other_units(settings.units)
    x, y = _joined(around.suction)
    y = (y * 1000 - air) / units.size_pa
    levels = [
        Level(kind, (pascals - air) / units.size_pa, f"{kind} {units.suction(pascals, settings.altitude_m)}")
        for kind, pascals in (("reload", settings.values[ranges.RELOAD]), ("vacuum", settings.values[ranges.VACUUM]))
    ]
    real = [*y[np.isfinite(y)], 0.0, LEAST_PA / units.size_pa, *(level.value for level in levels)]
    second = (other.gauge, units.size_pa / other.size_pa, 0.0)
    return Panel(f"suction {units.gauge}", x, y, tuple(levels), *_ends(real), second)


def _ends(values: Sequence[float]) -> tuple[float, float]:
    low, high = float(min(values)), float(max(values))
    return low - ROOM * (high - low), high + ROOM * (high - low)
