"""The report of `fit` for the terminal."""

import re
from collections.abc import Iterable, Sequence
from pathlib import Path

from rich.console import Group, RenderableType

from replay.display.table import Table
from replay.display.terminal import CAUTION, terms, view
from replay.fitting import Fit
from replay.fitting.holdout import LEVELS, Figure, Prediction
from replay.ground.shown import asked, shown_in
from replay.ground.wording import NOTHING, counted, pressure, tenths, words

MOST_NAMED = 12
UNIT = re.compile("_(pa|pa_s|s|c|m3|j_kg)$")
SENSOR = {"offset": "zero of the {} sensor", "gain": "span of the {} sensor", "lag": "lag of the {} sensor"}
AT_START = {"oil": "oil temperature at the start of {}", "share": "refrigerant in the oil at the start of {}"}
WHOSE = "a machine within the ranges of this file could have made them; pressures alone cannot tell whether yours did"


def _steady(fit: Fit) -> str:
    """Say what the runs show in steady running, and what the file lets in, to be held against the machine's gauges."""
    units, altitude_m = asked(), fit.machine.altitude_m
    nets, suctions = zip(*(one.run.usual_pa for one in (*fit.runs, *fit.held_out)), strict=True)
    ends = fit.machine.ends()
    in_file = [site.behaviour.healthy_net_pa for site in ends], [site.suction_pa for site in ends]

    def told(net_pa: Sequence[float], suction_pa: Sequence[float]) -> str:
        net = " to ".join(dict.fromkeys(map(units.net, (min(net_pa), max(net_pa)))))
        least, most = (units.suction(pascals, altitude_m) for pascals in (min(suction_pa), max(suction_pa)))
        return f"net {net} over a suction of {' to '.join(dict.fromkeys((least, most)))}"

    lets_in = f"the file lets in {told(*in_file)}: what do its gauges show?"
    return f"They show {told(nets, suctions)} in steady running; {lets_in}"


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
    told = [
        ("settled", _named(fit.settled)),
        ("narrowed", _named(key for key in fit.told if key not in fit.settled)),
        ("not settled", f"{_named(fit.untold)}: their whole range is in the ensemble"),
        ("not fitted", "solubility, viscosity and dimensions: as stated, or drawn from their ranges"),
        ("bearings", fit.bearings.told),
        ("whose runs", f"{WHOSE}. {_steady(fit)}"),
    ]
    for run, (level, read_s, most_s) in fit.beyond.items():
        below = f"{tenths(read_s)} s below {_level(level)}, the fitted runs at most {tenths(most_s)} s"
        told.append(("not shown", f"{run} is {below}: how its oil pressure comes back after that is extrapolated"))
    if fit.dropped:
        told.append(("left out", f"{counted(fit.dropped, 'member')}, much less likely than the best"))
    return view(
        f"{to}: {fit.machine.name} with {len(fit.members)} members, {fit.simulations} simulations",
        *parts,
        Group("What the model cannot reproduce:", said),
        Group("What the runs tell about the machine (`lubetrip machine new` explains each name):", terms(told)),
        CAUTION,
    )


def _named(keys: Iterable[str]) -> str:
    names = [_name(key) for key in keys]
    rest = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {rest} more" if rest > 0 else "") or "nothing"


def _name(key: str) -> str:
    """Return an unknown in words: a key of the machine file, a sensor's error or a run's start."""
    part, _, name = key.rpartition(" ")
    name = UNIT.sub("", name.rpartition(".")[2])
    if part == "sensors":
        sensor, _, error = name.partition("_")
        return SENSOR[error].format(sensor)
    return AT_START[name].format(part) if part else words(name)


def _runs(caption: str, runs: Iterable[Prediction]) -> Table:
    heads = (
        "run",
        f"error of net oil pressure {asked().difference}",
        "figure",
        "as read s",
        "members s",
        "9 in 10 s",
    )
    rows = []
    for one in runs:
        figures = [*(figure for figure in one.below_s), *([one.trip_s] if one.trip_s else [])]
        for place, figure in enumerate(figures):
            name = figure.name if figure is one.trip_s else f"below {_level(figure.name)}"
            head = (one.run.id, asked().number(one.net_error_pa)) if place == 0 else ("", "")
            rows.append([*head, name, *_cells(figure)])
    return Table(caption, heads, rows, texts=frozenset({2}))


def _level(name: str) -> str:
    """Return a level of net oil pressure as it is shown: one of the settings has a name."""
    return pressure(LEVELS[name]) if name in LEVELS else name


def _cells(figure: Figure) -> list[str]:
    low, high = (tenths(one) if one is not None else "never" for one in (figure.low, figure.high))
    ends = [("never" if one is None else tenths(one)) for one in (figure.read, figure.median)]
    return [*ends, f"{low} to {high}" if (low, high) != ("never", "never") else NOTHING]
