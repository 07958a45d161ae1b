"""The figures by which machines are told apart, read from a run of a few minutes that is made by hand."""

import itertools
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from replay.fitting import belonging
from replay.fitting.belonging import TRAITS
from replay.fitting.runs import Run
from replay.fitting.sensitivity import moved_value
from replay.ground.refusal import Refusal
from replay.trace import Trace

HIGHEST, STANDING, BUILD_UP = (trait.of for trait in TRAITS)


def run_of(net_pa: list[float], running: list[int], every_s: float = 10.0) -> Run:
    """Return a run with this net oil pressure over 200 kPa of suction, sampled evenly."""
    time_s = every_s * np.arange(len(net_pa))
    whole = np.zeros(len(net_pa), np.int64)
    trace = Trace("made", 0.0, (1000 * time_s).astype(np.int64), whole, whole, whole, np.array(running), whole)
    suction = np.full(time_s.size, 200e3)
    return Run(trace, time_s, suction, suction + net_pa, time_s >= 0.0, np.ones(time_s.size), 1.0, None, None)


def stands_then_runs() -> Run:
    """Stand for two minutes with a sensor 3 kPa high, start, and have 140 kPa from 40 s on, once 150."""
    net = [30e3, 20e3, *[1e3] * 3, *[3e3] * 8, 5e3, 50e3, 69e3, 71e3, *[140e3] * 6, 150e3]
    return run_of(net, [0] * 13 + [1] * (len(net) - 13))


def test_a_standing_machine_shows_its_sensors_zero_once_it_has_stood_for_a_minute() -> None:
    """Catches pressure that still bleeds off, a mean that one reading bends, and the machine's running taken along."""
    run = stands_then_runs()

    assert STANDING(run, run.oil_pa) == 3e3
    odd = run_of([3e3] * 12 + [90e3] + [140e3] * 8, [0] * 13 + [1] * 8)
    assert STANDING(odd, odd.oil_pa) == 3e3
    assert np.isnan(STANDING(run_of([140e3] * 20, [1] * 20), np.full(20, 340e3)))
    brief = run_of([0.0] * 6 + [140e3] * 20, [0] * 6 + [1] * 20)  # stood for 50 s only
    assert np.isnan(STANDING(brief, brief.oil_pa))
    just = run_of([0.0] * 6 + [7e3] + [140e3] * 20, [0] * 7 + [1] * 20)  # the last reading after a minute
    assert STANDING(just, just.oil_pa) == 7e3


def test_standing_again_counts_from_its_own_beginning() -> None:
    """Catches a machine whose second stop is taken for the first going on."""
    net = [1e3] * 8 + [140e3] * 20 + [9e3] * 6
    run = run_of(net, [0] * 8 + [1] * 20 + [0] * 6)

    assert STANDING(run, run.oil_pa) == 1e3


def test_the_highest_pressure_is_the_usual_one_of_a_settled_machine() -> None:
    """Catches the start taken along, and one reading that decides."""
    run = run_of([0.0] * 3 + [140e3] * 30 + [500e3], [0] + [1] * 33)

    assert HIGHEST(run, run.oil_pa) == 140e3
    assert HIGHEST(run, run.oil_pa + 5e3) == 145e3  # of what a drawn machine makes, not of the readings


def test_pressure_has_built_up_at_half_of_the_usual_one_after_the_first_start() -> None:
    """Catches a time from the run's beginning, one from a later start, and a share of the zero."""
    run = run_of([0.0] * 3 + [5e3, 50e3, 69e3, 71e3] + [140e3] * 20, [0] * 3 + [1] * 24)
    assert BUILD_UP(run, run.oil_pa) == 30.0
    twice = run_of(
        [0.0] * 3 + [5e3, 50e3, 69e3, 71e3] + [140e3] * 20 + [0.0] * 3 + [140e3] * 20,
        [0] * 3 + [1] * 24 + [0] * 3 + [1] * 20,
    )
    assert BUILD_UP(twice, twice.oil_pa) == 30.0
    assert np.isnan(BUILD_UP(run_of([140e3] * 20, [1] * 20), np.full(20, 340e3)))


def asked(monkeypatch: pytest.MonkeyPatch, nets: list[float], made: list[list[float]], problems: int = 1) -> str:
    """Say why runs of these highest pressures are refused, where machines of the file make those; '' if they are not."""

    def run(net_pa: float) -> Run:
        return run_of([net_pa] * 40, [1] * 40)

    machines = itertools.cycle([200e3 + np.full(40, net) for net in its] for its in made)
    monkeypatch.setattr(belonging, "_made", lambda *_: next(machines))
    one: Any = SimpleNamespace(seed=1, unknowns=(), runs=tuple(run(net) for net in nets))
    try:
        belonging.refuse_strangers([one] * problems, "machine.toml")
    except Refusal as refused:
        return str(refused)
    return ""


@pytest.mark.parametrize(
    ("net_pa", "refused"), [(83.9e3, False), (83.7e3, True), (120e3, False), (156.1e3, False), (156.3e3, True)]
)
def test_a_run_may_lie_beyond_what_is_drawn_by_5_kpa_and_8_percent(
    monkeypatch: pytest.MonkeyPatch, net_pa: float, refused: bool
) -> None:
    """Machines of 100 to 140 kPa: 5 + 0.08 x 140 kPa more either way; catches a share of the other end, or of the run."""
    said = asked(monkeypatch, [net_pa], [[100e3], [120e3], [140e3]])

    assert bool(said) == refused
    assert not refused or "another machine's log" in said


@pytest.mark.parametrize(("off_pa", "refused"), [(20.1e3, False), (20.2e3, True), (-6.1e3, False), (-6.2e3, True)])
def test_two_runs_may_differ_as_those_of_any_one_machine_do(
    monkeypatch: pytest.MonkeyPatch, off_pa: float, refused: bool
) -> None:
    """Of one machine the first is 0 to 14 kPa higher, 5 + 0.08 x 14 more; catches machines mixed with one another."""
    said = asked(monkeypatch, [120e3 + off_pa, 120e3], [[114e3, 100e3], [140e3, 140e3]])

    assert bool(said) == refused
    assert not said or "these two are not one machine" in said


def test_traits_are_near_by_what_is_stated() -> None:
    """Assumed: catches one that was moved."""
    assert [(trait.name, trait.near) for trait in TRAITS] == [
        ("net oil pressure at its highest", 5e3),
        ("net oil pressure at standstill", 5e3),
        ("time from start to oil pressure", 30.0),
    ]


@pytest.mark.parametrize(
    ("value", "factor", "moved"),
    [(0.5, 1.3, 0.65), (0.9, 1.3, 0.95), (0.9, 0.7, 0.63), (1.0, 1.3, 1.3), (40.0, 0.7, 28.0), (0.5, 2.0, 0.75)],
)
def test_a_share_that_would_pass_1_goes_half_way_there(value: float, factor: float, moved: float) -> None:
    """By hand; catches a share beyond 1, and a time that is taken for one."""
    assert moved_value(value, factor) == pytest.approx(moved)
    assert moved_value((value, 10.0), factor) == pytest.approx((moved, 10.0 * factor))
