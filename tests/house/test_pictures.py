"""The pictures and the settings table of the documents are those that their command makes now."""

import re
from pathlib import Path

import pytest

from replay.engine.portable import Machine
from replay.settings.file import KEYS
from tests.pictures import DEADLINE_S, MEANING, made, settings, starved, trace_picture


def test_what_is_made_is_current() -> None:
    """Catches a picture of other settings, another table of transitions or another range than the ones that hold."""
    for path, text in made().items():
        assert path.read_text(encoding="utf-8") == text, f"python -m tests.pictures makes another {path.name}"


def test_every_key_of_a_settings_file_is_explained() -> None:
    """Catches a setting that was added without a word on what it means."""
    assert list(MEANING) == [key for keys in KEYS.values() for key in keys]


def test_the_picture_shows_what_the_logic_does() -> None:
    """Catches a stop, a margin or a dip that was drawn by hand."""
    stop_s = Machine(settings()).follow(starved()).stops[0].time_ms / 1000
    words = re.findall(r">([^<>]+)</text>", trace_picture())
    assert {f"stop at {stop_s:g} s", "dip", "margin", f"{DEADLINE_S - stop_s:g} s", "damage deadline"} <= set(words)
    assert 0 < DEADLINE_S - stop_s < DEADLINE_S


@pytest.mark.parametrize("name", ["trace", "weights", "states"])
def test_a_picture_says_in_words_what_it_shows(name: str) -> None:
    """Catches a picture that a blind reader gets nothing of."""
    text = (Path(__file__).parents[2] / "replay" / "guides" / f"{name}.svg").read_text(encoding="utf-8")
    assert len(re.findall(r'aria-label="([^"]{60,})"', text)) == 1
