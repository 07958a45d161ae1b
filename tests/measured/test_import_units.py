"""Units and zeros of measured pressures, against published factors; units as loggers write them."""

from pathlib import Path

import pytest

from replay.ground.refusal import Refusal
from replay.ground.units import UnitError
from replay.measured.unit_text import (
    CURRENT,
    PRESSURE,
    SPEED,
    TEMPERATURE,
    TIME,
    factor_in,
    is_unit,
    kind_of,
    number_with_unit,
    read_unit,
    unit_in_name,
)
from tests.support.measured import HEADER, SEA_LEVEL_PA, bring_in, profile_with, readings

# NIST Special Publication 811, appendix B.8 (exact where it prints them in bold); torr is 101325/760 Pa.
PUBLISHED = [
    ("psi", 6894.757, 1e-6),
    ("bar", 100000.0, 0),
    ("kg/cm2", 98066.5, 0),
    ("kgf/cm²", 98066.5, 0),
    ("at", 98066.5, 0),
    ("atm", 101325.0, 0),
    ("mmHg", 133.3224, 1e-6),
    ("torr", 133.32236842, 1e-9),
    ("inHg", 3386.389, 1e-6),
]


@pytest.mark.outside(
    computation="pressure units, in measured files",
    source="NIST SP 811, B.8, as several public texts quote it",
    status="quoted",
    agreement="1.1e-7",
)
@pytest.mark.parametrize(("unit", "pascals", "tolerance"), PUBLISHED)
def test_pressure_units_have_their_published_size(unit: str, pascals: float, tolerance: float) -> None:
    """Catches a conventional unit mixed up with its neighbour. Source: NIST SP 811, B.8."""
    assert read_unit(unit, PRESSURE).scale == pytest.approx(pascals, rel=tolerance or 1e-15)


@pytest.mark.outside(
    computation="standard atmosphere by altitude",
    source="U.S. Standard Atmosphere 1976, its printed table",
    status="not consulted, recomputed",
    agreement="0.43 Pa, all of it rounding of the print",
)
@pytest.mark.parametrize(
    ("altitude", "printed"),
    # U.S. Standard Atmosphere 1976 / ISO 2533:1975, geometric altitude; 5 Pa between printed tables.
    [("0 m", 101325), ("500 m", 95461), ("1000 m", 89876), ("2000 m", 79501), ("3000 m", 70121)],
)
def test_gauge_counts_from_the_atmosphere_of_the_site(altitude: str, printed: int, tmp_path: Path) -> None:
    """Catches sea level taken for every site. Source: U.S. Standard Atmosphere 1976."""
    trace = readings(tmp_path, HEADER + "0;0;0;1\n1;1;0;1\n", profile_with(site=f'altitude = "{altitude}"'))

    assert trace.suction_pa[0] == pytest.approx(printed, abs=5)
    assert trace.oil_pa[1] - trace.oil_pa[0] == 100000


@pytest.mark.parametrize(
    ("unit", "reference", "number", "pascals"),
    [
        ("bar", "absolute", "3.5", 350000),
        ("bar", "gauge", "3.5", 350000 + SEA_LEVEL_PA),
        ("psig", None, "0", SEA_LEVEL_PA),
        ("psia", None, "14.6959", 101325),
        ("inHg vac", None, "5", SEA_LEVEL_PA - 16932),
        ("inHg", "vacuum", "29.9", SEA_LEVEL_PA - 101253),
        ("kPa", "gauge", "-101.325", 0),
        ("mbar(a)", None, "1013.25", 101325),
        ("bar rel.", None, "1", 100000 + SEA_LEVEL_PA),
        ("ata", None, "2", 196133),
    ],
)
def test_gauge_absolute_and_vacuum_readings(
    unit: str, reference: str | None, number: str, pascals: int, tmp_path: Path
) -> None:
    """Catches a mark of the unit that is dropped, and vacuum counted upwards."""
    stated = f'unit = "{unit}"\n' + (f'reference = "{reference}"' if reference else "-reference")
    text = HEADER + f"0;3;{number};1\n1;3;{number};1\n"
    assert (
        readings(tmp_path, text, profile_with(suction_pressure=stated, file='decimal = "."')).suction_pa[0] == pascals
    )


