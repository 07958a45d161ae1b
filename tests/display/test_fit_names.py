"""What a fit could move is named as the trade and the machine file name it."""

import pytest

from replay.display.fit import _name
from replay.fitting.unknowns import OF_SENSORS


@pytest.mark.parametrize(
    ("key", "name"),
    [
        ("oil.held_volumes", "held volumes"),
        ("behaviour.evaporation_heat_j_kg", "evaporation heat"),
        ("compressor.healthy_net_pressure", "healthy net pressure"),
        ("sensors oil_offset_pa", "zero of the oil sensor"),
        ("sensors suction_gain", "span of the suction sensor"),
        ("run 2 oil_c", "oil temperature at the start of run 2"),
        ("run 1 share", "refrigerant in the oil at the start of run 1"),
    ],
)
def test_an_unknown_is_named_in_words(key: str, name: str) -> None:
    """Catches "sensors suction offset", "run 2 oil" and a unit that stays at the end of a name."""
    assert _name(key) == name


def test_every_error_of_a_sensor_has_its_words() -> None:
    """Catches an unknown of the sensors that the report stumbles over."""
    assert all(_name(f"sensors {key}").endswith("sensor") for key in OF_SENSORS)
