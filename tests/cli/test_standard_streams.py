"""The name - on the command line: settings and scores from standard input, pages and tables to standard output."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from replay.ground.units import UnitError, duration_ms, pressure_difference_pa
from tests.conftest import SETTINGS
from tests.support.command import lubetrip

pytestmark = pytest.mark.slow("starts a process for each case")


def piped(*arguments: object, given: str = "") -> subprocess.CompletedProcess[str]:
    """Run the command with a text on standard input."""
    command = [sys.executable, "-m", "replay", *map(str, arguments)]
    return subprocess.run(command, input=given, capture_output=True, text=True, check=False, timeout=120)


def test_settings_from_standard_input_are_those_of_the_file(library: Path, tmp_path: Path) -> None:
    """Catches a pipe that is read once and wanted twice, and one that is taken for a file called -."""
    moved = SETTINGS.replace('trip_delay = "60 s"', 'trip_delay = "61 s"')
    (tmp_path / "moved.toml").write_text(moved, encoding="utf-8")
    by_pipe = piped("score", library, "--settings", "-", "--json", "-", "--record", tmp_path / "kept", given=moved)
    by_file = lubetrip("score", library, "--settings", tmp_path / "moved.toml", "--json", "-")
    told, wanted = json.loads(by_pipe.stdout), json.loads(by_file.stdout)

    assert told["settings"].pop("file") == "-"
    del wanted["settings"]["file"]
    assert told == wanted
    assert (tmp_path / "kept" / "settings.toml").read_text(encoding="utf-8") == moved
    assert lubetrip("record", "check", tmp_path / "kept").returncode == 0
    assert piped("guarantee", "-", given=moved).returncode == 0


def test_what_is_wrong_with_piped_settings_is_said_in_a_line(library: Path) -> None:
    """Catches the name of a hidden file in a message, and a decimal comma taken for a unit."""
    done = piped("score", library, "--settings", "-", given=SETTINGS.replace('"60 kPa"', '"60,5 kPa"'))

    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith('lubetrip: -: [net_oil_pressure] cut_out = "60,5 kPa": a comma in a number')
    assert "did you mean" not in done.stderr


def test_a_page_goes_to_standard_output_and_what_is_said_of_it_does_not(library: Path, tmp_path: Path) -> None:
    """Catches a line in the middle of a page, and a file called -."""
    done = piped("report", library, "-o", "-")
    lubetrip("report", library, "-o", tmp_path / "report.html")

    assert done.returncode == 0
    assert done.stdout == (tmp_path / "report.html").read_text(encoding="utf-8")
    assert done.stderr == "-: acceptance met\n"
    assert not Path("-").exists()
    assert lubetrip("show", library, "fault", "-o", "-").returncode == 2


def test_who_reads_no_more_of_a_page_is_no_failure(library: Path) -> None:
    """Catches `report -o - | head` that ends like a verdict, or with a traceback."""
    command = [sys.executable, "-m", "replay", "report", str(library), "-o", "-"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as running:
        assert running.stdout is not None and running.stderr is not None
        running.stdout.close()
        told = running.stderr.read()

    assert (running.returncode, told) == (141, b"")


def test_compare_takes_settings_or_a_score_from_standard_input(library: Path, tmp_path: Path) -> None:
    """Catches a pipe taken for the other kind."""
    score = lubetrip("score", library, "--json", tmp_path / "a.json", "-q")
    text = (tmp_path / "a.json").read_text(encoding="utf-8")
    by_score = piped("compare", tmp_path / "a.json", "-", given=text)
    by_settings = piped("compare", tmp_path / "a.json", "-", "--library", library, given=SETTINGS)

    assert score.returncode == by_score.returncode == by_settings.returncode == 0
    assert "B  -\nB is not worse." in by_score.stdout
    assert by_settings.stdout == by_score.stdout


@pytest.mark.parametrize(("text", "read"), [("5,5 psi", pressure_difference_pa), ("2,5 min", duration_ms)])
def test_a_decimal_comma_is_called_one(text: str, read) -> None:
    """Catches 5,5 psi answered by "did you mean 5 psi"."""
    with pytest.raises(UnitError, match="comma"):
        read(text)
