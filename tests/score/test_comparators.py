"""Plain laws at their best beside the settings: which point of a grid is shown, and when settings earn their keep."""

import math
from dataclasses import replace

import numpy as np
import pytest

from replay.display.score import kept
from replay.engine.scan import Grid
from replay.library.demo import demo_folder
from replay.score import score_library
from replay.score.comparators import ALL, Comparator, Counts, Own, Point, comparators

GRID = Grid((20_000, 30_000), (30_000, 60_000))
HIT_NOTHING = math.nan


def laid_out(*points: tuple[int, int, float, float]) -> list[Counts]:
    """Return the counts of one trace of two windows: (missed, nuisance trips, two margins) of each point, for every law."""
    table = np.array(points, float).reshape(1, 2, 2, 4).repeat(len(ALL), axis=0)
    return [Counts(table[..., 0].astype(np.int64), table[..., 1].astype(np.int64), table[..., 2:])]


def best(own: Own, *points: tuple[int, int, float, float]) -> Comparator:
    """Return one law beside settings."""
    return comparators(GRID, laid_out(*points), own)[0]


def at(point: Point | None) -> tuple[int, int] | None:
    """Return where on the grid a point stands."""
    return None if point is None else (GRID.cut_outs.index(point.cut_out_pa), GRID.delays.index(point.delay_ms))


WORSE = (3, 9, 50.0, 50.0)


def test_of_equal_counts_the_larger_margin_is_shown() -> None:
    """Catches the first point of the grid that is taken for the best one, whatever time it leaves."""
    law = best(Own(0, 4, 9.0), (0, 4, 2.0, 90.0), (0, 4, 5.0, 6.0), (0, 4, 5.0, 8.0), WORSE)

    assert at(law.no_more_missed) == at(law.no_more_nuisance) == (1, 0)
    assert (law.curve[0].worst_margin_s, law.curve[0].median_margin_s) == (5.0, 6.5)


@pytest.mark.parametrize(
    ("own", "point", "as_good"),
    [
        (Own(1, 4, 9.0), (1, 4, 9.0, 20.0), True),
        (Own(1, 4, 9.0), (1, 4, 8.9, 20.0), False),
        (Own(1, 4, 9.0), (1, 3, 8.9, 20.0), False),
        (Own(1, 4, 9.0), (0, 4, 0.5, 20.0), True),  # what the settings missed has a margin below nothing
        (Own(1, 4, 9.0), (2, 0, 30.0, 20.0), False),
        (Own(1, 4, None), (1, 4, 0.5, 20.0), True),
        (Own(1, 4, 9.0), (1, 4, HIT_NOTHING, HIT_NOTHING), False),
    ],
)
def test_a_tie_in_counts_with_a_thinner_margin_is_no_tie(
    own: Own, point: tuple[int, int, float, float], as_good: bool
) -> None:
    """Catches settings that lose their keep to a law that stops later, and a law held to a margin that it need not have."""
    law = best(own, point, WORSE, WORSE, WORSE)

    assert (at(law.as_good) == (0, 0)) == as_good
    tie = point[0] <= own.missed and point[1] <= own.nuisance_trips
    assert (at(law.thinner) == (0, 0)) == (tie and not as_good)


@pytest.mark.slow("scores the demo library")
def test_the_words_say_how_much_less_time_a_tie_leaves() -> None:
    """Catches a table that calls a tie one in which nearest hits are seconds apart, and one that hides a tie."""
    score = score_library(demo_folder())
    own = score.totals
    tie = Point(30_000, 60_000, own.missed, own.nuisance_trips, own.worst_margin_s - 2.5, 100.0)
    law = replace(score.comparators[0], as_good=None, thinner=tie)

    assert "4.4 psi, 60 s has no more missed or nuisance trips, but its worst margin is 2.5 s shorter" in kept(
        replace(score, comparators=(law,))
    )
    assert "do not earn their keep" in kept(replace(score, comparators=(law, replace(law, as_good=tie))))
