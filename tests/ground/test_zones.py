"""Zones by name and by offset: which way they count, and what is none."""

import zoneinfo

import pytest

from replay.ground.units import UnitError
from replay.ground.zones import fixed_offset_ms, offset_or_zone

MINUTE = 60_000


@pytest.mark.parametrize(
    ("text", "minutes"),
    [
        ("+01:00", 60),
        ("-0330", -210),
        ("+05", 300),
        ("-00:00", 0),
        ("+14:00", 840),
        ("-14:00", -840),
        ("+14:01", None),
        ("+25:00", None),
        ("+01:59", 119),
        ("+01:60", None),
        ("01:00", None),
        ("+1:00", None),
        ("Z", None),
    ],
)
def test_an_offset_is_so_far_east_of_greenwich(text: str, minutes: int | None) -> None:
    """Catches a sign, minutes taken for hours, and an offset that no clock on earth has."""
    assert fixed_offset_ms(text) == (None if minutes is None else minutes * MINUTE)


@pytest.mark.parametrize("text", ["UTC", "utc", "Z", "GMT"])
def test_greenwich_is_an_offset_of_nothing(text: str) -> None:
    """Catches UTC looked for among the places of the world."""
    assert offset_or_zone(text) == 0


@pytest.mark.parametrize("text", ["Mars/Olympus", "+25:00", "+01:60", "", "../etc/passwd", "Europe"])
def test_what_is_no_zone_is_refused(text: str) -> None:
    """Catches an offset of more than a day, on which a report of a fleet would break long after."""
    with pytest.raises(UnitError, match="no such time zone"):
        offset_or_zone(text)


def test_a_zone_has_its_name() -> None:
    """Catches a zone that is read as an offset of today."""
    assert offset_or_zone("Europe/Oslo") == zoneinfo.ZoneInfo("Europe/Oslo")
