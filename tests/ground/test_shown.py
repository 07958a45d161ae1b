"""Pressures are shown in the units that were asked for, suction as a gauge shows it."""

from pathlib import Path

import pytest

from replay.ground.shown import BAR, KPA, SYSTEMS, US, Units, shown_in, system_of
from replay.ground.units import INHG_PA, atmosphere_pa, marked_pressure_pa, pressure_difference_pa
from replay.ground.wording import net_oil, pressure, suction
from replay.settings import read_settings
from tests.conftest import SETTINGS

# Restated by hand at sea level, 101325 Pa: net oil pressure of 48263 Pa; suction of 84393, 101325 and 184063 Pa.
SHOWN = [
    (US, "7.0 psi", ("5.0 inHg vac", "0.0 psig", "12.0 psig"), "5.0 inHg vac (12.2 psia)"),
    (BAR, "0.48 bar", ("-0.17 bar(g)", "0.00 bar(g)", "0.83 bar(g)"), "-0.17 bar(g) (0.84 bar(a))"),
    (KPA, "48.3 kPa", ("-16.9 kPa gauge", "0.0 kPa gauge", "82.7 kPa gauge"), "-16.9 kPa gauge (84.4 kPa abs)"),
]


@pytest.mark.parametrize(("units", "net", "suctions", "whole"), SHOWN)
def test_each_system_shows_net_oil_pressure_and_suction_as_its_gauges_do(
    units: Units, net: str, suctions: tuple[str, ...], whole: str
) -> None:
    """Catches a vacuum shown as an absolute pressure, a mark left out, and the factor of another unit."""
    assert units.net(48263) == net
    assert tuple(units.suction(pascals, 0.0) for pascals in (84393, 101325, 184063)) == suctions
    assert units.whole(84393, 0.0) == whole


@pytest.mark.parametrize("units", SYSTEMS.values(), ids=SYSTEMS)
@pytest.mark.parametrize("pascals", [20_000, 84_393, 101_325, 350_000])
def test_what_is_shown_reads_back_as_what_it_was(units: Units, pascals: int) -> None:
    """Catches an echo that a settings file would take for another pressure, or refuse."""
    near = units.size_pa
    assert marked_pressure_pa(units.suction(pascals, 250.0), 98357.6) == pytest.approx(pascals, abs=near / 10 + 400)
    assert pressure_difference_pa(units.net(pascals)) == pytest.approx(pascals, abs=near / 10)
    assert marked_pressure_pa(f"{units.number(pascals)} {units.absolute}", 0.0) == pytest.approx(pascals, abs=near / 10)


def test_pressures_stand_first_in_the_units_of_the_reader_and_then_in_the_other() -> None:
    """Catches a switch that turns the brackets round for one quantity and not for the other."""
    assert net_oil(48263, US) == "7.0 psi (0.48 bar)"
    assert [net_oil(48263, units) for units in (BAR, KPA)] == ["0.48 bar (7.0 psi)", "48.3 kPa (7.0 psi)"]
    assert suction(84393, 0.0, US) == "5.0 inHg vac (-0.17 bar(g))"
    assert suction(84393, 0.0, BAR) == "-0.17 bar(g) (5.0 inHg vac)"


def test_what_was_asked_for_holds_until_something_else_is() -> None:
    """Catches units that stay behind after a page was written in others."""
    with shown_in(US):
        with shown_in(None):
            assert pressure(48263) == "48.3 kPa"
        assert pressure(48263) == "7.0 psi"
    assert pressure(48263) == "48.3 kPa"


@pytest.mark.parametrize(
    ("cut_out", "units"),
    [("8 psi", US), ("16 inHg", US), ("0.6 bar", BAR), ("600 mbar", BAR), ("60 kPa", KPA), ("0.6 kgf/cm2", KPA)],
)
def test_without_being_asked_the_units_are_those_of_the_settings_file(
    cut_out: str, units: Units, tmp_path: Path
) -> None:
    """Catches a file in psi whose every report is in kPa."""
    (tmp_path / "settings.toml").write_text(SETTINGS.replace('"60 kPa"', f'"{cut_out}"'), encoding="utf-8")
    assert system_of(cut_out) is units
    assert read_settings(tmp_path / "settings.toml").units is units


@pytest.mark.parametrize(
    ("text", "units"),
    [
        ("5.5 psi", US), ("10 inHg vac", US), ("20 psig", US), ("0.4 bar", BAR), ("400 mbar", BAR), ("2 bar(g)", BAR),
        ("48 kPa", KPA), ("5 kgf/cm2", KPA), ("5 apples", KPA), ("-3 psi", US), ("1e5 Pa", KPA), (48, KPA),
    ],
)  # fmt: skip
def test_the_units_of_a_file_are_those_of_its_pressure(text: object, units: Units) -> None:
    """Catches a file in psi that is shown in kPa, and one of no known unit that is refused for how it is shown."""
    assert system_of(text) is units


@pytest.mark.parametrize(
    ("below", "shown"), [(0.0501, "0.1 inHg vac"), (0.0499, "0.0 psig"), (10.0, "10.0 inHg vac"), (-0.0001, "0.0 psig")]
)
def test_vacuum_is_told_from_a_tenth_of_an_inch_on(below: float, shown: str) -> None:
    """Catches 0.0 inHg of vacuum at the atmosphere, a sign before nothing, and a vacuum told as pounds below it."""
    assert US.suction(atmosphere_pa(300.0) - below * INHG_PA, 300.0) == shown
