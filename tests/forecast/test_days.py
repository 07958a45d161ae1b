"""A year of duty: what a plan says against closed forms, and what the machine does with it."""

from itertools import pairwise

import numpy as np
import pytest

from replay.forecast.year import Wanted, moments_of, placed, sampled_per_year
from replay.physics import layout as at
from replay.physics.befalling import PER_YEAR, SENSORS, arrays_joined, arrays_with, befall, laid_over
from replay.physics.days import DAY_S, DAYS, Days, Duty, draw_site_of_year, joined, running_spans, swing
from replay.physics.drawing import Draw, Site
from replay.physics.families import FAMILIES
from replay.physics.schedule import Channel
from replay.physics.simulate import random_of_trace

RUN_S, PERIOD_S = 901.0, 1800.0
SQUARE = Duty(
    control="cycling", load_share=0.5, season_swing=0.0, day_swing=0.0, cycle_s=(PERIOD_S, PERIOD_S), pump_down_share=0.0,
    defrosts_per_day=0, neighbours=0, standstills_per_year=0.0,
)  # fmt: skip


def site(number: int = 0) -> Site:
    """Return a drawn installation."""
    return draw_site_of_year(Draw(random_of_trace(5, (number,))))


def test_a_square_wave_starts_and_runs_as_its_arithmetic_says() -> None:
    """Catches a cycle that drifts, one lost or cut at midnight, and a share of running that is not the one asked for."""
    plans = [plan for _, plan in Days(SQUARE, site(), 1, (0,))][:DAYS]
    spans = [span for plan in plans for span in running_spans(plan)]
    starts = sum(plan.knots[Channel.RUN].count((begin, 1.0)) for plan in plans for begin, _ in running_spans(plan))

    assert len(plans) == DAYS
    assert abs(starts - DAYS * DAY_S / PERIOD_S) <= 1
    assert sum(end - begin for begin, end in spans) == pytest.approx(DAYS * DAY_S * RUN_S / PERIOD_S, rel=1e-4)


def test_a_day_begins_as_the_one_before_ended() -> None:
    """Catches a channel that jumps at midnight, and a change that midnight swallows."""
    days = list(Days(Duty(), site(), 1, (0,)))
    assert len(days) == DAYS + 1
    assert all(knots[-1][0] <= DAY_S for _, plan in days for knots in plan.knots.values())
    for (_, before), (_, after) in pairwise(days):
        assert {c: knots[-1][1] for c, knots in before.knots.items()} == {
            c: knots[0][1] for c, knots in after.knots.items()
        }


@pytest.mark.slow("tries many cases of a large space")
@pytest.mark.outside(
    computation="rare faults sampled oftener and weighted back",
    source="Poisson arrivals see time averages (Wolff 1982), closed form of a square wave",
    status="not consulted, recomputed",
    agreement="within four standard deviations of 4,000 machine-years",
)
@pytest.mark.parametrize("rate", [0.01, 3.0])
def test_weighted_faults_come_as_often_as_their_rate_and_evenly_over_the_running_hours(rate: float) -> None:
    """Catches a weight left out, moments that fall at starts or in the morning, and counts that are no Poisson's.

    Of faults with this rate, those that come within the last 90 s of a run are rate * 90/901 a year.
    """
    plan = next(iter(Days(SQUARE, site(), 1, (0,))))[1]
    spans = running_spans(plan)
    wanted, years, late, morning = Wanted(3, SQUARE, {"pump-drive-broken": rate}), 4000, 0, 0
    all_of_them = []
    for number in range(years):
        moments = moments_of(wanted, number)
        all_of_them.append(len(moments))
        for moment in moments:
            at_ms = placed(moment, plan, 1000)
            assert at_ms is not None
            end = next(end for begin, end in spans if begin - 1.0 <= at_ms / 1000.0 <= end)
            late += end - at_ms / 1000.0 <= 90.0
            morning += at_ms / 1000.0 < DAY_S / 2
    weight, mean = rate / sampled_per_year(rate), sampled_per_year(rate)
    share = 90.0 / RUN_S

    assert weight * late / years == pytest.approx(
        rate * share, abs=4 * weight * np.sqrt(mean * share / years) + 0.02 * rate * share
    )
    assert morning / sum(all_of_them) == pytest.approx(0.5, abs=4 * 0.5 / np.sqrt(sum(all_of_them)))
    assert np.mean(all_of_them) == pytest.approx(mean, abs=4 * np.sqrt(mean / years))
    assert np.var(all_of_them) == pytest.approx(mean, rel=0.15)