def test_an_oil_pressure_logged_as_a_difference_stands_on_the_crankcase(tmp_path: Path) -> None:
    """Catches a difference taken as gauge, one on the suction where there is a crankcase, and one on no reading."""
    text = "t;oil;suction;crank;run\n0;1.5;2;2.5;1\n1;1.5;2;;1\n2;;2;2.5;1\n"
    crankcase = 'column = "crank"\nunit = "bar"\nreference = "gauge"'
    profile = profile_with(oil_pressure='reference = "difference"', crankcase_pressure=crankcase)
    trace = readings(tmp_path, text, profile)

    assert trace.oil_pa.tolist() == [400000 + SEA_LEVEL_PA, -1000000000, -1000000000]


def test_what_no_sensor_can_give_is_no_reading_and_is_counted(tmp_path: Path) -> None:
    """Catches an absurd number that becomes a healthy sample."""
    report, traces = bring_in(tmp_path, HEADER + "0;3;2;1\n1;500;2;1\n2;3;2;1\n")

    assert traces[0].oil_pa.tolist() == [401325, -1000000000, 401325]
    assert report.counts.readings["oil_pressure"].beyond == 1


IN_NAMES = [
    ("Pöl [bar(g)]", PRESSURE, "bar(g)"),
    ("Suction (psig)", PRESSURE, "psig"),
    ("P_oil/kPa", PRESSURE, "kPa"),
    ("oil_pressure_kpa", PRESSURE, "kpa"),
    ("oil pressure, bar abs", PRESSURE, "bar abs"),
    ("PSUC[bar]", PRESSURE, "bar"),
    ("P (kg/cm²)", PRESSURE, "kg/cm²"),
    ("Oil pressure (kPa(a))", PRESSURE, "kPa(a)"),
    ("Compressor A", PRESSURE, ""),
    ("T [°C]", TEMPERATURE, "°C"),
    ("Temp_degF", TEMPERATURE, "degF"),
    ("n [1/min]", SPEED, "1/min"),
    ("I (A)", CURRENT, "A"),
    ("Time [ms]", TIME, "ms"),
    ("time_s", TIME, "s"),
]


@pytest.mark.parametrize(("name", "kind", "unit"), IN_NAMES)
def test_units_are_read_out_of_headers(name: str, kind: str, unit: str) -> None:
    """Catches a unit that is not seen, and one that is seen where there is none."""
    assert unit_in_name(name, kind) == unit


@pytest.mark.parametrize(
    ("unit", "reference"),
    [
        ("barg", "gauge"),
        ("bar(ü)", "gauge"),
        ("PSIA", "absolute"),
        ("psid", "difference"),
        ("kPa", ""),
        ("inHg vac", "vacuum"),
    ],
)
def test_marks_of_units_tell_the_zero(unit: str, reference: str) -> None:
    """Catches gauge read as absolute."""
    assert read_unit(unit, PRESSURE).reference == reference


@pytest.mark.parametrize("unit", ["kP", "h", "oil", "A", "", "bar/s", "kg"])
def test_what_is_no_pressure_unit_is_none(unit: str) -> None:
    """Catches a letter of a name that is taken for a unit."""
    assert not is_unit(unit, PRESSURE)
    with pytest.raises(UnitError):
        read_unit(unit, PRESSURE)


@pytest.mark.parametrize(
    ("unit", "number", "celsius"), [("degF", 212.0, 100.0), ("K", 273.15, 0.0), ("°C", 55.0, 55.0)]
)
def test_temperatures(unit: str, number: float, celsius: float) -> None:
    """Catches a scale without its offset."""
    found = read_unit(unit, TEMPERATURE)
    assert number * found.scale + found.offset == pytest.approx(celsius, abs=1e-9)


