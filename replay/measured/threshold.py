"""Where a motor current or a speed parts standing from running: levels proposed from how often each value comes.

The lowest hump is the machine at rest, whatever the humps above it: one that has lost its oil draws less than a sound
one, and must not be taken for one that stands. So the levels lie in the gap right above the lowest hump, and nearer
to it than to the next.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

BINS = 50
RARE = 0.002  # share of the rows below which a bin counts as empty: starts and stops pass through (assumed)
LEAST_GAP = 5  # bins, of a gap that parts two humps (assumed)
LEAST_ROWS = 20
LEAST_SHARE, LEAST_HUMP = 0.01, 5  # of the rows, and rows, for a hump (assumed)
NEAR_ZERO = 0.2  # share of the usual reading below which the lowest hump is a machine at rest for certain (assumed)
ON_AT, OFF_AT = 1 / 3, 1 / 6  # of the gap, from below (assumed)


@dataclass(frozen=True)
class Humps:
    """Two humps: the top of the lower one, the foot of what lies above it, shares of rows, and rows between."""

    rest_to: float
    run_from: float
    rest_share: float
    run_share: float
    between: int
    at_rest: bool

    @property
    def on(self) -> float:
        """Return the level above which the machine runs."""
        return _rounded(self.rest_to + ON_AT * (self.run_from - self.rest_to), self.run_from - self.rest_to)

    @property
    def off(self) -> float:
        """Return the level below which it stands."""
        return _rounded(self.rest_to + OFF_AT * (self.run_from - self.rest_to), self.run_from - self.rest_to)

    def told(self, unit: str) -> str:
        """Say what was seen."""
        rest, run = f"{100 * self.rest_share:.0f} % of the rows", f"{100 * self.run_share:.0f} %"
        return (
            f"{rest} lie up to {self.rest_to:.3g} {unit} and {run} from {self.run_from:.3g} {unit},"
            f" {self.between} rows in the gap between"
        )


def find_humps(numbers: NDArray[np.float64]) -> Humps | None:
    """Return the two humps of some readings [n], None where there is one alone."""
    values = np.sort(numbers[np.isfinite(numbers)])
    if len(values) < LEAST_ROWS:
        return None
    low, high = float(values[0]), float(values[int(0.999 * (len(values) - 1))])
    if high <= low:
        return None
    counts, edges = np.histogram(values, BINS, (low, high))
    full = np.flatnonzero(counts > RARE * len(values))
    gaps = np.flatnonzero(np.diff(full) > LEAST_GAP)
    if not len(gaps):
        return None
    rest_to = float(values[values <= edges[full[gaps[0]] + 1]][-1])
    run_from = float(values[values >= edges[full[gaps[0] + 1]]][0])
    rest, run = int((values <= rest_to).sum()), int((values >= run_from).sum())
    if min(rest, run) < max(LEAST_SHARE * len(values), LEAST_HUMP):
        return None
    usual = float(np.median(values[values >= run_from]))
    told = (rest / len(values), run / len(values), len(values) - rest - run)
    return Humps(rest_to, run_from, *told, at_rest=abs(rest_to) < NEAR_ZERO * abs(usual))


def _rounded(value: float, width: float) -> float:
    """Round to a hundredth of the gap or finer, in plain decimals."""
    digits = max(0, 2 - int(np.floor(np.log10(width))))
    return round(value, digits)
