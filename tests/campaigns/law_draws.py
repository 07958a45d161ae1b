"""What the numbers of each law of `law_candidates` are drawn from: the same ranges for all, as many draws for each.

Pressures are those of a machine whose floor is that of the demo settings. The ranges are assumed.

A weight of a vacuum under 1 stands by itself (`LIGHT`): judged by its first stop it is better than all else, and machines
that obey it are lost at the reload or at the restart. No other law may forgive a vacuum, by whatever name. At standstill
every law forgets the same share of its trip delay as the settings do: else a short one is forgotten whole.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from protect import ranges
from protect import settings as rules
from protect.ranges import ONE
from replay.settings import Settings
from tests.campaigns import law_candidates as laws
from tests.campaigns.law_candidates import KINDS

PSI = 6894.757
CUT_OUTS_PSI = (2.8, 3.6, 4.2, 4.5, 5.0, 5.5, 6.0, 6.5, 8.0)
AHEAD_PSI = (1.0, 2.0, 3.0)  # of the cut-out, the cut-in
DELAYS_S = (10, 15, 20, 25, 30, 35, 40, 50, 60, 80, 100, 120, 150, 180, 240)
FLOOR_WEIGHTS = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0)
VACUUM_WEIGHTS = (1.0, 1.0, 1.5, 2.0)
LIGHT_VACUUMS = (0.25, 0.4, 0.5, 0.6, 0.75)
RECOVERIES = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0)
SPANS_S = {
    "pulse": (0.0, 1.0, 2.0, 3.0, 5.0, 8.0),
    "held": (2.0, 3.0, 5.0, 8.0, 12.0, 20.0, 30.0),
    "share": (30.0, 45.0, 60.0, 90.0, 120.0, 180.0, 240.0),
}
MEAN_SHIFTS = (13, 14, 15, 16, 17, 18)  # 8, 16, 33, 66, 131, 262 s
FALLEN = (0.3, 0.5, 0.7, 0.85)  # of its slow mean, suction pressure
FALLING_FACTORS = (1.5, 2.0, 3.0, 4.0)
HELD_CAPS_S = (30, 45, 60, 90, 120, 180, 240)
MEAN_CAPS_PSI = (7.0, 9.0, 12.0, 20.0, 30.0)
DOUBLED_PSI = (1.0, 2.0, 5.0, 10.0)  # above the cut-in a drain of 1 is 2
UNWEIGHTED, LIGHT = "unweighted", "light"
NAMES = (*KINDS[:1], UNWEIGHTED, LIGHT, *KINDS[1:])
# What each is called where people read.
TOLD = dict(
    zip(
        NAMES,
        (
            "the weighted integral (in use)",
            "unweighted integral",
            "weighted, a vacuum lightly",
            "plain timer",
            "vacuum and low",
            "emptied by a credible pulse",
            "weighs by the fall of suction",
            "held off while pulses recur",
            "share of the last seconds",
            "two levels",
            "slow mean of the pressure",
            "drains by the pressure",
        ),
        strict=True,
    )
)


@dataclass(frozen=True, eq=False)
class Drawn:
    """Laws: int64[n, LAW_SIZE], and the name of each, in `NAMES`."""

    values: NDArray[np.int64]
    names: tuple[str, ...]

    def of(self, name: str) -> NDArray[np.int64]:
        """Return the places of those of a name."""
        return np.flatnonzero(np.array(self.names) == name)


def drawn(settings: Settings, each: int, seed: int) -> Drawn:
    """Draw so many laws of each name; the first of the integral is that of the settings."""
    draw, rows, names = np.random.default_rng((seed, 22)), [own(settings)], ["integral"]
    for name in NAMES:
        while names.count(name) < each:
            values = law_of(settings, name, draw)
            if values is not None:
                rows.append(values)
                names.append(name)
    return Drawn(np.array(rows, np.int64), tuple(names))


def own(settings: Settings) -> list[int]:
    """Return the law of some settings."""
    return [*settings.values, laws.USED, 0, 0, 0]


def law_of(settings: Settings, name: str, draw: np.random.Generator) -> list[int] | None:
    """Draw a law of a name; None for one that `protect` would refuse."""

    def one(choices: Any) -> Any:
        return choices[draw.integers(len(choices))]

    values = list(settings.values)
    values[ranges.CUT_OUT] = round(one(CUT_OUTS_PSI) * PSI)
    values[ranges.CUT_IN] = values[ranges.CUT_OUT] + round(one(AHEAD_PSI) * PSI)
    values[ranges.FLOOR] = min(values[ranges.FLOOR], values[ranges.CUT_OUT] - 1)
    values[ranges.TRIP_DELAY] = 1000 * one(DELAYS_S)
    values[ranges.RECOVERY] = round(one(RECOVERIES) * ONE)
    shorter = values[ranges.TRIP_DELAY] / settings.values[ranges.TRIP_DELAY]
    values[ranges.STOPPED_RECOVERY] = round(settings.values[ranges.STOPPED_RECOVERY] * shorter)
    vacuums = LIGHT_VACUUMS if name == LIGHT else VACUUM_WEIGHTS
    weights = [round(one(choices) * ONE) for choices in (FLOOR_WEIGHTS, vacuums)]
    plain = name in (UNWEIGHTED, "timer", "vacuum")
    values[ranges.FLOOR_WEIGHT], values[ranges.VACUUM_WEIGHT] = (ONE, ONE) if plain else weights
    if rules.first_fault(values) != rules.ALL_RIGHT:
        return None
    rules.derive(values)
    extra = {
        "pulse": lambda: (round(1000 * one(SPANS_S[name])), 0, 0),
        "falling": lambda: (one(MEAN_SHIFTS), round(one(FALLEN) * ONE), round(one(FALLING_FACTORS) * ONE)),
        "held": lambda: (round(1000 * one(SPANS_S[name])), 1000 * one(HELD_CAPS_S), 0),
        "share": lambda: (round(1000 * one(SPANS_S[name])), 0, 0),
        "mean": lambda: (one(MEAN_SHIFTS), round(one(MEAN_CAPS_PSI) * PSI), 0),
        "pressure": lambda: (0, 0, round((ONE << laws.SLOPE_BITS) / (one(DOUBLED_PSI) * PSI))),
    }
    kind = KINDS.index(name) if name in KINDS else laws.USED
    return [*values, kind, *(extra[name]() if name in extra else (0, 0, 0))]


def words(values: NDArray[np.int64]) -> str:
    """Return the numbers of a law."""
    law = values.tolist()
    kind, (span, cap, factor) = KINDS[law[laws.KIND]], law[laws.SPAN :]
    told = [
        f"below {law[ranges.CUT_OUT] / PSI:.1f} psi",
        f"{law[ranges.TRIP_DELAY] / 1000:g} s" if kind != "mean" else "",
        f"cut-in {law[ranges.CUT_IN] / PSI:.1f} psi" if kind not in ("timer", "vacuum", "mean") else "",
    ]
    weights = [(law[place], name) for place, name in _WEIGHTS.items()]
    told += [f"{name} {weight / ONE:g}" for weight, name in weights if weight != ONE and kind not in _BARE]
    if kind not in (*_BARE, "pulse", "share"):
        told.append(f"recovery {law[ranges.RECOVERY] / ONE:g}")
    if kind in _EXTRA:
        told.append(_EXTRA[kind](span, cap, factor))
    return ", ".join(part for part in told if part)


_WEIGHTS = {ranges.FLOOR_WEIGHT: "floor weight", ranges.VACUUM_WEIGHT: "vacuum weight"}
_BARE = ("timer", "vacuum", "mean")
_EXTRA: dict[str, Callable[[int, int, int], str]] = {
    "pulse": lambda span, _cap, _factor: f"pulse over {span / 1000:g} s",
    "falling": lambda span, cap, factor: (
        f"times {factor / ONE:.2g} below {cap / ONE:.2g} of the mean of {2**span / 1000:.0f} s"
    ),
    "held": lambda span, cap, _factor: f"pulses within {span / 1000:g} s, at most {cap / 1000:g} s",
    "share": lambda span, _cap, _factor: f"of {span / 1000:g} s",
    "mean": lambda span, cap, _factor: f"mean of {2**span / 1000:.0f} s, cut off at {cap / PSI:.0f} psi",
    "pressure": lambda _span, _cap, factor: f"{factor * PSI / (ONE << laws.SLOPE_BITS):.2g} more for each psi",
}
