"""A setting in words: durations in their largest whole unit, weights in their own, pressures in the units asked for."""

import pytest

from replay.display.settings import value_told
from replay.ground.shown import BAR, KPA, US, Units


@pytest.mark.parametrize(
    ("name", "value", "units", "told"),
    [
        ("trip_delay", 90_000, KPA, "90 s"),
        ("trip_delay", 120_000, KPA, "2 min"),
        ("trip_delay", 1500, KPA, "1.5 s"),
        ("trip_memory", 3_600_000, KPA, "1 h"),
        ("trip_memory", 86_400_000, KPA, "1 d"),
        ("trip_memory", 0, KPA, "0 s"),
        ("floor_weight", 4096, KPA, "2"),
        ("floor_weight", 3072, KPA, "1.5"),
        ("trips_to_lockout", 3, KPA, "3"),
        ("cut_out", 62_053, US, "9.0 psi"),
        ("cut_out", 62_053, BAR, "0.62 bar"),
        ("cut_out", 62_053, KPA, "62.1 kPa"),
        ("vacuum", 84_393, US, "5.0 inHg vac (12.2 psia)"),
        ("vacuum", 84_393, KPA, "-16.9 kPa gauge (84.4 kPa abs)"),
        ("reload", 151_325, BAR, "0.50 bar(g) (1.51 bar(a))"),
        ("altitude_m", 300.5, KPA, "300.5 m"),
        ("cut_out", None, KPA, "-"),
        ("altitude_m", None, KPA, "-"),
    ],
)
def test_a_setting_is_told_as_one_reads_it(name: str, value: float | None, units: Units, told: str) -> None:
    """Catches ms told as s, a weight in parts of 2048, a suction without its zero, and no value told as 0."""
    assert value_told(name, value, units, 0.0) == told
