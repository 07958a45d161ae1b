"""Broken and odd files and profiles: each is refused with file, line or key, value, rule and what would do."""

import os
from pathlib import Path

import pytest

from replay.ground.refusal import Refusal
from tests.support.measured import HEADER, PROFILE, bring_in, import_file, profile_with

pytestmark = pytest.mark.slow("tries many cases of a large space")

GOOD = "0;3.4;2.0;1\n1;3.4;2.0;1\n"
LOG = HEADER + GOOD

FILES: dict[str, tuple[str | bytes, list[str]]] = {
    "empty": ("", ["log.csv: empty"]),
    "blank lines": ("\n\n  \n", ["holds no text"]),
    "nothing but NUL": (b"\0" * 5000, ["holds no text"]),
    "binary": (bytes(range(256)) * 20, ["not text", "CSV text, Parquet or MDF 4"]),
    "a workbook": (b"PK\x03\x04" + b"x" * 100, ["cannot be unpacked", "pack or copy it again"]),
    "compressed": (b"\x1f\x8b\x08" + b"x" * 100, ["cannot be unpacked", "pack or copy it again"]),
    "a document": (b"%PDF-1.7\n" + b"x" * 100, ["document"]),
    "cut Parquet": (b"PAR1" + b"x" * 100, ["not a readable Parquet file"]),
    "cut MDF": (b"MDF     4.10    " + b"x" * 100, ["not a readable MDF file", "whole MDF 4 file"]),
    "prose": ("lorem ipsum\ndolor sit amet\n", ["no table of columns", "[file] separator"]),
    "separators alone": (";;\n;;\n", ["no row of readings"]),
    "a form feed": ("\f", ["no table of columns"]),
    "header only": (HEADER, ["no row of readings"]),
    "one row": (HEADER + "0;3.4;2.0;1\n", ["1 of 1 rows", "2 rows or more"]),
    "no such column": (LOG.replace("suction", "sucton"), ["no column 'suction'", "'sucton'?", "t, oil, sucton, run"]),
    "a name twice": (LOG.replace("suction", "oil"), ["column 'oil' appears 2 times", "column = 2 or 3"]),
    "a cell too few": (LOG + "2;3.4;2.0\n", ["line 4", '"2;3.4;2.0"', "3 cells under 4 columns", "--repair"]),
    "a cell too many": (LOG + "2;3.4;2.0;1;9\n", ["line 4", "5 cells under 4 columns"]),
    "cut at the end": (LOG + "2;3.", ["line 4", "2 cells", "--repair"]),
    "NUL in a line": (LOG + "\0\0\0\n2;3.4;2.0;1\n", ["line 4", "NUL", "loss of power", "--repair"]),
    "header again": (LOG + HEADER + "2;3.4;2.0;1\n", ["line 4", "repeats the header", "--repair"]),
    "an open quote": (LOG + '2;"3.4;2.0;1\n', ["line 4", "quotation mark"]),
    "a line of a megabyte": (LOG + "2;" + "3" * 1000000 + ";2;1\n", ["line 4", "longer than 65536"]),
    "a first line of a megabyte": ("x" * 1000000, ["line 1", "longer than 65536"]),
    "a word": (LOG + "2;Bad;2.0;1\n", ["line 4, oil", '"Bad"', "not a number", "[file] sentinels"]),
    "infinity": (LOG + "2;inf;2.0;1\n", ["line 4, oil", '"inf"', "not a number"]),
    "too large": (LOG + "2;1e999;2.0;1\n", ["line 4, oil", "too large"]),
    "thousands out of place": (HEADER + "0;3.4;1'000.5;1\n1;3.4;10'00;1\n", ["line 3, suction", "10'00", "thousands"]),
    "a thousand or one": (
        HEADER + "0;1,234;2,345;1\n1;1,3;2,3;1\n".replace("1,3;2,3", "1,301;2,301"),
        ['"1,234"', "may be", "[file] decimal"],
    ),
    "two decimal marks": (HEADER + "0;3.4;2,05;1\n1;3.4;2,1;1\n", ['"3.4" and "2,05"', "[file] decimal"]),
    "time twice": (LOG + "1;3.4;2.0;1\n", ["line 4, time", "repeats", "--repair"]),
    "time back": (LOG + "0.5;3.4;2.0;1\n", ["line 4, time", "back by 0.500 s", "--repair"]),
    "midnight": (
        HEADER.replace(";", ",") + "23:59:59,3.4,2,1\n00:00:01,3.4,2,1\n",
        ["line 3", "back by", "column with the date"],
    ),
    "no time": (LOG + ";3.4;2.0;1\n", ["line 4, time", "no time", "--repair"]),
    "a word for a time": (LOG + "later;3.4;2.0;1\n", ["line 4, t", '"later"']),
    "an unknown status": (LOG + "2;3.4;2.0;maybe\n", ["line 4, run", '"maybe"', "neither on nor off", "on = [...]"]),
    "a status of two": (LOG + "2;3.4;2.0;2\n", ["line 4, run", '"2"', "neither on nor off"]),
    "never a status": (HEADER + "0;3.4;2;\n1;3.4;2;\n", ["0 of 2 rows", "running status"]),
    "an unnamed sentinel": (
        LOG + "2;9999;2.0;1\n",
        ["oil_pressure = 9999", "looks like a sentinel", "sentinels = [9999]"],
    ),
    "nothing but a sentinel": (HEADER + "0;-999;2;1\n1;-999;2;1\n", ["oil_pressure = -999", "stands 2 times"]),
    "steps above max_gap": (
        HEADER + "0;3.4;2;1\n60;3.4;2;1\n120;3.4;2;1\n",
        ["[time] max_gap", "up to 60 s", "no trace is left", "on_change and longest_hold"],
    ),
    "unit row against profile": (
        HEADER + "s;psi;bar;-\n" + GOOD,
        ["[oil_pressure] unit", '"bar"', "contradicts", "psi"],
    ),
}


