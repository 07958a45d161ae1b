"""The weight of a moment: how fast the time-delay integral moves at these pressures."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protect import integral
from tests.support.protection import ONE, PROFILE, SUCTION, VACUUM, admit
from tests.support.strategies import Named, admitted, around, between

MOST = 64 * ONE  # floor weight 8 in a vacuum of weight 8


def exact(named: Named, net: int, suction: int) -> Fraction:
    """Return the weight as the description has it, in real numbers."""
    if net >= named["cut_in"]:
        return Fraction(-named["recovery"], ONE)
    if net >= named["cut_out"]:
        return Fraction(0)
    floor_weight = Fraction(named["floor_weight"], ONE)
    depth = Fraction(named["cut_out"] - net, named["cut_out"] - named["floor"])
    weight = floor_weight if net < named["floor"] else 1 + (floor_weight - 1) * depth
    return weight * Fraction(named["vacuum_weight"], ONE) if suction < named["vacuum"] else weight


def tolerance(named: Named, net: int, suction: int) -> Fraction:
    """Return how far rounding may lead off: half a 2048th for each product, and the slope kept in 1/2**27 a Pa."""
    if not named["floor"] <= net < named["cut_out"]:
        steps = Fraction(0)
    else:
        steps = Fraction(1, 2) + Fraction(named["cut_out"] - net, 1 << 16)
    if suction < named["vacuum"] and net < named["cut_out"]:
        steps = steps * Fraction(named["vacuum_weight"], ONE) + Fraction(1, 2)
    return steps / ONE


@pytest.mark.parametrize(
    ("net", "suction", "weight"),
    [
        (2_000_000, SUCTION, -1),
        (90_000, SUCTION, -1),
        (90_000, VACUUM, -1),
        (89_999, SUCTION, 0),
        (60_000, SUCTION, 0),
        (60_000, VACUUM, 0),
        (59_999, SUCTION, 1),
        (50_000, SUCTION, Fraction(7, 4)),
        (40_000, SUCTION, Fraction(5, 2)),
        (30_000, SUCTION, Fraction(13, 4)),
        (20_000, SUCTION, 4),
        (19_999, SUCTION, 4),
        (0, SUCTION, 4),
        (-100_000, SUCTION, 4),
        (59_999, VACUUM, 2),
        (40_000, VACUUM, 5),
        (20_000, VACUUM, 8),
        (0, VACUUM, 8),
        (0, 50_000, 4),
        (0, 49_999, 8),
    ],
)
def test_weight_by_band(net: int, suction: int, weight: Fraction) -> None:
    """Catches a band that is open where it should be closed, and a vacuum that weighs while healthy or held."""
    got = Fraction(integral.weight(admit(PROFILE), net, suction), ONE)

    assert abs(got - weight) <= Fraction(1, ONE)
    assert got == weight or 20_000 <= net < 60_000


@st.composite
def moments(draw: st.DrawFn) -> tuple[Named, int, int]:
    """Draw settings, net oil pressure and suction pressure around every limit of the weight."""
    named = draw(admitted())
    net = draw(around(-20_100_000, named["floor"], named["cut_out"], named["cut_in"], 20_100_000))
    depth = draw(between(named["floor"], named["cut_out"]))
    return named, draw(st.sampled_from([net, depth])), draw(around(-100_000, named["vacuum"], 20_000_000))


@pytest.mark.slow("tries many cases of a large space")
@settings(max_examples=100)
@given(moments())
def test_weight_is_the_exact_one_within_its_rounding(moment: tuple[Named, int, int]) -> None:
    """Catches a wrong formula, a lost bit, and a slope that is too coarse somewhere in the admitted range."""
    named, net, suction = moment
    got = Fraction(integral.weight(admit(named), net, suction), ONE)

    assert abs(got - exact(named, net, suction)) <= tolerance(named, net, suction)


@pytest.mark.slow("tries many cases of a large space")
@settings(max_examples=100)
@given(moments(), st.integers(0, 2_000_000))
def test_less_oil_pressure_never_weighs_less(moment: tuple[Named, int, int], less: int) -> None:
    """Catches a slope that overshoots at the floor, and a dip at any of the limits."""
    named, net, suction = moment
    values = admit(named)

    assert integral.weight(values, net - less, suction) >= integral.weight(values, net, suction)
    assert integral.weight(values, net - 1, suction) >= integral.weight(values, net, suction)


@pytest.mark.slow("tries many cases of a large space")
@settings(max_examples=100)
@given(moments())
def test_vacuum_weighs_more_or_less_as_its_weight_says(moment: tuple[Named, int, int]) -> None:
    """Catches a vacuum weight applied on the wrong side, or to a recovery."""
    named, net, _ = moment
    values = admit(named)
    in_vacuum, under_pressure = (integral.weight(values, net, named["vacuum"] + by) for by in (-1, 0))

    assert in_vacuum >= under_pressure or named["vacuum_weight"] < ONE
    assert in_vacuum <= under_pressure or named["vacuum_weight"] > ONE
    assert in_vacuum == under_pressure or net < named["cut_out"]


@pytest.mark.slow("tries many cases of a large space")
@settings(max_examples=100)
@given(moments())
def test_weight_stays_within_its_limits(moment: tuple[Named, int, int]) -> None:
    """Catches a deficit that weighs less than 1, or than a vacuum does, and a weight beyond what the integral can take."""
    named, net, suction = moment
    weight = integral.weight(admit(named), net, suction)
    factor = named["vacuum_weight"] if suction < named["vacuum"] else ONE

    assert -named["recovery"] <= weight <= MOST
    assert weight >= factor or net >= named["cut_out"]
    assert weight <= named["floor_weight"] * factor // ONE + 1 or net >= named["cut_out"]


@pytest.mark.outside(
    computation="definite-time delay: all weights 1",
    source="none: by definition",
    status="none",
    agreement="exact",
)
@pytest.mark.parametrize("net", [59_999, 40_000, 20_000, 0])
def test_weights_of_one_make_a_definite_time_delay(net: int) -> None:
    """Catches a weight that is not exactly 1 where the settings ask for a plain delay."""
    values = admit(PROFILE | {"floor_weight": ONE, "vacuum_weight": ONE})

    assert integral.weight(values, net, SUCTION) == integral.weight(values, net, VACUUM) == ONE
