"""The guide of labels: its commands, run in turn as it prints them, on the demo library."""

import json
import re
import shlex
import shutil
from pathlib import Path

import pytest

import replay
from replay.library import read_library
from replay.library.label_files import SCHEMA
from tests.support.command import lubetrip

GUIDE = (Path(replay.__file__).with_name("guides") / "labels.md").read_text(encoding="utf-8")
FIXTURES = Path(__file__).parents[2] / "fixtures"
pytestmark = pytest.mark.slow("packs a page of the demo library and scores it")


def test_the_commands_of_the_guide_do_what_it_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches an option that the guide invents, a table in a form that is refused, words of library.toml that are none."""
    monkeypatch.chdir(tmp_path)
    shutil.copytree(FIXTURES, "site")
    (table,) = re.findall(r"```csv\n(.*?)```", GUIDE, re.DOTALL)
    Path("table.csv").write_text(table)
    Path("smith.json").write_text(json.dumps({"schema": SCHEMA, "by": "A. Smith", "labels": []}))
    commands = [line for block in re.findall(r"```sh\n(.*?)```", GUIDE, re.DOTALL) for line in block.splitlines()]
    said = {}
    for line in commands:
        program, *arguments = shlex.split(line)
        done = lubetrip(*arguments, COLUMNS="200")
        assert (program, done.stderr) == ("lubetrip", "")
        assert done.returncode in ((0,) if "score" not in arguments else (0, 1, 3)), line
        said[line] = done.stdout

    assert len(commands) == 7
    entries = {entry.id: entry for entry in read_library("site").entries}
    both = entries["suction-valve-shut-00000"]
    assert ([word.by for word in both.words], both.basis) == (["A. Smith", "J. Doe"], "inspection")
    assert (both.windows[0].earliest_s, both.windows[0].deadline_s) == (410.0, 880.0)
    assert entries["long-pump-down-00000"].label == "ride_through"
    assert "A. Smith and J. Doe" in said["lubetrip label site"]
    assert "labels rest" in said["lubetrip score site"]


def test_the_words_of_the_guide_are_a_library(tmp_path: Path) -> None:
    """Catches an example of library.toml that is refused."""
    (example,) = re.findall(r"```toml\n(.*?)```", GUIDE, re.DOTALL)
    shutil.copy(next((FIXTURES / "traces").iterdir()), tmp_path / "a.csv")
    head = '[[trace]]\nid = "a"\nfile = "a.csv"\nfamily = "f"\nmachine = "m"\noil = "o"\norigin = "recorded: here"\n'
    (tmp_path / "library.toml").write_text(head + example)
    (entry,) = read_library(tmp_path).entries
    assert entry.differ
