"""Which column is which signal and which is the time, rule by rule, on columns as they are seen."""

import datetime as dt
from pathlib import Path

import pytest

from replay.measured.candidates import Chosen, choose, fit
from replay.measured.guess_signals import channel_lines, is_quality, qualities_of, quality_lines, running_lines
from replay.measured.guess_time import time_columns, time_lines
from replay.measured.look import Look, Seen
from replay.measured.marks import Marks

OIL, SUCTION, RUN = "Oil pressure (bar g)", "Suction pressure (bar g)", "Compressor run"
READ = [f"{4 + n / 10:g}" for n in range(10)]
ON_OFF = ["1", "0"] * 5


def seen(*columns: tuple[str, list[str]]) -> list[Seen]:
    """Return columns with their places."""
    return [Seen(place, name, "", cells) for place, (name, cells) in enumerate(columns)]


def chosen(*columns: tuple[str, list[str]]) -> Chosen:
    """Return what is chosen of columns."""
    return choose(seen(*columns))


def names(found: Chosen) -> dict[str, str]:
    """Return the names of the columns that were taken."""
    return {signal: column.name for signal, column in found.taken.items()}


def asked(found: Chosen) -> dict[str, list[tuple[str, str]]]:
    """Return what is asked: name and why."""
    return {signal: [(column.name, why) for column, why in some] for signal, some in found.asked.items()}


LEAST = "the least between two rows, which shows a short spell"
MEAN = "a mean between two rows, which hides a short spell"
MOST = "the most between two rows, which hides a spell"


def test_one_column_that_fits_plainly_is_taken_and_two_are_asked() -> None:
    """Catches the first of two taken, and what each keeps of the readings between two rows told of the other."""
    rest = ((SUCTION, READ), (RUN, ON_OFF))
    found = chosen((OIL, READ), *rest)
    assert names(found) == {"oil_pressure": OIL, "suction_pressure": SUCTION, "running": RUN}
    assert (found.asked, found.left, found.machines) == ({}, [], {})

    found = chosen(("Oil pressure min (bar g)", READ), ("Oil pressure avg (bar g)", READ), *rest)
    assert asked(found) == {"oil_pressure": [("Oil pressure min (bar g)", LEAST), ("Oil pressure avg (bar g)", MEAN)]}


@pytest.mark.parametrize(("word", "taken", "why"), [("min", True, ""), ("mean", True, ""), ("max", False, MOST)])
def test_the_most_of_an_oil_pressure_is_asked_and_its_least_is_taken(word: str, taken: bool, why: str) -> None:
    """Catches the highest reading of a minute taken for the oil pressure: a short spell never shows in it."""
    name = f"Oil pressure {word} (bar g)"
    found = chosen((name, READ), (SUCTION, READ), (RUN, ON_OFF))

    assert ("oil_pressure" in found.taken) is taken
    assert asked(found) == ({} if taken else {"oil_pressure": [(name, why)]})


def test_nothing_that_fits_is_asked_as_nothing() -> None:
    """Catches a missing oil pressure that nobody asks for, and an optional signal that everybody is asked for."""
    assert asked(chosen((SUCTION, READ), (RUN, ON_OFF))) == {"oil_pressure": []}
    assert asked(chosen((OIL, READ), (RUN, ON_OFF))) == {"suction_pressure": []}


def test_a_status_goes_before_a_current_and_a_current_before_a_speed() -> None:
    """Catches a machine judged by its current though a status is there, and a current that is lost where it is not."""
    pressures, amps, speed = ((OIL, READ), (SUCTION, READ)), ("Motor current (A)", READ), ("Speed (rpm)", READ)
    with_status = chosen(*pressures, (RUN, ON_OFF), amps)
    assert names(with_status)["running"] == RUN and "current" not in with_status.taken
    assert [(c.name, why) for c, why in with_status.left] == [
        ("Motor current (A)", "a current; the running status is a column of its own")
    ]
    assert names(chosen(*pressures, amps))["current"] == "Motor current (A)"
    perhaps = ("Status", ON_OFF)
    state = '"status" may be the state of anything'
    assert asked(chosen(*pressures, perhaps, amps))["running"] == [
        ("Status", state),
        ("Motor current (A)", "its current, with current_above"),
    ]
    found = chosen(*pressures, perhaps, speed)
    assert asked(found)["running"] == [("Status", state), ("Speed (rpm)", "its speed, with speed_above")]
    assert names(found)["speed"] == "Speed (rpm)"
    assert asked(chosen(*pressures, perhaps, amps, speed))["running"][1:] == [
        ("Motor current (A)", "its current, with current_above")
    ]


