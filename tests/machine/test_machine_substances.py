"""Refrigerants against CoolProp afresh, and the law of solubility against published points it was not made of."""

import itertools
import math
import subprocess
import sys

import pytest

from replay.machine.oils import CHI, MOLAR_MASS
from replay.machine.refrigerants import gases
from replay.machine.solubility import Point, fitted, of_chi, pressure_pa, table_of
from replay.physics import REFRIGERANTS
from replay.physics.solubility import PUBLISHED
from replay.physics.tables import FRACTIONS, LOG_PRESSURE_PER_FRACTION, TEMPERATURES_K

pytestmark = pytest.mark.slow("loads a large library")

# CoolProp's names; the mixtures by their components, where the table has them as pseudo-pure fluids.
MIXTURES = {"R404A": "R404A.mix", "R407C": "R407C.mix", "R507A": "R507A.mix", "R448A": "R448A.mix"}
PURE = {name: name for name in ("R134a", "R143a", "R152a", "R22", "R290", "R717")}


@pytest.mark.outside(
    computation="saturation of refrigerants of a machine file, mixtures by number too",
    source="CoolProp: pure fluids, and R404A, R407C, R507A, R448A by their components",
    status="consulted",
    agreement="0.3 % pure, 0.5 % mixtures, between points of the table too",
)
@pytest.mark.parametrize("name", {**PURE, **MIXTURES})
@pytest.mark.parametrize("celsius", [-33.0, -12.5, 4.0, 27.0, 44.0])
def test_saturation_meets_the_equation_of_state(name, celsius):
    """Dew and bubble; catches the two exchanged, a table of another mixture, and a grid too coarse for ln p over 1/T."""
    from CoolProp.CoolProp import PropsSI  # late: it takes seconds to load

    gas, kelvin = gases()[name], celsius + 273.15
    fluid, within = {**PURE, **MIXTURES}[name], 3e-3 if name in PURE else 5e-3

    assert gas.evaporating_pa(kelvin) == pytest.approx(PropsSI("P", "T", kelvin, "Q", 1, fluid), rel=within)
    bubble = math.exp(gas.at(gas.log_bubble, kelvin))
    assert bubble == pytest.approx(PropsSI("P", "T", kelvin, "Q", 0, fluid), rel=within)


def test_the_table_is_what_its_maker_makes():
    """One pure fluid and one mixture afresh; catches a file that was edited, and a maker that was changed since."""
    code = "from replay.machine.tabulate import *; import json; made = json.loads(FILE.read_text());"
    code += "print([differs({'x': made[n][k]}, {'x': v}) for n in ('R290', 'R407C') for k, v in row_of(n).items()])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert "True" not in done.stdout
    assert "False" in done.stdout


@pytest.mark.parametrize("name", REFRIGERANTS)
def test_a_refrigerant_of_both_tables_is_one(name):
    """Catches figures that a machine file takes from elsewhere than the invented machines do."""
    one, other = REFRIGERANTS[name], gases()[name].refrigerant

    assert one.molar_mass_g_mol == pytest.approx(other.molar_mass_g_mol, rel=1e-5)
    assert one.isentropic_exponent == pytest.approx(other.isentropic_exponent, rel=1e-5)
    assert one.log_saturation[:10] == pytest.approx(other.log_saturation[:10], rel=1e-6)


@pytest.mark.parametrize("pair", PUBLISHED)
def test_the_law_fitted_to_a_published_pair_gives_its_pressures_back(pair):
    """Points of the exact table, 30 to 90 C, read back within 6 %; catches a wrong volume ratio, fugacity or line fit."""
    gas, exact = gases()[pair[0]], LOG_PRESSURE_PER_FRACTION[pair]
    points = [
        Point(kelvin, math.exp(exact[row][column]) * FRACTIONS[column], FRACTIONS[column])
        for row, kelvin in enumerate(TEMPERATURES_K)
        if 303.0 <= kelvin <= min(363.2, gas.critical_k - 15.0)
        for column in (2, 4, 8, 12)
    ]
    molar, density = {"PEC9": (697.05, 945.0), "PEB8": (640.93, 955.0)}[pair[1]]
    solution, off = fitted(gas, molar, density, points)
    table = table_of(gas, solution)

    assert off < 0.06
    assert math.exp(table[8][4] - exact[8][4]) == pytest.approx(1.0, abs=0.05)


