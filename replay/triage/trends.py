"""Whether a figure of each day goes up or down over the weeks: a line that single bad days do not turn.

The line of Theil (1950) and Sen (1968): the median of the slopes between all pairs of days, with Sen's limits at 95 %.
A trend is sure where those limits agree on its direction.
"""

from collections.abc import Sequence
from dataclasses import dataclass

LEAST_DAYS = 5  # fewer give no limits at 95 %
CONFIDENCE = 0.95


@dataclass(frozen=True)
class Trend:
    """A line from the first to the last of some days, by their numbers; sure: it goes one way at 95 %."""

    first_day: int
    last_day: int
    first: float
    last: float
    sure: bool

    @property
    def change(self) -> float:
        """Return how far it goes from the first to the last day."""
        return self.last - self.first

    @property
    def days(self) -> int:
        """Return how many days lie between."""
        return self.last_day - self.first_day


def trend(points: Sequence[tuple[int, float]]) -> Trend | None:
    """Return the line through (number of a day, figure), None where there are too few days."""
    if len(points) < LEAST_DAYS:
        return None
    from scipy.stats import theilslopes

    days, figures = zip(*points, strict=True)
    slope, intercept, low, high = map(float, theilslopes(figures, days, CONFIDENCE))
    first, last = (slope * day + intercept for day in (days[0], days[-1]))
    return Trend(days[0], days[-1], first, last, sure=low > 0 or high < 0)