@pytest.mark.parametrize(
    ("name", "signal", "fits"),
    [
        ("Oil pressure (degC)", "oil_pressure", False),
        ("Oil pressure (mA)", "oil_pressure", True),
        ("Oil pressure (A)", "oil_pressure", False),
        ("Oil pressure bar(a)", "oil_pressure", True),
        ("Oil temperature (degC)", "oil_temperature", True),
        ("Oil temperature (degC)", "oil_pressure", False),
        ("Oil (degC)", "oil_temperature", True),
        ("Suction temperature (degC)", "suction_pressure", False),
        ("LP (bar)", "suction_pressure", True),
        ("Suction differential pressure (bar)", "suction_pressure", False),
        ("Crankcase (bar)", "crankcase_pressure", True),
        ("Crankcase", "crankcase_pressure", False),
        ("Crankcase pressure", "crankcase_pressure", True),
        ("Crankcase temperature", "crankcase_pressure", False),
        ("Oil pump speed (rpm)", "speed", False),
        ("Speed (rpm)", "speed", True),
        ("rpm", "speed", True),
        ("RPM", "speed", True),
        ("Amps", "current", True),
        ("A", "current", False),
        ("Motor current", "current", True),
    ],
)
def test_a_name_fits_a_signal_by_its_words_and_its_unit(name: str, signal: str, fits: bool) -> None:
    """Catches a temperature taken for a pressure, a difference for a suction, and the pump's speed for the machine's."""
    assert bool(fit(Seen(0, name, "", READ), signal).how) is fits


@pytest.mark.parametrize(
    ("cells", "why"),
    [
        (READ, ""),
        (["4.5"] * 5 + ["run"] * 5, ""),
        (["4.5"] * 4 + ["run"] * 6, "holds words, not numbers"),
        (["0", "1", "1"], "holds only 0 and 1"),
        (["0", "1"], ""),
        (["0", "1", "2"], ""),
    ],
)
def test_what_stands_in_a_column_may_speak_against_its_name(cells: list[str], why: str) -> None:
    """Catches a status taken for a pressure by its name, and a pressure with some words in it thrown away."""
    found = fit(Seen(0, OIL, "", cells), "oil_pressure")

    assert (bool(found.how), found.why) == (not why, why)


@pytest.mark.parametrize(
    ("name", "cells", "how", "why"),
    [
        ("Compressor", ON_OFF, "by half", '"Compressor" may be the state of anything'),
        ("Compressor", READ, "", ""),
        ("Status", [f"s{n}" for n in range(8)], "by half", '"status" may be the state of anything'),
        ("Status", [f"s{n}" for n in range(9)], "", "holds too many words for a status"),
        ("Status", [str(n) for n in range(9)], "", "holds readings, not a status"),
        ("Run", [f"0.{n}" for n in range(1, 10)] + ["1"], "plainly", ""),  # shares of the row in which it ran
        ("Run (bar)", ON_OFF, "", "has a unit, so it is no status"),
        ("Oil pump run", ON_OFF, "", "not the status of the compressor itself"),
        ("Run", [], "", "is empty"),
    ],
)
def test_a_status_is_told_by_its_name_and_few_words(name: str, cells: list[str], how: str, why: str) -> None:
    """Catches the run of a pump taken for the compressor's, and readings or a text of the plant taken for a status."""
    found = fit(Seen(0, name, "", cells), "running")

    assert (found.how, found.why) == (how, why)


