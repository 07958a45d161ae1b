"""How much time the hits left before the damage deadline: one bar a range of margins, the missed traces apart."""

from xml.etree import ElementTree as ET

import numpy as np

from replay.drawing import svg
from replay.drawing.looks import BLUE, INK, PURPLE, VERMILLION
from replay.drawing.svg import Scale
from replay.ground.wording import seconds
from replay.score import Score

WIDTH, HEIGHT = 780.0, 250.0
LEFT, RIGHT, TOP, BOTTOM = 60.0, 700.0, 46.0, 208.0
BARS = 24


def words(score: Score) -> str:
    """Return what the picture shows, in words."""
    margins, wanted = score.margins_s, score.settings.acceptance.min_margin_s
    if not margins:
        return f"No margins: no hits; {score.totals.missed} missed."
    thin = sum(margin < wanted for margin in margins)
    likely = score.totals.worst_likely_margin_s
    return (
        f"Margins of {len(margins)} hits: least {seconds(min(margins))}, "
        f"median {seconds(score.totals.median_margin_s)}, greatest {seconds(max(margins))}; "
        f"{thin} under the wanted {wanted:g} s; {score.totals.missed} missed."
        + ("" if likely is None else f" To the likely figure of the deadline the least is {seconds(likely)}.")
    )


def margins_svg(score: Score) -> str:
    """Return the histogram, with what is wanted and what nine faults in ten leave."""
    root = svg.drawing(WIDTH, HEIGHT, words(score))
    margins, wanted, limit = score.margins_s, score.settings.acceptance.min_margin_s, score.margin_limit_s
    most = max([*margins, wanted, 1.0])
    edges = Scale(0, most * 1.02, LEFT, RIGHT).ticks(BARS)
    step = edges[1] - edges[0]
    edges = [*edges, edges[-1] + step]
    counts, _ = np.histogram(margins, edges)
    time = Scale(-2 * step if score.totals.missed else 0.0, edges[-1], LEFT, RIGHT)
    height = Scale(0, max(int(counts.max()), score.totals.missed, 1), BOTTOM, TOP)
    bars = list(zip(edges[:-1], counts.tolist(), strict=True))
    for left, count in bars:
        _bar(root, time, height, left, step, count, BLUE)
    if score.totals.missed:
        _bar(root, time, height, -2 * step, step, score.totals.missed, VERMILLION)
        svg.text(root, time.at(-1.5 * step), BOTTOM + 15, "missed", "middle")
    levels = [(wanted, f"wanted {wanted:g} s", INK, (7.0, 3.0))]
    if limit is not None:
        levels.append((limit, f"nine in ten leave {seconds(limit)}", PURPLE, (1.5, 2.0)))
    for row, (at, name, colour, dash) in enumerate(levels):
        svg.line(root, (time.at(at), 8 + 15 * row, time.at(at), BOTTOM), colour, 1.6, dash)
        svg.text(root, time.at(at) + 4, 16 + 15 * row, name)
    svg.line(root, (LEFT, BOTTOM, RIGHT, BOTTOM), INK)
    svg.below(root, time, BOTTOM, "margin s: damage deadline less first stop", [t for t in time.ticks(8) if t >= 0])
    svg.beside(root, height, LEFT, "traces", [tick for tick in height.ticks(5) if tick == int(tick)])
    return svg.markup(root)


def _bar(root: ET.Element, time: Scale, height: Scale, left: float, step: float, count: int, fill: str) -> None:
    if count:
        x, width, top = time.at(left) + 0.8, time.at(left + step) - time.at(left) - 1.6, height.at(count)
        svg.box(root, (x, top, width, BOTTOM - top), fill)
        svg.text(root, x + width / 2, top - 3, str(count), "middle", 9)
