"""What holds, what is marked as not good, what is no reading, and what was lost: held, left, counted, said first."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from replay.ground.refusal import Refusal
from replay.measured.block import Block
from replay.measured.guess import draft_profile
from replay.measured.holding import Holding
from replay.measured.profile import read_profile
from tests.support.command import lubetrip
from tests.support.measured import HEADER, NO_READING, PROFILE, SEA_LEVEL_PA, bring_in, profile_with

DOT = 'decimal = "."\nsentinels = ["Bad"]'
HELD = 'on_change = true\nlongest_hold = "1 h"'


def pa(bar: float) -> int:
    """Return absolute Pa of bar gauge at sea level."""
    return round(bar * 100000) + SEA_LEVEL_PA


def test_a_flat_stretch_of_a_log_written_on_change_is_there(tmp_path: Path) -> None:
    """Catches just the stretch in which nothing changed lost as a gap, and a reading that holds for ever."""
    text = HEADER + "0;3.5;2;1\n1;3.6;2;1\n1800;0.5;2;1\n1801;3.5;2;1\n9000;3.4;2;1\n9001;3.3;2;1\n"
    without, _ = bring_in(tmp_path, text, profile_with(file=DOT))
    report, traces = bring_in(tmp_path, text, profile_with(file=DOT, time=HELD))
    hours = sum(part.end_ms - part.start_ms for part in report.counts.parts) / 3600000

    assert sum(part.end_ms - part.start_ms for part in without.counts.parts) == 3000
    assert 1.49 < hours < 1.51  # of 2.5 h: 1800 s, and 1 h of the 7199 s in which nothing was written
    assert len(traces) == 2
    assert np.diff(traces[0].time_ms).max() == 5000
    assert set(traces[0].oil_pa[2:350].tolist()) == {pa(3.6)}
    assert report.counts.made == traces[0].time_ms.size - 4
    assert report.counts.held["oil_pressure"] == 0
    assert report.as_json()["said_first"][0].startswith("Can be judged on 60 % of its hours.")


def test_a_slow_channel_holds_by_its_own_age_and_is_counted(tmp_path: Path) -> None:
    """Catches a slow channel that counts as missing nine times of ten, and one that holds longer than it may."""
    rows = "".join(f"{s};3.5;{'2.1' if s in (0, 10, 20) else ''};1\n" for s in range(60))
    slow = 'on_change = true\nlongest_hold = "15 s"'
    report, (trace,) = bring_in(tmp_path, HEADER + rows, profile_with(file=DOT, suction_pressure=slow))
    seen = trace.suction_pa != NO_READING

    assert seen.tolist() == [s <= 35 for s in range(60)]
    assert report.counts.held["suction_pressure"] == 33


def test_a_reading_of_nothing_ends_a_hold(tmp_path: Path) -> None:
    """Catches a value from before a failure held through the failure."""
    rows = "0;3.5;2;1\n1;;2;1\n2;Bad;2;1\n3;;2;1\n4;3.4;2;1\n"
    _, (trace,) = bring_in(tmp_path, HEADER + rows, profile_with(file=DOT, oil_pressure=HELD))

    assert trace.oil_pa.tolist() == [pa(3.5), pa(3.5), NO_READING, NO_READING, pa(3.4)]


@settings(max_examples=100)
@given(
    steps=st.lists(st.tuples(st.integers(1, 40), st.sampled_from([1.0, 2.0, np.nan]), st.booleans()), max_size=20),
    cuts=st.lists(st.integers(1, 5), min_size=1, max_size=20),
)
def test_what_holds_does_not_depend_on_blocks(steps: list, cuts: list[int], tmp_path_factory) -> None:
    """Catches a reading forgotten, or made rows doubled, where a block ends. Held against a walk row by row."""
    path = tmp_path_factory.getbasetemp() / "held.toml"
    path.write_text(profile_with(time='-unit\nunit = "ms"\nmax_gap = "7 ms"\non_change = true\nlongest_hold = "20 ms"'))
    profile = read_profile(path)
    holding, found, done = Holding(profile), [], 0
    times = np.cumsum([step for step, *_ in steps]).astype(np.int64) if steps else np.zeros(0, dtype=np.int64)
    for cut in [*cuts, len(steps)]:
        part = slice(done, done + cut)
        values = np.array([value for _, value, _ in steps[part]], dtype=float)
        silent = np.array([none for *_, none in steps[part]], dtype=bool)
        readings = {signal: np.where(silent, np.nan, values) for signal in ("oil_pressure", "suction_pressure")}
        status = {"running": np.ones(len(values), dtype=np.int8)}
        block = Block(times[part], readings, status, str, silent=dict.fromkeys(readings, silent))
        for out in holding.take(block):
            found += list(
                zip(out.time_ms.tolist(), np.nan_to_num(out.values["oil_pressure"], nan=-1).tolist(), strict=True)
            )
        done += cut
    wanted, last, said, before = [], -1.0, 0, None
    for now, (_, value, none) in zip(times.tolist(), steps, strict=True):
        made = [] if before is None else range(before + 7, min(now, before + 20 - 20 % 7 + 1), 7)
        wanted += [(ms, last if ms - said <= 20 else -1.0) for ms in made]
        if not none:
            last, said = (-1.0 if np.isnan(value) else value), now
        wanted.append((now, last if now - said <= 20 else -1.0))
        before = now

    assert found == wanted


QUALITY = 'good = ["Good", 192]'


def test_what_a_quality_column_calls_bad_is_no_reading(tmp_path: Path) -> None:
    """Catches a frozen value marked Bad counted as good, a mark without capitals or as 192.0, and an empty mark."""
    marks = ["Good", "GOOD", "192", "192.0", "Bad", "", "Uncertain"]
    text = "t;oil;suction;run;q\n" + "".join(f"{s};3.5;2;1;{mark}\n" for s, mark in enumerate(marks))
    whole = profile_with(file=DOT, quality=f'column = "q"\n{QUALITY}')
    one = profile_with(file=DOT, oil_pressure='quality = "q"', quality=QUALITY)
    report, traces = bring_in(tmp_path, text, whole)
    own, (trace,) = bring_in(tmp_path, text, one)

    assert len(traces[0].time_ms) == 4
    assert report.counts.not_good["oil_pressure"] == 3
    assert (trace.oil_pa != NO_READING).tolist() == [True] * 4 + [False] * 3
    assert (trace.suction_pa != NO_READING).all()
    assert own.as_json()["not_good"] == {"oil_pressure": 3}
    with pytest.raises(Refusal, match=r"\[quality\] good: missing key"):
        bring_in(tmp_path, text, profile_with(file=DOT, oil_pressure='quality = "q"'))


def test_a_draft_names_the_quality_column(tmp_path: Path) -> None:
    """Catches marks of quality that a draft passes by."""
    rows = "".join(f"{s},50.5,20.5,1,{'Bad' if s % 9 == 0 else 'Good'}\n" for s in range(60))
    (tmp_path / "log.csv").write_text("time_s,Oil psig,Suction psig,Run,Quality\n" + rows)
    table = tomllib.loads(draft_profile(tmp_path / "log.csv"))

    assert table["quality"] == {"column": "Quality", "good": ["Good"]}


def test_a_draft_asks_whether_rows_come_on_change(tmp_path: Path) -> None:
    """Catches a log on change drafted as if its flat stretches were gaps, and an even log that is asked about."""
    uneven = [
        0,
        1,
        2,
        3,
        4,
        600,
        601,
        602,
        2000,
        2001,
        2002,
        2003,
        2500,
        2501,
        2600,
        2601,
        2602,
        4000,
        4001,
        4900,
        4901,
        4902,
        5800,
    ]
    rows = "".join(f"{s},{50 + n % 11}.5,{20 + n % 7}.5,{n % 2}\n" for n, s in enumerate(uneven))
    (tmp_path / "log.csv").write_text("time_s,Oil psig,Suction psig,Run\n" + rows)
    even = "".join(f"{s},{50 + s % 11}.5,{20 + s % 7}.5,{s % 2}\n" for s in range(40))
    (tmp_path / "even.csv").write_text("time_s,Oil psig,Suction psig,Run\n" + even)
    slow = "".join(f"{s},{50 + s % 11}.5,{'20.5' if s % 10 == 0 else ''},{s % 2}\n" for s in range(60))
    (tmp_path / "slow.csv").write_text("time_s,Oil psig,Suction psig,Run\n" + slow)

    time = tomllib.loads(draft_profile(tmp_path / "log.csv"))["time"]
    assert (time["on_change"], time["longest_hold"], time["max_gap"]) == ("?", "?", "2 s")
    assert "on_change" not in tomllib.loads(draft_profile(tmp_path / "even.csv"))["time"]
    suction = tomllib.loads(draft_profile(tmp_path / "slow.csv"))["suction_pressure"]
    assert (suction["on_change"], suction["longest_hold"]) == (True, "?")


@pytest.mark.parametrize(
    "section", [{"time": "on_change = true"}, {"oil_pressure": "on_change = true"}], ids=["rows", "one signal"]
)
def test_nothing_holds_for_ever(section: dict[str, str], tmp_path: Path) -> None:
    """Catches a reading of last week that stands for a dead sensor."""
    with pytest.raises(Refusal, match="longest_hold: on_change without it would let a reading hold for ever"):
        bring_in(tmp_path, HEADER + "0;3.5;2;1\n", profile_with(**section))


def test_readings_below_absolute_zero_are_none(tmp_path: Path) -> None:
    """Catches a broken transmitter's -1.6 bar taken as a deep vacuum."""
    report, (trace,) = bring_in(tmp_path, HEADER + "0;3.5;-1.6;1\n1;3.5;-0.9;1\n2;3.5;2.5;1\n", profile_with(file=DOT))

    assert trace.suction_pa.tolist() == [NO_READING, pa(-0.9), pa(2.5)]
    assert "suction pressure: 1 readings below absolute zero were taken as no reading" in report.doubts