def rack(
    *numbers: str, own: tuple[str, ...] = ("oil (bar g)", "suction (bar g)", "run")
) -> list[tuple[str, list[str]]]:
    """Return the columns of machines."""
    return [(f"Comp {n} {name}", ON_OFF if name == "run" else READ) for n in numbers for name in own]


def test_columns_that_differ_by_a_number_are_machines() -> None:
    """Catches the pressures of one machine beside the status of another, and a suction of the rack that none has."""
    found = chosen(*rack("1", "2"))
    assert {name: sorted(c.name for c in of.values()) for name, of in found.machines.items()} == {
        f"Comp {n}": [f"Comp {n} oil (bar g)", f"Comp {n} run", f"Comp {n} suction (bar g)"] for n in "12"
    }
    assert found.taken == next(iter(found.machines.values()))

    shared = chosen(*rack("1", "2", own=("oil (bar g)", "run")), (SUCTION, READ))
    assert {of["suction_pressure"].name for of in shared.machines.values()} == {SUCTION}
    assert chosen(*rack("1", "2", own=("oil (bar g)", "suction (bar g)")), (RUN, ON_OFF)).machines == {}
    assert chosen(*rack("1", "2", own=("oil (bar g)", "run"))).machines == {}
    assert chosen(*rack("1")).machines == {}
    assert chosen(*rack("1", "1", "2")).machines == {}
    currents = chosen(*rack("1", "2", own=("oil (bar g)", "suction (bar g)", "current (A)")), (RUN, ON_OFF))
    assert [sorted(of) for of in currents.machines.values()] == [["current", "oil_pressure", "suction_pressure"]] * 2


def test_a_word_that_nobody_knows_is_a_machines_name_where_both_pressures_have_it() -> None:
    """Catches another machine's oil pressure taken without a question, and a question about each name of a plant."""
    own = chosen(("Zephyr oil pressure (bar g)", READ), ("Zephyr suction pressure (bar g)", READ), (RUN, ON_OFF))
    assert asked(own) == {}
    other = chosen(("Zephyr oil pressure (bar g)", READ), (SUCTION, READ), (RUN, ON_OFF))
    assert asked(other) == {"oil_pressure": [("Zephyr oil pressure (bar g)", '"zephyr" may name something else')]}


def test_marks_of_quality_stand_behind_their_columns() -> None:
    """Catches the mark of one signal taken for another's, and any column of words taken for marks."""
    marks = ["Good", "Bad"] * 5
    columns = seen(("time", []), (OIL, READ), ("q1", marks), (SUCTION, READ), ("q2", marks), (RUN, ON_OFF))
    found = choose([columns[1], columns[3], columns[5]])

    assert [is_quality(column) for column in columns] == [False, False, True, False, True, False]
    assert qualities_of(found, [columns[2], columns[4]]) == {1: columns[2], 3: columns[4]}
    assert qualities_of(found, [columns[2]]) == {}
    assert is_quality(Seen(0, "Quality", "", [f"w{n}" for n in range(8)]))
    assert not is_quality(Seen(0, "Quality", "", [f"w{n}" for n in range(9)]))
    assert not is_quality(Seen(0, "x", "", ["Good"] * 9))
    assert not is_quality(Seen(0, "x", "", ["Good", "Bad", "42"]))
    text = "\n".join(quality_lines(look_at(*columns), [columns[2]], {}))
    assert 'good = ["Good"]' in text and "it holds Good, Bad" in text


def look_at(*columns: Seen) -> Look:
    """Return a look at these columns."""
    return Look(Path("log.csv"), "", list(columns), [], Marks())


STAMPS = [f"2026-03-02 08:{n // 60:02d}:{n % 60:02d}" for n in range(0, 200, 5)]


def timed(*columns: tuple[str, list[str]]) -> tuple[list[str], list[str], bool]:
    """Return names of the time's columns, of others that may be it, and whether that is asked."""
    found = time_columns(look_at(*seen(*columns)))
    return [c.name for c in found.columns], [c.name for c in found.others], found.asked