@pytest.mark.parametrize("case", FILES)
def test_a_broken_file_is_refused_where_it_is_broken(case: str, tmp_path: Path) -> None:
    """Catches a row that is skipped, sorted or guessed in silence, and a message that leaves the place to be searched for."""
    data, said = FILES[case]
    profile = profile_with(time="-unit") if case == "midnight" else PROFILE
    with pytest.raises(Refusal) as refused:
        bring_in(tmp_path, data, profile)

    for part in said:
        assert part in str(refused.value), str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("case", FILES)
def test_a_refused_file_leaves_nothing_behind(case: str, tmp_path: Path) -> None:
    """Catches a half-written trace, an empty library, or a profile kept for a file that was refused."""
    data, _ = FILES[case]
    (tmp_path / "log.csv").write_bytes(data.encode() if isinstance(data, str) else data)
    profile = profile_with(time="-unit") if case == "midnight" else PROFILE
    (tmp_path / "profile.toml").write_text(profile)
    with pytest.raises(Refusal):
        import_file(tmp_path / "log.csv", tmp_path / "library", tmp_path / "profile.toml")

    assert sorted(path.name for path in tmp_path.iterdir()) == ["log.csv", "profile.toml"]


PROFILES: dict[str, tuple[str, list[str]]] = {
    "unknown section": (profile_with(oils='column = "x"'), ["[oils]", "unknown section", "[oil_pressure]"]),
    "unknown key": (profile_with(time='maxgap = "5 s"'), ["[time] maxgap", '"5 s"', "unknown key", "max_gap?"]),
    "no max_gap": (profile_with(time="-max_gap"), ["[time] max_gap", "missing key", '"5 s"']),
    "no section": (PROFILE.replace('[running]\ncolumn = "run"', ""), ["[running]", "missing section"]),
    "no unit": (profile_with(oil_pressure="-unit"), ["[oil_pressure] unit", "neither stated nor seen", "'oil'"]),
    "gauge or absolute": (
        profile_with(oil_pressure="-reference"),
        ["[oil_pressure] reference", "gauge or absolute", '"absolute"'],
    ),
    "left open": (
        profile_with(suction_pressure='reference = "?"'),
        ["[suction_pressure] reference", "left open", '"gauge"'],
    ),
    "an open column": (profile_with(oil_pressure='column = "?"'), ["[oil_pressure] column", "left open"]),
    "no altitude": (profile_with(site="-altitude"), ["[site] altitude", "gauge", "atmosphere of the site"]),
    "altitude without unit": (profile_with(site="altitude = 40"), ["[site] altitude = 40", "unit is missing"]),
    "no such unit": (
        profile_with(oil_pressure='unit = "barr"'),
        ["[oil_pressure] unit", '"barr"', "not a unit of pressure"],
    ),
    "millipascal": (profile_with(oil_pressure='unit = "mPa"'), ["[oil_pressure] unit", "millipascal", "MPa"]),
    "unit against reference": (
        profile_with(oil_pressure='unit = "psia"'),
        ["[oil_pressure] reference", "contradicts", "absolute"],
    ),
    "a difference of suction": (
        profile_with(suction_pressure='reference = "difference"'),
        ["[suction_pressure] reference", "only an oil pressure"],
    ),
    "no such zone": (profile_with(time='zone = "Europe/Atlantis"'), ["[time] zone", "no such time zone"]),
    "elapsed without unit": (profile_with(time="-unit"), ["[time] unit", "plain numbers", "no unit"]),
    "same marks": (profile_with(file='decimal = ","\nthousands = ","'), ["[file] thousands", "the same as decimal"]),
    "two thresholds": (
        profile_with(running='current_above = "12 A"\nspeed_above = "200 rpm"'),
        ["[running]", "two thresholds"],
    ),
    "threshold of another kind": (
        profile_with(running='current_above = "12 bar"'),
        ["[running] current_above", "12 bar"],
    ),
    "column zero": (profile_with(running="column = 0"), ["[running] column = 0", "number from 1"]),
    "column beyond": (profile_with(running="column = 7"), ["column 7", "1 to 4"]),
    "another header": (
        'fingerprints = ["0000000000000000"]\n' + PROFILE,
        ["fingerprints", "another header", "log.csv"],
    ),
    "no TOML": ("[time\n", ["not valid TOML"]),
    "header line below": (profile_with(file="header_line = 9"), ["[file] header_line", "readings begin in line 2"]),
    "a synthetic origin": (profile_with(trace='origin = "synthetic: x"'), ["[trace] origin", "recorded"]),
    "ticks without section": (profile_with(time='ticks = "speed"'), ["[time] ticks", "[speed]"]),
}


@pytest.mark.parametrize("case", PROFILES)
def test_a_wrong_profile_is_refused_at_its_key(case: str, tmp_path: Path) -> None:
    """Catches a key that is ignored, and a choice that matters made by default."""
    profile, said = PROFILES[case]
    with pytest.raises(Refusal) as refused:
        bring_in(tmp_path, LOG, profile)

    for part in said:
        assert part in str(refused.value), str(refused.value)


def test_a_folder_a_missing_file_and_a_locked_one_are_refused(tmp_path: Path) -> None:
    """Catches a traceback for what is no file at all."""
    for name, said in ((".", "is a folder"), ("none.csv", "no such file")):
        with pytest.raises(Refusal, match=said):
            import_file(tmp_path / name, tmp_path / "library")
    locked = tmp_path / "locked.csv"
    locked.write_text(LOG)
    locked.chmod(0)
    if not os.access(locked, os.R_OK):
        with pytest.raises(Refusal, match="cannot be read"):
            import_file(locked, tmp_path / "library")
