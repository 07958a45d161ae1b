"""Chosen by what a year costs: costs by hand, the same choice as running every candidate for every year, and no other."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from protect.ranges import TRIP_DELAY
from replay.engine.workers import one_by_one, quiet
from replay.forecast.rates import cost_of, weights_of
from replay.forecast.year import DUTY, Tally, Wanted, Year
from replay.ground.refusal import Refusal
from replay.physics.days import YEAR_H, Duty
from replay.settings import Settings, read_settings
from replay.tuning import race as racing
from replay.tuning.race import FIRST, Asked, Race, checked_costs, run_race
from tests.support.command import lubetrip

SETTINGS = Path(__file__).parents[2] / "fixtures" / "settings.toml"
RATES = {"power-dip": 12.0, "pump-drive-broken": 0.01}
PRICES = {"nuisance_stops": 1.0, "lost_with": 1600.0}
Counts = Callable[[int, int], tuple[int, int]]  # candidate, machine-year -> nuisance trips in duty, machines lost


def candidates(count: int) -> dict[int, Settings]:
    """Return settings that differ, by their number from 1: the trip delay in ms tells it."""
    base = read_settings(SETTINGS)
    return {
        number: replace(
            base, values=tuple(number if at == TRIP_DELAY else value for at, value in enumerate(base.values))
        )
        for number in range(1, count + 1)
    }


def year_of(number: int, nuisance: int, lost: int) -> Year:
    """Return a machine-year with so many nuisance trips in duty, and of the rare fault so many machines lost."""
    tallies = {DUTY: Tally(befell=1, nuisance=nuisance), "pump-drive-broken": Tally(befell=2, lost_with=lost)}
    return Year(number, "", YEAR_H, 0.0, tallies)


def raced(
    monkeypatch: pytest.MonkeyPatch, counts: Counts, count: int, years: int
) -> tuple[Race, list[tuple[int, int]]]:
    """Let candidates race over made-up years; return it with every (candidate, year) that was run."""
    ran: list[tuple[int, int]] = []

    def one_year(_wanted: Wanted, settings: Settings, _folder: object, number: int) -> tuple[Year, list[object]]:
        ran.append((settings.values[TRIP_DELAY], number))
        return year_of(number, *counts(*ran[-1])), []

    monkeypatch.setattr(racing, "one_year", one_year)
    asked = Asked(Wanted(1, Duty(), RATES), None, PRICES, years)
    return run_race(candidates(count), asked, one_by_one, quiet), ran


def brute(counts: Counts, count: int, years: int) -> list[float]:
    """Return what a year costs under each candidate when all run all years, by hand: a lost one weighs 0.01 / 8."""
    return [
        float(np.mean([nuisance + 1600.0 * 0.00125 * lost for nuisance, lost in (counts(c, y) for y in range(years))]))
        for c in range(1, count + 1)
    ]


def test_a_year_costs_its_figures_at_their_prices() -> None:
    """Catches a price with the wrong sign or of another figure, a weight left out, and a part of a year taken for one."""
    weights = weights_of(RATES)
    year = year_of(0, 3, 2)
    half = replace(year, hours=YEAR_H / 2)

    assert cost_of(year, weights, PRICES) == pytest.approx(3 * 1.0 + 2 * 0.00125 * 1600.0)
    assert cost_of(half, weights, PRICES) == pytest.approx(2 * cost_of(year, weights, PRICES))
    assert cost_of(year, weights, {"lockouts": 5.0}) == 0.0
    year.tallies[DUTY].down_h = 8.0
    assert cost_of(year, weights, {"down_h": 0.25}) == pytest.approx(2.0)


@pytest.mark.parametrize("seed", range(8))
def test_the_choice_is_that_of_running_every_candidate_for_every_year(
    monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    """Catches the dearest chosen, candidates compared over different years, and good ones left out by chance."""
    draw = np.random.default_rng(seed)
    machine = draw.gamma(2.0, 1.0, 64)  # some machines stop oftener, under all settings
    nuisance = draw.permutation([0.6, 1.4, 2.2, 3.0, 4.0, 5.0])
    made = draw.poisson(np.outer(nuisance, machine))
    lost = draw.poisson(0.5 * (6.0 - nuisance)[:, None] / 6.0, (6, 64))
    counts = lambda c, y: (int(made[c - 1, y]), int(lost[c - 1, y]))  # noqa: E731
    found, ran = raced(monkeypatch, counts, 6, 64)
    whole = brute(counts, 6, 64)

    assert found.best == 1 + int(np.argmin(whole))
    assert found.cost(found.best) == pytest.approx(whole[found.best - 1]) or len(found.costs[found.best]) < 64
    assert len(ran) == len({*ran}) < 6 * 64 * 2 / 3
    assert {year for candidate, year in ran if candidate == found.best} == {*range(len(found.costs[found.best]))}
    assert all(len(costs) in (4, 8, 16, 32, 64) for costs in found.costs.values())


def test_what_is_left_out_was_dearer_for_certain_and_what_is_not_ran_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches one left out by its mean alone, and a race that goes on with one left."""
    noisy = np.random.default_rng(3).poisson(4.0, 64)
    counts = lambda c, y: (int(noisy[y]) + (0, 30, 1)[c - 1] * (y % 2 if c == 3 else 1), 0)  # noqa: E731
    found, _ = raced(monkeypatch, counts, 3, 32)

    assert [len(found.costs[number]) for number in (1, 2, 3)] == [16, FIRST, 16]
    assert found.dearer(2) == (30.0, 30.0, 30.0)
    mean, lower, upper = found.dearer(3)
    assert (mean, mean - lower) == pytest.approx((0.5, upper - mean))
    assert found.told_apart(3)


