"""The state diagram, drawn from the rows of the cause-and-effect table: an arrow a pair of states, named by its rows.

Each arrow takes the bow, and its name the place along it, that lie freest of what is drawn already.
"""

import functools
import math
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree import ElementTree as ET

import numpy as np
from numpy.typing import NDArray

from protect import state, table
from replay.drawing import svg
from replay.drawing.decimation import Floats
from replay.drawing.looks import INK, PURPLE, VERMILLION
from replay.drawing.table_view import RuleRow, rule_rows, state_words

WIDTH, HEIGHT = 780.0, 440.0
NODE = (58.0, 22.0)  # half width and half height of a state
ROUND = (state.STOPPED, state.PRIMING, state.LUBRICATED, state.STARVED, state.TRIPPED, state.LOCKED_OUT)
COLUMNS = 3
BOWS = (26.0, -26.0, 50.0, -50.0, 90.0, -90.0, 140.0, -140.0, 190.0, -190.0)
PLACES = (0.5, 0.42, 0.58, 0.34, 0.66, 0.27, 0.73)
ARROW = 9.0
CLOSE = 7.0  # two lines nearer than this are hard to tell apart
Point = tuple[float, float]
Box = tuple[float, float, float, float]  # x, y, width, height


@dataclass(frozen=True)
class Edge:
    """All rows that lead from one state to another."""

    begin: int
    end: int
    rows: tuple[RuleRow, ...]

    @property
    def numbers(self) -> str:
        """Return the numbers of the rows, which name the arrow."""
        return ", ".join(str(row.number) for row in self.rows)

    @property
    def colour(self) -> str:
        """Return what the rows do: stop the machine, end a lockout, or neither."""
        effects = {row.effect for row in self.rows}
        if effects & {table.STOP_ON_OIL, table.STOP_ON_RELOAD, table.STOP_ON_SENSOR}:
            return VERMILLION
        return PURPLE if table.FORGET_TRIPS in effects else INK


def edges() -> list[Edge]:
    """Return the arrows of the diagram; every row of the table that leads to another state is on one of them."""
    grouped: dict[tuple[int, int], list[RuleRow]] = {}
    for row in rule_rows():
        if row.state == row.next_state:
            continue
        grouped.setdefault((row.state, row.next_state), []).append(row)
    return [Edge(begin, end, tuple(rows)) for (begin, end), rows in grouped.items()]


def centre(number: int) -> Point:
    """Return where a state stands: around the drawing in the order in which a machine goes through them."""
    place = ROUND.index(number)
    column = place if place < COLUMNS else 2 * COLUMNS - 1 - place
    across = 90.0 + column * (WIDTH - 180.0) / (COLUMNS - 1)
    return across, HEIGHT * (0.3 if place < COLUMNS else 0.7)


@functools.cache
def diagram_svg() -> str:
    """Return the drawing."""
    root = svg.drawing(WIDTH, HEIGHT, words())
    drawn: list[tuple[Edge, Floats, Box]] = []
    for edge in sorted(
        edges(), key=lambda edge: (math.dist(centre(edge.begin), centre(edge.end)), edge.rows[0].number)
    ):
        choices = [(path, label, cost) for path, cost in _paths(edge, drawn) for label in _labels(edge, path)]
        path, label, _ = min(choices, key=lambda choice: choice[2] + _label_cost(choice[1], drawn))
        drawn.append((edge, path, label))
    for edge, path, _ in drawn:
        _arrow(root, path, edge.colour)
    for number in ROUND:
        _node(root, number)
    for edge, _, label in drawn:
        _label(root, edge, label)
    return svg.markup(root)


def words() -> str:
    """Return the diagram as text."""
    told = [f"{state_words(edge.begin)} to {state_words(edge.end)} by {edge.numbers}" for edge in edges()]
    return "State diagram; arrows named by the rows of the table below: " + "; ".join(told) + "."


