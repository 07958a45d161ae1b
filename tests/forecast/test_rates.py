"""What machine-years say about a year: weights, exposure, limits, pairs, by hand and by scipy on years made up."""

import math
from dataclasses import fields
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from protect.state import CAUSE, CAUSE_CODE, SENSOR_CAUSE
from replay.forecast.forecast import Forecast
from replay.forecast.rates import FIGURES, Rate, dominating, missed, paired, rate_of, weights_of, years_wanted
from replay.forecast.year import DUTY, Tally, Wanted, Year, judged, key_of, moments_of, sampled_per_year
from replay.ground.statistics import weighted_interval
from replay.physics.days import YEAR_H, Duty

FAULT, UPSET = "pump-drive-broken", "power-dip"
WEIGHTS = {DUTY: 1.0, FAULT: 0.25, UPSET: 1.0}


def year(hours: float = YEAR_H, **tallies: Tally) -> Year:
    """Return a machine-year of so many hours; duty, fault, upset: what it counted."""
    named = {"duty": DUTY, "fault": FAULT, "upset": UPSET}
    return Year(0, "", hours, 0.0, {named[name]: tally for name, tally in tallies.items()})


@pytest.mark.parametrize("name", sorted({its.name for its in fields(Tally)} - {"befell"}))
def test_a_figure_counts_what_it_is_named_after(name: str) -> None:
    """Catches a figure taken from its neighbour: justified for nuisance, with for without, doubt for loss."""
    years = [year(duty=Tally(**{name: 3}))]
    figure = {"nuisance": "nuisance_stops", "justified": "justified_stops", "doubtful": "doubtful_stops"}
    figure["sensor"] = "sensor_stops"
    found = {key: rate_of(years, (DUTY,), key, WEIGHTS).per_year for key in FIGURES}

    assert found == {key: 3.0 if key == figure.get(name, name) else 0.0 for key in FIGURES}


def test_a_rate_is_per_year_of_the_hours_that_were_run() -> None:
    """Catches years counted as whole ones where fewer days were run, and unequal ones weighed alike."""
    years = [year(YEAR_H / 4, fault=Tally(nuisance=2)), year(YEAR_H, fault=Tally(nuisance=1))]
    found = rate_of(years, (FAULT,), "nuisance_stops", WEIGHTS)
    each = 0.25 / 1.25

    assert found.per_year == pytest.approx(3 * each)
    assert (found.lower, found.upper) == pytest.approx(
        weighted_interval([(1, 2 * each), (1, each)], 2 * each, 0.95)[1:]
    )


def test_of_what_never_came_the_limit_is_that_of_the_heaviest_event() -> None:
    """Catches an upper limit of 0 where nothing was seen, and one that forgets a family that brought nothing."""
    years = [year(YEAR_H / 2, duty=Tally())] * 4
    alone = rate_of(years, (FAULT,), "lost_with", WEIGHTS)
    both = rate_of(years, (FAULT, DUTY), "lost_with", WEIGHTS)

    assert (alone.per_year, alone.lower, both.lower) == (0.0, 0.0, 0.0)
    assert alone.upper == pytest.approx(-math.log(0.025) * 0.25 / 2)  # Garwood's, of a weight of a quarter in two years
    assert both.upper == pytest.approx(-math.log(0.025) / 2)


def test_what_never_happens_is_not_sampled_and_the_rare_is_sampled_eight_times_a_year() -> None:
    """Catches a division by a rate of 0, a rare fault counted as often as it is sampled, and a weight above 1."""
    assert [sampled_per_year(rate) for rate in (0.0, 0.01, 8.0, 12.0)] == [0.0, 8.0, 8.0, 12.0]
    assert weights_of({"a": 0.0, "b": 0.01, "c": 8.0, "d": 12.0}) == {DUTY: 1.0, "b": 0.00125, "c": 1.0, "d": 1.0}