def test_those_that_cannot_be_told_apart_say_how_many_years_would(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a difference that is claimed without its limits, and a number of years that would tell nothing."""
    extra = [3, -2, 1, 0, 2, -1, 0, 1]
    found, _ = raced(monkeypatch, lambda c, y: (10 + (extra[y] if c == 2 else 0), 0), 2, 8)
    mean, lower, upper = found.dearer(2)

    assert (found.best, mean) == (1, 0.5)
    # By hand: standard deviation 1.6036, standard error 0.5669, t(7) at 97.5 % 2.3646.
    assert (lower, upper) == pytest.approx((0.5 - 1.3406, 0.5 + 1.3406), abs=1e-3)
    assert not found.told_apart(2)
    assert found.years_wanted(2) == pytest.approx(8 * (1.3406 / 0.5) ** 2, rel=1e-3)
    assert found.years_wanted(1) is None


def test_equals_are_alike_and_never_told_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    """Catches a choice among equals by their order in memory, and a certain difference of nothing."""
    found, _ = raced(monkeypatch, lambda c, y: (y + (2 if c == 2 else 0), 0), 3, 8)

    assert found.alike == [1, 3]
    assert found.dearer(3) == (0.0, 0.0, 0.0)
    assert not found.told_apart(3)
    assert len(found.costs[2]) == FIRST


@pytest.mark.parametrize(
    ("costs", "said"),
    [
        ({}, "nothing costs anything"),
        ({"nuisance_stops": 0.0}, "nothing costs anything"),
        ({"nuisance_stops": -1.0}, "0 or more"),
        ({"lost_with": float("nan")}, "0 or more"),
        ({"lost": 3.0}, "lost_with"),
    ],
)
def test_costs_that_are_none_are_refused(costs: dict[str, float], said: str) -> None:
    """Catches a gain called a cost, by which the worst settings would be the best, and a figure that is none."""
    with pytest.raises(Refusal, match=said):
        checked_costs(costs)


@pytest.mark.parametrize(
    "words",
    [
        ("--cost", "lost_with=200"),
        ("--forecast", "4"),
        ("--forecast", "0", "--cost", "lost_with=200"),
        ("--forecast", "4", "--cost", "lost_with"),
        ("--forecast", "4", "--cost", "lost_with=1", "--cost", "lost_with=2"),
        ("--keep", "kept"),
    ],
)
def test_a_forecast_that_is_asked_for_by_halves_is_refused(words: Sequence[str], tmp_path: Path) -> None:
    """Catches a cost that nobody stated, and options that would be passed over in silence."""
    given = ("--vary", "trip_delay=100s,120s", "--quick", "--out", tmp_path / "out")
    done = lubetrip("tune", SETTINGS.parent, *given, *words)

    assert (done.returncode, done.stdout) == (2, "")
    assert any(option in done.stderr for option in ("--forecast", "--cost", "--keep"))
    assert not (tmp_path / "out").exists()
