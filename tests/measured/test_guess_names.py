"""A draft takes a column by the whole words of its name, asks where several fit, and says why it left the others."""

import tomllib
from pathlib import Path

import pytest

from replay.measured.guess import draft_profile

GOOD = ["Oil pressure (bar g)", "Suction pressure (bar g)", "Compressor run"]
CELLS = dict.fromkeys(GOOD, ("4.5", "2.1")) | {"Compressor run": ("1", "0")}


def drafted(folder: Path, columns: dict[str, tuple[str, str]]) -> tuple[dict, str]:
    """Return the draft for a log of two kinds of rows in turn, as a table and as text."""
    lines = [",".join(["Time (s)", *columns])]
    lines += [",".join([str(s), *(cells[s % 2] for cells in columns.values())]) for s in range(40)]
    (folder / "log.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    text = draft_profile(folder / "log.csv")
    return tomllib.loads(text), text


LEFT = [
    ("Oil separator pressure (bar g)", ("4.4", "4.3"), '"separator" names a separator'),
    ("Oil filter pressure drop (bar)", ("0.4", "0.3"), '"filter" names a filter'),
    ("Oil level (bar)", ("0.4", "0.3"), '"level" names a level'),
    ("Boiler pressure (bar g)", ("1.4", "1.3"), "cooler, heater or boiler"),
    ("Coil Temp (C)", ("4.4", "4.3"), "cooler, heater or boiler"),
    ("Turmoil (bar g)", ("4.4", "4.3"), "no word of its name stands for a signal"),
    ("Suction pressure SP (bar g)", ("2", "2.1"), '"sp" names a set point'),
    ("Saugdruck Sollwert (bar g)", ("2", "2.1"), '"sollwert" names a set point'),
    ("Oil pressure low limit (bar g)", ("2", "2.1"), '"limit" names a limit'),
    ("Oil pressure alarm", ("0", "1"), '"alarm" names an alarm or fault'),
    ("Run permit", ("0", "1"), '"permit" names a permit or command'),
    ("Alarm status", ("0", "1"), '"alarm" names an alarm or fault'),
    ("Door contact", ("0", "1"), '"door" names a contact of something'),
    ("Oil heater on", ("0", "1"), "cooler, heater or boiler"),
    ("Run hours", ("100", "101"), '"hours" names a counter'),
    ("Discharge pressure (bar g)", ("14", "13"), '"discharge" names a discharge side'),
    ("Room humidity", ("40", "41"), '"room"'),
    ("Serial", ("7", "8"), "no word of its name stands for a signal"),
]


@pytest.mark.parametrize(("name", "cells", "why"), LEFT, ids=[name for name, *_ in LEFT])
def test_what_is_about_something_else_is_left_with_its_reason(
    name: str, cells: tuple[str, str], why: str, tmp_path: Path
) -> None:
    """Catches parts of words, set points, alarms, permits and other places taken for a signal, and a silent choice."""
    table, text = drafted(tmp_path, {name: cells} | CELLS)

    assert table["oil_pressure"]["column"] == GOOD[0]
    assert table["suction_pressure"]["column"] == GOOD[1]
    assert table["running"]["column"] == GOOD[2]
    (line,) = [line for line in text.splitlines() if line.startswith(f'#   "{name}"')]
    assert why in line


SPELLED = [
    ("Öldruck [bar(g)]", "Saugdruck [bar(g)]", "Verdichter Betrieb"),
    ("POIL_barg", "PSUC_barg", "RUN"),
    ("oilPress (barg)", "suctPress (barg)", "compOn"),
    ("K1.ÖLDRUCK barg", "K1.SAUGDRUCK barg", "K1.LÄUFT"),
    ("Huile pression (bar g)", "Aspiration pression (bar g)", "Marche compresseur"),
    ("PT101 lube oil psig", "PT102 LP psig", "Comp status"),
    ("Basalt oil press (bar g)", "Basalt suct press (bar g)", "Basalt run"),
    ("Oliedruk (bar g)", "Zuigdruk (bar g)", "bedrijf"),
    ("Oil pump discharge (bar g)", "Suction press. (bar g)", "Comp running"),
    ("P gallery (kg/cm2 g)", "P suction (kg/cm2 g)", "Compressor contactor"),
]


@pytest.mark.parametrize("names", SPELLED, ids=[names[0] for names in SPELLED])
def test_names_of_the_trade_are_taken_as_they_are_written(names: tuple[str, str, str], tmp_path: Path) -> None:
    """Catches a question about what every plant calls so, and words put together that nobody takes apart."""
    table, _ = drafted(tmp_path, dict(zip(names, CELLS.values(), strict=True)))

    assert (table["oil_pressure"]["column"], table["suction_pressure"]["column"]) == names[:2]
    assert table["running"]["column"] == names[2]


ASKED = [
    ("oil_pressure", "Oil pressure 2 (bar g)", ("4.1", "2.1")),
    ("suction_pressure", "LP (bar g)", ("2.1", "2.2")),
    ("running", "Motor on", ("1", "0")),
    ("oil_pressure", "Oil diff pressure (bar)", ("2.1", "0.1")),
]


@pytest.mark.parametrize(("signal", "name", "cells"), ASKED, ids=[name for _, name, _ in ASKED])
def test_more_than_one_fit_is_a_question_that_lists_them_all(
    signal: str, name: str, cells: tuple[str, str], tmp_path: Path
) -> None:
    """Catches the first column that fits, taken without a word about the second."""
    table, text = drafted(tmp_path, CELLS | {name: cells})
    (line,) = [line for line in text.splitlines() if line.startswith('column = "?"')]

    assert table[signal]["column"] == "?"
    assert f'"{name}"' in line
    assert f'"{next(own for own in GOOD if own in line)}"' in line


@pytest.mark.parametrize(
    "name", ["Gearbox oil pressure (bar g)", "Oil low pressure (bar g)", "Oil sump pressure (bar g)"]
)
def test_one_that_fits_by_half_is_a_question(name: str, tmp_path: Path) -> None:
    """Catches another machine's oil, a limit and a crankcase taken for want of anything better."""
    table, text = drafted(tmp_path, {name: ("4.5", "2.1")} | dict(list(CELLS.items())[1:]))

    assert table["oil_pressure"]["column"] == "?"
    assert f'"{name}" (' in text


@pytest.mark.parametrize(
    "name",
    ["Oil diff pressure (bar)", "Oil dP (bar)", "Net oil pressure (bar)", "Öldifferenzdruck (bar)", "ΔP oil (bar)"],
)
def test_a_difference_is_never_called_gauge(name: str, tmp_path: Path) -> None:
    """Catches a net pressure that is counted from the atmosphere and so looks healthy for ever."""
    table, text = drafted(tmp_path, {name: ("2.1", "0.1")} | dict(list(CELLS.items())[1:]))

    assert table["oil_pressure"]["column"] == name
    assert table["oil_pressure"]["reference"] == "?"
    assert '"difference" (net)?' in text
    assert drafted(tmp_path, {"Oil (psid)": ("2.1", "0.1")} | CELLS)[1].count('"Oil (psid)"')


def test_the_machines_of_one_file_are_named_with_their_columns(tmp_path: Path) -> None:
    """Catches two compressors of one file taken for a choice, or mixed."""
    columns = {
        f"C{n} {name}": cells
        for n in (1, 2)
        for name, cells in {"Oil P (barg)": ("4.5", "2.1"), "Run": ("1", "0"), "Amps (A)": ("30", "0")}.items()
    }
    table, _ = drafted(tmp_path, columns | {"Suction P (barg)": ("2.0", "2.1")})

    assert table["machines"] == {
        f"C{n}": {
            "oil_pressure": f"C{n} Oil P (barg)",
            "suction_pressure": "Suction P (barg)",
            "running": f"C{n} Run",
        }
        for n in (1, 2)
    }


def test_several_times_are_a_question(tmp_path: Path) -> None:
    """Catches the clock of the server taken for that of the logger."""
    lines = ["Server time,Logger time,Oil psig,Suction psig,Run"]
    lines += [f"2026-03-01 10:00:{s:02d},2026-03-01 09:00:{s:02d},50,20,{s % 2}" for s in range(20)]
    (tmp_path / "log.csv").write_text("\n".join(lines) + "\n")
    text = draft_profile(tmp_path / "log.csv")

    assert 'column = "?"  # DOUBT: "Server time", or "Logger time"? Each holds times' in text


def test_a_current_loop_asks_for_its_scale_and_a_saturated_temperature_for_its_refrigerant(tmp_path: Path) -> None:
    """Catches raw mA drafted as a pressure, or as a motor current; and a suction that is there and not seen."""
    columns = {"Oil pressure (mA)": ("8.5", "8.6"), "SST (C)": ("-10.0", "-9.5"), "Compressor running": ("1", "0")}
    table, text = drafted(tmp_path, columns)

    assert table["oil_pressure"] | {"column": "", "valid": ""} == {
        **dict.fromkeys(("unit", "reference", "scale", "offset"), "?"),
        **dict.fromkeys(("column", "valid"), ""),
    }
    assert table["suction_pressure"]["column"] == "?"
    assert '"SST (C)" (a saturated temperature, with refrigerant = "R404A"' in text
    assert "Columns that are not used" not in text


def test_a_counter_that_passes_999_has_no_sentinel(tmp_path: Path) -> None:
    """Catches a number drafted as no reading because it may be one somewhere."""
    rows = "".join(f"{s},{4 + s % 7 / 10:.1f},{2 + s % 5 / 10:.1f},{s % 2},{s + 900}\n" for s in range(300))
    (tmp_path / "log.csv").write_text("time_s,Oil barg,Suction barg,Run,Record\n" + rows)

    assert "sentinels" not in tomllib.loads(draft_profile(tmp_path / "log.csv"))["file"]
