"""Drawn cases of all families, and what each came to: label, stop of the demo settings, key figures.

`sensitivity` runs them with another behaviour, `halving` at another step.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from replay.engine import compiled
from replay.library.demo import demo_folder
from replay.physics.behaviour import USUAL, Behaviour
from replay.physics.drawing import Draw, Site, invented_site
from replay.physics.families import FAMILIES, case_of, trace_of
from replay.physics.model import STEP_S
from replay.physics.simulate import Result, simulate
from replay.settings import Settings, read_settings
from replay.trace import Trace
from tests.support.physics_scenarios import CUT_OUT_PA, PSI

SEED = 20261129
UNDECIDED = "undecided"


@dataclass(frozen=True)
class Outcome:
    """One case. windows: (earliest, deadline) of each window of the label in s; stop_s: first stop of the demo settings."""

    name: str
    label: str  # must_trip, ride_through or undecided
    windows: list[list[float]]
    stop_s: float | None
    verdict: str  # hit, missed, early, rode_through, nuisance or undecided
    lowest_psi: float
    below_9_s: float
    below_floor_s: float

    @property
    def deadline_s(self) -> float | None:
        """Deadline of the first window, None without one."""
        return self.windows[0][1] if self.windows else None


def drawn(count: int) -> list[tuple[str, int]]:
    """Return (family, number within it) of count cases, the families in turn."""
    names = list(FAMILIES)
    return [(names[i % len(names)], i // len(names)) for i in range(count)]


def outcome(
    family: str, index: int, seed: int, settings: Settings, step_s: float = STEP_S, behaviour: Behaviour = USUAL
) -> Outcome:
    """Simulate one case at a step (s), label it, and let the demo settings stop it."""

    def sites(draw: Draw, oils: Sequence[str]) -> Site:
        return replace(invented_site(draw, oils), behaviour=behaviour)

    case = replace(case_of(family, index, seed, sites=sites), step_s=step_s)
    result = simulate(case)
    made = trace_of(family, index, case, result)
    label = next(key for key in ("must_trip", "ride_through", UNDECIDED) if key in made.label)
    crankcase = made.suction_pa if made.crankcase_pa is None else made.crankcase_pa
    reset = np.zeros_like(made.running)
    trace = Trace(made.id, 0.0, made.time_ms, made.oil_pa, made.suction_pa, crankcase, made.running, reset)
    stops = compiled.replay_trace(trace, settings).stops
    stop_s = stops[0].time_ms / 1000.0 if stops else None
    windows = _windows(made.label.get("must_trip", []))
    return Outcome(made.id, label, windows, stop_s, _verdict(label, windows, stop_s), *_figures(result))


def _windows(given: Any) -> list[list[float]]:
    listed = given if isinstance(given, list) else [given]
    return [[window["earliest_s"], window["deadline_s"]] for window in listed]


def _verdict(label: str, windows: list[list[float]], stop_s: float | None) -> str:
    """Judge the first stop against the first window; what comes later hangs on it."""
    if label == UNDECIDED:
        return UNDECIDED
    if not windows:
        return "rode_through" if stop_s is None else "nuisance"
    if stop_s is None or stop_s > windows[0][1]:
        return "missed"
    return "early" if stop_s < windows[0][0] else "hit"


def _figures(result: Result) -> tuple[float, float, float]:
    """Return lowest psi, and seconds below 9 psi and below the floor, while it runs."""
    run = np.diff(result.time_ms, append=result.time_ms[-1]) / 1000.0 * (result.running > 0)
    net = result.net_oil_pa
    lowest = float(net[result.running > 0].min(initial=np.inf)) / PSI
    return lowest, float(run[net < CUT_OUT_PA].sum()), float(run[net < result.floor_pa].sum())


def outcomes(count: int, seed: int, step_s: float = STEP_S, behaviour: Behaviour = USUAL) -> list[Outcome]:
    """Return what the drawn cases came to."""
    settings = read_settings(demo_folder() / "settings.toml")
    return [outcome(family, index, seed, settings, step_s, behaviour) for family, index in drawn(count)]
