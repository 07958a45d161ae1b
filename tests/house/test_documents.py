"""README and DEVELOPERS.md agree with the code: commands, files and names that they mention exist."""

import re
import subprocess
from pathlib import Path

import pytest

from protect import ranges
from replay.cli import main
from replay.settings.file import SECTIONS
from replay.trace import COLUMNS

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "LICENSE",
    "protect",
    "firmware_ref",
    "replay",
    "tests",
    "fixtures",
}


def test_every_command_stands_in_the_readme_and_every_command_there_exists() -> None:
    """Catches a command nobody hears of, and one that was renamed under its documentation."""
    assert set(re.findall(r"`lubetrip (\w+)", README)) == set(main.commands)


def test_the_first_two_shell_blocks_are_the_main_job_and_the_tests() -> None:
    """Catches a README whose commands are no longer those that are checked on a clean checkout."""
    blocks = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)

    assert len(blocks) == 2
    assert "lubetrip score fixtures" in blocks[0]
    assert "-m pytest" in blocks[1]
    assert "README.md" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "caution",
    ["not a certified safety device", "never the only protection", "Local codes", "Never defeat a factory safety"],
)
def test_the_readme_warns(caution: str) -> None:
    """Catches a caution that was edited away."""
    assert caution.lower() in README.lower()


def test_columns_and_labels_of_the_data_stand_in_the_readme() -> None:
    """Catches a trace column or a label that only the source knows."""
    for name in (*COLUMNS, "must_trip", "ride_through", "undecided", "earliest_s", "deadline_s", "library.toml"):
        assert name in README, name


def test_every_key_stands_in_the_demo_settings() -> None:
    """Catches a settings key without an example."""
    text = (ROOT / "fixtures" / "settings.toml").read_text(encoding="utf-8")
    for section, keys in SECTIONS.items():
        assert f"[{section}]" in text
        for key in keys:
            assert re.search(rf"^{key} = ", text, re.MULTILINE), key


@pytest.mark.parametrize("document", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_files_that_are_mentioned_exist(document: str) -> None:
    """Catches a path that moved away from under its mention."""
    mentioned = re.findall(r"`((?:protect|replay|tests|fixtures|firmware_ref)/[\w./]*)`", document)

    for name in mentioned:
        assert (ROOT / name).exists(), name


def test_tests_that_are_mentioned_exist() -> None:
    """Catches an outside check that is claimed of a test which was renamed or taken away."""
    mentioned = re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", DEVELOPERS)

    assert len(mentioned) > 30
    for file, name in mentioned:
        assert f"def {name}(" in (ROOT / file).read_text(encoding="utf-8"), (file, name)


def test_bounds_told_to_firmware_people_are_those_of_the_ranges() -> None:
    """Catches a bound that is proved for other ranges than the ones admitted."""
    assert max(row[3] for row in (*ranges.SETTINGS, *ranges.INPUTS)) < 2**30
    assert "2^30" in DEVELOPERS


def test_the_top_level_holds_what_was_agreed_and_nothing_else() -> None:
    """Catches a new folder at the top, where a newcomer has to guess what it is for."""
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout.split(
        "\n"
    )
    top = {name.split("/")[0] for name in listed if name and not name.startswith(".")}

    assert top == TOP_LEVEL
