"""How a member finds its place: least squares where every pass tries several steps."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from replay.fitting.members import MOST_Z, _least, robust

Vector = NDArray[np.float64]


NOISE = 1.0  # that no place takes away


class Valley:
    """Residuals of two unknowns along a bent valley (Rosenbrock 1960), its end at (far, far * far)."""

    def __init__(self, far: float = 1.0) -> None:
        self.far, self.passes = far, 0

    def residuals(self, z: Vector) -> Vector:
        """Return the residuals at z."""
        return np.array([3.0 * (z[1] - z[0] * z[0]), self.far - z[0], NOISE])

    def at(self, z: Vector, here: Vector) -> Vector:
        """Return the slopes at z."""
        assert np.array_equal(here, self.residuals(z))
        self.passes += 1
        return np.array([[-6.0 * z[0], 3.0], [-1.0, 0.0], [0.0, 0.0]])


def found(valley: Any, passes: int) -> tuple[Vector, float]:
    """Return where the search ends, and the sum of squares there."""
    place = _least(valley, np.array([-1.2, 1.0]), passes)
    return place, float(np.square(valley.residuals(place)).sum())


def test_a_search_follows_a_valley_whose_straight_steps_climb_out() -> None:
    """Catches whole steps alone, the worst of those tried, a step that is taken though it gains nothing."""
    place, squares = found(Valley(), 40)

    assert squares < NOISE**2 + 0.01
    assert np.allclose(place, [1.0, 1.0], atol=0.1)
    some = [found(Valley(), passes)[1] for passes in range(8)]
    assert some == sorted(some, reverse=True)
    assert some[0] == np.square(Valley().residuals(np.array([-1.2, 1.0]))).sum()


def test_a_search_ends_where_a_pass_gains_next_to_nothing_and_stays_in_the_range() -> None:
    """Catches passes spent at the end of the way, and a place that no range has."""
    valley = Valley()
    found(valley, 1000)
    assert valley.passes < 60
    place, _ = found(Valley(far=4.0), 40)
    assert np.abs(place).max() <= MOST_Z
    assert place[1] > 3.4


def test_a_search_that_finds_nothing_better_stays() -> None:
    """Catches the least of what was tried taken for better than the place itself, where slopes tell the wrong way."""

    class Misled(Valley):
        def at(self, z: Vector, here: Vector) -> Vector:
            return -super().at(z, here)

    assert found(Misled(), 5)[0].tolist() == [-1.2, 1.0]


def test_what_is_far_off_counts_little_more_for_being_farther() -> None:
    """Catches a dip that comes seconds early, off twice by forty sizes, judged worse than no dip at all ever could be."""
    small, large = np.array([-0.1, 0.1]), np.array([20.0, -40.0])

    assert np.allclose(robust(small), small, rtol=1e-3)
    assert (np.sign(robust(large)) == np.sign(large)).all()
    first, second = np.abs(robust(large))
    assert first < second < 1.2 * first
    assert second < 6.0
