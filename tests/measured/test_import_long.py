"""Long tables: a row for each reading. What they say comes in as from a table with a column for each tag."""

import tomllib
from pathlib import Path

import pytest

from replay.ground.refusal import Refusal
from replay.library import read_library
from replay.measured.guess import draft_profile
from replay.measured.importing import import_logs
from replay.trace import read_trace
from tests.support.measured import NO_READING, SEA_LEVEL_PA, bring_in

READINGS = [
    (0, "K1.OIL_PRESS", "3.5", "Good"), (0, "K1.SUCT_PRESS", "2.0", "Good"), (0, "K1.RUN", "1", "Good"),
    (1, "K1.OIL_PRESS", "3.6", "Good"), (2, "K1.SUCT_PRESS", "2.1", "Good"), (3, "K1.OIL_PRESS", "9.9", "Bad"),
    (4, "K1.RUN", "0", "Good"), (4, "K1.OIL_PRESS", "3.1", "Good"), (9, "K1.SUCT_PRESS", "2.2", "Good"),
]  # fmt: skip
PROFILE = """
[time]
column = "Time"
zone = "UTC"
max_gap = "5 s"
[long]
tag = "Tag"
value = "Value"
[site]
altitude = "0 m"
[quality]
column = "Quality"
good = ["Good"]
[oil_pressure]
column = "K1.OIL_PRESS"
unit = "bar"
reference = "gauge"
[suction_pressure]
column = "K1.SUCT_PRESS"
unit = "bar"
reference = "gauge"
[running]
column = "K1.RUN"
on_change = true
"""
HEAD = "Time;Tag;Value;Quality\n"


def rows(readings: list[tuple[int, str, str, str]]) -> str:
    """Return readings as lines."""
    return "".join(f"2026-03-01 10:00:{s:02d};{tag};{value};{quality}\n" for s, tag, value, quality in readings)


ORDERS = {
    "as they came": READINGS,
    "tag after tag": sorted(READINGS, key=lambda reading: reading[1]),
    "newest first": READINGS[::-1],
}


def pa(bar: float) -> int:
    """Return absolute Pa of bar gauge at sea level."""
    return round(bar * 100000) + SEA_LEVEL_PA


@pytest.mark.parametrize("order", ORDERS)
def test_a_long_table_gives_the_same_rows_in_any_order(order: str, tmp_path: Path) -> None:
    """Catches tags mixed, a bad reading that holds the one before it, and readings that hold longer than max_gap."""
    report, (trace,) = bring_in(tmp_path, HEAD + rows(ORDERS[order]), PROFILE)

    assert trace.time_ms.tolist() == [0, 1000, 2000, 3000, 4000, 9000]
    assert trace.oil_pa.tolist() == [pa(3.5), pa(3.6), pa(3.6), NO_READING, pa(3.1), pa(3.1)]
    assert trace.suction_pa.tolist() == [pa(2.0), pa(2.0), pa(2.1), pa(2.1), pa(2.1), pa(2.2)]
    assert trace.running.tolist() == [1, 1, 1, 1, 0, 0]
    assert report.counts.not_good["oil_pressure"] == 1
    assert report.counts.held["suction_pressure"] == 3
    assert report.traces[0].start == "starts 2026-03-01T10:00:00.000Z, zone UTC"


def test_a_draft_takes_tags_as_columns(tmp_path: Path) -> None:
    """Catches a historian's export drafted as a table with one value, and a unit column passed by."""
    text = "Timestamp,TagName,Value,Unit,Quality\n" + "".join(
        f"2026-03-01 10:00:{s:02d},{tag},{value},{unit},Good\n"
        for s in range(30)
        for tag, value, unit in (
            ("Oil pressure", f"{45 + s / 10:.1f}", "psig"),
            ("Suction pressure", f"{20 + s / 10:.1f}", "psig"),
            ("Compressor run", "1", ""),
            ("Suction pressure SP", "20", "psig"),
        )
    )
    (tmp_path / "log.csv").write_text(text)
    drafted = draft_profile(tmp_path / "log.csv")
    table = tomllib.loads(drafted)

    assert table["long"] == {"tag": "TagName", "value": "Value"}
    assert table["time"]["column"] == "Timestamp"
    assert (table["oil_pressure"]["column"], table["oil_pressure"]["unit"]) == ("Oil pressure", "psig")
    assert table["running"]["column"] == "Compressor run"
    assert table["quality"] == {"column": "Quality", "good": ["Good"]}
    assert '#   "Suction pressure SP": "sp" names a set point' in drafted
    decided = drafted.replace('altitude = "?"', 'altitude = "0 m"').replace('zone = "?"', 'zone = "UTC"')
    report, (trace,) = bring_in(tmp_path, text, decided)
    assert len(trace.time_ms) == 30
    assert report.counts.held["oil_pressure"] == 0


