"""Plots of a tuning run: the Pareto set among all candidates, and how far everything may move (tornado)."""

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from replay.drawing.looks import BLUE, GREEN, GREY, INK, VERMILLION
from replay.drawing.plot import save_figure, written
from replay.ground.shown import Units, shown_in
from replay.ground.wording import sure, words
from replay.tuning.disturb import ERRORS, SensorError
from replay.tuning.judge import Figures
from replay.tuning.levers import GAIN, LAG, OFFSET, PERIOD, SETTING, Lever, amount_text, setting_words
from replay.tuning.robustness import MISSED, NUISANCE, Bracket, Robustness
from replay.tuning.run import Moved
from replay.tuning.tolerance import Tolerances
from replay.tuning.tune import Tuning

PALE = "#d5d5d5"
ROOM = 1.06  # beyond the greatest, so that no mark is cut at the edge
FRONT = "Pareto set: no other is as good in missed-trip limit, nuisance limit and worst margin, and better in one"
WIDE = 20.0  # a range of limits from which their axis is logarithmic
EVENT_LOOKS = {MISSED: (VERMILLION, "", "first missed trip"), NUISANCE: (BLUE, "////", "first nuisance trip")}
# Across the two panels of the Pareto plot.
SIDES: tuple[tuple[str, Callable[[Figures], float]], ...] = (
    ("missed-trip probability, % ({})", lambda figures: 100 * figures.missed_limit),
    ("worst margin, s", lambda figures: figures.margin_s),
)
# Panels of the tornado plot: title, kinds of lever, size of the axis' unit in that of the lever, half width (None:
# reach).
PANELS: tuple[tuple[str, tuple[str, ...], float, float | None], ...] = (
    ("sensor gain, % of the absolute pressure", (GAIN,), 0.01, None),
    ("sensor lag, s", (LAG,), 1.0, None),
    ("sample period, s", (PERIOD,), 1000.0, None),
    ("settings, % of what they stand at", (SETTING,), 0.01, 100.0),
)


def pareto_png(tuning: Tuning) -> bytes:
    """Return the Pareto plot."""
    return written(draw_pareto(tuning), "png")


def tornado_png(moved: Moved, title: str) -> bytes:
    """Return the tornado plot."""
    return written(draw_tornado(moved, title), "png")


def save_tornado(path: Path, moved: Moved, title: str) -> None:
    """Draw a tornado plot into a file (.png, .svg or .pdf). Raises Refusal."""
    save_figure(path, draw_tornado(moved, title))


