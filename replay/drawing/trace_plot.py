"""One trace as SVG: the four panels of `replay.drawing.plot`, with a tenth of the bytes."""

from collections.abc import Iterable, Sequence
from xml.etree import ElementTree as ET

from replay.drawing import svg
from replay.drawing.looks import AREAS, BLUE, CURVE, FILL, HOLD, INK, LANES, LINES, SHADES, UNREAD, apart, time_axis
from replay.drawing.picture import Level, Panel, Picture, named_marks
from replay.drawing.svg import Scale
from replay.engine import STATES
from replay.ground.units import PSI_PA
from replay.ground.wording import words

WIDTH, HEIGHT = 780.0, 520.0
LEFT, RIGHT = 118.0, 648.0
STRETCHES = int(RIGHT - LEFT)  # one for each dot at the size it is drawn
ROWS, ROW = 3, 13.0  # rows of names over the plot
NET, SUCTION, INTEGRAL, STATE = (46.0, 196.0), (206.0, 306.0), (316.0, 386.0), (396.0, 486.0)
LETTER = 0.56  # width of a letter by its height


def trace_svg(shown: Picture, words: str) -> str:
    """Return the drawing; `words` tell those who cannot see it what it shows."""
    return svg.markup(trace_drawing(shown, words))


def trace_drawing(shown: Picture, words: str) -> ET.Element:
    """Return the drawing as elements."""
    root = svg.drawing(WIDTH, HEIGHT, words)
    unit, size = time_axis(shown.end_s - shown.begin_s)
    time = Scale(shown.begin_s, shown.end_s, LEFT, RIGHT)
    hours = Scale(shown.begin_s / size, shown.end_s / size, LEFT, RIGHT)
    net, suction = _scale(shown.net, NET), _scale(shown.suction, SUCTION)
    svg.box(root, (LEFT, net.at(shown.hold[1]), RIGHT - LEFT, net.at(shown.hold[0]) - net.at(shown.hold[1])), HOLD)
    _marks(root, time, shown)
    _net(root, time, net, shown)
    _suction(root, time, suction, shown)
    _integral(root, time, shown.integral)
    _lanes(root, time, shown)
    for top, bottom in (NET, SUCTION, INTEGRAL, STATE):
        svg.box(root, (LEFT, top, RIGHT - LEFT, bottom - top), "none", INK)
    svg.below(root, hours, STATE[1], f"time {unit}", hours.ticks(8))
    return root


def _scale(panel: Panel, place: tuple[float, float]) -> Scale:
    room = 0.06 * (panel.high - panel.low)
    return Scale(panel.low - room, panel.high + room, place[1], place[0])


def _second(root: ET.Element, scale: Scale, words: str, forth: tuple[float, float]) -> None:
    """Draw an axis in another unit, value = kPa * forth[0] + forth[1], left of the first."""
    other = Scale(scale.low * forth[0] + forth[1], scale.high * forth[0] + forth[1], scale.begin, scale.end)
    svg.line(root, (LEFT - 58, scale.begin, LEFT - 58, scale.end), INK)
    svg.beside(root, other, LEFT - 58, words, other.ticks(5), 34)


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


def _net(root: ET.Element, time: Scale, scale: Scale, shown: Picture) -> None:
    levels = [*shown.net.levels, Level("hold", sum(shown.hold) / 2, "hold band")]
    if shown.unread:
        levels.append(Level("unread", scale.low, "no valid reading"))
    _levels(root, scale, levels)
    svg.curve(root, time.at_array(shown.net.x), scale.all_at(shown.net.y), CURVE)
    _bars(root, time, shown.unread, NET[1] - 5, 5, UNREAD)
    svg.beside(root, scale, LEFT, "net oil pressure kPa", scale.ticks(5))
    _second(root, scale, "psi", (1000 / PSI_PA, 0.0))


def _suction(root: ET.Element, time: Scale, scale: Scale, shown: Picture) -> None:
    _levels(root, scale, shown.suction.levels)
    svg.curve(root, time.at_array(shown.suction.x), scale.all_at(shown.suction.y), BLUE)
    svg.beside(root, scale, LEFT, "suction kPa abs", scale.ticks(4))
    _second(root, scale, f"kPa gauge, {shown.altitude_m:g} m", (1.0, -shown.atmosphere_kpa))


def _integral(root: ET.Element, time: Scale, panel: Panel) -> None:
    scale = Scale(0, 108, INTEGRAL[1], INTEGRAL[0])
    x, y = time.at_array(panel.x), scale.at_array(panel.y)
    path = svg.path_of(x, y)
    for piece in path.split("M")[1:]:
        begin, base = piece.split("l")[0].replace("-", " -").split()[0], round(INTEGRAL[1] * svg.FINE)
        _fill(root, f"M{piece}V{base}H{begin}z")
    _levels(root, scale, panel.levels)
    svg.curve(root, x, y, CURVE)
    svg.beside(root, scale, LEFT, "integral %", (0, 50, 100))


def _fill(root: ET.Element, path: str) -> None:
    ET.SubElement(root, "path", {"d": path, "fill": FILL, "transform": f"scale({1 / svg.FINE:g})"})


def _bars(
    root: ET.Element, time: Scale, spells: Iterable[tuple[float, float]], top: float, height: float, fill: str
) -> None:
    """Draw stretches of time as bars of one height; none is too short to be seen."""
    parts = [(time.at(begin), max(time.at(end) - time.at(begin), 1.0)) for begin, end in spells]
    path = "".join(f"M{left:.1f} {top:.1f}h{width:.1f}v{height:.1f}h{-width:.1f}z" for left, width in parts)
    if path:
        ET.SubElement(root, "path", {"d": path, "fill": fill})


def _lanes(root: ET.Element, time: Scale, shown: Picture) -> None:
    height = (STATE[1] - STATE[0]) / len(LANES)
    for number, name in enumerate(LANES):
        top = STATE[0] + number * height
        svg.text(root, LEFT - 6, top + height - 4, words(STATES[name]), "end")
        svg.line(root, (LEFT, top, RIGHT, top), "#c8c8c8", 0.6)
        _bars(root, time, shown.spells[name], top + 2, height - 4, SHADES[name])


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
        svg.text(root, RIGHT + 15, NET[0] - 8, f"+ {unnamed} more marks")
