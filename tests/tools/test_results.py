"""The record of long runs: a line says when, by which command, on which sources."""

import re
from pathlib import Path

import pytest

from replay.engine import logic_digest
from replay.engine.c_port import port_digest
from tests import results
from tests.campaigns.__main__ import command as campaigns
from tests.gates.__main__ import GATES
from tests.physics_shown.__main__ import command as shown

ROW = re.compile(
    r"\| \d{4}-\d\d-\d\d \| `python -m tests\.(\w+) ([\w-]+)[^`|]*` \| [0-9a-f]{16} \| ([0-9a-f]{16}|-) \| [^|]{6,} \|"
)
NAMES = {"gates": set(GATES), "campaigns": set(campaigns.commands), "physics_shown": set(shown.commands)}


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Let an empty file be the record, and a campaign the command."""
    monkeypatch.setattr(results, "RESULTS", tmp_path / "RESULTS.md")
    monkeypatch.setattr("sys.argv", ["/somewhere/tests/campaigns/__main__.py", "soak", "--record", "--years", "10"])
    (tmp_path / "RESULTS.md").touch()
    return tmp_path / "RESULTS.md"


def test_a_kept_line_says_command_and_digests(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Catches a result that nobody can repeat, or that speaks of sources nobody can name."""
    results.close("nothing found", record=True)
    logic, port = logic_digest()[:16], port_digest()[:16]

    assert ROW.fullmatch(file.read_text().strip())
    assert f"| `python -m tests.campaigns soak --years 10` | {logic} | {port} | nothing found |" in file.read_text()
    assert capsys.readouterr().out == f"nothing found; logic {logic}, C port {port}\n"


def test_nothing_is_kept_unasked(file: Path) -> None:
    """Catches a try that stands in the record."""
    results.close("nothing found", record=False)

    assert file.read_text() == ""


def test_every_row_of_the_record_is_whole() -> None:
    """Catches a row typed by hand without a date or digest, and one of a command that is gone."""
    rows = [line for line in results.RESULTS.read_text(encoding="utf-8").splitlines() if line.startswith("| 2")]

    assert rows
    for row in rows:
        found = ROW.fullmatch(row)
        assert found, row
        assert found[2] in NAMES[found[1]], row
