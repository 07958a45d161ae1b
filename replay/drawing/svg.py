"""SVG with few bytes: curves as relative steps of a tenth of a unit, axes, text."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeVar
from xml.etree import ElementTree as ET

import numpy as np

from replay.drawing.decimation import Floats
from replay.drawing.looks import INK, PAPER

NAMESPACE = "http://www.w3.org/2000/svg"
FINE = 10  # steps of a path to one unit
LETTERS = 10.5  # height of the letters
UNSPEAKABLE = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
Dash = tuple[float, ...]
Values = TypeVar("Values", float, Floats)


def drawing(width: float, height: float, words: str) -> ET.Element:
    """Return an empty drawing on white paper; `words` tell those who cannot see it what it shows."""
    size = {"viewBox": f"0 0 {width:g} {height:g}", "width": f"{width:g}", "height": f"{height:g}"}
    root = ET.Element("svg", {"xmlns": NAMESPACE, **size, "role": "img", "aria-label": clean(words)})
    ET.SubElement(root, "rect", {"width": "100%", "height": "100%", "fill": PAPER})
    return root


def markup(root: ET.Element) -> str:
    """Return the drawing as text that may stand in a page."""
    return ET.tostring(root, encoding="unicode")


def clean(text: str) -> str:
    """Return text without what XML cannot hold."""
    return UNSPEAKABLE.sub("?", text)


def text(
    parent: ET.Element, x: float, y: float, words: str, anchor: str = "start", size: float = LETTERS, turned: float = 0
) -> None:
    """Write words with their baseline at y; `turned` is in degrees."""
    look = {"font-size": f"{size:g}", "fill": INK, "font-family": "system-ui,sans-serif"}
    if anchor != "start":
        look["text-anchor"] = anchor
    if turned:
        look["transform"] = f"rotate({turned:g} {x:.1f} {y:.1f})"
    ET.SubElement(parent, "text", {"x": f"{x:.1f}", "y": f"{y:.1f}", **look}).text = clean(words)


def line(
    parent: ET.Element, ends: tuple[float, float, float, float], colour: str, width: float = 1.0, dash: Dash = ()
) -> None:
    """Draw a straight line x1, y1, x2, y2."""
    x1, y1, x2, y2 = ends
    stroke(parent, f"M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}", colour, width, dash)


def stroke(parent: ET.Element, path: str, colour: str, width: float, dash: Dash = ()) -> ET.Element:
    """Draw along a path and return its element."""
    look = {"fill": "none", "stroke": colour, "stroke-width": f"{width:g}"}
    if dash:
        look["stroke-dasharray"] = " ".join(f"{part:g}" for part in dash)
    return ET.SubElement(parent, "path", {"d": path, **look})


def box(parent: ET.Element, place: tuple[float, float, float, float], fill: str, edge: str = "none") -> None:
    """Draw a rectangle x, y, width, height."""
    x, y, width, height = place
    shape = {"x": f"{x:.1f}", "y": f"{y:.1f}", "width": f"{width:.1f}", "height": f"{height:.1f}"}
    ET.SubElement(parent, "rect", {**shape, "fill": fill, "stroke": edge})


def curve(parent: ET.Element, x: Floats, y: Floats, colour: str, width: float = 1.0) -> None:
    """Draw a curve that breaks at each NaN; a point that stands alone shows as a dot."""
    path = path_of(x, y)
    if path:
        drawn = stroke(parent, path, colour, width * FINE)
        drawn.set("transform", f"scale({1 / FINE:g})")
        drawn.set("stroke-linecap", "round")
        drawn.set("stroke-linejoin", "round")


def path_of(x: Floats, y: Floats) -> str:
    """Return the curve in whole steps of 1 / FINE, relative to the point before; equal points stand once."""
    known = np.isfinite(x) & np.isfinite(y)
    parts = []
    for piece in np.split(np.arange(len(x)), np.flatnonzero(~known)):
        rows = piece[known[piece]]
        if len(rows):
            points = np.rint(np.column_stack((x[rows], y[rows])) * FINE).astype(np.int64)
            moved = np.diff(points, axis=0)
            moved = moved[np.any(moved != 0, axis=1)]
            steps = " ".join(f"{dx} {dy}" for dx, dy in moved.tolist()) or "0 0"
            parts.append(f"M{points[0, 0]} {points[0, 1]}l{steps}")
    return "".join(parts).replace(" -", "-")


@dataclass(frozen=True)
class Scale:
    """Values low .. high along begin .. end of the drawing."""

    low: float
    high: float
    begin: float
    end: float

    def at(self, value: Values) -> Values:
        """Return the place of a value, or of many."""
        return self.begin + (value - self.low) / (self.high - self.low) * (self.end - self.begin)

    def all_at(self, values: Floats) -> Floats:
        """Return the places of many values, those beyond the ends just beyond the ends."""
        room = 0.02 * (self.high - self.low)
        return self.at(np.clip(values, self.low - room, self.high + room))

    def ticks(self, about: int) -> list[float]:
        """Return round values within the scale."""
        from matplotlib.ticker import MaxNLocator

        found = MaxNLocator(about, steps=[1, 2, 2.5, 5, 10]).tick_values(self.low, self.high)
        room = 1e-9 * (self.high - self.low)
        return [float(tick) for tick in found if self.low - room <= tick <= self.high + room]


def below(parent: ET.Element, scale: Scale, y: float, words: str, ticks: Iterable[float]) -> None:
    """Draw the ticks and the name of a horizontal axis under y."""
    for tick in ticks:
        line(parent, (scale.at(tick), y, scale.at(tick), y + 4), INK)
        text(parent, scale.at(tick), y + 15, f"{tick:g}", "middle")
    text(parent, (scale.begin + scale.end) / 2, y + 29, words, "middle")


def named_below(parent: ET.Element, scale: Scale, y: float, name: str, ticks: Iterable[tuple[float, str]]) -> None:
    """Draw ticks with their words and the name of a horizontal axis under y."""
    for place, word in ticks:
        line(parent, (scale.at(place), y, scale.at(place), y + 4), INK)
        text(parent, scale.at(place), y + 15, word, "middle")
    text(parent, (scale.begin + scale.end) / 2, y + 31, name, "middle")


def beside(parent: ET.Element, scale: Scale, x: float, words: str, ticks: Iterable[float], offset: float = 32) -> None:
    """Draw the ticks and the name of a vertical axis left of x; `offset` is where the name stands."""
    for tick in ticks:
        line(parent, (x - 4, scale.at(tick), x, scale.at(tick)), INK)
        text(parent, x - 6, scale.at(tick) + 3.5, f"{tick:g}".replace("-", "\N{MINUS SIGN}"), "end")
    text(parent, x - offset, (scale.begin + scale.end) / 2, words, "middle", turned=-90)
