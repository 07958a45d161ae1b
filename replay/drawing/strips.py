"""A trace as a small strip: net oil pressure, cut-out, first stop."""

from xml.etree import ElementTree as ET

import numpy as np

from protect import ranges
from replay.drawing import svg
from replay.drawing.decimation import polyline
from replay.drawing.looks import CURVE, LINES, VERMILLION
from replay.drawing.picture import net_kpa
from replay.drawing.svg import Scale
from replay.engine import Replay
from replay.settings import Settings
from replay.trace import Trace

WIDTH, HEIGHT = 150.0, 30.0
STRETCHES = 75
HEADROOM = 2.0  # times cut-in: what lies above is drawn at the edge


def strip(trace: Trace, settings: Settings, replay: Replay) -> ET.Element:
    """Return the drawing; whoever places it says in words what it shows."""
    values = settings.values
    gaps = np.flatnonzero(np.diff(trace.time_ms) > values[ranges.MAX_GAP]) + 1
    milliseconds = trace.time_ms.astype(np.float64)
    x, y = polyline(milliseconds, net_kpa(trace), gaps, STRETCHES)
    time = Scale(0.0, float(milliseconds[-1]), 1, WIDTH - 1)
    height = Scale(0.0, HEADROOM * values[ranges.CUT_IN] / 1000, HEIGHT - 3, 2)
    root = svg.drawing(WIDTH, HEIGHT, "")
    level = height.at(values[ranges.CUT_OUT] / 1000)
    svg.line(root, (0, level, WIDTH, level), LINES["cut-out"][0], 0.8, (4, 2))
    svg.curve(root, time.at(x), height.all_at(y), CURVE, 0.7)
    if replay.stops:
        at = time.at(float(replay.stops[0].time_ms))
        svg.line(root, (at, 0, at, HEIGHT), VERMILLION, 1.6)
    return root