@pytest.mark.parametrize("name", ["suction", "suction psig/inHg", "suction (inHg/psig)"])
@pytest.mark.parametrize(
    ("below", "pascals"),
    [("inHg", 10 * 3386.389), ("inHg vac", 10 * 3386.389), ("psig", 10 * 6894.757), ("kPa", 10 * 1000.0)],
)
def test_a_compound_gauge_reads_vacuum_in_a_unit_of_its_own(
    name: str, below: str, pascals: float, tmp_path: Path
) -> None:
    """Catches ten inches of vacuum read as ten pounds below the atmosphere, which is twice as deep."""
    profile = profile_with(
        suction_pressure=f'column = "{name}"\nunit = "psig"\nbelow_zero = "{below}"', file='decimal = "."'
    )
    if name.endswith("inHg") and "inHg" not in below:
        return  # its name says otherwise, and that is refused
    text = HEADER.replace("suction", name) + "0;3;-10;1\n1;3;10;1\n2;3;0;1\n"
    trace = readings(tmp_path, text, profile)

    assert trace.suction_pa.tolist() == pytest.approx(
        [SEA_LEVEL_PA - pascals, SEA_LEVEL_PA + 68947.57, SEA_LEVEL_PA], abs=1
    )


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('reference = "absolute"\nbelow_zero = "inHg"', "only a gauge pressure goes below zero"),
        ('below_zero = "psia"', "absolute cannot be below zero"),
        ('below_zero = "degC"', "not a unit of pressure"),
        ('below_zero = "?"', "left open in the draft"),
    ],
)
def test_a_unit_below_zero_that_makes_no_sense_is_refused(lines: str, said: str, tmp_path: Path) -> None:
    """Catches a key without effect, and one that turns an absolute pressure into a vacuum."""
    with pytest.raises(Refusal, match=said):
        bring_in(tmp_path, HEADER + "0;3;1;1\n1;3;1;1\n", profile_with(suction_pressure=lines))


@pytest.mark.parametrize(
    "name", ["oil [0.1 bar]", "oil (bar x10)", "oil bar*100", "oil bar/10", "oil 10^-1 bar", "oil 0,1 bar"]
)
def test_numbers_that_a_name_says_are_multiplied_need_their_scale(name: str, tmp_path: Path) -> None:
    """Catches tenths of bar taken for bar: net oil pressure ten times too large, of a machine starved and called healthy."""
    log = HEADER.replace("oil", name) + "0;25;2;1\n1;26;2;1\n"
    profile = profile_with(oil_pressure=f'column = "{name}"')
    with pytest.raises(Refusal, match=r"\[oil_pressure\] scale: missing, and .* says .* beside the unit of column"):
        bring_in(tmp_path, log, profile)
    _, (trace,) = bring_in(tmp_path, log, profile_with(oil_pressure=f'column = "{name}"\nscale = 0.1'))

    assert trace.oil_pa.tolist() == [250_000 + SEA_LEVEL_PA, 260_000 + SEA_LEVEL_PA]


@pytest.mark.parametrize(
    "name", ["oil 0-10 bar", "oil 4-20 mA (bar)", "oil PT101 bar", "oil kg/cm2", "oil N/mm2", "oil DX100 bar"]
)
def test_numbers_of_a_range_or_a_tag_are_no_scale(name: str) -> None:
    """Catches a question after the scale of a column whose name holds some other number."""
    assert factor_in(name) == ""