def _paths(edge: Edge, drawn: list[tuple[Edge, Floats, Box]]) -> Iterator[tuple[Floats, float]]:
    """Yield each bow of an arrow as points[n, 2], with how much it would be in the way of what stands already."""
    begin, end = np.array(centre(edge.begin)), np.array(centre(edge.end))
    across = np.array([begin[1] - end[1], end[0] - begin[0]]) / np.hypot(*(end - begin))
    along = np.linspace(0, 1, 41)[:, np.newaxis]
    for bow in BOWS:
        middle = (begin + end) / 2 + 2 * bow * across
        path = (1 - along) ** 2 * begin + 2 * along * (1 - along) * middle + along**2 * end
        path = path[~_near(path, _node_box(edge.begin)) & ~_near(path, _node_box(edge.end))]
        cost = 0.3 * float(np.abs(np.diff(path, axis=0)).sum())
        for number in set(ROUND) - {edge.begin, edge.end}:
            cost += 500.0 * int(_near(path, _node_box(number), 10.0).sum())
        for _, other, label in drawn:
            cost += 60.0 * int(_near(path, label, 3.0).sum())
            distance = np.abs(path[:, np.newaxis] - other[np.newaxis]).max(axis=2)
            cost += 4.0 * int((distance.min(axis=1) < CLOSE).sum())
        out = np.maximum(np.abs(path - [WIDTH / 2, HEIGHT / 2]) - [WIDTH / 2 - 6, HEIGHT / 2 - 10], 0)
        yield path, cost + 1000.0 * float(out.sum())


def _labels(edge: Edge, path: Floats) -> Iterator[Box]:
    """Yield the places for the name of an arrow."""
    width = 7.0 + 6.2 * len(edge.numbers)
    for place in PLACES:
        x, y = path[round(place * (len(path) - 1))].tolist()
        yield x - width / 2, y - 8.0, width, 16.0


def _label_cost(label: Box, drawn: list[tuple[Edge, Floats, Box]]) -> float:
    """Return how much a name would be in the way of what stands already."""
    x, y, width, height = label
    middle = np.array([[x + width / 2, y + height / 2]])
    cost = 5000.0 * sum(bool(_near(middle, _node_box(number), 14.0).any()) for number in ROUND)
    for _, path, (left, top, wide, high) in drawn:
        grown = (left - width / 2, top - height / 2, wide + width, high + height)
        cost += 5000.0 * bool(_near(middle, grown, 3.0).any()) + 60.0 * int(_near(path, label, 3.0).sum())
    return cost


def _node_box(number: int) -> Box:
    x, y = centre(number)
    return x - NODE[0], y - NODE[1], 2 * NODE[0], 2 * NODE[1]


def _near(points: Floats, box: Box, room: float = 0.0) -> NDArray[np.bool_]:
    """Tell which points lie in a box that is made larger on all sides."""
    x, y, width, height = box
    across, down = np.abs(points - [x + width / 2, y + height / 2]).T
    inside: NDArray[np.bool_] = (across < width / 2 + room) & (down < height / 2 + room)
    return inside


def _arrow(root: ET.Element, path: Floats, colour: str) -> None:
    """Draw the line and its head."""
    coordinates = "L".join(f"{x:.1f} {y:.1f}" for x, y in path.tolist())
    svg.stroke(root, f"M{coordinates}", colour, 1.4)
    (x1, y1), (x2, y2) = path[-3].tolist(), path[-1].tolist()
    angle = math.atan2(y2 - y1, x2 - x1)
    sides = [(x2 - ARROW * math.cos(angle + turn), y2 - ARROW * math.sin(angle + turn)) for turn in (0.4, -0.4)]
    head = "L".join(f"{x:.1f} {y:.1f}" for x, y in [sides[0], (x2, y2), sides[1]])
    ET.SubElement(root, "path", {"d": f"M{head}z", "fill": colour})


def _node(root: ET.Element, number: int) -> None:
    left, top, width, height = _node_box(number)
    place = {"x": f"{left:.1f}", "y": f"{top:.1f}", "width": f"{width:g}", "height": f"{height:g}", "rx": "10"}
    edge = "3" if number >= state.TRIPPED else "1.4"
    ET.SubElement(root, "rect", {**place, "fill": "#ffffff", "stroke": INK, "stroke-width": edge})
    svg.text(root, left + width / 2, top + height / 2 + 4.5, state_words(number), "middle", 13)


def _label(root: ET.Element, edge: Edge, label: Box) -> None:
    """Write the numbers of the rows, each an element of its own that tells its words."""
    x, y, width, height = label
    svg.box(root, label, "#ffffff", edge.colour)
    look = {"text-anchor": "middle", "font-size": "10.5", "font-family": "system-ui,sans-serif", "fill": INK}
    written = ET.SubElement(root, "text", {"x": f"{x + width / 2:.1f}", "y": f"{y + height - 4.5:.1f}", **look})
    for at, row in enumerate(edge.rows):
        part = ET.SubElement(written, "tspan", {"data-row": str(row.number)})
        part.text = str(row.number)
        part.tail = ", " if at < len(edge.rows) - 1 else None