def test_faults_missed_are_those_lost_of_those_that_spoil_for_certain() -> None:
    """Catches doubtful ones among them, a part that is left out, and limits of another kind or confidence."""
    from scipy.stats import beta  # takes longer than all tests of this file

    one = year(
        fault=Tally(lost_without=9, lost_with=1, doubtful_without=5, doubtful_with=4), duty=Tally(lost_without=3)
    )
    other = year(fault=Tally(lost_without=8, lost_with=2), upset=Tally(lost_without=7, lost_with=7))
    found = missed([one, other], (DUTY, FAULT))

    assert (found["sampled"], found["missed"]) == (20, 3)
    assert found["lower"] == pytest.approx(beta.ppf(0.025, 3, 18), abs=1e-6)
    assert found["upper"] == pytest.approx(beta.ppf(0.975, 4, 17), abs=1e-6)
    assert missed([], (FAULT,)) == {"sampled": 0, "missed": 0, "lower": 0.0, "upper": 1.0}


def test_the_family_that_brings_most_is_named_with_its_share() -> None:
    """Catches the least one, the first one, and a share of another whole."""
    rates = {"a": Rate(1.0, 0.0, 9.0), "b": Rate(5.0, 4.0, 6.0), "c": Rate(2.0, 1.0, 3.0)}

    assert dominating(rates) == ("b", pytest.approx(5 / 8))
    assert dominating({"a": Rate(0.0, 0.0, 1.0)}) is None


def test_the_years_wanted_bring_the_interval_to_a_fifth() -> None:
    """Catches years that are too few: with as many of the same kind the normal interval is a fifth either way."""
    years = [
        year(YEAR_H / 2, duty=Tally(nuisance=1), fault=Tally(nuisance=4)),
        year(YEAR_H / 2, duty=Tally(nuisance=1)),
    ]
    wanted = years_wanted(years, (DUTY, FAULT), "nuisance_stops", WEIGHTS)
    assert wanted is not None
    times = wanted / 1.0  # the two halves are one machine-year
    total, variance = 3.0 * times, 3.0 * times  # 1 + 1 + 4 * 0.25 in all, and their squares

    assert 1.96 * math.sqrt(variance) / total == pytest.approx(0.2)
    assert years_wanted(years, (DUTY,), "lockouts", WEIGHTS) is None
    assert years_wanted([year(fault=Tally(nuisance=1))], (FAULT,), "nuisance_stops", WEIGHTS) == pytest.approx(9.8**2)


def test_a_difference_is_first_less_second_per_year_of_the_same_machine() -> None:
    """Catches a difference by the wrong way round, of whole sums, without weights or hours; limits lie about it."""
    ones = [year(YEAR_H / 2, duty=Tally(nuisance=n), fault=Tally(nuisance=2)) for n in (3, 1, 4)]
    others = [year(YEAR_H / 2, duty=Tally(nuisance=n), upset=Tally(nuisance=9)) for n in (0, 2, 0)]
    found = paired(ones, others, "nuisance_stops", WEIGHTS)
    each = np.array([3.0, -1.0, 4.0]) * 2 + 2 * 0.25 * 2 - 9 * 2

    assert found["difference"] == pytest.approx(each.mean())
    assert found["lower"] is not None
    assert found["upper"] is not None
    assert each.min() <= found["lower"] < found["difference"] < found["upper"] <= each.max()
    assert paired(ones[:1], others[:1], "nuisance_stops", WEIGHTS) == {
        "difference": pytest.approx(-11.0),
        "lower": None,
        "upper": None,
    }


@pytest.mark.parametrize(
    ("came", "cause", "at_ms", "kind"),
    [
        ("certain", SENSOR_CAUSE, 9_000, "justified"),
        ("possible", SENSOR_CAUSE, 9_000, "doubtful"),
        ("none", SENSOR_CAUSE, 5_000, "sensor"),  # failed at 5 s
        ("none", SENSOR_CAUSE, 4_999, "nuisance"),
        ("none", SENSOR_CAUSE + CAUSE_CODE + 1, 9_000, "sensor"),  # with words about it beside the code
        ("none", 1, 9_000, "nuisance"),
    ],
)
def test_a_stop_is_what_it_prevented(came: Any, cause: int, at_ms: int, kind: str) -> None:
    """Catches a stop on a failed sensor before it failed, and a sensor that excuses or spoils what else is true."""
    memory = np.zeros(CAUSE + 1, np.int64)
    memory[CAUSE] = cause
    machine: Any = SimpleNamespace(memory=memory, last_tick_ms=at_ms)

    assert judged(came, machine, 5.0) == kind


