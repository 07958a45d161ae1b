"""What is shown of the physics, each in short: assumed constants moved, the step halved, the corners run."""

import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from replay.fitting.sensitivity import FACTORS, moved_behaviour
from replay.physics.behaviour import USUAL
from tests.physics_shown import extremes, sensitivity
from tests.physics_shown.cases import SEED, Outcome, outcomes
from tests.physics_shown.halving import flips, moves_s


def decided(name: str, label: str, deadline_s: float | None = None, verdict: str = "hit") -> Outcome:
    """Return what a case came to."""
    windows = [] if deadline_s is None else [[0.0, deadline_s]]
    return Outcome(name, label, windows, None, verdict, 0.0, 0.0, 0.0)


def test_every_assumed_value_is_moved_and_no_published_one() -> None:
    """Catches an assumed value that is forgotten, and one of common practice that is moved."""
    assert len(sensitivity.ASSUMED) > 40
    assert {"lost_share", "pocket_limit"} <= set(sensitivity.ASSUMED)
    assert "oil_heat_j_kg_k" not in sensitivity.ASSUMED


@pytest.mark.slow("moves every value")
@pytest.mark.parametrize("factor", FACTORS)
@pytest.mark.parametrize("name", sensitivity.ASSUMED)
def test_one_value_is_moved_and_no_other(name: str, factor: float) -> None:
    """Each in turn; catches a share that passes 1, and a move that changes nothing or another."""
    after = moved_behaviour(USUAL, name, factor)
    value, other = np.atleast_1d(getattr(USUAL, name)), np.atleast_1d(getattr(after, name))

    assert replace(after, **{name: getattr(USUAL, name)}) == USUAL
    assert np.all(other != value)
    assert np.all((other == value * factor) | ((value < 1.0) & (other < 1.0) & (value * factor >= 1.0)))


def test_effects_are_counted_and_the_worst_stands_first() -> None:
    """Catches a flip into undecided taken for one of the label, and a deadline's move without its sign."""
    base = [decided("a", "must_trip", 100.0), decided("b", "must_trip", 50.0), decided("c", "ride_through")]
    after = [decided("a", "must_trip", 90.0, "missed"), decided("b", "undecided", None, "undecided"), base[2]]
    found = sensitivity.effect("X", 0.7, base, after)

    assert (found.verdicts, found.missed, found.flips, found.undecided, found.worst_s) == (1, 1, 0, 1, -10.0)
    turned = sensitivity.effect("Y", 1.3, base, [decided("a", "ride_through"), *base[1:]])
    assert turned.flips == 1
    assert sensitivity.effect("Z", 1.3, base, "ValueError: no").weight > found.weight


def test_a_label_that_hangs_on_the_step_is_named() -> None:
    """Catches a flip that is passed over because another case is undecided."""
    coarse = [decided("a", "must_trip", 100.0), decided("b", "ride_through"), decided("c", "must_trip", 9.0)]
    fine = [decided("a", "ride_through"), decided("b", "undecided"), decided("c", "must_trip", 8.5)]

    assert flips(coarse, fine) == ["a"]
    assert moves_s(coarse, fine) == {"c": -0.5}


@pytest.mark.slow("simulates many traces")
def test_no_label_of_sixty_six_drawn_cases_hangs_on_the_step() -> None:
    """Catches a step too long for what it decides."""
    assert flips(outcomes(66, SEED), outcomes(66, SEED, 0.05)) == []


@pytest.mark.slow("simulates many traces")
def test_a_moved_value_is_what_the_cases_are_run_with(tmp_path: Path) -> None:
    """Films that lose 30 % more bring deadlines forward; catches the usual behaviour left in use."""
    found = sensitivity.variant(tmp_path, 11, SEED, ("lost_share", 1.3))

    assert not isinstance(found, str), found
    moves = moves_s(outcomes(11, SEED), found)
    assert moves
    assert min(moves.values()) < -5.0
    assert (tmp_path / "lost_share-1.3.json").exists()


@pytest.mark.slow("compiles what only it runs")
def test_corners_stay_in_range_and_in_balance() -> None:
    """One corner in 101, for three minutes; catches NaN, negative masses, gas from nowhere."""
    taken = itertools.islice(extremes.corners(), 0, None, 101)

    assert [told for told in (extremes.wrong(corner, 180.0) for corner in taken) if told] == []


@pytest.mark.slow("compiles what only it runs")
@pytest.mark.parametrize("speed", extremes.SPEEDS)
@pytest.mark.parametrize("duty", extremes.DUTIES)
def test_a_sump_flooded_for_an_hour_is_no_colder_than_what_it_boils_at(speed: str, duty: str) -> None:
    """The smallest sump, full of refrigerant; catches liquid that boils however cold it is, down to 100 K."""
    for refrigerant in ("R143a", "R152a"):
        corner = extremes.Corner(
            "pebble", "foaming-32", refrigerant, "coldest", "emptiest", "drowned", speed, duty, "all faults"
        )
        assert extremes.wrong(corner) == ""
