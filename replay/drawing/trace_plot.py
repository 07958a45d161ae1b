"""One trace as SVG: the four panels of `replay.drawing.plot`, with a tenth of the bytes."""

from collections.abc import Iterable, Sequence
from xml.etree import ElementTree as ET

from replay.drawing import svg
from replay.drawing.decimation import Floats
from replay.drawing.looks import (
    AREAS,
    BAND,
    BLUE,
    CURVE,
    FILL,
    HOLD,
    INK,
    LANES,
    LINES,
    SHADES,
    UNREAD,
    WINDOW,
    apart,
    time_axis,
)
from replay.drawing.picture import Level, Panel, Picture, named_marks
from replay.drawing.svg import Scale
from replay.drawing.wall_clock import clock_ticks
from replay.engine import STATES
from replay.ground.wording import counted, words

WIDTH, HEIGHT = 780.0, 526.0
LEFT, RIGHT = 118.0, 648.0
STRETCHES = int(RIGHT - LEFT)  # one for each dot at the size it is drawn
ROWS, ROW = 3, 13.0  # rows of names over the plot
NET, SUCTION, INTEGRAL, STATE = (46.0, 196.0), (206.0, 306.0), (316.0, 386.0), (396.0, 490.0)
LETTER = 0.56  # width of a letter by its height


def trace_svg(shown: Picture, words: str) -> str:
    """Return the drawing; `words` tell those who cannot see it what it shows."""
    root = svg.drawing(WIDTH, HEIGHT, words)
    unit, size = time_axis(shown.end_s - shown.begin_s)
    time = Scale(shown.begin_s, shown.end_s, LEFT, RIGHT)
    hours = Scale(shown.begin_s / size, shown.end_s / size, LEFT, RIGHT)
    below, above = map(_scale(shown.net, NET).at, shown.hold)
    for colour, spans in ((WINDOW, shown.windows), (BAND, shown.bands)):
        for begin, end in spans:
            left, right = (time.at(min(max(at, shown.begin_s), shown.end_s)) for at in (begin, end))
            if right > left:
                svg.box(root, (left, NET[0], right - left, STATE[1] - NET[0]), colour)
    svg.box(root, (LEFT, above, RIGHT - LEFT, below - above), HOLD)
    _marks(root, time, shown)
    draw_panel(root, time, shown.net, NET, CURVE)
    bars(root, time, shown.unread, NET[1] - 5, 5, UNREAD)
    draw_panel(root, time, shown.suction, SUCTION, BLUE)
    _fill(root, time.at(shown.integral.x), _scale(shown.integral, INTEGRAL).at(shown.integral.y))
    draw_panel(root, time, shown.integral, INTEGRAL, CURVE)
    _lanes(root, time, shown)
    _margins(root, time, shown)
    for top, bottom in (NET, SUCTION, INTEGRAL, STATE):
        svg.box(root, (LEFT, top, RIGHT - LEFT, bottom - top), "none", INK)
    if shown.clock.utc_s is None:
        svg.below(root, hours, STATE[1], f"time {unit}", hours.ticks(8))
    else:
        name, ticks = clock_ticks(shown.begin_s, shown.end_s, shown.clock)
        svg.named_below(root, time, STATE[1], f"{name}; marks in {unit} of the trace's own time", ticks)
    return svg.markup(root)


def _scale(panel: Panel, place: tuple[float, float]) -> Scale:
    return Scale(panel.low, panel.high, place[1], place[0])


def draw_panel(root: ET.Element, time: Scale, panel: Panel, place: tuple[float, float], colour: str) -> None:
    """Draw a curve with its levels and axes; the second axis stands left of the first."""
    scale = _scale(panel, place)
    _levels(root, scale, panel.levels)
    svg.curve(root, time.at(panel.x), scale.all_at(panel.y), colour)
    svg.beside(root, scale, LEFT, panel.name, scale.ticks(4))
    if panel.second:
        name, factor, offset = panel.second
        other = Scale(panel.low * factor + offset, panel.high * factor + offset, scale.begin, scale.end)
        svg.line(root, (LEFT - 58, scale.begin, LEFT - 58, scale.end), INK)
        svg.beside(root, other, LEFT - 58, name, other.ticks(5), 34)


