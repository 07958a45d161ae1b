"""Thinned curves: what they keep, whatever the curve and whatever level is drawn over it."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replay.drawing.decimation import Curve, Stretches, lone_points, polyline
from replay.drawing.svg import path_of

pytestmark = pytest.mark.slow("tries many cases of a large space")

NOTHING_BROKEN = np.array([], dtype=np.int64)
LOST = 6  # drawn as often as each pressure: longer pieces than single points come out
values = st.lists(
    st.integers(-5, LOST).map(lambda at: float("nan") if at == LOST else float(at)), min_size=2, max_size=80
)


@st.composite
def curves(draw: st.DrawFn):
    """Draw times with steps of any length, values with readings missing, breaks, and a number of stretches."""
    y = np.array(draw(values))
    steps = draw(st.lists(st.integers(1, 50), min_size=len(y), max_size=len(y)))
    breaks = draw(st.lists(st.integers(1, len(y) - 1), max_size=4, unique=True).map(sorted))
    return np.cumsum(steps).astype(float), y, np.array(breaks, dtype=np.int64), draw(st.integers(1, 8))


def segments(x, y):
    """Return the straight pieces of a drawn line as (x1, y1, x2, y2); NaN breaks it."""
    return [
        (x[at], y[at], x[at + 1], y[at + 1])
        for at in range(len(x) - 1)
        if np.isfinite(y[at]) and np.isfinite(y[at + 1])
    ]


def original(times, y, breaks):
    """Return the unthinned line, drawn by a plain loop."""
    x_out, y_out = [], []
    for at, (moment, value) in enumerate(zip(times, y, strict=True)):
        if at in breaks:
            x_out.append(np.nan)
            y_out.append(np.nan)
        x_out.append(moment)
        y_out.append(value)
    return np.array(x_out), np.array(y_out)


LEVELS = [half / 2 for half in range(-11, 12)]


def crossings(x, y, times, stretches):
    """Return where the line meets each level: (level, stretch, stretch), two of them for a piece from one to the next."""
    ends = Stretches(times[0], times[-1], stretches).of(np.nan_to_num(x, nan=times[0])).tolist()
    found = {(value, at, at) for value, at in zip(y.tolist(), ends, strict=True) if value in LEVELS}
    for at in range(len(x) - 1):
        low, high = sorted(y[at : at + 2].tolist())
        found |= {(level, ends[at], ends[at + 1]) for level in LEVELS if low <= level <= high}
    return found


@settings(max_examples=50)
@given(curves())
def test_the_thinned_line_crosses_each_level_in_the_very_stretches_of_the_original(curve) -> None:
    """Catches a thinning that leaves out a dip below the cut-out, or joins two readings across a gap."""
    times, y, breaks, stretches = curve
    thinned = polyline(times, y, breaks, stretches)

    assert crossings(*thinned, times, stretches) == crossings(*original(times, y, breaks), times, stretches)


@settings(max_examples=50)
@given(curves())
def test_the_thinned_line_keeps_extremes_of_each_stretch_and_invents_no_point(curve) -> None:
    """Catches a peak that is averaged away, and a point that nobody measured."""
    times, y, breaks, stretches = curve
    x, _ = polyline(times, y, breaks, stretches)
    rows = np.searchsorted(times, x[np.isfinite(x)])
    number = Stretches(times[0], times[-1], stretches).of(times)

    for stretch in range(stretches):
        there = y[(number == stretch) & np.isfinite(y)]
        if len(there):
            kept = y[rows[number[rows] == stretch]]
            assert (kept.min(), kept.max()) == (there.min(), there.max())
    assert np.isfinite(y[rows]).all()


@settings(max_examples=100)
@given(curves(), st.sets(st.integers(1, 79)))
def test_a_curve_that_comes_in_pieces_is_thinned_to_the_very_points_of_the_whole(curve, cuts) -> None:
    """Catches a point, a break or a lost reading that hangs on where a file happens to be cut while it is read."""
    times, y, breaks, stretches = curve
    thinned = Curve(Stretches(times[0], times[-1], stretches))
    ends = sorted({0, *(cut % len(y) for cut in cuts), len(y)})
    for begin, end in itertools.pairwise(ends):
        own = breaks[(breaks >= begin) & (breaks < end)] - begin
        thinned.take(times[begin:end], y[begin:end], own)

    for drawn, whole in zip(thinned.line(), polyline(times, y, breaks, stretches), strict=True):
        np.testing.assert_array_equal(drawn, whole)


def test_the_stretches_are_equal_parts_and_the_last_holds_the_end() -> None:
    """Catches a stretch too many for the last row, and starts that are not where the numbers change."""
    times = np.array([0.0, 1.0, 2.5, 4.9, 5.0, 10.0, 12.0])
    fifth = Stretches(0.0, 10.0, 5)

    assert fifth.of(times).tolist() == [0, 0, 1, 2, 2, 4, 4]
    assert fifth.starts(times).tolist() == [0, 2, 3, 5]


@settings(max_examples=50)
@given(curves())
def test_the_thinned_line_breaks_where_the_original_does(curve) -> None:
    """Catches a gap bridged by a straight line, in which a fault could hide."""
    times, y, breaks, stretches = curve
    thinned = polyline(times, y, breaks, stretches)
    lost = times[np.isnan(y)]

    for x1, _, x2, _ in segments(*thinned):
        assert not ((x1 < lost) & (lost < x2)).any()
        assert not any(x1 < times[at] <= x2 for at in breaks)


def test_a_week_at_1_hz_becomes_a_few_points_for_each_stretch() -> None:
    """Catches a thinning that keeps everything, and plots of megabytes."""
    rows = 7 * 86400
    y = 100 + np.random.default_rng(7).normal(0, 5, rows)
    x, _ = polyline(np.arange(rows, dtype=float), y, NOTHING_BROKEN, 1000)

    assert len(x) <= 4 * 1000


def test_a_reading_that_stands_alone_is_found_and_drawn() -> None:
    """Catches readings between dropouts that no line shows."""
    y = np.array([1.0, np.nan, 2.0, np.nan, 3.0, 4.0, np.nan, 5.0])

    assert lone_points(y).tolist() == [0, 2, 7]
    assert path_of(np.arange(8.0), y) == "M0 10l0 0M20 20l0 0M40 30l10 10M70 50l0 0"


@settings(max_examples=50)
@given(curves())
def test_a_path_of_whole_steps_ends_where_the_curve_ends(curve) -> None:
    """Catches rounding that adds up along relative steps."""
    times, y, breaks, stretches = curve
    x, y = polyline(times / 7, y / 3, breaks, stretches)
    ends = [(float("nan"), float("nan"))] if not np.isfinite(y).any() else []
    for piece in path_of(x, y).split("M")[1:]:
        numbers = [int(part) for part in piece.replace("-", " -").replace("l", " ").split()]
        ends.append((sum(numbers[0::2]), sum(numbers[1::2])))
    last = np.append(np.isnan(y[1:]), True) & np.isfinite(y)

    if last.any():
        assert ends == [(round(a * 10), round(b * 10)) for a, b in zip(x[last], y[last], strict=True)]


@given(curve=curves())
def test_long_runs_are_thinned_like_short_ones(curve) -> None:
    """Catches another one of several equal extremes, and a run one row short, where few long runs go another way."""
    times, kpa, breaks, stretches = curve
    found = []
    for long in (0, 10**6):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("replay.drawing.decimation.LONG", long)
            found.append(polyline(times, kpa, breaks, stretches))

    assert all(np.array_equal(one, other, equal_nan=True) for one, other in zip(*found, strict=True))
