"""What a draft asks or takes where a log is written so that a hasty reading loses a spell. Each was seen to do so."""

import datetime as dt
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
import tomlkit

from replay.ground.refusal import Refusal
from replay.measured.guess import draft_profile
from tests.support.measured import NO_READING, bring_in, profile_with


def drafted(folder: Path, head: str, rows: list[str]) -> tuple[dict, str]:
    """Return the draft for a log, as a table and as text."""
    (folder / "log.csv").write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    text = draft_profile(folder / "log.csv")
    return tomllib.loads(text), text


def test_the_a_of_bar_absolute_is_no_ampere(tmp_path: Path) -> None:
    """Catches a suction pressure that no draft sees, since bar(a) ends as a current does."""
    rows = [f"{s},{4 + s % 7 / 10},{2 + s % 5 / 10},{s % 2}" for s in range(40)]
    table, _ = drafted(tmp_path, "t (s),Oil bar(g),Suction bar(a),Run", rows)

    assert table["suction_pressure"] == {"column": "Suction bar(a)", "reference": "absolute"}
    assert table["oil_pressure"] == {"column": "Oil bar(g)", "reference": "gauge"}


def test_a_name_of_two_units_asks_which(tmp_path: Path) -> None:
    """Catches psig read as inHg: a compound gauge writes pounds above the atmosphere, and inches of vacuum below."""
    rows = [f"{s},{40 + s % 7},{20 - s},{s % 2}" for s in range(40)]
    table, text = drafted(tmp_path, "t (s),Oil psig,Suction psig/inHg,Run", rows)

    assert table["suction_pressure"]["unit"] == "?"
    assert "its name says psig and inHg" in text
    assert table["suction_pressure"]["below_zero"] == "?"
    assert table["oil_pressure"].keys() == {"column", "reference"}


@pytest.mark.parametrize(("unit", "lowest", "asked"), [("psig", -12, True), ("psig", 0, False), ("barg", -0.6, False)])
def test_psig_below_zero_asks_whether_it_is_a_compound_gauge(
    unit: str, lowest: float, asked: bool, tmp_path: Path
) -> None:
    """Catches inches of vacuum read as pounds in a column whose name says psig alone; and a question where none is."""
    rows = [f"{s},{40 + s % 7},{20 if s % 9 else lowest},{s % 2}" for s in range(40)]
    table, text = drafted(tmp_path, f"t (s),Oil {unit},Suction {unit},Run", rows)

    assert ("below_zero" in table["suction_pressure"]) == asked
    assert ('"inHg" of vacuum' in text) == asked


@pytest.mark.parametrize(("lowest", "asked"), [(-12, True), (0, False)])
def test_a_column_nobody_named_may_be_of_a_compound_gauge_too(lowest: float, asked: bool, tmp_path: Path) -> None:
    """Catches inches of vacuum read as pounds, unasked, because no word of the column's name says suction."""
    rows = [f"{s},{40 + s % 7},{20 if s % 9 else lowest},{s % 2}" for s in range(40)]
    table, _ = drafted(tmp_path, "t (s),Oil psig,PS psig,Run", rows)

    assert table["suction_pressure"] == {"column": "?"} | ({"below_zero": "?"} if asked else {})


def test_what_nothing_is_named_for_is_asked_among_the_columns_that_may_be_it(tmp_path: Path) -> None:
    """Catches a clock and a speed offered as oil pressure, and its unit asked though the only one left says it."""
    rows = [f"{s},{500 + s % 7},{250 + s % 5},1450" for s in range(40)]
    table, text = drafted(tmp_path, "t (s),pump_kPa_abs,suction_kPa_abs,rpm", rows)

    assert table["oil_pressure"] == {"column": "?"}
    assert 'no column is named for oil pressure; which of "pump_kPa_abs"\n' in text
    assert (table["speed"], table["running"]["speed_above"]) == ({"column": "rpm"}, "?")


def test_where_nothing_is_left_every_column_of_numbers_is_asked(tmp_path: Path) -> None:
    """Catches a question that offers nothing where the columns have been taken for something else."""
    rows = [f"{s},{250 + s % 5},{s % 2}" for s in range(40)]
    table, text = drafted(tmp_path, "t (s),suction_kPa_abs,Run", rows)

    assert 'which of "t (s)", "suction_kPa_abs", "Run"\n' in text
    assert (table["oil_pressure"]["unit"], table["oil_pressure"]["reference"]) == ("?", "?")