# Each spelling by what it is worth in the unit wanted (Pa, degC by two points, rpm, A, ms): the words of the trade once more.
SPELLED: list[tuple[str, str, float]] = [
    *((PRESSURE, unit, 1e5) for unit in ("bar", "bars", "BAR", "[bar]", "{bar}", "(bar)")),
    *((PRESSURE, unit, 98_066.5) for unit in ("kg/cm2", "kgf/cm2", "kp/cm2", "kg/cm²", "KG / CM2")),
    *((PRESSURE, unit, 6894.757293) for unit in ("psi", "PSI", "lb/in2", "lbf/in2", "lbs/in2")),
    *((PRESSURE, unit, 3386.388640) for unit in ("inHg", "in.Hg", '"Hg', "INHG")),
    *((PRESSURE, unit, worth) for unit, worth in (("N/mm2", 1e6), ("kN/m2", 1e3), ("hPa", 100.0), ("mbar", 100.0))),
    *((PRESSURE, unit, worth) for unit, worth in (("MPa", 1e6), ("kPa", 1e3), ("Pa", 1.0))),
    *((SPEED, unit, 1.0) for unit in ("rpm", "1/min", "min-1", "min^-1", "U/min", "tr/min", "r/min", "rev/min")),
    *((SPEED, unit, 60.0) for unit in ("Hz", "1/s", "s-1", "rps", "rev/s")),
    *((CURRENT, unit, 1.0) for unit in ("A", "amp", "Amps", "ampere")),
    *((CURRENT, unit, worth) for unit, worth in (("mA", 0.001), ("kA", 1000.0))),
    *((TIME, unit, 1000.0) for unit in ("s", "sec", "secs", "second", "seconds", "Sek", "Sekunden")),
    *((TIME, unit, 1.0) for unit in ("ms", "msec", "millisecond", "milliseconds")),
    *((TIME, unit, 1e-3) for unit in ("us", "µs", "μs", "microsecond", "microseconds")),
    *((TIME, unit, 1e-6) for unit in ("ns", "nanosecond", "nanoseconds")),
    *((TIME, unit, 60_000.0) for unit in ("min", "minute", "minutes")),
    *((TIME, unit, 3_600_000.0) for unit in ("h", "hr", "hour", "hours")),
    *((TIME, unit, 86_400_000.0) for unit in ("d", "day", "days")),
]


@pytest.mark.parametrize(("kind", "unit", "worth"), SPELLED)
def test_each_spelling_of_a_unit_is_worth_what_it_says(kind: str, unit: str, worth: float) -> None:
    """Catches hours of a log taken for minutes, and a speed in 1/s taken for one in 1/min."""
    found = read_unit(unit, kind, spelled=True)

    assert found.scale == pytest.approx(worth, rel=1e-8)
    assert (found.kind, found.offset, found.reference, found.below) == (kind, 0.0, "", 0.0)
    assert kind_of(unit) == kind


@pytest.mark.parametrize(
    ("unit", "freezing", "boiling"),
    [("°C", 0.0, 100.0), ("C", 0.0, 100.0), ("degC", 0.0, 100.0), ("K", 273.15, 373.15)]
    + [(unit, 32.0, 212.0) for unit in ("°F", "F", "degF")],
)
def test_water_freezes_and_boils_in_each_unit_of_temperature(unit: str, freezing: float, boiling: float) -> None:
    """Catches a scale of the wrong step or zero, which one point alone does not tell."""
    found = read_unit(unit, TEMPERATURE, spelled=True)

    assert [at * found.scale + found.offset for at in (freezing, boiling)] == pytest.approx([0.0, 100.0], abs=1e-9)


def test_a_cell_with_its_unit_is_taken_apart() -> None:
    """Catches "3.2 bar" read with half its unit, a sign that is lost, and a word or a time taken for a number with a unit."""
    assert [number_with_unit(cell) for cell in ("3.2 bar", "-5,5 °C", "\u22125 kPa", "12psig", "4 kg/cm2")] == [
        ("3.2", "bar"), ("-5,5", "°C"), ("\u22125", "kPa"), ("12", "psig"), ("4", "kg/cm2"),
    ]  # fmt: skip
    assert [number_with_unit(cell) for cell in ("3.2", "bar", "on", "", "12:30", "3 oil")] == [None] * 6


@pytest.mark.parametrize("unit", ["mPa", "x" * 101, "bar" + " " * 100])
def test_a_unit_that_is_a_slip_or_none_at_all_is_refused(unit: str) -> None:
    """Catches the millipascal, which nobody logs, read as MPa, and a text of any length tried against the patterns."""
    with pytest.raises(UnitError):
        read_unit(unit, PRESSURE)
    assert not is_unit(unit, PRESSURE)
