"""`--units`: one switch for all that a command prints, draws and writes."""

import json
from pathlib import Path

import pytest

from tests.support.command import lubetrip
from tests.support.measured import HEADER, PROFILE

# How cut-out 60 kPa, floor 30 kPa and vacuum 80 kPa absolute at sea level read, and what is of another system.
WORDS = {
    "us": ("8.7 psi", "4.4 psi", "6.3 inHg vac"),
    "bar": ("0.60 bar", "0.30 bar", "-0.21 bar(g)"),
    "kpa": ("60.0 kPa", "30.0 kPa", "-21.3 kPa gauge"),
}
FIXTURES = Path(__file__).parents[2] / "fixtures"
OTHERS = {"us": ("kPa", " bar"), "bar": ("kPa", "psi", "inHg"), "kpa": ("psi", "inHg", " bar")}


@pytest.mark.slow("runs nearly every command's work")
@pytest.mark.parametrize("units", WORDS)
def test_every_report_is_in_the_units_asked_for(units: str, library: Path, tmp_path: Path) -> None:
    """Catches a command, a build server's file or a plot that stays in kPa."""
    cut_out, floor, vacuum = WORDS[units]
    text = (library / "settings.toml").read_text().replace('trip_delay = "60 s"', 'trip_delay = "29 min"')
    slow = library / "slow.toml"  # misses the fault, so that JUnit tells its course
    slow.write_text(text)
    score = lubetrip("score", library, "--settings", slow, "--units", units, "--junit", tmp_path / "j.xml").stdout
    told = {
        "score": score,
        "explain": lubetrip("explain", library / "fault.csv", "--units", units).stdout,
        "junit": (tmp_path / "j.xml").read_text(),
    }
    lubetrip("show", library / "fault.csv", "-o", tmp_path / "p.svg", "--units", units)
    lubetrip("report", library, "-o", tmp_path / "r.html", "--units", units)
    both = lubetrip("guarantee", library / "settings.toml", "--units", units).stdout

    assert f"plain timer, {cut_out}" in score
    for name, shown in told.items():
        assert not [word for word in OTHERS[units] if word in shown], name
    assert f"suction pressure below {vacuum}" in both
    assert f">vacuum {vacuum}<" in (tmp_path / "r.html").read_text()
    assert f">floor {floor}<" in (tmp_path / "r.html").read_text()


@pytest.mark.parametrize("units", WORDS)
def test_an_import_is_told_in_the_units_asked_for(units: str, tmp_path: Path) -> None:
    """Catches the least and the most of a signal in kPa beside another unit, and the one's number under the other's name."""
    rows = "".join(f"{second};{3.5 + second % 2 / 10};{2.0 + second % 2 / 10};1\n" for second in range(4))
    (tmp_path / "log.csv").write_text(HEADER + rows, encoding="utf-8")
    (tmp_path / "p.toml").write_text(PROFILE, encoding="utf-8")
    done = lubetrip(
        "import", tmp_path / "log.csv", "--profile", tmp_path / "p.toml", "--to", tmp_path / "l", "--units", units
    )
    (line,) = [line.split() for line in done.stdout.splitlines() if line.startswith("suction pressure")]

    assert (
        line[4:7]
        == {"us": ["43.7", "45.2", "psia"], "bar": ["3.01", "3.11", "bar(a)"], "kpa": ["301.3", "311.3", "kPa"]}[units]
    )


@pytest.mark.slow("draws a machine some hundred times")
def test_a_machine_is_checked_in_the_units_of_its_settings(tmp_path: Path) -> None:
    """Catches a floor pressure in kPa beside a cut-out in psi, which nobody can hold against each other."""
    lubetrip("machine", "new", tmp_path / "m.toml")
    check = ("machine", "check", tmp_path / "m.toml")
    alone = lubetrip(*check).stdout
    with_settings = lubetrip(*check, "--settings", FIXTURES / "settings.toml").stdout
    asked = lubetrip(*check, "--settings", FIXTURES / "settings.toml", "--units", "bar").stdout

    for told, here, elsewhere in ((alone, "kPa", "psi"), (with_settings, "psi", "kPa"), (asked, "bar", "psi")):
        (line,) = [line for line in told.splitlines() if line.startswith("floor pressure")]
        assert (here in line, elsewhere in line) == (True, False)


def test_figures_and_records_do_not_follow_the_switch(library: Path, tmp_path: Path) -> None:
    """Catches a record that holds only for who asks for the same units, and JSON whose kPa become psi."""
    for units in ("us", "kpa"):
        lubetrip("score", library, "--units", units, "--json", tmp_path / f"{units}.json")
        lubetrip("score", library, "--units", units, "--record", tmp_path / units)
        lubetrip("explain", library / "fault.csv", "--units", units, "--json", tmp_path / f"e-{units}.json")

    assert json.loads((tmp_path / "us.json").read_text()) == json.loads((tmp_path / "kpa.json").read_text())
    assert (tmp_path / "e-us.json").read_bytes() == (tmp_path / "e-kpa.json").read_bytes()
    assert (tmp_path / "us" / "report.txt").read_bytes() == (tmp_path / "kpa" / "report.txt").read_bytes()
    assert lubetrip("record", "check", tmp_path / "us", "--units", "bar").returncode == 0
