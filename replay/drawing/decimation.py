"""Fewer points of a curve that look the same: in each stretch of time the first, last, least and greatest value.

Within a stretch the thinned line runs through the same extremes, and from one
stretch to the next it has the very segment of the original. So whatever level is
drawn, it crosses that level in the same stretches as the original does. A break
of the original (no reading, or a gap in time) is a break of the thinned line, in
the same stretch.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
LONG = 64  # rows of a run from which on it is the sooner done alone


class Stretches:
    """So many equal parts of the time from begin to end; what lies behind the end belongs to the last."""

    def __init__(self, begin: float, end: float, count: int) -> None:
        self.begin = begin
        self.edges = begin + (end - begin) * np.arange(count) / count

    def of(self, times: Floats) -> NDArray[np.int64]:
        """Return the number of the stretch that each time lies in, int64[n], from 0."""
        return np.searchsorted(self.edges, times, side="right") - 1

    def starts(self, times: Floats) -> NDArray[np.int64]:
        """Return the rows of times (increasing) that are the first of their stretch there; row 0 is one."""
        begun = np.searchsorted(times, self.edges)
        return np.unique(np.append(begun[(begun > 0) & (begun < len(times))], 0))


class Curve:
    """A curve that is thinned as its rows come, so many at a time as one likes; little is kept of each stretch."""

    def __init__(self, stretches: Stretches) -> None:
        self.stretches = stretches
        self._kept: list[tuple[Floats, Floats, NDArray[np.bool_]]] = []
        self._lost = False  # at the row before

    def take(self, times: Floats, values: Floats, breaks: NDArray[np.int64]) -> None:
        """Take the next rows: times float64[n], increasing; values float64[n], NaN where nothing was read.

        breaks: rows that are not joined to the row before.
        """
        lost = np.isnan(values)
        if self._lost or lost.any():
            behind = np.flatnonzero(np.concatenate(([self._lost], lost[:-1])))
            breaks = np.union1d(breaks, behind)
        self._lost = bool(lost[-1])
        self._keep(times, values, breaks)

    def _keep(self, times: Floats, values: Floats, breaks: NDArray[np.int64]) -> None:
        """Keep the first, last, least and greatest of the rows between starts of stretches and breaks, NaN left out."""
        finite = np.isfinite(values)
        begun, after, known = self.stretches.starts(times), breaks, values
        if not finite.all():  # of a long trace that copies what no row asks for
            rows = np.flatnonzero(finite)
            if len(rows) == 0:
                return
            times, known = times[rows], values[rows]
            begun, after = np.searchsorted(rows, begun), np.searchsorted(rows, breaks)
        first = np.union1d(begun, after)
        first = first[first < len(known)]
        kept = extremes(known, first)
        self._kept.append((times[kept], known[kept], np.isin(kept, after)))

    def line(self) -> tuple[Floats, Floats]:
        """Return the points to draw, float64[m] each, with a NaN between two pieces that are not joined."""
        if not self._kept:
            return np.zeros(0), np.zeros(0)
        times, values, broken = (np.concatenate(parts) for parts in zip(*self._kept, strict=True))
        whole = Curve(self.stretches)
        whole._keep(times, values, np.flatnonzero(broken))
        ((times, values, broken),) = whole._kept
        ends = np.flatnonzero(broken[1:]) + 1
        return np.insert(times, ends, np.nan), np.insert(values, ends, np.nan)


def polyline(times: Floats, values: Floats, breaks: NDArray[np.int64], stretches: int) -> tuple[Floats, Floats]:
    """Return the points to draw of a whole curve, as `Curve.line` does; breaks: rows not joined to the row before."""
    curve = Curve(Stretches(float(times[0]), float(times[-1]), stretches))
    curve.take(times, values, breaks)
    return curve.line()


def extremes(values: Floats, first: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the first, last, least and greatest row of each run of values, int64[m]; first: where runs begin."""
    sizes = np.diff(first, append=len(values))
    if LONG * len(first) < len(values):  # few runs, each looked at by itself
        runs = [values[begin : begin + size] for begin, size in zip(first.tolist(), sizes.tolist(), strict=True)]
        earliest = first + np.array([run.argmin() for run in runs], np.int64)
        latest = first + sizes - 1 - np.array([run[::-1].argmax() for run in runs], np.int64)
        return np.unique(np.concatenate((first, first + sizes - 1, earliest, latest)))
    least = np.flatnonzero(values == np.repeat(np.minimum.reduceat(values, first), sizes))
    most = np.flatnonzero(values == np.repeat(np.maximum.reduceat(values, first), sizes))
    earliest = least[np.searchsorted(least, first)]
    latest = most[np.searchsorted(most, first + sizes) - 1]
    return np.unique(np.concatenate((first, first + sizes - 1, earliest, latest)))


def lone_points(values: Floats) -> NDArray[np.int64]:
    """Return the points of a drawn line, int64[k], that stand alone between two breaks, where a line shows nothing."""
    known = np.concatenate(([False], np.isfinite(values), [False]))
    return np.flatnonzero(known[1:-1] & ~known[:-2] & ~known[2:])