def draw_pareto(tuning: Tuning) -> Any:
    """Return nuisance limit against missed-trip limit and against worst margin.

    All candidates on the tuning part, the Pareto set, and where the same stand on the held-out part.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11, 5.5), layout="constrained")
    parts = figure.subplots(1, 2, sharey=True)
    limit = f"upper limit, {sure(tuning.space.base.acceptance.shown_confidence)}"
    for axes, (name, what) in zip(parts, SIDES, strict=True):
        axes.set_xlabel(name.format(limit))
        _all_candidates(axes, tuning, what)
        _front(axes, tuning, what)
        axes.grid(visible=True, linewidth=0.4, color=PALE)
        axes.set_axisbelow(True)
    parts[0].set_ylabel(f"nuisance trips per 1000 run hours ({limit})")
    limits = [line.tuning.nuisance_limit for line in tuning.lines if math.isfinite(line.tuning.nuisance_limit)]
    if limits and max(limits) > WIDE * min(limits):
        _log(parts[0])
    else:
        parts[0].set_ylim(0, ROOM * max(parts[0].get_ylim()))
    parts[0].set_xlim(0, ROOM * max(parts[0].get_xlim()))
    varied = ", ".join(words(axis.key) for axis in tuning.space.axes)
    heading = f"{len(tuning.lines) - 1} candidates; varied: {varied}\n{FRONT}"
    beyond = sum(_at(line.tuning, SIDES[0][1]) is None for line in tuning.lines[1:])
    heading += f"; {beyond} without a limit are not drawn" if beyond else ""
    figure.suptitle(heading, x=0.01, ha="left", fontsize=10)
    figure.legend(*parts[0].get_legend_handles_labels(), loc="outside lower left", ncols=5, fontsize=8, frameon=False)
    return figure


def _log(axes: Any) -> None:
    from matplotlib.ticker import LogLocator, NullFormatter

    axes.set_yscale("log")
    axes.yaxis.set_major_locator(LogLocator(subs=(1, 2, 5)))
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
    axes.yaxis.set_minor_formatter(NullFormatter())


def _at(figures: Figures | None, what: Callable[[Figures], float]) -> tuple[float, float] | None:
    """Return the place of figures in a panel; None where there is nothing to draw."""
    if figures is None or not math.isfinite(what(figures)) or not math.isfinite(figures.nuisance_limit):
        return None
    return what(figures), figures.nuisance_limit


def _all_candidates(axes: Any, tuning: Tuning, what: Callable[[Figures], float]) -> None:
    places = [place for line in tuning.lines[1:] if (place := _at(line.tuning, what)) is not None]
    if places:
        rows, counts = np.unique(np.array(places), axis=0, return_counts=True)
        sizes = np.minimum(14 * np.sqrt(counts), 150)
        axes.scatter(*rows.T, s=sizes, color=PALE, edgecolor=GREY, linewidth=0.4, label="candidates, tuning part")


def _front(axes: Any, tuning: Tuning, what: Callable[[Figures], float]) -> None:
    """Draw the Pareto set, where each of it stands on the held-out part, the chosen one and the base settings."""
    lines = [line for one in tuning.front if _at((line := tuning.lines[one.candidate]).tuning, what) is not None]
    for line in lines:
        here, there = _at(line.tuning, what), _at(line.held_out, what)
        if here is None or there is None:
            continue
        axes.plot(*zip(here, there, strict=True), color=BLUE, linewidth=0.8, linestyle=":", zorder=2)
        label = "the same, held-out part" if line is lines[0] else None
        axes.plot(*there, "s", color="white", markeredgecolor=BLUE, markersize=7, zorder=3, label=label)
    places = [_at(line.tuning, what) for line in lines]
    if places:
        axes.scatter(*np.array(places).T, color=GREEN, s=45, edgecolor=INK, zorder=4, label="Pareto set, tuning part")
    for line, mark, colour, size, text in (
        (tuning.base, "X", INK, 10, "base settings"),
        (tuning.chosen, "*", VERMILLION, 16, f"chosen, no. {tuning.chosen.number}"),
    ):
        place = _at(line.tuning, what)
        if place is not None:
            axes.plot(*place, mark, color=colour, markersize=size, markeredgecolor="white", zorder=5, label=text)


def draw_tornado(moved: Moved, title: str) -> Any:
    """Return bars from where things stand to where the first missed and the first nuisance trip come.

    A frame around the bars of a sensor is its stated tolerance: what ends within it happens to a sensor in order.
    """
    units = moved.robust.settings.units
    with shown_in(units):
        return _tornado(moved.robust, moved.drawn.tolerances, title, units)


def _tornado(robust: Robustness, tolerances: Tolerances, title: str, units: Units) -> Any:
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    offsets = (f"sensor offset, {units.difference}", (OFFSET,), units.size_pa, None)
    panels = [(*panel, _rows(robust, panel[1])) for panel in (offsets, *PANELS)]
    shown = [panel for panel in panels if panel[4]]
    rows = [len(panel[4]) for panel in shown]
    figure = Figure(figsize=(10, 1.6 + 0.38 * sum(rows) + 0.75 * len(rows)), layout="constrained")
    figure.suptitle(title, x=0.01, ha="left", fontsize=10)
    parts = figure.subplots(max(1, len(shown)), 1, height_ratios=[1 + count for count in rows] or None, squeeze=False)
    for axes, (name, kinds, size, width, names) in zip(parts[:, 0], shown, strict=False):
        numbers = [
            n for n in sorted(robust.tried) if robust.levers[n].kind in kinds and robust.levers[n].subject in names
        ]
        _panel(axes, robust, {n: names.index(robust.levers[n].subject) for n in numbers}, size, width)
        _stated(axes, names, kinds[0], tolerances, size)
        axes.set_yticks(range(len(names)), [setting_words(text) or PERIOD for text in names], fontsize=8)
        axes.set_title(name, loc="left", fontsize=9)
    looks: list[Any] = [
        Patch(facecolor=c, hatch=h, edgecolor="white", label=text) for c, h, text in EVENT_LOOKS.values()
    ]
    looks.append(Patch(facecolor=PALE, label="tried, none within"))
    looks.append(Patch(facecolor="none", edgecolor=INK, linestyle=":", label="stated tolerance of the sensor"))
    looks.append(Line2D([], [], color=INK, marker=">", linestyle="", label="bar cut: the text says how far"))
    if any(bracket.good_again for bracket in robust.found.values()):
        looks.append(Line2D([], [], linestyle="", label="~  a trace comes good again further on"))
    figure.legend(handles=looks, loc="outside lower left", ncols=3, fontsize=8, frameon=False)
    return figure


def _stated(axes: Any, names: list[str], kind: str, tolerances: Tolerances, size: float) -> None:
    """Draw a frame as wide as the stated tolerance of each sensor in a panel; a lag goes one way."""
    from matplotlib.patches import Rectangle

    if kind not in ERRORS:
        return
    for row, name in enumerate(names):
        most = getattr(tolerances.get(name, SensorError()), ERRORS[kind]) / size
        left = 0.0 if kind == LAG else -most
        frame = Rectangle((left, row - 0.46), most - left, 0.92, fill=False, edgecolor=INK, linestyle=":", zorder=4)
        if most:
            axes.add_patch(frame)


def _rows(robust: Robustness, kinds: tuple[str, ...]) -> list[str]:
    """Return the subjects of one panel, the most sensitive first; settings that lead to nothing are left out."""
    nearest: dict[str, float] = {}
    for number, lever in enumerate(robust.levers):
        if lever.kind not in kinds or number not in robust.tried:
            continue
        brackets = [robust.found[number, event] for event in EVENT_LOOKS if (number, event) in robust.found]
        ends = [bracket.bad / _scale(lever) for bracket in brackets]
        if ends or lever.kind != SETTING:
            nearest[lever.subject] = min([nearest.get(lever.subject, math.inf), *ends])
    return sorted(nearest, key=lambda name: (nearest[name], name))


def _scale(lever: Lever) -> float:
    """Return what an amount is measured by: a setting by what it stands at, a sensor by nothing."""
    return float(abs(lever.start) or lever.reach) if lever.kind == SETTING else 1.0


def _panel(axes: Any, robust: Robustness, rows: dict[int, int], size: float, width: float | None) -> None:
    """Draw the bars of one panel; rows: of each lever, by its number."""
    reach = width or max(robust.levers[number].reach / size for number in rows)
    one_way = all(robust.levers[number].sign > 0 for number in rows)
    for number, row in rows.items():
        for place, event in enumerate(EVENT_LOOKS):
            bracket = robust.found.get((number, event))
            _bar(axes, robust.levers[number], bracket, event, row + 0.2 * (2 * place - 1), size, reach)
    axes.axvline(0, color=INK, linewidth=1)
    axes.set_xlim(0 if one_way else -1.25 * reach, 1.25 * reach)
    axes.set_ylim(max(rows.values()) + 0.6, -0.6)
    axes.tick_params(axis="x", labelsize=8)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _bar(axes: Any, lever: Lever, bracket: Bracket | None, event: str, y: float, size: float, reach: float) -> None:
    colour, hatch, _ = EVENT_LOOKS[event]
    amount = lever.reach if bracket is None else bracket.bad
    whole = amount / _scale(lever) / size
    length = min(whole, reach)
    if bracket is None:
        axes.barh(y, lever.sign * length, height=0.36, color=PALE)
        return
    axes.barh(y, lever.sign * length, height=0.36, color=colour, hatch=hatch, edgecolor="white", linewidth=0)
    text = amount_text(lever, amount) + ("~" if bracket.good_again else "")
    cut = whole > reach
    if cut:
        axes.plot(lever.sign * 1.015 * reach, y, ">" if lever.sign > 0 else "<", color=INK, markersize=5, clip_on=False)
    place = {
        "xytext": ((9 if cut else 3) * lever.sign, 0),
        "textcoords": "offset points",
        "ha": "left" if lever.sign > 0 else "right",
    }
    axes.annotate(text, (lever.sign * length, y), **place, va="center", fontsize=7, color=INK)