def test_own_points_of_one_temperature_are_met():
    """Made with chi 1.1 at 40 C; catches a slope fitted to nothing."""
    gas = gases()["R404A"]
    truth = of_chi(650.0, 970.0, 1.1)
    points = [Point(313.15, pressure_pa(gas, truth, 313.15, w), w) for w in (0.05, 0.1, 0.2)]
    solution, off = fitted(gas, 650.0, 970.0, points)

    assert off < 1e-6
    assert solution.w0_k == pytest.approx(truth.w0_k, rel=1e-6)


# fmt: off
# K, Pa, mole fraction of refrigerant; molar mass of the oil as the database's own equation has it. Below 45 % by mass.
R22_POE = (
    (273.15, 277090, 0.61998), (283.15, 367630, 0.61343), (293.15, 463640, 0.61308),
    (303.15, 584330, 0.61174), (313.15, 746170, 0.61115), (323.15, 899810, 0.60322), (333.15, 1094560, 0.60155),
    (293.15, 958750, 0.81104), (313.15, 1504640, 0.80756), (333.15, 2209590, 0.80609),
)
R134A_PAG = (
    (283.15, 148310, 0.72959), (283.15, 323820, 0.88188), (293.15, 145020, 0.56891), (293.15, 239220, 0.72768),
    (303.15, 310990, 0.71955), (303.15, 583230, 0.87980), (313.15, 395360, 0.71772), (313.15, 756280, 0.87584),
    (323.15, 481900, 0.70872), (323.15, 956720, 0.87282), (333.15, 608530, 0.69660), (333.15, 1233100, 0.86956),
)
R134A_ALKYLBENZENE = (
    (313.15, 329000, 0.123), (313.15, 432000, 0.166), (313.15, 599000, 0.222), (333.15, 412000, 0.118),
    (333.15, 613000, 0.186), (333.15, 668000, 0.202), (333.15, 1060000, 0.311), (353.15, 574000, 0.135),
    (353.15, 1036000, 0.226), (353.15, 1401000, 0.283), (353.15, 1770000, 0.364),
)
# fmt: on
POINTS = {
    ("R22", "ester"): (R22_POE, 590.0, 940.0),
    ("R134a", "PAG"): (R134A_PAG, 2000.0, 990.0),
    ("R134a", "alkylbenzene"): (R134A_ALKYLBENZENE, 300.0, 870.0),
}


@pytest.mark.outside(
    computation="general law of solubility, by kind of oil",
    source="R22 in ester and R134a in PAG: Martz and Jacobi 1994, read off figures; R134a in alkylbenzene: Takigawa, Sandler and Yokozeki 2002, table; as carried by SorpPropLib",
    status="quoted",
    agreement="every point lies between the ends of the range of chi, widened by 10 % of pressure; of mineral oils no points were found",
)
@pytest.mark.parametrize("pair", POINTS)
def test_published_points_lie_inside_the_range_of_the_general_law(pair):
    """0 to 80 C; catches a range that is centred on nothing, and moles taken for masses."""
    gas, (points, molar, density) = gases()[pair[0]], POINTS[pair]
    low, high = CHI[pair[1], "R22" if pair[0] == "R22" else "HFC"]
    for kelvin, pascals, x in points:
        w = x * gas.molar_mass_g_mol / (x * gas.molar_mass_g_mol + (1.0 - x) * molar)
        ends = [pressure_pa(gas, of_chi(molar, density, chi), kelvin, w) for chi in (low, high)]

        assert 0.9 * ends[0] < pascals < 1.1 * ends[1], (kelvin, w)
    assert MOLAR_MASS[pair[1]][0] <= molar <= MOLAR_MASS[pair[1]][1]


@pytest.mark.parametrize("name", ["R404A", "R290", "R744"])
def test_more_refrigerant_and_a_warmer_sump_are_a_higher_pressure(name):
    """Over the whole table; catches a Newton step that ends elsewhere, and a continuation that turns round."""
    gas = gases()[name]
    table = table_of(gas, of_chi(600.0, 950.0, 0.9))
    pressures = [[math.exp(one) * max(w, 1e-6) for one, w in zip(row, FRACTIONS, strict=True)] for row in table]

    assert all(after >= before for row in pressures for before, after in itertools.pairwise(row))
    assert all(warm > cold for low, high in itertools.pairwise(pressures) for cold, warm in zip(low, high, strict=True))
