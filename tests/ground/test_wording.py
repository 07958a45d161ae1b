"""One wording of numbers, whoever shows them."""

import math

import pytest

from replay.ground.wording import (
    counted,
    duration,
    net_oil,
    percent,
    pressure,
    rate,
    seconds,
    sure,
    tenths,
    times,
    words,
)


@pytest.mark.parametrize(
    ("per_1000h", "shown"),
    [(None, "-"), (0.0, "0"), (423.4539, "423.5"), (999.9, "999.9"), (17974.4, "17974"), (math.inf, "no limit")],
)
def test_a_rate_is_shown_in_plain_digits(per_1000h: float | None, shown: str) -> None:
    """Catches the limit of a small library that reads 1.797e+04."""
    assert rate(per_1000h) == shown


def test_numbers_stand_with_their_unit_or_under_one_and_none_is_a_dash() -> None:
    """Catches a unit told twice or not at all, "None s", and a confidence of 99.95 % that becomes certainty."""
    assert [percent(0.0593), percent(1.0), percent(0.00012345), sure(0.9995)] == [
        *("5.93 %", "100 %", "0.0123 %", "99.95 % sure"),
    ]
    assert [tenths(46.84), seconds(46.84), pressure(48263)] == ["46.8", "46.8 s", "48.3 kPa"]
    assert {word(None) for word in (percent, rate, tenths, seconds, pressure)} == {"-"}
    assert [counted(1, "stop"), counted(0, "stop"), times(1), times(2), times(7)] == [
        *("1 stop", "0 stops", "once", "twice", "7 times"),
    ]
    assert words("rode_through") == "rode through"
    assert [net_oil(-12.0), net_oil(48263)] == ["0.0 kPa (0.0 psi)", "48.3 kPa (7.0 psi)"]


@pytest.mark.parametrize(
    ("time_ms", "shown"),
    [
        (0, "0.0 s"),
        (119_949, "119.9 s"),
        (120_000, "2.0 min"),
        (7_199_999, "120.0 min"),
        (7_200_000, "2.0 h"),
        (90_000_000, "25.0 h"),
    ],
)
def test_a_length_of_time_is_told_in_the_unit_that_one_reads(time_ms: float, shown: str) -> None:
    """Catches a bound that is moved, and minutes told as hours."""
    assert duration(time_ms) == shown


@pytest.mark.parametrize(
    ("share", "shown"), [(None, "-"), (0.0, "0 %"), (0.12345, "12.3 %"), (1.0, "100 %"), (0.9995, "100 %")]
)
def test_a_share_is_told_in_percent_to_three_digits(share: float | None, shown: str) -> None:
    """Catches a share told as it is, and nothing told as 0 %."""
    assert percent(share) == shown


def test_counts_are_told_as_one_says_them() -> None:
    """Catches "1 stops", and once told as twice."""
    assert [counted(count, "stop") for count in (0, 1, 2)] == ["0 stops", "1 stop", "2 stops"]
    assert [times(count) for count in (0, 1, 2, 3)] == ["0 times", "once", "twice", "3 times"]
    assert (words("must_trip_too"), sure(0.9995), sure(0.95)) == ("must trip too", "99.95 % sure", "95 % sure")
