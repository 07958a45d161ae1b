"""Floor pressure of a crankshaft drilling: rotating-liquid head."""

import math
import re

import pytest

from replay.physics import crankshaft
from replay.settings.floor import floor_pressure_pa
from tests.support.command import lubetrip

GRAVITY = 9.80665


@pytest.mark.outside(
    computation="floor pressure: rigid rotation of a liquid",
    source="U-tube off centre, a worked answer in a public text: 0.37 m",
    status="consulted",
    agreement="0.3701 m",
)
def test_u_tube_spun_off_centre() -> None:
    """Catches a lost factor 1/2 or squared radius: limbs at 0.5 m and 0.25 m, 60 rpm, 0.370 m (worked answer, g = 10)."""
    assert floor_pressure_pa(0.5, 0.25, 60, 1000) / (1000 * 10) == pytest.approx(0.370, abs=1e-3)


@pytest.mark.outside(
    computation="floor pressure: rigid rotation of a liquid",
    source="Coddington, fluid mechanics notes, Univ. of Illinois 2019, U-tube with mercury: 6.04 rad/s",
    status="consulted",
    agreement="6.0396 rad/s",
)
def test_u_tube_with_mercury() -> None:
    """Catches rpm taken for rad/s: 6.04 rad/s holds 75 mm (R. C. Coddington, fluid mechanics notes, Univ. of Illinois, 2019).

    Its limbs turn at 220 and 90 mm from the axis; g = 9.8. The example was seen.
    """
    rpm = 6.0396 * 60 / (2 * math.pi)
    assert floor_pressure_pa(0.22, 0.09, rpm, 13600) / (13600 * 9.8) == pytest.approx(0.075, rel=1e-3)


@pytest.mark.outside(
    computation="floor pressure: rigid rotation of a liquid",
    source="White, Fluid Mechanics, ch. 2, cup: 345 rpm",
    status="not consulted, recomputed",
    agreement="345.3 rpm",
)
def test_cup_spun_until_it_spills() -> None:
    """Catches a wrong omega: R = 3 cm, rise 6 cm over the depth at the axis, 345 rpm (White, Fluid Mechanics, ch. 2, from memory)."""
    assert floor_pressure_pa(0.03, 0, 345.4, 1000) / (1000 * GRAVITY) == pytest.approx(0.06, rel=2e-3)


@pytest.mark.parametrize(
    ("rpm", "psi", "outer_mm"),
    [(1450, 1, 25.8), (1750, 1, 21.4), (1450, 4, 51.6), (1750, 4, 42.7), (1450, 5, 57.6), (1750, 5, 47.8)],
)
def test_radius_for_a_floor_pressure(rpm: int, psi: int, outer_mm: float) -> None:
    """Catches any factor between psi, rpm and mm; worked from the formula (Munson et al., 6th ed.), oil of 900 kg/m3."""
    assert floor_pressure_pa(outer_mm / 1000, 0, rpm, 900) == pytest.approx(psi * 6894.757, rel=0.005)


@pytest.mark.parametrize(
    ("density", "rpm", "outer", "inner", "pascals"),
    [(900, 1450, 0.055, 0.008, 30722), (900, 1750, 0.022, 0.004, 7073), (850, 1450, 0.055, 0.008, 29015)],
)
def test_example_crankshafts(density: float, rpm: float, outer: float, inner: float, pascals: int) -> None:
    """Catches an inner radius that is left out: a larger and a smaller shaft, worked from the formula to 1 Pa."""
    assert floor_pressure_pa(outer, inner, rpm, density) == pytest.approx(pascals, abs=1)


@pytest.mark.parametrize(
    "arguments", [(0.01, 0.02, 1450, 900), (-0.01, -0.02, 1450, 900), (0.05, 0, -1, 900), (0.05, 0, 1450, -1)]
)
def test_impossible_shafts_are_refused(arguments: tuple[float, float, float, float]) -> None:
    """Catches a negative floor pressure, which would switch the floor off in silence."""
    with pytest.raises(ValueError, match="radi"):
        floor_pressure_pa(*arguments)


def test_the_physics_reckons_with_the_same_floor() -> None:
    """Catches a machine that is simulated with another floor than the one its settings are made from."""
    assert crankshaft.floor_pressure_pa(0.008, 0.055, 900.0, 1450.0) == pytest.approx(
        floor_pressure_pa(0.055, 0.008, 1450.0, 900.0), rel=1e-12
    )


def test_command_prints_both_unit_systems() -> None:
    """Catches a command that ignores one of its options or prints a wrong unit."""
    done = lubetrip(
        "floor", "--outer-radius", "5.5 cm", "--inner-radius", "8 mm", "--speed", "1450 rpm", "--density", "0.9 g/cm3"
    )

    assert done.returncode == 0
    assert re.findall(r"[\d.]+ \w+", done.stdout) == ["4.456 psi", "0.3072 bar", "30.722 kPa"]


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (("--outer-radius", "55 kPa", "--speed", "1450 rpm"), "--outer-radius"),
        (("--outer-radius", "55", "--speed", "1450 rpm"), "not a number with a unit"),
        (("--outer-radius", "55 mm", "--speed", "50 Hz"), "turns of the shaft"),
        (("--outer-radius", "55 mm", "--speed", "1450 1/min"), "turns of the shaft"),
        (("--outer-radius", "55 mm", "--speed", "1450 rpm", "--inner-radius", "60 mm"), "inner radius"),
    ],
)
def test_command_refuses_what_is_no_shaft(arguments: tuple[str, ...], named: str) -> None:
    """Catches a traceback, a unit of another kind, and 1 Hz or 1/s taken for 1 rad/s: a floor 39 times too low."""
    done = lubetrip("floor", *arguments)

    assert (done.returncode, done.stdout) == (2, "")
    assert named in done.stderr
    assert "Traceback" not in done.stderr
