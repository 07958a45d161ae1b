"""Scoring as laws: what is a hit, what counts against a setting, and that no lazy logic can win."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from replay.engine import Replay, Stop
from replay.ground.refusal import Refusal
from replay.library import Entry, Label, MustTrip
from replay.score import Totals, Verdict, judge
from replay.score.judgement import judgement, total, unmet
from replay.settings import Acceptance
from replay.trace import Trace

NONE = np.zeros(2, dtype=np.int64)
TRACE = Trace("t", 1000.0, np.array([0, 3600000]), NONE, NONE, NONE, NONE.astype(np.uint8), NONE.astype(np.uint8))
WINDOW = MustTrip(1100.0, 1200.0)
ACCEPTANCE = Acceptance(max_missed=0, max_nuisance_per_1000h=10.0, min_margin_s=30.0, confidence=0.95)


def verdict(label: MustTrip | str, *stops_s: float, run_hours: float = 1.0) -> Verdict:
    """Judge a replay that stopped at these seconds after the trace's start (1000 s)."""
    label_of: Label = label if isinstance(label, str) else (label,)
    entry = Entry("id", Path("t.csv"), "family", "m", "o", "recorded: x", label_of, "")
    stops = tuple(Stop(round(at * 1000), 1) for at in stops_s)
    return judge(entry, TRACE, Replay((), stops, round(run_hours * 3600000), late=0, locked_out=False))


# Label, stops in s after the start, outcome, margin; the page's own judge goes through them too.
OUTCOMES: list[tuple[MustTrip | str, list[float], str, float | None]] = [
    (WINDOW, [99.999], "early", 100.001),
    (WINDOW, [100.0], "hit", 100.0),
    (WINDOW, [150.0], "hit", 50.0),
    (WINDOW, [200.0], "hit", 0.0),
    (WINDOW, [200.001], "missed", -0.001),
    (WINDOW, [], "missed", None),
    (WINDOW, [50.0, 150.0], "early", 150.0),
    (WINDOW, [150.0, 300.0], "hit", 50.0),
    ("ride_through", [], "rode_through", None),
    ("ride_through", [5.0], "nuisance", None),
    ("undecided", [5.0], "undecided", None),
    ("undecided", [], "undecided", None),
]


@pytest.mark.parametrize(("label", "stops_s", "outcome", "margin"), OUTCOMES)
def test_outcome_follows_the_first_stop_and_the_label(
    label: MustTrip | str, stops_s: list[float], outcome: str, margin: float | None
) -> None:
    """Catches a window that is open where it should be closed, and times on another clock than the trace's own.

    Also an early stop that a later one in the window turns into a hit.
    """
    result = verdict(label, *stops_s)

    assert (result.outcome, result.margin_s) == (outcome, margin)
    assert result.trips == len(stops_s)


@pytest.mark.parametrize(
    ("window", "said"),
    [
        (MustTrip(4600.001, 5000.0), r"earliest_s in the library = 4600\.001: after the trace has ended.*to 4600"),
        (MustTrip(1100.0, 4600.001), r"deadline_s in the library = 4600\.001: after the trace has ended"),
        (MustTrip(1.0, 999.999), r"deadline_s in the library = 999\.999: before the trace begins; .* 1000 to 4600"),
    ],
)
def test_a_window_beyond_its_trace_is_refused(window: MustTrip, said: str) -> None:
    """Catches a label in ms, or of another trace, that is counted as a fault missed, and a deadline nobody waited for."""
    with pytest.raises(Refusal, match=said):
        verdict(window)


def test_a_fault_may_be_older_than_its_recording_and_last_to_its_end() -> None:
    """Catches a window refused at the very ends of its trace, or for a fault that came before it."""
    assert verdict(MustTrip(0.0, 4600.0)).outcome == "missed"
    assert verdict(MustTrip(4600.0, 4600.0)).outcome == "missed"


def test_an_early_stop_is_a_nuisance_trip_and_no_hit() -> None:
    """Catches a logic that always trips at the start and looks perfect on fault traces."""
    totals = total([verdict(WINDOW, 1.0), verdict(WINDOW, 150.0), verdict("ride_through")])

    assert (totals.must_trip, totals.hit, totals.early, totals.missed, totals.nuisance_trips) == (2, 1, 1, 0, 1)


def test_every_stop_of_a_ride_through_trace_counts() -> None:
    """Catches a long trace with twenty stops that counts as one."""
    assert total([verdict("ride_through", *range(1, 21))]).nuisance_trips == 20


