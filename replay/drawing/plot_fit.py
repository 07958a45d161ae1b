"""A fit as a picture: each run as it was read and as the members of the ensemble make it, and what is left between."""

from pathlib import Path
from typing import Any

import numpy as np

from replay.drawing.looks import BLUE, GREY, INK, VERMILLION
from replay.drawing.plot import save_figure
from replay.fitting import Fit
from replay.fitting.holdout import COVERED, Prediction
from replay.ground.shown import asked, shown_in

PALE = "#cfe0ee"
OUTSIDE = "read what no member makes"


def save_fit(path: Path, fit: Fit) -> None:
    """Draw a fit into a file (.png, .svg or .pdf). Raises Refusal."""
    with shown_in(fit.units):
        save_figure(path, draw_fit(fit))


def draw_fit(fit: Fit) -> Any:
    """Return net oil pressure and suction of every run, fitted and held out, and the residuals beneath."""
    from matplotlib.figure import Figure

    runs = [*fit.runs, *fit.held_out]
    figure = Figure(figsize=(11, 3.6 * len(runs)), layout="constrained")
    axes = figure.subplots(2 * len(runs), 1, squeeze=False, height_ratios=[3, 1] * len(runs))[:, 0]
    for number, one in enumerate(runs):
        kind = "fitted" if number < len(fit.runs) else "held out"
        _net(axes[2 * number], one, kind)
        _left(axes[2 * number + 1], one)
    axes[-1].set_xlabel("time, s")
    named = {label: its for each in axes for its, label in zip(*each.get_legend_handles_labels(), strict=True)}
    figure.legend(named.values(), named.keys(), loc="outside lower left", ncols=5, fontsize=8, frameon=False)
    return figure


def _net(axes: Any, one: Prediction, kind: str) -> None:
    units, size = asked(), asked().size_pa
    run, time_s, ends = one.run, _of_log_s(one), ((1.0 - COVERED) / 2.0, 0.5, (1.0 + COVERED) / 2.0)
    low, middle, high = (np.quantile(one.oil_pa, at, axis=0) - run.suction_pa for at in ends)
    axes.fill_between(time_s, low / size, high / size, color=PALE, label="9 in 10 members")
    axes.plot(time_s, run.net_pa / size, color=INK, linewidth=0.9, label="net oil pressure as read")
    axes.plot(time_s, middle / size, color=BLUE, linewidth=1.0, linestyle="--", label="members, median")
    axes.plot(
        time_s, run.suction_pa / size, color=GREY, linewidth=0.9, linestyle=":", label="suction as read, absolute"
    )
    for misfit in one.misfits:
        axes.axvspan(misfit.begin_s, misfit.end_s, color=VERMILLION, alpha=0.12, linewidth=0, label=OUTSIDE)
    axes.set_title(f"{run.id} ({kind})", loc="left", fontsize=9)
    axes.set_ylabel(units.difference)
    axes.set_xlim(time_s[0], time_s[-1])


def _left(axes: Any, one: Prediction) -> None:
    left = np.where(one.run.read, one.run.oil_pa - np.median(one.oil_pa, axis=0), np.nan)
    axes.plot(_of_log_s(one), left / asked().size_pa, color=INK, linewidth=0.7)
    axes.axhline(0.0, color=GREY, linewidth=0.6)
    axes.set_ylabel(f"read less\nmedian, {asked().difference}", fontsize=8)
    axes.set_xlim(*_of_log_s(one)[[0, -1]])


def _of_log_s(one: Prediction) -> Any:
    return one.run.trace.start_s + one.run.time_s
