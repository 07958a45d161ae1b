"""The report of `fit` for the terminal."""

import re
from collections.abc import Iterable
from pathlib import Path

from rich.console import Group, RenderableType

from replay.display.table import Table
from replay.display.terminal import CAUTION, terms, view
from replay.fitting import Fit
from replay.fitting.holdout import LEVELS, Figure, Prediction
from replay.ground.shown import asked, shown_in
from replay.ground.wording import NOTHING, counted, pressure, tenths, words

MOST_NAMED = 12
UNIT = re.compile("_(pa|s|c|j_kg)$")
START = re.compile(r"(run \d+) (oil_c|share)$")  # what is not known of a run at its start
STARTS = {"oil_c": "oil temperature at the start of {}", "share": "refrigerant in the oil at the start of {}"}
SENSOR = re.compile(r"sensors (\w+?)_(\w+)$")
LEFT_OUT = "{}, much less likely than the best"


def fit_view(fit: Fit, to: Path) -> RenderableType:
    """Return the report: runs as the ensemble makes them, what they tell and do not, what the model cannot make.

    In the units asked for, or else those of the settings.
    """
    with shown_in(fit.units):
        return _view(fit, to)


def _view(fit: Fit, to: Path) -> RenderableType:
    parts: list[RenderableType | Table] = [_runs("Fitted", fit.runs)]
    if fit.held_out:
        parts.append(_runs("Held out, and predicted from their suction alone", fit.held_out))
    wrong = [misfit.text for one in (*fit.runs, *fit.held_out) for misfit in one.misfits]
    said = (
        terms(("-", text) for text in wrong)
        if wrong
        else "Nothing in these runs lies far outside what the model can reproduce."
    )
    return view(
        f"{to}: {fit.machine.name} with {len(fit.members)} members, {fit.simulations} simulations",
        *parts,
        Group("What the model cannot reproduce:", said),
        terms(
            [
                ("settled", _named(fit.told)),
                ("not settled", f"{_named(fit.untold)}: their whole range is in the ensemble"),
                ("not fitted", "solubility, viscosity and dimensions: as stated, or drawn from their ranges"),
                ("bearings", fit.bearings.told),
                *([("left out", LEFT_OUT.format(counted(fit.dropped, "member")))] if fit.dropped else []),
            ]
        ),
        CAUTION,
    )


def _named(keys: Iterable[str]) -> str:
    names = [unknown_words(key) for key in keys]
    rest = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {rest} more" if rest > 0 else "") or "nothing"


def unknown_words(key: str) -> str:
    """Return an unknown of the fit in words."""
    if start := START.search(key):
        return STARTS[start[2]].format(start[1])
    if sensor := SENSOR.search(key):
        return f"{words(UNIT.sub('', sensor[2]))} of the {sensor[1]} sensor"
    return words(UNIT.sub("", key.rpartition(".")[2]))


def _runs(caption: str, runs: Iterable[Prediction]) -> Table:
    heads = (
        "run",
        f"error of net oil pressure {asked().difference}",
        "figure",
        "as read s",
        "members s",
        "9 in 10 of them s",
    )
    rows = []
    for one in runs:
        figures = [*(figure for figure in one.below_s), *([one.trip_s] if one.trip_s else [])]
        for place, figure in enumerate(figures):
            level = pressure(LEVELS[figure.name]) if figure.name in LEVELS else figure.name
            name = figure.name if figure is one.trip_s else f"below {level}"
            head = (one.run.id, asked().number(one.net_error_pa)) if place == 0 else ("", "")
            rows.append([*head, name, *_cells(figure)])
    return Table(caption, heads, rows, texts=frozenset({2}))


def _cells(figure: Figure) -> list[str]:
    low, high = (tenths(one) if one is not None else "never" for one in (figure.low, figure.high))
    ends = [("never" if one is None else tenths(one)) for one in (figure.read, figure.median)]
    return [*ends, f"{low} to {high}" if (low, high) != ("never", "never") else NOTHING]
