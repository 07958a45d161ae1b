"""What a test bench reads of a trace: the complaint in one line, why it was not judged, what a case carries."""

import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from replay.library import Entry, MustTrip
from replay.report.junit import complaint, properties, unjudged
from replay.score import Verdict
from replay.score.windows import Found, Upsets

ONE, TWO = MustTrip(10.0, 100.0), MustTrip(500.0, 600.0)


def entry(label: Any, **more: Any) -> Entry:
    """Return an entry."""
    return Entry("t", Path("t.csv"), "f", "m", "o", "recorded: x", label, "", **more)


def found(outcome: str, *, earliest: float = 10.0, stop: float | None = None, late: str | None = None) -> Found:
    """Return a window and what became of it."""
    return Found(earliest, earliest + 90.0, None, None, outcome, stop, None, None, late)


def verdict(outcome: str, *windows: Found, **more: Any) -> Verdict:
    """Return a verdict of an hour."""
    given: dict[str, Any] = {
        "first_trip_s": None,
        "cause": None,
        "deadline_s": None,
        "margin_s": None,
        "run_hours": 1.0,
    }
    given |= {"trips": 0, "locked_out": False} | more
    return Verdict("t", "f", outcome, windows=windows, **given)


COMPLAINTS = [
    (verdict("missed", found("missed", late="no stop")), (ONE,), "missed: must trip from 10 s to 100 s, no stop"),
    (
        verdict("missed", found("missed", stop=120.0, late="likely"), first_trip_s=120.0),
        (ONE,),
        "missed: must trip from 10 s to 100 s, first stop at 120 s;"
        " late by the cautious figure, in time by the likely one",
    ),
    (verdict("nuisance", first_trip_s=7.25), "ride_through", "nuisance: ride through, first stop at 7.25 s"),
    (
        verdict("early", found("early", stop=5.0), found("missed", earliest=500.0, late="no stop"), first_trip_s=5.0),
        (ONE, TWO),
        "early: must trip from 10 s to 100 s, then from 500 s to 600 s, first stop at 5 s; from 10 s early, stop at 5 s;"
        " from 500 s missed, not stopped at all",
    ),
]


@pytest.mark.parametrize(("one", "label", "said"), COMPLAINTS)
def test_a_complaint_says_what_should_have_happened_and_what_did(one: Verdict, label: Any, said: str) -> None:
    """Catches a stop told of another window, a miss told without how late it was, and no stop told as one."""
    assert complaint(entry(label), one) == said


@pytest.mark.parametrize(
    ("one", "why"),
    [
        (verdict("undecided"), "undecided: judged neither way"),
        (verdict("counted already"), "recorded in another trace too, and judged there"),
        (verdict("stood", found("stood")), "an earlier stop held the machine still"),
        (verdict("rode_through", doubt="odd"), "in doubt: odd"),
        (verdict("hit", found("hit"), doubt="odd"), "in doubt: odd"),
        (verdict("rode_through", run_hours=0.0), "the machine does not run"),
        (verdict("hit", found("hit"), run_hours=0.0), ""),
        (verdict("rode_through"), ""),
        (verdict("hit", found("hit")), ""),
    ],
)
def test_a_trace_that_was_not_judged_is_skipped_with_its_reason(one: Verdict, why: str) -> None:
    """Catches green for what nobody judged, and a fault found at a machine that soon stood called unjudged."""
    said = unjudged(one)

    assert said.startswith(why) and bool(said) is bool(why)


def test_a_case_carries_its_figures() -> None:
    """Catches digests exchanged, a margin of nothing told as a figure, and upsets counted under each other's names."""
    settings: Any = SimpleNamespace(digest="s" * 8)
    engine: Any = SimpleNamespace(digest="l" * 8, name="c")
    plain = properties(settings, engine, entry("ride_through"), verdict("rode_through"))
    assert plain == {
        "settings_digest": "ssssssss", "logic_digest": "llllllll", "engine": "c", "label": "ride through",
        "outcome": "rode_through", "origin": "recorded: x",
    }  # fmt: skip
    hit = verdict("hit", found("hit", stop=70.0), margin_s=30.0)
    assert properties(settings, engine, entry((ONE,)), hit)["margin_s"] == "30"
    both = verdict("hit", found("hit", stop=70.0), found("hit", earliest=500.0, stop=505.0), margin_s=0.0)
    told = properties(settings, engine, entry((ONE, TWO)), both)
    assert (told["margin_s"], told["windows"]) == ("0", "from 10 s hit, stop at 70 s; from 500 s hit, stop at 505 s")
    upsets = verdict("nuisance", upsets=Upsets(5, 2, 1, 0, 1.0))
    assert properties(settings, engine, entry("ride_through", upsets=((1.0, 2.0),)), upsets)["upsets"] == (
        "2 with a stop, 5 ridden through, 1 stood over"
    )
    assert "upsets" not in properties(settings, engine, entry("ride_through"), upsets)
    assert not math.isnan(float(told["margin_s"]))
