"""Monte Carlo over stated tolerances: the share of installations in which something goes wrong.

One draw is one installation: every sensor gets an offset and a gain, evenly
distributed between minus and plus its tolerance, and a lag between none and its
tolerance. The same draw goes over every trace, and a draw belongs to its number and the
seed, so nobody's order of work changes it. The share of draws comes with its
exact (Clopper-Pearson) interval; that says how well the share is known, and
nothing about whether the tolerances are right.
"""

import functools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from replay.engine.workers import Each
from replay.ground.refusal import refusal
from replay.ground.shape import Key, Keys, UnfitError, fit, number
from replay.ground.toml_files import read_toml
from replay.ground.units import duration_ms, pressure_difference_pa
from replay.library import Entry
from replay.score import evidence
from replay.score.verdict import WRONG
from replay.settings import Settings
from replay.sweep import arrange
from replay.trace import read_trace
from replay.tuning.disturb import CHANNELS, ERRORS, SensorError, disturbed
from replay.tuning.judge import verdict_on
from replay.tuning.robustness import EVENTS, events_of, has_event

MOST_PA, MOST_GAIN, MOST_LAG_S = 1_000_000, 0.5, 600.0
EXAMPLE = '[oil_pressure] offset = "8 kPa", gain = 0.005, lag = "1 s"'
# Common practice, no source: half a percent of a span of 1600 kPa, half a percent of the reading, a second.
USUAL = SensorError(offset_pa=8000.0, gain=0.005, lag_s=1.0)
Tolerances = Mapping[str, SensorError]  # by channel
USUAL_TOLERANCES: Tolerances = dict.fromkeys(CHANNELS, USUAL)


def _up_to(most: float, read: Callable[[object], int], size: float, value: Any) -> float:
    """Read an amount of 0 to `most`, in units of so many of what is read."""
    amount = read(value) / size
    if not 0 <= amount <= most:
        raise UnfitError("outside what is admitted")
    return amount


_OFFSET = functools.partial(_up_to, MOST_PA, pressure_difference_pa, 1.0)
_LAG = functools.partial(_up_to, MOST_LAG_S, duration_ms, 1000.0)
_SENSOR = Keys(
    {
        "offset": Key(_OFFSET, f'a difference from "0 kPa" to "{MOST_PA // 1000} kPa"', needed=False),
        "gain": Key(number(0, MOST_GAIN, "not a share of the reading"), f"0 to {MOST_GAIN:g}", needed=False),
        "lag": Key(_LAG, f'"0 s" to "{MOST_LAG_S:g} s"', needed=False),
    },
    needed=False,
)


def read_tolerances(path: Path) -> Tolerances:
    """Read a TOML file with a table a channel; what is not stated is exact. Raises Refusal."""
    table = fit(path, read_toml(path, "tolerance file"), Keys(dict.fromkeys(CHANNELS, _SENSOR)))
    if not table:
        raise refusal(path, "", "states no tolerance", EXAMPLE)
    return {name: SensorError(**{ERRORS[key]: value for key, value in its.items()}) for name, its in table.items()}


def installation(tolerances: Tolerances, seed: int, number: int) -> dict[str, SensorError]:
    """Return the sensors of one draw."""
    shares = np.random.default_rng((seed, number)).random((len(CHANNELS), len(ERRORS)))
    errors = {}
    for channel, (offset, gain, lag) in zip(CHANNELS, shares.tolist(), strict=True):
        most = tolerances.get(channel, SensorError())
        errors[channel] = SensorError(
            float(round((2 * offset - 1) * most.offset_pa)), (2 * gain - 1) * most.gain, lag * most.lag_s
        )
    return errors


def outcomes_of_draws(
    settings: Settings, installations: Sequence[Mapping[str, SensorError]], entry: Entry
) -> tuple[str, frozenset[str], list[tuple[str, ...]]]:
    """Return a trace's outcome as recorded, the events that may come, and its outcomes in every installation.

    Those are one a window; none of a trace that is wrong, or judged neither way.
    """
    trace, as_set = read_trace(entry.path), arrange([settings])
    recorded = verdict_on(entry, trace, as_set).outcome
    can = events_of(entry, trace, recorded)
    moved = [verdict_on(entry, disturbed(trace, errors), as_set).outcomes for errors in installations if can]
    return recorded, can, moved


@dataclass(frozen=True)
class MonteCarlo:
    """Share of draws with an event (missed, nuisance) in a trace that is right as recorded.

    shares: by event, of no draws where it can come in no trace; families: by family, draws with each event; left_out:
    traces wrong as recorded.
    """

    tolerances: Tolerances
    seed: int
    draws: int
    shares: dict[str, evidence.Claim]
    families: dict[str, dict[str, int]]
    left_out: int


def monte_carlo(
    entries: Sequence[Entry],
    settings: Settings,
    tolerances: Tolerances,
    seed: int,
    draws: int,
    each: Each,
    tick: Callable[[], object],
) -> MonteCarlo:
    """Draw installations and run each over every trace; tick is called after each trace."""
    installations = [installation(tolerances, seed, number) for number in range(draws)]
    rows = each(functools.partial(outcomes_of_draws, settings, installations), entries, tick)
    hit: dict[tuple[str, str], set[int]] = {}
    for entry, (_, can, outcomes) in zip(entries, rows, strict=True):
        for draw, found in enumerate(outcomes):
            for event in can:
                if has_event(event, found):
                    hit.setdefault((entry.family, event), set()).add(draw)
    confidence = settings.acceptance.shown_confidence
    whole = {event: set[int]().union(*(drawn for (_, e), drawn in hit.items() if e == event)) for event in EVENTS}
    names = sorted({family for family, _ in hit})
    trials = {event: draws if any(event in can for _, can, _ in rows) else 0 for event in EVENTS}
    return MonteCarlo(
        tolerances=tolerances,
        seed=seed,
        draws=draws,
        shares={event: evidence.chance(event, len(its), trials[event], confidence) for event, its in whole.items()},
        families={name: {event: len(hit.get((name, event), ())) for event in EVENTS} for name in names},
        left_out=sum(recorded in WRONG for recorded, _, _ in rows),
    )
