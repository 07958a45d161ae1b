"""Exports as people save them: newest first, units in the cells, times that a spreadsheet damaged, words for readings."""

import datetime as dt
import tomllib
from pathlib import Path

import pytest

from replay.ground.refusal import Refusal
from replay.measured.guess import draft_profile
from tests.support.measured import HEADER, SEA_LEVEL_PA, bring_in, profile_with, readings

DATED = '-unit\nmax_gap = "5 s"'
DOT = 'decimal = "."'


@pytest.mark.parametrize("block", [None, 60])
def test_newest_first_is_read_from_its_end(block: int | None, tmp_path: Path) -> None:
    """Catches a file refused because its time goes back, and rows mixed up where a block ends."""
    lines = [f"{s};3.{s};2;{s % 2}\n" for s in range(9)]
    report, (trace,) = bring_in(tmp_path, HEADER + "".join(lines[::-1]), block_bytes=block)

    assert trace.time_ms.tolist() == [s * 1000 for s in range(9)]
    assert trace.oil_pa.tolist() == [300000 + s * 10000 + SEA_LEVEL_PA for s in range(9)]
    assert "newest first: read from its end" in report.notes


def test_one_step_back_does_not_make_a_file_newest_first(tmp_path: Path) -> None:
    """Catches a broken clock taken for an order."""
    with pytest.raises(Refusal, match="time goes back"):
        bring_in(tmp_path, HEADER + "0;3;2;1\n2;3;2;1\n1;3;2;1\n")


def test_units_in_the_cells_are_read(tmp_path: Path) -> None:
    """Catches "3.5 bar(g)" refused as a word, or its unit passed by."""
    text = "t;oil;suction;run\n0;3.5 bar(g);29.0 psig;1\n1;3.6 bar(g);29.5 psig;1\n2;;30.0 psig;0\n"
    bare = {"oil_pressure": "-unit\n-reference", "suction_pressure": "-unit\n-reference"}
    report, (trace,) = bring_in(tmp_path, text, profile_with(file=DOT, **bare))

    assert trace.oil_pa.tolist()[:2] == [350000 + SEA_LEVEL_PA, 360000 + SEA_LEVEL_PA]
    assert trace.suction_pa[0] == round(29.0 * 6894.757293168361) + SEA_LEVEL_PA
    assert "units stand in the cells: bar(g), psig" in report.notes
    with pytest.raises(Refusal, match=r'line 3, oil = "3.6 psi"'):
        bring_in(tmp_path, text.replace("3.6 bar(g)", "3.6 psi"), profile_with(file=DOT, **bare))


def test_a_draft_sees_units_in_the_cells(tmp_path: Path) -> None:
    """Catches a question about a unit that stands in every cell."""
    rows = "".join(f"{s},{45 + s % 7}.5 psig,{20 + s % 5}.5 psig,{s % 2}\n" for s in range(30))
    (tmp_path / "log.csv").write_text("time_s,Oil pressure,Suction pressure,Run\n" + rows)
    table = tomllib.loads(draft_profile(tmp_path / "log.csv"))

    assert table["oil_pressure"] == {"column": "Oil pressure", "reference": "gauge"}
    assert "unit" not in table["suction_pressure"]


def test_all_words_that_cannot_be_read_are_told_at_once(tmp_path: Path) -> None:
    """Catches one run of the command for each word of a file."""
    text = HEADER + "0;3.5;2;1\n1;Bad;2;1\n2;Comm Fail;2;1\n3;Bad;---;ON?\n4;3.5;2;0\n"
    with pytest.raises(Refusal) as error:
        bring_in(tmp_path, text)
    told = str(error.value)

    assert 'line 3, oil = "Bad": not a number' in told
    assert told.endswith('All that cannot be read in it: oil: "Bad", "Comm Fail"; suction: "---"; run: "ON?"')
    with pytest.raises(Refusal) as error:
        bring_in(tmp_path, HEADER + "0;3.5;2;1\n1;Bad;2;1\n")
    assert "All that cannot be read" not in str(error.value)


def test_seconds_that_are_gone_are_a_question_and_then_mended(tmp_path: Path) -> None:
    """Catches 59 of 60 rows left out with --repair, or rows of one minute put on one another."""
    start = dt.datetime(2026, 3, 1, 9, 59, 50)  # noqa: DTZ001 - a wall clock
    times = [start + dt.timedelta(seconds=s) for s in range(80)]
    text = HEADER + "".join(f"{t:%Y-%m-%d %H:%M};3.5;2;1\n" for t in times)
    with pytest.raises(Refusal, match=r'time repeats .*\[time\] step = "1 s" if the seconds of the times are gone'):
        bring_in(tmp_path, text, profile_with(time=DATED))
    stepped = profile_with(time=f'{DATED}\nstep = "1 s"')
    for block in (None, 100):
        report, traces = bring_in(tmp_path, text, stepped, block_bytes=block)
        assert report.counts.kept == 80
        assert [len(trace.time_ms) for trace in traces] == [10, 70]
        assert traces[1].time_ms.tolist() == [s * 1000 for s in range(70)]