def test_a_column_names_the_machine_of_a_long_table(tmp_path: Path) -> None:
    """Catches readings of two machines with the same tags taken for one."""
    lines = "".join(
        f"2026-03-01 10:00:{s:02d};K{n};{tag};{value};Good\n"
        for s in range(4)
        for n in (1, 2)
        for tag, value in (("K1.OIL_PRESS", f"{n}.5"), ("K1.SUCT_PRESS", "1.0"), ("K1.RUN", "1"))
    )
    (tmp_path / "log.csv").write_text("Time;Unit;Tag;Value;Quality\n" + lines)
    (tmp_path / "p.toml").write_text(PROFILE + '[trace]\nmachine_column = "Unit"\n')
    found = import_logs([tmp_path / "log.csv"], tmp_path / "lib", tmp_path / "p.toml")
    oil = {e.machine: set(read_trace(e.path).oil_pa.tolist()) for e in read_library(tmp_path / "lib").entries}

    assert not found.refused
    assert oil == {"K1": {pa(1.5)}, "K2": {pa(2.5)}}


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("K1.RUN", "K1.RN"), "no tag 'K1.RUN'"),
        (("K1.OIL_PRESS;3.6", "K1.OIL_PRESS;x"), r'time .*K1.OIL_PRESS = "x": not a number'),
        (("10:00:01", "10:77:01"), r'line 5, time = "2026-03-01 10:77:01": no time'),
        (("K1.RUN;0;Good", "K1.RUN;0"), "3 cells under 4 columns"),
    ],
)
def test_what_is_wrong_in_a_long_table_is_refused_by_its_place(
    change: tuple[str, str], said: str, tmp_path: Path
) -> None:
    """Catches a tag that is not there, a word, a broken time and a torn row that are passed over."""
    with pytest.raises(Refusal, match=said):
        bring_in(tmp_path, (HEAD + rows(READINGS)).replace(*change), PROFILE)


TAG_FILES = """
[time]
column = "Time"
zone = "UTC"
max_gap = "5 s"
[site]
altitude = "0 m"
[oil_pressure]
file = "*OILP*"
column = "Value"
unit = "bar"
reference = "gauge"
[suction_pressure]
file = "*SUCP*"
column = "Value"
unit = "bar"
reference = "gauge"
[running]
file = "*_RUN*"
column = "Value"
on_change = true
[trace]
machine_from = "folder"
"""


def test_one_file_a_tag_comes_in_as_one_machine(tmp_path: Path) -> None:
    """Catches files of a set imported by themselves, sets of two machines mixed, and marks of a country misread."""
    for machine, bar in (("basalt", 3), ("gneiss", 4)):
        (tmp_path / machine).mkdir()
        for tag, values in {"OILP": [f"{bar},5", f"{bar},6"], "SUCP": ["2,0", "2,1"], "RUN": ["1", "0"]}.items():
            lines = [f"2026-03-01 10:00:{n:02d};{value}\n" for n, value in enumerate(values)]
            (tmp_path / machine / f"{tag if tag != 'RUN' else 'K_RUN'}_2026-03.csv").write_text(
                "Time;Value\n" + "".join(lines)
            )
    (tmp_path / "p.toml").write_text(TAG_FILES.replace('"*_RUN*"', '"K_RUN*"'))
    files = sorted(tmp_path.glob("*/*.csv"))
    found = import_logs(files, tmp_path / "lib", tmp_path / "p.toml")
    entries = {entry.machine: entry for entry in read_library(tmp_path / "lib").entries}

    assert not found.refused
    assert sorted(entries) == ["basalt", "gneiss"]
    assert read_trace(entries["gneiss"].path).oil_pa.tolist() == [pa(4.5), pa(4.6)]
    assert read_trace(entries["basalt"].path).running.tolist() == [1, 0]
    assert entries["basalt"].source == "2026-03.csv"
    assert [bool(report.already) for report in import_logs(files, tmp_path / "lib", tmp_path / "p.toml").reports] == [
        True,
        True,
    ]
    (told,) = import_logs(files[1:], tmp_path / "other", tmp_path / "p.toml").refused
    assert 'no file of running ("K_RUN*") beside it' in told
    (tmp_path / "basalt" / "x.csv").write_text("Time;Value\n2026-03-01 10:00:00;1\n")
    (told,) = import_logs([*files, tmp_path / "basalt" / "x.csv"], tmp_path / "other", tmp_path / "p.toml").refused
    assert "is of no signal by the patterns of p.toml" in told


def with_units(later: str) -> str:
    """Return a long table with a column of units, in which that of the oil pressure changes."""
    lines = ["Time;Tag;Value;Unit;Quality"]
    for s, tag, value, quality in READINGS:
        unit = "" if tag == "K1.RUN" else later if tag == "K1.OIL_PRESS" and s > 2 else "bar"
        lines.append(f"2026-03-01 10:00:{s:02d};{tag};{value};{unit};{quality}")
    return "\n".join(lines) + "\n"


def test_a_unit_that_changes_within_a_tag_or_is_another_than_stated_is_refused(tmp_path: Path) -> None:
    """Catches readings a hundred times too high since a controller went from bar to kPa, or its next export did."""
    _, (trace,) = bring_in(tmp_path, with_units("bar"), PROFILE)
    assert trace.oil_pa[0] == pa(3.5)
    with pytest.raises(Refusal, match=r"tag K1.OIL_PRESS: its readings are in bar and kPa"):
        bring_in(tmp_path, with_units("kPa"), PROFILE)
    stated = PROFILE.replace('unit = "bar"', 'unit = "psi"', 1)
    with pytest.raises(Refusal, match=r"unit = \"psi\": contradicts .* is in bar"):
        bring_in(tmp_path, with_units("bar"), stated)
    unsaid = PROFILE.replace('unit = "bar"\n', "")
    _, (trace,) = bring_in(tmp_path, with_units("bar"), unsaid)
    assert trace.oil_pa[0] == pa(3.5)