def test_what_befalls_a_machine_lies_over_its_day_and_leaves_the_rest_alone() -> None:
    """Catches a thermostat that stops cycling under a fault, and an upset that never ends or takes its channel along."""
    today, plan = next(iter(Days(Duty(), site(), 1, (0,))))
    begin, _ = running_spans(plan)[8]
    fault = befall("pump-drive-broken", today, 1, (0,))
    upset = befall("power-dip", today, 1, (0,))
    assert fault is not None
    assert upset is not None
    broken, dipped = laid_over(plan, fault, begin), laid_over(plan, upset, begin)

    later = [(moment - begin, value) for moment, value in plan.knots[Channel.RUN] if moment > begin]
    assert broken.knots[Channel.RUN][1:] == later
    assert broken.knots[Channel.PUMP_DRIVE][-1][1] == 0.0
    assert dipped.knots[Channel.RUN][-4:] == later[-4:]
    assert [value for _, value in dipped.knots[Channel.RUN][:6]] == [1.0, 1.0, 0.0, 0.0, 1.0, 1.0]
    times, *_ = arrays_with(broken, 1000.0)
    assert 1000.0 in times
    assert (np.diff(times) > 0.0).all()


def test_tomorrow_stands_behind_today() -> None:
    """Catches a copy whose duty stands still from midnight on, and arrays that are not those of the joined plan."""
    (_, plan), (_, after), *_ = Days(Duty(), site(), 1, (0,))
    whole = joined(plan, after).arrays()
    both = arrays_joined(plan.arrays(), after.arrays())
    run = [(begin, end) for begin, end in running_spans(joined(plan, after), 2 * DAY_S) if end > DAY_S]

    assert all(np.allclose(one, other, rtol=1e-12, atol=1e-9) for one, other in zip(both, whole, strict=True))
    assert len(run) == len(running_spans(after))


def test_every_family_has_a_rate_but_those_that_duty_or_others_tell() -> None:
    """Catches a new family that no forecast ever sees, and a rate of none that is there."""
    told_otherwise = {"normal-start", "pump-down-and-stop", "defrost-swings", "two-faults-in-a-day"}

    assert set(PER_YEAR) == (set(FAMILIES) - told_otherwise) | set(SENSORS)
    assert all(rate > 0.0 for rate in PER_YEAR.values())


def test_the_season_swings_between_its_ends_and_means_nothing_in_a_year() -> None:
    """Catches a year with two winters, and a swing that shifts the mean of the year."""
    days = [swing((day + 0.5) / DAYS) for day in range(DAYS)]

    assert (min(days), max(days)) == (days[0], days[DAYS // 2])
    assert sum(days) == pytest.approx(0.0, abs=1e-6)


def rest_k(arrays: tuple[np.ndarray, ...], rated_rpm: float, rise_k: float) -> float:
    """Return the mean over a day of the temperature that the sump tends to, K, from a plan's arrays alone."""
    times, values, slopes, _ = arrays
    ends = np.append(times[1:], DAY_S)
    spans = np.maximum(np.minimum(ends, DAY_S) - times, 0.0)
    middle = values + 0.5 * slopes * spans[:, None]
    running = (values[:, at.U_RUN] >= 0.5) * middle[:, at.U_SPEED_RPM] / rated_rpm
    return float((spans * (middle[:, at.U_AMBIENT_K] + middle[:, at.U_HEATER_K] + rise_k * running)).sum() / DAY_S)