def _levels(root: ET.Element, scale: Scale, levels: Sequence[Level]) -> None:
    """Draw levels and name them at the right, apart from each other; an arrow tells of one beyond the panel."""
    top, bottom = sorted((scale.begin, scale.end))
    edges = [min(max(scale.at(level.value), top), bottom) for level in levels]
    places = apart(edges, 1.2 * svg.LETTERS, top, bottom)
    for level, edge, place in zip(levels, edges, places, strict=True):
        colour, width, dash = LINES[level.kind]
        beyond = level.value > scale.high or level.value < scale.low
        if not beyond:
            if level.kind not in AREAS:
                svg.line(root, (LEFT, edge, RIGHT, edge), colour, width, dash)
            svg.line(root, (RIGHT, edge, RIGHT + 12, place), colour, width, dash)
        arrow = (" \N{UPWARDS ARROW}" if level.value > scale.high else " \N{DOWNWARDS ARROW}") if beyond else ""
        svg.text(root, RIGHT + 15, place + 3.5, level.text + arrow)


def _fill(root: ET.Element, x: Floats, y: Floats) -> None:
    """Fill what lies under the integral."""
    for piece in svg.path_of(x, y).split("M")[1:]:
        begin, base = piece.split("l")[0].replace("-", " -").split()[0], round(INTEGRAL[1] * svg.FINE)
        path = {"d": f"M{piece}V{base}H{begin}z", "fill": FILL, "transform": f"scale({1 / svg.FINE:g})"}
        ET.SubElement(root, "path", path)


def bars(
    root: ET.Element, time: Scale, spells: Iterable[tuple[float, float]], top: float, height: float, fill: str
) -> None:
    """Draw stretches of time as bars of one height; none is too short to be seen."""
    parts = [(time.at(begin), max(time.at(end) - time.at(begin), 1.0)) for begin, end in spells]
    path = "".join(f"M{left:.1f} {top:.1f}h{width:.1f}v{height:.1f}h{-width:.1f}z" for left, width in parts)
    if path:
        ET.SubElement(root, "path", {"d": path, "fill": fill})


def _margins(root: ET.Element, time: Scale, shown: Picture) -> None:
    """Draw a line with ends over each margin."""
    middle = (INTEGRAL[0] + INTEGRAL[1]) / 2
    for begin, end in shown.margins:
        left, right = time.at(begin), time.at(min(end, shown.end_s))
        svg.line(root, (left, middle, right, middle), INK, 1.2)
        for edge in (left, right):
            svg.line(root, (edge, middle - 4, edge, middle + 4), INK, 1.2)


def _lanes(root: ET.Element, time: Scale, shown: Picture) -> None:
    height = (STATE[1] - STATE[0]) / (len(LANES) + 1)
    for number, name in enumerate(LANES):
        top = STATE[0] + number * height
        svg.text(root, LEFT - 6, top + height - 4, words(STATES[name]), "end")
        svg.line(root, (LEFT, top, RIGHT, top), "#c8c8c8", 0.6)
        bars(root, time, shown.spells[name], top + 2, height - 4, SHADES[name])
    top = STATE[1] - height
    svg.text(root, LEFT - 6, top + height - 4, "run feedback", "end")
    svg.line(root, (LEFT, top, RIGHT, top), "#c8c8c8", 0.6)
    bars(root, time, shown.running, top + 2, height - 4, INK)


def _marks(root: ET.Element, time: Scale, shown: Picture) -> None:
    """Draw the marks through all panels and name them above, in rows so that none covers another."""
    named = named_marks(shown, time.at, LETTER * svg.LETTERS, ROWS)
    for mark, name, row in named:
        colour, width, dash = LINES[mark.kind]
        left, top = time.at(mark.at_s), NET[0] - 2 if row is None else 2 + row * ROW
        svg.line(root, (left, top, left, STATE[1]), colour, width, dash)
        if row is not None:
            svg.text(root, left + 3, top + 10, name)
    unnamed = sum(row is None for _, _, row in named)
    if unnamed:
        svg.text(root, LEFT - 6, NET[0] - 8, f"+ {counted(unnamed, 'more mark')}", "end")  # no name reaches there
