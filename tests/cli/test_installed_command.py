"""The commands as they are installed, each in a process of its own: exit status, standard output and standard error.

What the commands do is tested elsewhere within the process of the tests (`tests.support.command.lubetrip`).
"""

from pathlib import Path

import pytest

from replay.cli import main
from tests.conftest import SETTINGS
from tests.support.command import installed

pytestmark = pytest.mark.slow("starts workers or commands as processes of their own")

# One call of each command that is refused for what a file, a folder or a text holds.
REFUSED: dict[str, tuple[str, ...]] = {
    "bench": ("empty", "-o", "out.html"),
    "compare": ("empty/a.json", "empty/b.json"),
    "conform": ("--vectors", "empty/vectors.txt", "--port", "true"),
    "demo": ("full",),
    "explain": ("empty/trace.csv", "--settings", "settings.toml"),
    "export": ("empty/settings.toml", "--to", "c"),
    "export-sources": ("out.zip", "--settings", "empty/settings.toml"),
    "fit": ("empty/machine.toml", "empty", "--to", "fitted.toml"),
    "forecast": ("--settings", "empty/settings.toml", "--years", "1", "--seed", "1"),
    "floor": ("--outer-radius", "55 kPa", "--speed", "1450 rpm"),
    "guarantee": ("empty/settings.toml",),
    "help": ("nonsense",),
    "import": ("empty/log.csv", "--profile", "empty/profile.toml"),
    "label": ("empty", "trace", "--ride-through", "--by", "J. Doe"),
    "machine": ("check", "empty/machine.toml"),
    "record": ("check", "empty"),
    "remove": ("empty", "trace", "--by", "J. Doe", "--note", "why"),
    "report": ("empty", "-o", "out.html"),
    "score": ("empty",),
    "show": ("empty/trace.csv", "--settings", "settings.toml", "-o", "out.svg"),
    "synth": ("out", "--count", "3", "--seed", "1", "--families", "nonsense"),
    "tolerances": ("empty",),
    "triage": ("empty/logs", "--settings", "settings.toml"),
    "tune": ("empty", "--vary", "trip_delay=30s,40s", "--out", "out"),
    "vectors": ("full/mine.txt",),
}


@pytest.mark.parametrize("command", main.commands)
def test_a_refusal_is_one_line_and_exit_status_2(command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a traceback, a warning or half a report of the installed command, and a command that is not listed here."""
    monkeypatch.chdir(tmp_path)
    for folder in ("empty", "full"):
        (tmp_path / folder).mkdir()
    (tmp_path / "full" / "mine.txt").write_text("mine")
    (tmp_path / "settings.toml").write_text(SETTINGS)
    done = installed(command, *REFUSED[command])

    assert (done.returncode, done.stdout) == (2, ""), done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert done.stderr.startswith("lubetrip: ")


def test_a_score_is_told_by_its_exit_status(library: Path) -> None:
    """Catches an installed command that says nothing, something on standard error, or 0 whatever it found."""
    assert installed("score", library).stderr == ""
    (library / "slow.toml").write_text(SETTINGS.replace('"60 s"\nfloor_weight', '"30 min"\nfloor_weight'))
    failed = installed("score", library, "--settings", library / "slow.toml")

    assert (failed.returncode, failed.stderr) == (1, "")
    assert "Acceptance: NOT MET" in failed.stdout