def test_minus_one_among_readings_is_a_sentinel_and_is_asked(tmp_path: Path) -> None:
    """Catches the commonest sentinel taken as a vacuum; and a machine in vacuum refused."""
    lost = HEADER + "".join(f"{s};{'-1' if s % 9 == 0 else '3.5'};2.{s % 7};1\n" for s in range(60))
    vacuum = HEADER + "".join(f"{s};3.5;{2 - s / 20:.2f};1\n" for s in range(61))
    with pytest.raises(Refusal, match=r"oil_pressure = -1: looks like a sentinel for no reading and stands 7 times"):
        bring_in(tmp_path, lost, profile_with(file='decimal = "."'))
    report, _ = bring_in(tmp_path, vacuum, profile_with(file='decimal = "."', suction_pressure='-unit\nunit = "psi"'))

    assert report.counts.readings["suction_pressure"].missing == 0


def test_a_broken_wire_is_no_reading(tmp_path: Path) -> None:
    """Catches 0 mA read as a pressure: scaled raw numbers, and those that no sound sensor gives."""
    text = "t;oil (mA);suction;run\n0;12.00;20;1\n1;0.00;20;1\n2;21.80;19;1\n"
    oil = 'column = "oil (mA)"\nscale = 1.5625\noffset = -6.25\nvalid = [3.8, 20.5]'
    scaled = profile_with(file='decimal = "."', oil_pressure=oil, suction_pressure="scale = 0.1")
    report, (trace,) = bring_in(tmp_path, text, scaled)

    assert trace.oil_pa.tolist() == [pa(12.5), NO_READING, NO_READING]
    assert trace.suction_pa.tolist() == [pa(2.0), pa(2.0), pa(1.9)]
    assert any("oil pressure: 2 readings outside what its sensor gives" in doubt for doubt in report.doubts)


def test_what_was_lost_is_the_first_line_of_the_report(tmp_path: Path) -> None:
    """Catches a log of which a third is left that reads like a whole one; and a warning over a whole log."""
    rows = "".join(f"{s};{'Bad' if s % 3 else '3.5'};2;1\n" for s in [*range(60), *range(200, 260)])
    (tmp_path / "log.csv").write_text(HEADER + rows)
    (tmp_path / "p.toml").write_text(profile_with(file=DOT))
    out = lubetrip("import", tmp_path / "log.csv", "--to", tmp_path / "lib", "--profile", tmp_path / "p.toml").stdout
    first = " ".join(out.split("log.csv")[0].split())

    assert first.startswith("LOOK FIRST: Can be judged on 15 % of its hours. 54 % of the 0.07 h are lost in gaps;")
    assert (
        "67 % of the running rows have no net oil pressure; 67 % of the rows have no reading of oil pressure" in first
    )
    assert bring_in(tmp_path, HEADER + "0;3.5;2;1\n1;3.6;2;1\n", PROFILE)[0].as_json()["said_first"] == []
