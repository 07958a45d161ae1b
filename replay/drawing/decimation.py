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


def polyline(times: Floats, values: Floats, breaks: NDArray[np.int64], stretches: int) -> tuple[Floats, Floats]:
    """Return the points to draw, float64[m] each, with a NaN between two pieces that are not joined.

    times: float64[n], increasing; values: float64[n], NaN where nothing was read;
    breaks: rows that are not joined to the row before; stretches: equal parts of
    the time from first to last row.
    """
    rows = kept_rows(times, values, breaks, stretches)
    piece = _pieces(values, breaks)[rows]
    ends = np.flatnonzero(np.diff(piece)) + 1
    return np.insert(times[rows], ends, np.nan), np.insert(values[rows], ends, np.nan)


def kept_rows(times: Floats, values: Floats, breaks: NDArray[np.int64], stretches: int) -> NDArray[np.int64]:
    """Return the rows that the thinned line keeps, int64[m] in order; those without a reading are left out."""
    rows = np.flatnonzero(np.isfinite(values))
    if len(rows) == 0:
        return rows
    group = np.cumsum(_starts(_pieces(values, breaks)[rows], stretch_of(times, stretches)[rows])) - 1
    first = np.flatnonzero(np.diff(group, prepend=-1))
    last = np.append(first[1:], len(rows)) - 1
    by_value = np.lexsort((values[rows], group))  # groups stay in order, values within them ascend
    return np.unique(rows[np.concatenate((first, last, by_value[first], by_value[last]))])


def stretch_of(times: Floats, stretches: int) -> NDArray[np.int64]:
    """Return the number of the stretch that each time lies in, int64[n], from 0."""
    share = (times - times[0]) / max(times[-1] - times[0], np.finfo(float).tiny)
    numbers: NDArray[np.int64] = np.minimum((share * stretches).astype(np.int64), stretches - 1)
    return numbers


def lone_points(values: Floats) -> NDArray[np.int64]:
    """Return the points of a drawn line, int64[k], that stand alone between two breaks, where a line shows nothing."""
    known = np.concatenate(([False], np.isfinite(values), [False]))
    return np.flatnonzero(known[1:-1] & ~known[:-2] & ~known[2:])


def _pieces(values: Floats, breaks: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the number of the unbroken piece that each row belongs to; rows without a reading part pieces."""
    starts = np.isnan(values)
    starts[1:] |= starts[:-1]
    starts[breaks] = True
    return np.cumsum(starts)


def _starts(*keys: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Tell where any of some keys differs from the row before; the first row is a start."""
    changed = np.ones(len(keys[0]), dtype=bool)
    changed[1:] = np.logical_or.reduce([np.diff(key) != 0 for key in keys])
    return changed
