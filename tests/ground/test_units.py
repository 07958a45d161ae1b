"""Pressure units, gauge and vacuum marks, durations, and the atmosphere at altitude."""

from decimal import Decimal

import ambiance
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import constants

from replay.ground.units import (
    _USUAL,
    PSI_PA,
    UnitError,
    absolute_pressure_pa,
    atmosphere_pa,
    duration_ms,
    marked_pressure_pa,
    pressure_difference_pa,
    quantity,
)

REGISTRY = pint.UnitRegistry()

# Factors of NIST Special Publication 811, appendix B.8, as several public texts quote it (psi 6.894 757 E+03,
# mmHg 1.333 224 E+02, inHg 3.386 389 E+03, kgf/cm2 9.806 65 E+04); the page itself was not seen. A million of a
# unit shows the digits.
SP_811 = [
    ("psi", 6894.757, 1e-6),
    ("bar", 100000.0, 0),
    ("kgf/cm2", 98066.5, 0),
    ("atm", 101325.0, 0),
    ("torr", 133.32236842, 1e-9),
    ("mmHg", 133.3224, 1e-6),
    ("inHg", 3386.389, 1e-6),
    ("kPa", 1000.0, 0),
    ("mbar", 100.0, 0),
    ("MPa", 1e6, 0),
]


@pytest.mark.outside(
    computation="pressure units, in settings",
    source="NIST SP 811, B.8: psi, mmHg, inHg, kgf/cm2 as several public texts quote it",
    status="quoted",
    agreement="1.1e-7, the last printed digit; bar, atm, kgf/cm2 exact",
)
@pytest.mark.parametrize(("unit", "pascals", "tolerance"), SP_811)
def test_pressure_unit_has_its_published_factor(unit: str, pascals: float, tolerance: float) -> None:
    """Catches a wrong or confused unit, such as the torr taken for the conventional mmHg or psi for bar."""
    assert quantity(f"1000000 {unit}", "pascal", "") == pytest.approx(1e6 * pascals, rel=tolerance or 1e-12)


@pytest.mark.outside(
    computation="pressure units, in settings",
    source="scipy.constants 1.17",
    status="consulted",
    agreement="4.4e-16",
)
@pytest.mark.parametrize(
    ("unit", "pascals"),
    [
        ("psi", constants.psi),
        ("bar", constants.bar),
        ("atm", constants.atm),
        ("torr", constants.torr),
        ("kgf/cm2", constants.kgf / constants.centi**2),
        ("inHg", 13595.1 * constants.g * constants.inch),
    ],
)
def test_pressure_units_against_an_independent_library(unit: str, pascals: float) -> None:
    """Catches a unit that another library has otherwise; library: scipy.constants, mercury of 13595.1 kg/m3."""
    assert quantity(f"1 {unit}", "pascal", "") == pytest.approx(pascals, rel=1e-14)
    assert constants.psi == PSI_PA


@pytest.mark.parametrize(("want", "unit"), [(want, unit) for want, units in _USUAL.items() for unit in units])
@settings(max_examples=20)  # a factor that is off by more than a rounding is off for every number
@given(number=st.decimals(-100_000, 100_000, places=3))
def test_units_known_without_the_library_are_those_of_the_library(want: str, unit: str, number: Decimal) -> None:
    """Catches a factor of the short list that the library of units has otherwise, or that rounds otherwise; library: pint."""
    wanted = float(REGISTRY.Quantity(float(number), unit).to(want).magnitude)
    assert quantity(f"{number:f} {unit}", want, "") == pytest.approx(wanted, rel=1e-15, abs=1e-300)


@pytest.mark.parametrize(("psi", "kpa"), [(1, 6.8948), (4, 27.579), (5, 34.474), (9, 62.053)])
def test_trade_values_of_net_oil_pressure(psi: int, kpa: float) -> None:
    """Catches a conversion that is off in the range in which cut-outs and floors are set."""
    assert pressure_difference_pa(f"{psi} psi") == pytest.approx(kpa * 1000, abs=0.6)


@pytest.mark.parametrize(
    ("text", "pascals"),
    [
        ("48 kPa", 48000),
        ("0 psig", 101325),
        ("1.2 bar gauge", 221325),
        ("1.2 bar(g)", 221325),
        ("2 barg", 301325),
        ("3 kPa g", 104325),
        ("14.5 psia", 99974),
        ("3 bara", 300000),
        ("2 bar abs", 200000),
        ("5 inHg vac", 84393),
        ("20 kPa vacuum", 81325),
        ("1e2 kPa", 100000),
        ("-5 kPa", -5000),
    ],
)
def test_pressure_counts_from_where_its_mark_says(text: str, pascals: int) -> None:
    """Catches a gauge value taken for absolute, or vacuum counted upwards."""
    assert absolute_pressure_pa(text, 101325.0) == pascals