TIMES = {
    "Uhrzeit": lambda s: f"{8 + s // 3600:02d}.{s // 60 % 60:02d}.{s % 60:02d}",
    "Datum,Uhrzeit": lambda s: f"2026-03-05,{8 + s // 3600:02d}.{s // 60 % 60:02d}.{s % 60:02d}",
    "Zeit": lambda s: f"05.03.2026 {8 + s // 3600:02d}.{s // 60 % 60:02d}.{s % 60:02d}",
}


@pytest.mark.parametrize("name", TIMES)
def test_times_with_dots_are_read_where_the_whole_column_has_them(name: str, tmp_path: Path) -> None:
    """Catches half past eight taken for a date, and a day of which a log with dots cannot be read at all."""
    rows = [f"{TIMES[name](s)},{4 + s % 7 / 10},{2 + s % 5 / 10},{s % 2}" for s in range(0, 800, 2)]
    table, _ = drafted(tmp_path, f"{name},Oil barg,Suction barg,Run", rows)
    table["site"]["altitude"] = "0 m"
    for key in ("zone", "order"):
        if key in table["time"]:
            table["time"][key] = {"zone": "UTC", "order": "DMY"}[key]
    _, (trace,) = bring_in(
        tmp_path, "\n".join([f"{name},Oil barg,Suction barg,Run", *rows]) + "\n", tomlkit.dumps(table)
    )

    assert trace.time_ms.tolist() == list(range(0, 800_000, 2000))


@pytest.mark.parametrize("clock", [lambda s: f"08.05.{s % 60:02d}", lambda s: f"{1 + s % 28:02d}.05.26"])
def test_times_with_dots_that_may_be_dates_are_asked(clock: Callable[[int], str], tmp_path: Path) -> None:
    """Catches days read as minutes and minutes read as days, without a question."""
    rows = [f"{clock(s)},{4 + s % 7 / 10},{2 + s % 5 / 10},{s % 2}" for s in range(28)]
    table, _ = drafted(tmp_path, "Zeit,Oil barg,Suction barg,Run", rows)

    assert table["time"]["order"] == "?"


@pytest.mark.parametrize("odd", ["({})", "{}-", "{} inHg", "<{}"])
def test_a_number_in_other_clothes_is_no_sentinel(odd: str, tmp_path: Path) -> None:
    """Catches the vacuum of a spell, written in brackets, drafted as no reading beside "Bad"."""
    rows = [f"{s},{4 + s % 7 / 10},{odd.format('0.55') if s > 30 else f'2.{s % 5}'},{s % 2}" for s in range(40)]
    table, text = drafted(tmp_path, "t (s),Oil barg,Suction barg,Run", rows)

    assert table["file"]["sentinels"] == "?"
    assert f'cells such as "{odd.format("0.55")}" hold a number' in text


@pytest.mark.parametrize("name", ["Comp Stopped", "Compressor Off", "Compresseur arrêt", "Kompressor aus"])
def test_a_status_that_says_stopped_asks_what_its_words_mean(name: str, tmp_path: Path) -> None:
    """Catches a machine that runs when it stands, and so was never starved running."""
    rows = [f"{s},{4 + s % 7 / 10},{2 + s % 5 / 10},{s % 2}" for s in range(40)]
    table, text = drafted(tmp_path, f"t (s),Oil barg,Suction barg,{name}", rows)

    assert table["running"] == dict.fromkeys(("column", "on", "off"), "?")
    assert 'those of "0", "1" that mean it runs' in text


def test_a_status_in_few_cells_is_asked_whether_it_holds(tmp_path: Path) -> None:
    """Catches a status written when it changes, of which all but a few seconds are left out as unknown."""
    rows = [f"{s},{4 + s % 7 / 10},{2 + s % 5 / 10},{ {5: 'RUN', 30: 'STOP'}.get(s, '') }" for s in range(40)]
    table, _ = drafted(tmp_path, "t (s),Oil barg,Suction barg,Comp", rows)

    assert (table["running"]["column"], table["running"]["on_change"]) == ("?", "?")


STAMP = "2026-03-02 08:{:02d}:{:02d}"