def test_a_forecast_parts_faults_from_ordinary_duty_and_counts_its_years() -> None:
    """Catches a harmless upset among the faults, a family counted twice or by nobody, and other years for its own."""
    years = (
        year(YEAR_H / 2, duty=Tally(1, nuisance=1), fault=Tally(4, nuisance=2)),
        year(YEAR_H / 2, upset=Tally(3, nuisance=5)),
    )
    other = (year(YEAR_H, duty=Tally(1, nuisance=7)),)
    settings: Any = None
    told = Forecast(Wanted(1, Duty(), {}), settings, years, None, other, 0, WEIGHTS)

    assert told.groups == {DUTY: (DUTY, UPSET), "faults": (FAULT,)}
    assert told.machine_years == 1.0
    assert (told.befell(FAULT), told.befell(UPSET), told.befell("none such")) == (4, 3, 0)
    assert told.rate("nuisance_stops").per_year == pytest.approx(1 + 2 * 0.25 + 5)
    assert told.rate("nuisance_stops", (FAULT,)).per_year == pytest.approx(0.5)
    assert told.rate("nuisance_stops", years=other).per_year == pytest.approx(7)
    assert told.dominates("nuisance_stops") == (UPSET, pytest.approx(5 / 6.5))


def told(wanted: Wanted, number: int, family: str) -> list[tuple[int, float]]:
    """Return days and places within them at which a family befalls a machine-year."""
    return [(its.day, its.span) for its in moments_of(wanted, number) if its.family == family]


def test_moments_hang_on_seed_number_and_family_and_on_nothing_else() -> None:
    """Catches years that are the same under another seed, families that come together, and draws that others move."""
    both = Wanted(1, Duty(), {FAULT: 60.0, UPSET: 60.0})
    alone = Wanted(1, Duty(), {FAULT: 60.0})

    assert told(both, 0, FAULT) == told(alone, 0, FAULT)
    others = (Wanted(2, Duty(), both.per_year), 0, FAULT), (both, 1, FAULT), (both, 0, UPSET)
    assert all(told(*other) != told(both, 0, FAULT) for other in others)
    assert [moment.event for moment in moments_of(alone, 0)] != [0] * len(moments_of(alone, 0))
    assert sorted(moment.event for moment in moments_of(alone, 0)) == list(range(len(moments_of(alone, 0))))


def test_moments_are_a_poisson_process_over_the_days_that_are_run() -> None:
    """Catches a rate that is not per year, days that lie beyond those that are run, and counts that do not scatter."""
    for days, rate, mean in ((365, 12.0, 12.0), (73, 12.0, 2.4), (365, 0.01, 8.0)):
        counts = [len(moments_of(Wanted(seed, Duty(), {FAULT: rate}, days=days), 3)) for seed in range(400)]
        assert np.mean(counts) == pytest.approx(mean, abs=4 * math.sqrt(mean / 400))
        assert np.var(counts) == pytest.approx(mean, rel=0.3)
    seen = {moment.day for seed in range(40) for moment in moments_of(Wanted(seed, Duty(), {FAULT: 50.0}, days=9), 0)}
    assert seen == set(range(9))


def test_keys_of_draws_are_all_other_and_never_nothing() -> None:
    """Catches a part of the key that is left out, so that two stretches of a year share their draws."""
    parts = [(1, 2, 3), (1, 2, 4), (1, 3, 3), (2, 2, 3), (1, 2), (1, 3, 2), (1, 2, 3, 0)]
    keys = [key_of(*its) for its in parts]

    assert len(set(keys)) == len(parts)
    assert all(0 < key < 1 << 64 for key in keys)
    assert keys == [key_of(*its) for its in parts]