@pytest.mark.parametrize(
    "text", ["62", "kPa", "62 kPx", "62 s", "5 psid", "40 inHg vac", "-1 inHg vac", 62, None, "1e999 kPa"]
)
def test_what_is_no_pressure_is_refused(text: object) -> None:
    """Catches a reader that guesses a unit or lets a deeper vacuum than empty space pass."""
    with pytest.raises(UnitError):
        absolute_pressure_pa(text, 101325.0)


@pytest.mark.parametrize("text", ["5 inHg", "84 kPa", "20 psi", "-3 psi", "0.8 bar"])
def test_a_suction_pressure_says_what_it_counts_from(text: str) -> None:
    """Catches 5 inHg, meant as a vacuum of 84 kPa, taken for 17 kPa absolute without a word."""
    with pytest.raises(UnitError, match=f'write .*"{text} abs" or "{text} gauge"'):
        marked_pressure_pa(text, 101325.0)
    assert marked_pressure_pa(f"{text} gauge", 101325.0) == absolute_pressure_pa(f"{text} gauge", 101325.0)


@pytest.mark.parametrize(
    ("text", "meant"),
    [("7 PSI", "7 psi"), ("5 INHG", "5 inHg"), ("48 KPA", "48 kPa"), ("0.4 Bar", "0.4 bar"), ("7 PSIG", "7 psig")],
)
def test_a_unit_that_is_misspelt_is_told_as_it_is_written(text: str, meant: str) -> None:
    """Catches a refusal that leaves the user to guess that capitals matter."""
    with pytest.raises(UnitError, match=f'did you mean "{meant}"'):
        absolute_pressure_pa(text, 101325.0)


@pytest.mark.parametrize("text", ["9 psig", "9 psia", "9 inHg vac", "9 bar gauge"])
def test_a_difference_of_pressures_has_no_zero_point(text: str) -> None:
    """Catches a cut-out to which the atmosphere was added."""
    with pytest.raises(UnitError, match="difference"):
        pressure_difference_pa(text)


@pytest.mark.parametrize(
    ("text", "ms"), [("150 s", 150000), ("2 min", 120000), ("500 ms", 500), ("1.5 h", 5400000), ("7 d", 604800000)]
)
def test_durations(text: str, ms: int) -> None:
    """Catches minutes taken for metres or hours for Planck's constant."""
    assert duration_ms(text) == ms


@pytest.mark.parametrize("text", ["2 m", "2 kPa", "2", 2, "two minutes"])
def test_what_is_no_duration_is_refused(text: object) -> None:
    """Catches a number without a unit taken for seconds."""
    with pytest.raises(UnitError):
        duration_ms(text)


# U.S. Standard Atmosphere 1976 = ISO 2533:1975 below 32 km, geometric altitude; values as two libraries
# agree on them to 0.02 Pa; the printed tables (89876, 79501, 70121 Pa) from memory.
GEOMETRIC = [
    (0, 101325.0),
    (500, 95461.3),
    (1000, 89876.3),
    (1500, 84559.7),
    (2000, 79501.4),
    (2500, 74691.7),
    (3000, 70121.2),
]


@pytest.mark.parametrize(("metres", "pascals"), GEOMETRIC)
def test_standard_atmosphere_against_its_table(metres: int, pascals: float) -> None:
    """Catches a wrong lapse rate or exponent, and the geopotential table taken for the geometric one (13 Pa at 3000 m)."""
    assert atmosphere_pa(metres) == pytest.approx(pascals, abs=0.1)


@pytest.mark.outside(
    computation="standard atmosphere by altitude, -500 to 5000 m",
    source="U.S. Standard Atmosphere 1976 = ISO 2533:1975, by the library ambiance",
    status="consulted",
    agreement="0.026 Pa",
)
@pytest.mark.parametrize("metres", [-500, -100, 0, 137, 1234, 2750, 4000, 5000])
def test_standard_atmosphere_against_an_independent_library(metres: int) -> None:
    """Catches an error that the round altitudes of a table hide; library: ambiance."""
    assert atmosphere_pa(metres) == pytest.approx(float(ambiance.Atmosphere(metres).pressure[0]), abs=0.1)


@pytest.mark.outside(
    computation="standard atmosphere by altitude",
    source="ASHRAE Fundamentals, ch. 1, formula",
    status="not consulted, recomputed",
    agreement="13.2 Pa at 3000 m: that formula takes altitude for geopotential",
)
@pytest.mark.parametrize(
    ("metres", "kilopascals"), [(500, 95.461), (1000, 89.875), (1500, 84.556), (2000, 79.495), (3000, 70.108)]
)
def test_standard_atmosphere_against_the_handbook_formula(metres: int, kilopascals: float) -> None:
    """Catches a drift from 101.325 (1 - 2.25577e-5 Z)^5.2559 kPa (ASHRAE Handbook Fundamentals, ch. 1, from memory)."""
    assert atmosphere_pa(metres) == pytest.approx(kilopascals * 1000, abs=15)