@pytest.mark.parametrize("below", [["Average,4.3,2.1,0.5", "Max,4.6,2.4,1"], ["time,Oil barg,Suction barg,Run"]])
def test_a_few_rows_that_are_no_readings_hide_no_time(below: list[str], tmp_path: Path) -> None:
    """Catches a total below the rows, or a header that comes again, for which no column looks like a time any more."""
    rows = [f"{STAMP.format(s // 60, s % 60)},{4 + s % 7 / 10},{2 + s % 5 / 10},{s % 2}" for s in range(100)]
    table, _ = drafted(tmp_path, "time,Oil barg,Suction barg,Run", [*rows, *below])

    assert table["time"]["column"] == "time"
    assert (table["oil_pressure"]["column"], table["suction_pressure"]["column"]) == ("Oil barg", "Suction barg")
    assert "sentinels" not in table["file"]


def test_a_date_in_the_first_row_alone_is_a_question(tmp_path: Path) -> None:
    """Catches a file of which, by its draft, no row has a time."""
    rows = [f"{'2026-03-02' if s == 0 else ''},08:00:{s:02d},4.{s % 7},2.{s % 5},{s % 2}" for s in range(40)]
    table, text = drafted(tmp_path, "Date,Time,Oil barg,Suction barg,Run", rows)

    assert table["time"]["column"] == "?"
    assert '"Date", or "Time"' in text


def test_seconds_that_are_gone_are_asked(tmp_path: Path) -> None:
    """Catches eleven rows of twelve left out as repeated, when a step would keep them."""
    rows = [f"2026-03-02 08:{s // 12:02d},4.{s % 7},2.{s % 5},{s % 2}" for s in range(240)]
    table, text = drafted(tmp_path, "time,Oil barg,Suction barg,Run", rows)

    assert table["time"]["step"] == "?"
    assert "12 rows each" in text


def test_numbers_of_which_a_mark_is_in_doubt_still_find_their_columns(tmp_path: Path) -> None:
    """Catches "313,385" Pa taken for a word, and every pressure column left out for it."""
    rows = [f'{STAMP.format(s // 60, s % 60)},"4{s:02d},385","2{s:02d},110",{s % 2}' for s in range(99)]
    table, _ = drafted(tmp_path, "time,Oil pressure [Pa abs],Suction pressure [Pa abs],Running", rows)

    assert table["file"]["decimal"] == "?"
    assert table["oil_pressure"]["column"] == "Oil pressure [Pa abs]"
    assert table["suction_pressure"]["column"] == "Suction pressure [Pa abs]"


def test_marks_of_quality_are_known_by_their_words(tmp_path: Path) -> None:
    """Catches readings marked as bad in a column that is called a state, passed by and counted as good."""
    rows = [f"{s},4.{s % 7},2.{s % 5},{s % 2},{'Malo' if s > 30 else 'Bueno'}" for s in range(40)]
    table, _ = drafted(tmp_path, "t (s),Presión aceite barg,Aspiración barg,Marcha,Estado", rows)

    assert table["quality"] == {"column": "Estado", "good": ["Bueno"]}
    assert table["running"] == {"column": "Marcha"}