def test_margins_are_those_of_the_hits() -> None:
    """Catches an early or missed trace that flatters or spoils the margin."""
    totals = total(
        [
            verdict(WINDOW, 150.0),
            verdict(WINDOW, 190.0),
            verdict(WINDOW, 120.0),
            verdict(WINDOW, 1.0),
            verdict(WINDOW, 250.0),
        ]
    )
    assert (totals.median_margin_s, totals.worst_margin_s) == (50.0, 10.0)


def test_undecided_traces_count_for_nothing() -> None:
    """Catches a case nobody can call that is sorted into the easy side."""
    assert total([verdict("undecided", 5.0)]) == total([])


def test_the_order_of_traces_is_irrelevant() -> None:
    """Catches totals that depend on which trace comes first."""
    some = [verdict(WINDOW, 150.0), verdict("ride_through", 3.0, run_hours=2), verdict(WINDOW), verdict("ride_through")]
    assert total(some) == total(reversed(some))


GOOD = total([verdict(WINDOW, 150.0), verdict("ride_through", run_hours=100.0)])


@pytest.mark.parametrize(
    ("change", "rules"),
    [
        ({}, []),
        ({"missed": 1}, ["max_missed"]),
        ({"nuisance_trips": 1}, []),  # 1 in 100 h is 10 per 1000 h: at the limit
        ({"nuisance_trips": 2}, ["max_nuisance_per_1000h"]),
        ({"nuisance_trips": 1, "ride_through_run_hours": 0.0}, ["max_nuisance_per_1000h"]),
        ({"worst_margin_s": 30.0}, []),
        ({"worst_margin_s": 29.9}, ["min_margin"]),
        (
            {"worst_margin_s": 1.0, "missed": 2, "nuisance_trips": 9},
            ["max_missed", "max_nuisance_per_1000h", "min_margin"],
        ),
    ],
)
def test_acceptance_names_each_rule_that_is_not_met(change: dict[str, float], rules: list[str]) -> None:
    """Catches a verdict that stops at the first failure, or judges a limit as 'below' where 'at most' is meant."""
    assert [failure.rule for failure in unmet(replace(GOOD, **change), ACCEPTANCE)] == rules


def library_totals(stop_s: list[float]) -> Totals:
    """Score a logic that stops every trace at these seconds: 20 faults, 20 harmless hours."""
    return total([verdict(WINDOW, *stop_s) for _ in range(20)] + [verdict("ride_through", *stop_s) for _ in range(20)])


@pytest.mark.parametrize(
    ("stop_s", "rules"),
    [
        ([0.0], ["max_nuisance_per_1000h"]),  # always trips at the start
        ([], ["max_missed"]),  # never trips
        ([150.0], ["max_nuisance_per_1000h"]),  # trips everything at a well-chosen moment
    ],
)
def test_a_logic_that_does_not_look_cannot_meet_the_acceptance(stop_s: list[float], rules: list[str]) -> None:
    """Catches score rules that can be won without reading the pressures."""
    assert [failure.rule for failure in unmet(library_totals(stop_s), ACCEPTANCE)] == rules


@pytest.mark.slow("tries many cases of a large space")
@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("often", [0.05, 0.3, 0.5, 0.9])
def test_a_logic_that_trips_at_random_cannot_meet_the_acceptance(often: float, seed: int) -> None:
    """Catches score rules that luck can win: what random stops hit of the faults, they stop of the harmless hours.

    Each of 20 faults and 20 harmless hours is stopped with the same probability, at a random moment.
    """
    draw = np.random.default_rng(seed)
    traces = [verdict(label, *stop(draw, often)) for label in [WINDOW] * 20 + ["ride_through"] * 20]
    broken = {failure.rule for failure in unmet(total(traces), ACCEPTANCE)}

    assert broken & {"max_missed", "max_nuisance_per_1000h"}


def stop(draw: np.random.Generator, often: float) -> list[float]:
    """Return the time of a stop, or none."""
    return [float(draw.uniform(0.0, 300.0))] if draw.random() < often else []


def test_early_stops_are_no_evidence_that_faults_are_found() -> None:
    """Catches a logic that always trips at the start and never misses a trip, with a limit to show for it."""
    at_start = [verdict(WINDOW, 0.0) for _ in range(100)]
    missed, nuisance, margin, _ = judgement(at_start, ACCEPTANCE).claims

    assert (missed.events, missed.of, missed.upper) == (0, 0, 1.0)
    assert (margin.of, margin.upper) == (0, 1.0)
    assert nuisance.events == 100
