"""The guide from a bench test to settings says what the commands take."""

import shlex
from pathlib import Path

import click
import pytest

from replay.cli import main

GUIDE = Path(__file__).parents[2] / "replay" / "guides" / "fit.md"
COMMANDS = [line.strip() for line in GUIDE.read_text(encoding="utf-8").splitlines() if line.startswith("    lubetrip ")]


def test_five_commands_lead_to_settings() -> None:
    """Catches a way that grew longer than it is said to be."""
    first = COMMANDS[:5]

    assert [shlex.split(line)[1] for line in first] == ["machine", "import", "fit", "synth", "tune"]


@pytest.mark.parametrize("line", COMMANDS)
def test_a_command_of_the_guide_is_taken_as_it_stands(line: str) -> None:
    """Catches an option that was renamed, and an argument that was forgotten."""
    group: click.Command = main
    words = shlex.split(line)[1:]
    while isinstance(group, click.Group):
        group = group.commands[words.pop(0)]

    assert group.make_context(line, words, resilient_parsing=False).params