@pytest.mark.parametrize("form", ["long", "wide"])
def test_a_column_that_parts_the_rows_of_machines_is_asked(form: str, tmp_path: Path) -> None:
    """Catches a sound machine written over a starved one of the same file: the later reading of a tag counts."""
    head, rows = "Time (s),Equipment,Oil barg,Suction barg,Run", []
    for s in range(40):
        for machine, oil in (("K1", f"2.{s % 7}"), ("K2", f"4.{s % 7}")):
            cells = {"Oil barg": oil, "Suction barg": f"2.{s % 5}", "Run": str(s // 3 % 2)}
            long = [f"{s},{machine},{tag},{value}" for tag, value in cells.items()]
            rows += long if form == "long" else [f"{s},{machine},{','.join(cells.values())}"]
    table, text = drafted(tmp_path, head if form == "wide" else "Time (s),Equipment,Tag,Value", rows)

    assert table["trace"]["machine_column"] == "?"
    assert '"Equipment", which holds K1, K2? Without it times repeat' in text
    assert (table["oil_pressure"]["column"], table["running"]["column"]) == ("Oil barg", "Run")
    assert table["time"]["max_gap"] == "3 s"


@pytest.mark.parametrize(("name", "asked"), [("Asset", True), ("Compressor", True), ("Location", False)])
def test_a_column_named_for_machines_is_asked_though_no_time_comes_twice(
    name: str, asked: bool, tmp_path: Path
) -> None:
    """Catches five machines that were logged in turn taken for one, whose starts and spells are then nobody's."""
    rows = [f"{s},CU-{1 + s // 20},4.{s % 7},2.{s % 5},{s // 3 % 2}" for s in range(40)]
    table, text = drafted(tmp_path, f"Time (s),{name},Oil barg,Suction barg,Run", rows)

    assert (table["trace"].get("machine_column") == "?") is asked
    assert (f'"{name}", which holds CU-1, CU-2? Without it all rows are taken' in text) is asked
    assert (f'#   "{name}":' in text) is not asked


def test_a_tag_that_reads_two_values_at_a_time_is_refused(tmp_path: Path) -> None:
    """Catches a spell written over by another machine's readings where the profile names no column of machines."""
    rows = "".join(
        f"{s},{of},{tag},{v}\n" for s in range(20) for of in "AB" for tag, v in (("oil", of == "A"), ("run", 1))
    )
    rows = rows.replace("True", "3.5").replace("False", "2.1") + "".join(f"{s},A,suction,2\n" for s in range(20))
    long = profile_with(file='decimal = "."', long='tag = "tag"\nvalue = "v"')
    with pytest.raises(Refusal, match=r"tag oil = .*: 20 of its 40 readings .* same time; accepted: .*machine_column"):
        bring_in(tmp_path, "t,of,tag,v\n" + rows, long)
    kept, _ = bring_in(tmp_path, "t,of,tag,v\n" + rows, long, repair=True)

    assert kept.counts.kept == 20


@pytest.mark.parametrize(("words", "asked"), [("avg min max", True), ("max", True), ("min", False), ("avg", False)])
def test_the_most_between_two_rows_is_never_simply_taken(words: str, asked: bool, tmp_path: Path) -> None:
    """Catches a spell hidden by the greatest reading of each minute, taken since no other column says oil."""
    names = words.split()
    rows = [f"{s},{','.join(['4'] * len(names))}.{s % 7},{2 + s % 5 / 10},{s % 2}" for s in range(40)]
    table, text = drafted(tmp_path, f"t (s),{','.join(f'Oil {word} (barg)' for word in names)},Suction barg,Run", rows)

    assert (table["oil_pressure"]["column"] == "?") == asked
    assert ("which hides a spell" in text) == asked
    assert ('"Oil min (barg)" (the least between two rows, which shows a short spell' in text) == (len(names) > 1)


def stamped(hours: int, form: str, minutes: int = 10) -> list[str]:
    """Return the times of rows every so many minutes from 5 March 2026, 20:00 on."""
    begin = dt.datetime(2026, 3, 5, 20, tzinfo=dt.UTC)
    return [f"{begin + dt.timedelta(minutes=minutes * row):{form}}" for row in range(hours * 60 // minutes)]


@pytest.mark.parametrize(
    ("form", "order"),
    [("%d/%m/%Y %H:%M", "DMY"), ("%m/%d/%Y %H:%M", "MDY"), ("%d.%m.%y %H:%M", "DMY"), ("%y-%m-%d %H:%M", "YMD")],
)
def test_the_order_of_dates_is_told_by_rows_that_go_on_over_midnight(form: str, order: str, tmp_path: Path) -> None:
    """Catches a question that the rows answer, and the order in which they would leap from month to month."""
    rows = [f"{time},{4 + row % 7 / 10},{2 + row % 5 / 10},{row % 2}" for row, time in enumerate(stamped(72, form))]
    table, _ = drafted(tmp_path, "Time,Oil barg,Suction barg,Run", rows)
    assert table["time"]["order"] == order


@pytest.mark.parametrize("hours", [3, 5])
def test_one_day_tells_no_order_and_a_gap_at_midnight_none(hours: int, tmp_path: Path) -> None:
    """Catches an order told from dates of a single day, or from days that lie apart whichever way they are read."""
    times = stamped(3, "%d/%m/%Y %H:%M") + [t.replace("05/", "06/") for t in stamped(3, "%d/%m/%Y %H:%M")] * (hours > 3)
    rows = [f"{time},{4 + row % 7 / 10},{2 + row % 5 / 10},{row % 2}" for row, time in enumerate(times)]
    table, _ = drafted(tmp_path, "Time,Oil barg,Suction barg,Run", rows)
    assert table["time"]["order"] == "?"


@pytest.mark.parametrize(
    ("name", "zone"),
    [("Time (UTC)", "UTC"), ("Zeit UTC+1", "+01:00"), ("gmt_time", "UTC"), ("Time", "?"), ("Outcome time", "?")],
)
def test_a_zone_in_the_name_of_the_time_is_no_question(name: str, zone: str, tmp_path: Path) -> None:
    """Catches a zone asked though it stands there, and one read out of another word."""
    rows = [f"{t},{4 + r % 7 / 10},{2 + r % 5 / 10},{r % 2}" for r, t in enumerate(stamped(9, "%Y-%m-%d %H:%M"))]
    table, _ = drafted(tmp_path, f"{name},Oil barg,Suction barg,Run", rows)
    assert table["time"]["zone"] == zone


@pytest.mark.parametrize(("oil", "asked"), [("bara", False), ("barg", True), ("bar", True), ("psid", False)])
def test_the_altitude_is_asked_where_a_pressure_counts_from_the_atmosphere(
    oil: str, asked: bool, tmp_path: Path
) -> None:
    """Catches an altitude asked of a file without gauge pressures, and none asked of one that may have them."""
    rows = [f"{t},{4 + r % 7 / 10},{2 + r % 5 / 10},{r % 2}" for r, t in enumerate(stamped(9, "%Y-%m-%d %H:%M"))]
    table, _ = drafted(tmp_path, f"Time,Oil pressure ({oil}),Suction (bara),Run", rows)
    assert ("altitude" in table.get("site", {})) == asked


@pytest.mark.parametrize(
    ("name", "one", "asked"), [("Quality", 0.02, True), ("Quality", 0.98, False), ("Oil pressure bad", 0.98, True)]
)
def test_marks_that_may_be_those_of_bad_readings_are_asked(name: str, one: float, asked: bool, tmp_path: Path) -> None:
    """Catches 1 taken for good where it marks what is bad: nearly every reading would be thrown away."""
    marks = [int(row % 50 < 50 * one) for row in range(200)]
    rows = [f"{s},{4 + s % 7 / 10},{2 + s % 5 / 10},{s % 2},{mark}" for s, mark in enumerate(marks)]
    table, text = drafted(tmp_path, f"t (s),Oil barg,Suction barg,Run,{name}", rows)
    assert table["quality"]["good"] == ("?" if asked else ["1"])
    assert ("may 0 be good?" in text) == (one < 0.5)


@pytest.mark.parametrize(
    ("name", "most", "asked"),
    [
        ("AI 1 oil raw", 900, True),
        ("Oil pressure", 27648, True),
        ("Oil pressure", 2400, False),
        ("Oil mbar", 9000, False),
    ],
)
def test_raw_numbers_of_an_input_ask_for_their_scale(name: str, most: int, asked: bool, tmp_path: Path) -> None:
    """Catches counts of an input taken for a pressure in whatever unit is stated: no reading is left, or wrong ones."""
    rows = [f"{s},{most - s % 7},{2 + s % 5 / 10},{s % 2}" for s in range(40)]
    table, _ = drafted(tmp_path, f"t (s),{name},Suction barg,Run", rows)
    parts = [f"{s},{3000.5 + s % 7},{2 + s % 5 / 10},{s % 2}" for s in range(40)]
    broken, _ = drafted(tmp_path, "t (s),Oil pressure,Suction barg,Run", parts)
    assert "scale" not in broken["oil_pressure"]
    assert ("scale" in table["oil_pressure"], "offset" in table["oil_pressure"]) == (asked, asked)
    assert "scale" not in table["suction_pressure"]


def test_a_unit_in_the_name_and_another_in_the_unit_row_are_asked_and_refused(tmp_path: Path) -> None:
    """Catches one of two units taken without a word: pressures come out a hundred times too high or low."""
    rows = ["s,kPa,bar,", *(f"{s},{400 + s % 7},{2 + s % 5 / 10},{s % 2}" for s in range(40))]
    head = "t,Oil pressure (bar),suction,run"
    table, text = drafted(tmp_path, head, rows)
    assert table["oil_pressure"]["unit"] == "?"
    assert "its name says bar and the file kPa" in text
    log = "\n".join([head, *rows]) + "\n"
    own = {"oil_pressure": 'column = "Oil pressure (bar)"\n-unit', "time": "-unit"}
    with pytest.raises(Refusal, match="bar in the name, kPa beside it"):
        bring_in(tmp_path, log, profile_with(**own))
    own["oil_pressure"] = 'column = "Oil pressure (bar)"\nunit = "UNIT"'
    for unit, pascals in (("kPa", 501_325), ("bar", 40_101_325)):
        said = profile_with(**{**own, "oil_pressure": own["oil_pressure"].replace("UNIT", unit)})
        _, (trace,) = bring_in(tmp_path, log, said)
        assert trace.oil_pa[0] in (pascals, NO_READING)


def test_vacuum_in_a_column_of_its_own_is_asked(tmp_path: Path) -> None:
    """Catches a suction column that stops at zero taken alone: no vacuum is seen, whatever the machine pulls."""
    rows = [f"{s},{40 + s % 7},{max(0, 9 - s % 20)},{max(0, s % 20 - 9)},{s % 2}" for s in range(60)]
    table, text = drafted(tmp_path, "t (s),Oil psig,Presión succión (psig),Vacío succión (inHg),Run", rows)
    assert table["suction_pressure"]["column"] == "?"
    assert "Then nothing of it shows here" in text
    assert "write it below zero into the other column" in text
    _, text = drafted(tmp_path, "t (s),Oil psig,Suction vacuum (inHg),Run", [r.replace(",0,", ",", 1) for r in rows])
    assert '"vacuum" (it counts down from the atmosphere)' in text


def test_machines_are_named_as_the_file_writes_them(tmp_path: Path) -> None:
    """Catches "k 1" for K1 in every report on a fleet."""
    rows = [f"{s},4,2,1,5,2,{s % 2}" for s in range(40)]
    head = "t (s),K1 Oil bar abs,K1 Suction bar abs,K1 Run,K2 Oil bar abs,K2 Suction bar abs,K2 Run"
    table, _ = drafted(tmp_path, head, rows)
    assert list(table["machines"]) == ["K1", "K2"]


def test_days_of_a_spreadsheet_are_shown_and_their_zone_asked(tmp_path: Path) -> None:
    """Catches serial days without a zone: their files are never joined, and nobody was asked."""
    rows = [f"{46054 + r / 1440:.8f},{4 + r % 7 / 10},{2 + r % 5 / 10},{r % 2}" for r in range(40)]
    table, text = drafted(tmp_path, "Timestamp,Oil barg,Suction barg,Run", rows)
    assert (table["time"]["form"], table["time"]["zone"]) == ("?", "?")
    assert "as serial days they begin 2026-02-01 00:00:00, in steps of 60 s" in text
    table, _ = drafted(tmp_path, "Timestamp,Oil barg,Suction barg,Run", [r.replace("46054.", "12.") for r in rows])
    assert "zone" not in table["time"]


@pytest.mark.parametrize(
    ("name", "key", "level", "running"),
    [
        ("Compressor power (kW)", "power_above", "4 kW", 30),
        ("Compressor capacity (%)", "load_above", "5 %", 50),
        ("Compressor load (percent)", "load_above", "5 %", 25),
    ],
)
def test_a_power_or_a_load_may_be_the_running_status(
    name: str, key: str, level: str, running: int, tmp_path: Path
) -> None:
    """Catches a log that cannot be read because nothing but power or capacity tells whether the machine runs."""
    rows = [f"{s},4.5,{2 + s % 5 / 10},{running if s % 40 >= 10 else 0.2}" for s in range(80)]
    head = f"t (s),Oil barg,Suction barg,{name}"
    table, text = drafted(tmp_path, head, rows)
    assert table["running"]["column"] == table["running"][key] == "?"
    assert f'"{name}" with {key}?' in text
    own = {
        "oil_pressure": 'column = "Oil barg"',
        "suction_pressure": 'column = "Suction barg"',
        "time": 'column = "t (s)"',
    }
    own["running"] = f'column = "{name}"\n{key} = "{level}"'
    _, (trace,) = bring_in(tmp_path, "\n".join([head, *rows]) + "\n", profile_with(**own))
    assert trace.running.tolist() == [int(s % 40 >= 10) for s in range(80)]
