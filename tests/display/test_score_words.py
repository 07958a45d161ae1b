"""Sentences of a score that no table holds."""

from types import SimpleNamespace
from typing import Any

from replay.display.score import _upsets


def test_one_stop_without_an_upset_is_one_stop() -> None:
    """Catches "1 stops in 7.13 run hours"."""
    whole: Any = SimpleNamespace(upsets_stopped=3, upsets=53, stops_outside_upsets=1, hours_outside_upsets=7.126)

    assert _upsets(whole) == "3 of 53 had a nuisance trip; 1 stop in 7.13 run hours without upset"
    whole.stops_outside_upsets = 2
    assert "2 stops in" in _upsets(whole)
