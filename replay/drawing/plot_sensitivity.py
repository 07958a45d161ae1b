"""Which assumed values the labels of a machine hang on, as bars."""

from pathlib import Path
from typing import Any

from replay.drawing.looks import GREY, VERMILLION
from replay.drawing.plot import save_figure
from replay.fitting.sensitivity import Sensitivity

SHOWN = 20


def save_sensitivity(path: Path, found: Sensitivity) -> None:
    """Draw it into a file (.png, .svg or .pdf). Raises Refusal."""
    save_figure(path, draw_sensitivity(found))


def draw_sensitivity(found: Sensitivity) -> Any:
    """Return bars of the labels that change with each value, the worst on top."""
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator

    shown = found.effects[:SHOWN][::-1]
    names = [f"{one.moved.path} x {one.moved.factor:g}" for one in shown]
    figure = Figure(figsize=(9, 0.28 * len(shown) + 1.5), layout="constrained")
    axes = figure.subplots()
    flips, undecided = ([getattr(one, kind) for one in shown] for kind in ("flips", "undecided"))
    axes.barh(names, flips, color=VERMILLION, label="must trip to ride through, or back")
    axes.barh(names, undecided, left=flips, color=GREY, hatch="///", label="into or out of undecided")
    axes.set_xlabel(f"labels of {found.cases} cases that change, each assumed value moved by 30 %")
    axes.tick_params(axis="y", labelsize=8)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    most = max((one.changed for one in shown), default=0)
    axes.set_xlim(0.0, 1.05 * max(most, 1))
    if most == 0:
        axes.text(0.5, 0.5, "none of them changes a label", transform=axes.transAxes, ha="center", color=GREY)
    axes.legend(fontsize=8, frameon=False, loc="lower right")
    return figure
