"""The trade-off of plain laws on the same traces: faults missed against nuisance trips, the settings marked."""

from xml.etree import ElementTree as ET

from replay.drawing import svg
from replay.drawing.looks import BLUE, GREEN, INK, PURPLE, VERMILLION
from replay.drawing.svg import Dash, Scale
from replay.ground.wording import counted
from replay.score import Score

WIDTH, HEIGHT = 780.0, 300.0
LEFT, RIGHT, TOP, BOTTOM = 60.0, 560.0, 16.0, 258.0
ROOM = 1.06  # of the greatest, so that no point lies on the frame; and as much below nothing
LOOKS: tuple[tuple[str, Dash], ...] = ((BLUE, ()), (PURPLE, (7.0, 3.0)), (GREEN, (1.5, 2.0)))
DOT, CROSS = 2.5, 6.0
STEP = 18.0  # between the names at the right


def words(score: Score) -> str:
    """Return what the picture shows, in words."""
    whole = score.totals
    return (
        "The best that plain laws can do on these traces, each with every cut-out and delay of its grid; nearer to the "
        f"corner is better. These settings: {whole.missed} missed, {counted(whole.nuisance_trips, 'nuisance trip')}."
    )


def tradeoff_svg(score: Score) -> str:
    """Return the curve of each law, and these settings as a cross."""
    root = svg.drawing(WIDTH, HEIGHT, words(score))
    own = (score.totals.missed, score.totals.nuisance_trips)
    points = [own, *((p.missed, p.nuisance_trips) for each in score.comparators for p in each.curve)]
    most_missed, most_trips = (max(1, *counts) for counts in zip(*points, strict=True))
    across = Scale((1 - ROOM) * most_missed, ROOM * most_missed, LEFT, RIGHT)
    up = Scale((1 - ROOM) * most_trips, ROOM * most_trips, BOTTOM, TOP)
    for row, (each, (colour, dash)) in enumerate(zip(score.comparators, LOOKS, strict=True)):
        places = [(across.at(p.missed), up.at(p.nuisance_trips)) for p in each.curve]
        # Between two points of the grid there is nothing: a step, never a slope that promises more.
        path = f"M{places[0][0]:.1f} {places[0][1]:.1f}" + "".join(f"H{x:.1f}V{y:.1f}" for x, y in places[1:])
        svg.stroke(root, path, colour, 1.4, dash)
        for x, y in places:
            ET.SubElement(root, "circle", {"cx": f"{x:.1f}", "cy": f"{y:.1f}", "r": f"{DOT:g}", "fill": colour})
        svg.line(root, (RIGHT + 16, TOP + STEP * row + 8, RIGHT + 44, TOP + STEP * row + 8), colour, 1.4, dash)
        svg.text(root, RIGHT + 50, TOP + STEP * row + 12, each.law)
    row = len(score.comparators)
    _cross(root, across.at(own[0]), up.at(own[1]))
    _cross(root, RIGHT + 30, TOP + STEP * row + 8)
    svg.text(root, RIGHT + 50, TOP + STEP * row + 12, "these settings")
    svg.box(root, (LEFT, TOP, RIGHT - LEFT, BOTTOM - TOP), "none", INK)
    svg.below(root, across, BOTTOM, "faults missed", [tick for tick in across.ticks(8) if tick == int(tick)])
    svg.beside(root, up, LEFT, "nuisance trips", [tick for tick in up.ticks(6) if tick == int(tick)], 40)
    return svg.markup(root)


def _cross(root: ET.Element, x: float, y: float) -> None:
    svg.line(root, (x - CROSS, y - CROSS, x + CROSS, y + CROSS), VERMILLION, 2.4)
    svg.line(root, (x - CROSS, y + CROSS, x + CROSS, y - CROSS), VERMILLION, 2.4)
