"""The pictures and the settings table of the documents are those that their command makes now."""

import re
from pathlib import Path

import pytest

from replay.engine.portable import Machine
from replay.settings.file import KEYS
from tests.pictures import (
    DEADLINE_S,
    MEANING,
    in_words,
    made,
    settings,
    starved,
    trace_picture,
    year_picture,
    year_told,
)


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


@pytest.mark.parametrize("name", ["trace", "weights", "states", "year"])
def test_a_picture_says_in_words_what_it_shows(name: str) -> None:
    """Catches a picture that a blind reader gets nothing of."""
    text = (Path(__file__).parents[2] / "replay" / "guides" / f"{name}.svg").read_text(encoding="utf-8")
    assert len(re.findall(r'aria-label="([^"]{60,})"', text)) == 1


def test_the_picture_of_a_year_is_of_the_settings_that_hold_and_says_how_sure_it_is() -> None:
    """Catches a year under settings of yesterday, one with and without exchanged, and a rate without its limits."""
    told, words = year_told(), re.findall(r">([^<>]+)</text>", year_picture())
    rates = told["per_machine_year"]

    assert told["settings"] == settings().digest
    assert rates["lost_without"][0] > rates["lost_with"][0]
    for name, figure in (
        ("nuisance trips", "nuisance_stops"),
        ("justified: it would be lost", "justified_stops"),
        ("without protection", "lost_without"),
        ("with it", "lost_with"),
    ):
        assert words[words.index(name) + 1] == in_words(rates[figure])


def test_a_rate_is_said_as_an_owner_says_it() -> None:
    """Catches limits of a seldom thing told the wrong way round, and nothing seen taken for never."""
    assert in_words([2.31, 1.5, 3.36]) == "2.3 a year (1.5 to 3.4)"
    assert in_words([0.17, 0.125, 0.25]) == "once in 5.9 years (4 to 8)"
    assert in_words([0.004, 0.001, 0.032]) == "once in 250 years (31 to 1000)"
    assert in_words([0.0, 0.0, 0.032]) == "none seen; at most once in 31 years"