def test_the_time_is_the_column_of_dates_or_of_numbers_that_rise() -> None:
    """Catches a row number taken for the time without a question, and newest first not seen as a time."""
    up, down, flat = ([str(5 * n) for n in range(10)], [str(50 - 5 * n) for n in range(10)], ["1", "2"] * 5)
    assert timed(("Stamp", STAMPS), ("n", [str(n) for n in range(40)])) == (["Stamp"], [], False)
    assert timed(("Stamp", STAMPS), ("Server", STAMPS)) == (["Stamp"], ["Server"], True)
    assert timed(("Date", [s[:10] for s in STAMPS]), ("Time", [s[11:] for s in STAMPS])) == (
        ["Date", "Time"],
        [],
        False,
    )
    assert timed(("x", flat), ("Time", up)) == (["Time"], [], False)
    assert timed(("x", flat), ("n", up)) == (["n"], [], True)
    assert timed(("n", up), ("Time", up)) == (["Time"], [], False)
    assert timed(("Time", up), ("Clock", up)) == (["Time"], ["Clock"], True)
    assert timed(("x", flat), ("Time", down)) == (["Time"], [], False)
    assert timed(("x", flat), ("Time", sorted([*up, *up], key=int))) == (["Time"], [], False)
    assert timed(("x", flat)) == ([], [], False)


@pytest.mark.parametrize(("times", "of_20"), [(18, True), (17, False)])
def test_a_column_of_times_may_hold_a_few_other_cells(times: int, of_20: bool) -> None:
    """Catches a total below the rows that hides the time, and a column of words taken for one."""
    cells = STAMPS[:times] + ["total"] * (20 - times)

    assert bool(time_columns(look_at(*seen(("Stamp", cells)))).columns) is of_20


def drafted(times_s: list[float], *other: tuple[str, list[str]]) -> str:
    """Return what a draft says of times in s."""
    look = look_at(*seen(("Time (s)", [f"{s:g}" for s in times_s]), *other))
    return "\n".join(time_lines(look, time_columns(look)))


def test_the_longest_gap_is_three_of_the_loggers_steps() -> None:
    """Catches a gap of one step, at which each late row splits a trace, and the mean of steps taken for the step."""
    assert 'max_gap = "15 s"  # DOUBT: 3 steps of 5 s' in drafted([5 * n for n in range(40)])
    assert 'max_gap = "15 s"  # DOUBT: 3 steps of 5 s' in drafted([*(5 * n for n in range(40)), 9000])
    assert 'max_gap = "15 s"' in drafted([200 - 5 * n for n in range(40)])


def test_rows_on_change_are_asked_where_steps_are_uneven_and_no_two_rows_alike() -> None:
    """Catches a log on change drafted with gaps, and an even log, or one whose rows repeat, asked about."""
    steps = [1.0, 3.0, 7.0, 2.0, 30.0] * 8
    times = [sum(steps[:n]) for n in range(len(steps))]
    changing = [str(n) for n in range(len(steps) - 1)] + ["0"]
    text = drafted(times, ("x", changing))

    assert 'on_change = "?"' in text and 'max_gap = "2 s"' in text and "steps go from 1 to 30 s" in text
    assert "on_change" not in drafted(times, ("x", ["1"] * 20 + ["2"] * 20))
    even = [5.0, 5.0, 6.0, 4.0, 5.0] * 8  # within a fifth of the usual one
    far = [*(sum(even[:n]) for n in range(40)), 900.0]
    assert "on_change" not in drafted(far, ("x", [*changing, "1"]))
    repeated = [str(n) for n in range(49)] + ["48"]  # one row of fifty as the row before
    steps = [1.0, 3.0, 7.0, 2.0, 30.0] * 10
    assert 'on_change = "?"' in drafted([sum(steps[:n]) for n in range(50)], ("x", repeated))
    few = [1.0, 3.0, 4.9, 2.0, 3.0] * 8  # uneven, but none far beyond the usual one
    assert "on_change" not in drafted([sum(few[:n]) for n in range(40)], ("x", changing))