def test_hours_that_are_gone_are_a_question_and_then_mended(tmp_path: Path) -> None:
    """Catches minutes and seconds read as hours and minutes, and an hour lost where they begin anew."""
    text = HEADER + "".join(f"{s // 60 % 60:02d}:{s % 60:02d}.0;3.5;2;1\n" for s in range(3590, 7300))
    with pytest.raises(Refusal, match="hours and date are gone, as where a spreadsheet has saved the times"):
        bring_in(tmp_path, text, profile_with(time=DATED))
    for block in (None, 500):
        trace = readings(tmp_path, text, profile_with(time=f'{DATED}\nform = "minutes"'), block_bytes=block)
        assert trace.time_ms.tolist() == [s * 1000 for s in range(3710)]


DAMAGED = [
    (
        ["03/01/2026 10:00:00", "13/01/2026 10:00:00", "01/14/2026 10:00:00"],
        "day and month change places within the file",
    ),
    (["1.77237E+12", "1.77237E+12", "1.77237E+12", "1.77237E+12"], "a spreadsheet has rounded these times"),
    (["########", "########", "########"], "a column too narrow to show its times"),
]


@pytest.mark.parametrize(("times", "said"), DAMAGED, ids=[said for _, said in DAMAGED])
def test_times_that_a_spreadsheet_destroyed_are_refused_in_words(times: list[str], said: str, tmp_path: Path) -> None:
    """Catches a trace on times that nobody can know."""
    text = HEADER + "".join(f"{time};3.5;2;1\n" for time in times)
    with pytest.raises(Refusal, match=said):
        bring_in(tmp_path, text, profile_with(time=DATED))


@pytest.mark.slow("loads the properties of refrigerants")
@pytest.mark.outside(
    computation="saturation pressure of a logged temperature: its unit, dew point, interpolation",
    source="CoolProp 8.0.0, which also makes the table that is interpolated; its equations are held elsewhere",
    status="consulted",
    agreement="0.1 %",
)
def test_a_saturated_suction_temperature_is_pressure(tmp_path: Path) -> None:
    """Catches a temperature in degF taken as degC, a bubble point, and a pressure that is gauge."""
    from CoolProp.CoolProp import PropsSI  # late: it takes seconds to load

    text = "t;oil;sst (degF);run\n0;3.5;32.0;1\n1;3.5;10.3;1\n"
    saturated = profile_with(
        file=DOT, suction_pressure='-unit\n-reference\ncolumn = "sst (degF)"\nrefrigerant = "R134a"'
    )
    report, (trace,) = bring_in(tmp_path, text, saturated)

    for pascals, fahrenheit in zip(trace.suction_pa, (32.0, 10.3), strict=True):
        kelvin = (fahrenheit - 32) / 1.8 + 273.15
        assert pascals == pytest.approx(PropsSI("P", "T", kelvin, "Q", 1, "R134a"), rel=1e-3)
    assert any("suction pressure is that of saturated R134a" in doubt for doubt in report.doubts)
    with pytest.raises(Refusal, match=r"refrigerant .*not known by this name"):
        bring_in(tmp_path, text, saturated.replace("R134a", "R9999"))
    with pytest.raises(Refusal, match="a temperature: the refrigerant says what pressure it stands for"):
        bring_in(tmp_path, text, profile_with(suction_pressure='unit = "degC"'))


def test_a_suction_pressure_that_is_not_logged_is_a_constant_and_said(tmp_path: Path) -> None:
    """Catches a constant without a word, or as gauge where absolute was meant."""
    text = "t;oil;run\n0;3.5;1\n1;3.5;1\n"
    for constant, pascals in (("1.8 bar(g)", 180000 + SEA_LEVEL_PA), ("280 kPa absolute", 280000)):
        section = f'-column\n-unit\n-reference\nconstant = "{constant}"'
        report, (trace,) = bring_in(tmp_path, text, profile_with(file=DOT, suction_pressure=section))
        assert set(trace.suction_pa.tolist()) == {pascals, pascals + 1}
        assert any("suction pressure is not logged and taken as" in doubt for doubt in report.doubts)
    with pytest.raises(Refusal, match="gauge or absolute is not said"):
        bring_in(tmp_path, text, profile_with(suction_pressure='-column\n-unit\n-reference\nconstant = "1.8 bar"'))


def test_files_put_behind_each_other_repeat_a_header_with_its_mark(tmp_path: Path) -> None:
    """Catches the mark at the beginning of a second file taken for a changed name, so that the first file is kept out."""
    more = HEADER + "".join(f"{s};3.5;2.5;1\n" for s in range(5, 9))
    text = HEADER + "".join(f"{s};3.5;2.5;1\n" for s in range(5)) + "\ufeff" + more
    with pytest.raises(Refusal, match=r"line 7.*repeats the header"):
        bring_in(tmp_path, text, profile_with())
    _, (trace,) = bring_in(tmp_path, text, profile_with(), repair=True)
    assert trace.time_ms.tolist() == list(range(0, 9000, 1000))