def test_a_time_of_day_in_digits_stands_beside_its_date() -> None:
    """Catches the date alone taken for the time, so that a whole day is one moment, and any number beside it for a clock."""
    days = ["2026-03-02"] * 20 + ["2026-03-03"] * 20
    digits = [f"08{n:02d}05" for n in range(40)]
    share = [f"{n / 40:g}" for n in range(40)]

    assert timed(("Date", days), ("Time", digits)) == (["Date", "Time"], [], False)
    assert timed(("Date", days), ("Time", share)) == (["Date", "Time"], [], True)
    assert timed(("Date", days), ("Time", [*share[:-1], "1"])) == (["Date"], [], False)
    assert timed(("Date", days), ("x", digits)) == (["Date"], [], False)
    single = [f"2026-03-{n % 28 + 1:02d}" for n in range(28)]
    assert timed(("Date", single), ("Time", digits[:28])) == (["Date"], [], False)


def test_two_clocks_that_drift_apart_are_told_so() -> None:
    """Catches signals of which each has a time of its own joined by the row, and a fixed difference called a drift."""
    start = dt.datetime(2026, 3, 2, 8, tzinfo=dt.UTC)
    one, fixed, drifting = (
        [(start + dt.timedelta(seconds=ahead + step * n)).strftime("%Y-%m-%d %H:%M:%S") for n in range(30)]
        for ahead, step in ((0, 5), (2, 5), (0, 6))
    )
    for other, drifts in ((fixed, False), (drifting, True)):
        look = look_at(*seen(("Oil time", one), ("Suction time", other)))
        assert ("they drift apart" in "\n".join(time_lines(look, time_columns(look)))) is drifts
    few = look_at(*seen(("Oil time", one[:19]), ("Suction time", drifting[:19])))
    assert "they drift apart" not in "\n".join(time_lines(few, time_columns(few)))


STATUS = ["ON"] * 50 + ["OFF"] * 50
AMPS = ["40.5"] * 50 + ["0.1"] * 50


@pytest.mark.parametrize(("wrong", "doubted"), [(0, False), (1, False), (2, True)])
def test_a_status_that_the_current_contradicts_is_a_question(wrong: int, doubted: bool) -> None:
    """Catches a status turned round that is taken, and a start or a stop for which a sound one is doubted."""
    status = ["OFF"] * wrong + STATUS[wrong:]
    columns = seen((OIL, READ * 10), (SUCTION, READ * 10), (RUN, status), ("Motor current (A)", AMPS))
    text = "\n".join(running_lines(look_at(*columns), choose(columns), {}))

    assert ("says otherwise" in text) is doubted


def test_a_channel_that_is_not_chosen_asks_for_what_its_columns_do_not_say() -> None:
    """Catches a unit or a zero asked for that stands in the file, and one that is not asked for and stands nowhere."""
    two = seen(("Oil pressure A1 (bar g)", READ), ("Oil pressure B2 (bar g)", READ), (SUCTION, READ), (RUN, ON_OFF))
    text = "\n".join(channel_lines(look_at(*two), "oil_pressure", choose(two), {}))
    assert 'column = "?"' in text and "unit" not in text and "reference" not in text
    bare = seen(("Oil pressure 1", READ), ("Oil pressure 2 (bar)", READ), (SUCTION, READ), (RUN, ON_OFF))
    text = "\n".join(channel_lines(look_at(*bare), "oil_pressure", choose(bare), {}))
    assert 'unit = "?"' in text and 'reference = "?"' in text


def test_times_of_a_local_clock_ask_for_their_zone_and_repeated_ones_for_their_step() -> None:
    """Catches a local time read as UTC without a question, and rows of one minute left out as repeated."""
    look = look_at(*seen(("Stamp", STAMPS)))
    assert 'zone = "?"' in "\n".join(time_lines(look, time_columns(look)))
    minutes = look_at(*seen(("Stamp", [stamp[:16] for stamp in STAMPS])))
    assert 'step = "?"  # DOUBT: times repeat, 10 rows each' in "\n".join(time_lines(minutes, time_columns(minutes)))
    rows = look_at(*seen(("Time", [str(n) for n in range(9)])))
    assert "they rise by one a row" in "\n".join(time_lines(rows, time_columns(rows)))
