"""Exact limits against published values: each case says where the value comes from and how it was confirmed there.

'from memory' stands where the printed source was not seen; an independent calculation agreed with those values.
"""

import math
import random
from collections import Counter
from itertools import combinations_with_replacement

import numpy as np
import pytest
import scipy.stats
from scipy.stats import binomtest, poisson

from replay.ground import statistics

pytestmark = pytest.mark.slow("loads a large library, or solves the film of oil on a fine grid")

# Two-sided Garwood limits of a count (Garwood 1936, Biometrika 28:437, from memory; computed by chi-square quantiles).
GARWOOD = {
    0: [(0, 2.9957), (0, 3.6889), (0, 5.2983)],
    1: [(0.0513, 4.7439), (0.0253, 5.5716), (0.0050, 7.4301)],
    2: [(0.3554, 6.2958), (0.2422, 7.2247), (0.1035, 9.2738)],
    5: [(1.9701, 10.5130), (1.6235, 11.6683), (1.0779, 14.1498)],
    10: [(5.4254, 16.9622), (4.7954, 18.3904), (3.7169, 21.3978)],
    100: [(84.1393, 118.0793), (81.3640, 121.6268), (76.1205, 128.7606)],
}


@pytest.mark.outside(
    computation="limits of a rate (Garwood)",
    source="Garwood 1936",
    status="not consulted, recomputed",
    agreement="5e-5, the last digit",
)
@pytest.mark.parametrize(("place", "confidence"), [(0, 0.90), (1, 0.95), (2, 0.99)])
@pytest.mark.parametrize("events", GARWOOD)
def test_limits_of_a_count(events: int, place: int, confidence: float) -> None:
    """Catches 2x and 2x + 2 degrees of freedom exchanged, a tail that is not halved, a normal approximation."""
    assert statistics.rate_interval(events, 1.0, confidence) == pytest.approx(GARWOOD[events][place], abs=1e-4)


@pytest.mark.outside(
    computation="limits of a rate (Garwood)",
    source="R, `poisson.test(5, 94.32)`, as printed in a course text",
    status="consulted",
    agreement="1e-8, the last printed digit",
)
def test_limits_of_a_rate() -> None:
    """Catches an exposure that divides one limit only.

    5 failures in 94.32 units of time: R, poisson.test(5, 94.32), as a public course text prints it.
    """
    assert statistics.rate_interval(5, 94.32, 0.95) == pytest.approx((0.01721254, 0.12371005), abs=1e-8)


def test_upper_limit_without_an_event() -> None:
    """Catches a one-sided limit computed as one end of the two-sided interval.

    2.996 one-sided and 3.689 two-sided: documentation of R epitools, pois.exact and pois.daly.
    """
    assert statistics.rate_upper(0, 1.0, 0.95) == pytest.approx(2.996, abs=5e-4)
    assert statistics.rate_interval(0, 1.0, 0.95)[1] == pytest.approx(3.689, abs=5e-4)


def test_no_exposure_shows_nothing() -> None:
    """Catches a division by zero, and zero hours taken for a perfect score."""
    assert statistics.rate_upper(0, 0.0, 0.95) == math.inf
    assert statistics.proportion_interval(0, 0, 0.95) == (0.0, 1.0)
    with pytest.raises(ValueError, match="2 events in 1 trials"):
        statistics.proportion_upper(2, 1, 0.95)
    with pytest.raises(ValueError, match="-1 events"):
        statistics.rate_upper(-1, 1.0, 0.95)


@pytest.mark.outside(
    computation="limits of a probability (Clopper-Pearson)",
    source="NIST/SEMATECH e-Handbook 7.2.4.1",
    status="consulted",
    agreement="the last printed digit",
)
@pytest.mark.outside(
    computation="limits of a probability (Clopper-Pearson)",
    source="Newcombe 1998, table I, as public texts quote it",
    status="quoted",
    agreement="the last printed digit",
)
@pytest.mark.outside(
    computation="limits of a probability (Clopper-Pearson)",
    source="R, the example of `binom.test`",
    status="not consulted, recomputed",
    agreement="the last printed digit",
)
@pytest.mark.parametrize(
    ("events", "trials", "confidence", "limits", "tolerance"),
    [
        (4, 20, 0.90, (0.071354, 0.401029), 2e-6),  # NIST/SEMATECH e-Handbook 7.2.4.1, worked example, seen
        (682, 925, 0.95, (0.7076683, 0.7654066), 1e-6),  # R binom.test example (Conover 1971), from memory
        (81, 263, 0.95, (0.2527, 0.3676), 5e-5),  # Newcombe 1998, Stat. Med. 17:857, table I, method 5, as quoted
        (15, 148, 0.95, (0.0578, 0.1617), 5e-5),  # same
        (0, 20, 0.95, (0.0, 0.1684), 5e-5),  # same
        (1, 29, 0.95, (0.0009, 0.1776), 5e-5),  # same
    ],
)
def test_limits_of_a_probability(
    events: int, trials: int, confidence: float, limits: tuple[float, float], tolerance: float
) -> None:
    """Catches Wilson's limits, a limit of k instead of k + 1, an undefined limit at no event or all."""
    assert statistics.proportion_interval(events, trials, confidence) == pytest.approx(limits, abs=tolerance)
    low, high = statistics.proportion_interval(trials - events, trials, confidence)
    assert (1 - high, 1 - low) == pytest.approx(limits, abs=tolerance)


@pytest.mark.outside(
    computation="limits of a probability (Clopper-Pearson)",
    source="scipy.stats.binomtest 1.17",
    status="consulted",
    agreement="4.9e-13",
)
@pytest.mark.parametrize(("events", "trials"), [(0, 1), (1, 1), (3, 7), (2, 250), (249, 250), (40, 4000)])
@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.999])
def test_limits_of_a_probability_against_a_library(events: int, trials: int, confidence: float) -> None:
    """Catches an error that the published cases hide; library: scipy.stats.binomtest, by root finding of its own."""
    expected = binomtest(events, trials).proportion_ci(confidence, "exact")
    assert statistics.proportion_interval(events, trials, confidence) == pytest.approx(
        (expected.low, expected.high), abs=1e-10
    )


@pytest.mark.outside(
    computation="limits of a rate (Garwood)",
    source="the definition, by scipy.stats.poisson",
    status="consulted",
    agreement="1e-6 (asserted)",
)
@pytest.mark.parametrize("events", [0, 1, 7, 300])
@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.999])
def test_limits_of_a_rate_leave_their_tails(events: int, confidence: float) -> None:
    """Catches limits that are not those of the definition: so few, or so many, events have just half the rest."""
    low, high = statistics.rate_interval(events, 2.0, confidence)

    assert poisson.cdf(events, 2 * high) == pytest.approx((1 - confidence) / 2)
    assert events == 0 or poisson.sf(events - 1, 2 * low) == pytest.approx((1 - confidence) / 2)


@pytest.mark.outside(
    computation="rule of three",
    source="Hanley and Lippman-Hand 1983, JAMA 249:1743, its example, as a public text prints it",
    status="quoted",
    agreement="1e-6 (asserted)",
)
def test_rule_of_three() -> None:
    """Catches a limit off by an order; Hanley and Lippman-Hand 1983, JAMA 249:1743, from memory; its example was seen."""
    assert statistics.proportion_upper(0, 300, 0.95) == pytest.approx(0.009936, abs=1e-6)
    assert statistics.proportion_upper(0, 300, 0.95) < 3 / 300


# Success-run theorem, n = ceil(ln(1 - C) / ln(R)), from memory; 59 is also Wilks 1941 at 95/95. 2995: worked example
# in the documentation of the Python package `reliability`, sample size without failures.
@pytest.mark.outside(
    computation="traces needed",
    source="success-run theorem: 2995 at 0.999 and 95 % (documentation of the package reliability)",
    status="consulted",
    agreement="equal",
)
@pytest.mark.outside(
    computation="traces needed",
    source="success-run theorem at the other places; Wilks 1941",
    status="not consulted, recomputed",
    agreement="equal",
)
@pytest.mark.parametrize(
    ("reliability", "sizes"),
    [(0.90, (22, 29, 44)), (0.95, (45, 59, 90)), (0.99, (230, 299, 459)), (0.999, (None, 2995, None))],
)
def test_traces_needed_without_a_failure(reliability: float, sizes: tuple[int | None, ...]) -> None:
    """Catches a sample size one short, which shows a little less than is claimed."""
    for confidence, size in zip((0.90, 0.95, 0.99), sizes, strict=True):
        if size is not None:
            assert statistics.trials_needed(0, 1 - reliability, confidence) == size


# Wilks 1941, Ann. Math. Stat. 12:91, second order: 95/95, 90/95, 99/95; from memory.
@pytest.mark.parametrize(("coverage", "size"), [(0.95, 93), (0.90, 46), (0.99, 473)])
def test_traces_needed_with_one_failure(coverage: float, size: int) -> None:
    """Catches a size that does not count the failures that were already seen."""
    assert statistics.trials_needed(1, 1 - coverage, 0.95) == size


@pytest.mark.parametrize("events", [0, 1, 3, 20])
def test_needed_amounts_are_just_enough(events: int) -> None:
    """Catches a search that overshoots, and a size that belongs to another limit than the one that is judged."""
    trials = statistics.trials_needed(events, 0.07, 0.9)
    assert statistics.proportion_upper(events, trials, 0.9) <= 0.07
    assert statistics.proportion_upper(events, trials - 1, 0.9) > 0.07
    assert statistics.rate_upper(events, statistics.exposure_needed(events, 0.3, 0.9), 0.9) == pytest.approx(0.3)


@pytest.mark.parametrize("probability", [0.0, 1.0])
def test_nothing_shows_a_probability_of_none(probability: float) -> None:
    """Catches a search that never ends."""
    with pytest.raises(ValueError, match="no number of trials"):
        statistics.trials_needed(0, probability, 0.95)


@pytest.mark.outside(
    computation="tolerance limit",
    source="Wilks 1941",
    status="not consulted, recomputed",
    agreement="equal",
)
@pytest.mark.parametrize(
    ("size", "coverage", "limit"),
    [(58, 0.95, None), (59, 0.95, 1.0), (92, 0.95, 1.0), (93, 0.95, 2.0), (45, 0.90, 1.0), (46, 0.90, 2.0)],
)
def test_tolerance_limit_is_the_right_order_statistic(size: int, coverage: float, limit: float | None) -> None:
    """Catches the worst margin seen sold as the worst to expect; sizes as above (Wilks 1941, from memory)."""
    values = list(map(float, range(size, 0, -1)))
    assert statistics.tolerance_limit(values, coverage, 0.95) == limit


@pytest.mark.outside(
    computation="McNemar, exact",
    source="Fagerland, Lydersen, Laake 2013, DOI 10.1186/1471-2288-13-91: data and rule",
    status="consulted",
    agreement="18/256 equal; 3e-7",
)
@pytest.mark.parametrize(
    ("only_first", "only_second", "p"),
    [
        (1, 7, 0.0703125),  # 18 / 2^8; Fagerland, Lydersen, Laake 2013, doi 10.1186/1471-2288-13-91: data and rule seen
        (6, 16, 0.052479),  # same paper: data seen, p by its rule
        (0, 0, 1.0),
        (3, 3, 1.0),
        (0, 1, 1.0),
        (0, 6, 0.03125),  # 2 / 2^6
    ],
)
def test_mcnemar_exact(only_first: int, only_second: int, p: float) -> None:
    """Catches the mid-p value, the chi-square approximation, one side only, a p above 1."""
    assert statistics.mcnemar(only_first, only_second) == pytest.approx(p, abs=1e-6)
    assert statistics.mcnemar(only_second, only_first) == pytest.approx(p, abs=1e-6)


def test_bootstrap_interval_is_the_same_each_time_and_about_right() -> None:
    """Catches an unseeded interval, one that hangs on the order of traces, one that is not of the mean.

    100 normal differences: the normal interval of their mean is near.
    """
    draw = random.Random(1)  # noqa: S311 - a sample, not a secret
    values = [draw.gauss(5.0, 2.0) for _ in range(100)]
    low, high = statistics.bootstrap_mean(values, 0.95, 1) or (0, 0)
    mean = sum(values) / 100
    spread = 1.96 * math.sqrt(sum((value - mean) ** 2 for value in values) / 99 / 100)

    assert (low, high) == pytest.approx((mean - spread, mean + spread), abs=0.1)
    assert statistics.bootstrap_mean(values[::-1], 0.95, 1) == (low, high)
    assert statistics.bootstrap_mean([3.0, 3.0], 0.95, 1) == (3.0, 3.0)
    assert statistics.bootstrap_mean([3.0], 0.95, 1) is None


@pytest.mark.parametrize("size", [2, 7, 300])
def test_bootstrap_interval_is_that_of_a_library(size: int) -> None:
    """Catches other samples, or another percentile of them, than the library of statistics draws; library: scipy."""
    values = np.random.default_rng(size).normal(3.0, 10.0, size).round(3)
    settings = {"n_resamples": statistics.BOOTSTRAP_SAMPLES, "confidence_level": 0.9, "method": "percentile"}
    found = scipy.stats.bootstrap((np.sort(values),), np.mean, rng=np.random.default_rng(7), **settings)

    assert statistics.bootstrap_mean(list(values), 0.9, 7) == pytest.approx(tuple(found.confidence_interval), rel=1e-12)


def test_mcnemar_of_many_pairs_is_twice_the_tail_of_a_library() -> None:
    """Catches a sum that loses its digits, or overflows, where there are thousands of pairs; library: scipy."""
    for fewer, more in ((10, 20), (400, 500), (1000, 1200), (3000, 3000)):
        wanted = min(1.0, 2 * float(scipy.stats.binom.cdf(fewer, fewer + more, 0.5)))
        assert statistics.mcnemar(more, fewer) == pytest.approx(wanted, rel=1e-9)


# Survival of seven mice in days: Efron and Tibshirani 1993, An Introduction to the Bootstrap, ch. 2, from memory; so is
# the standard error of their mean without sampling, 23.36.
MICE = (94.0, 197.0, 16.0, 38.0, 99.0, 141.0, 23.0)


@pytest.mark.outside(
    computation="bootstrap interval of a mean",
    source="Efron and Tibshirani 1993, ch. 2, mouse data: all 7^7 samples counted",
    status="not consulted, recomputed",
    agreement="80 %: equal; 95 %: 0.007 of 91 days",
)
def test_bootstrap_interval_is_that_of_all_samples_there_are() -> None:
    """Catches an interval that is drawn in, shifted or of another statistic: all 7^7 samples are counted instead."""
    ways: Counter[float] = Counter()
    for places in combinations_with_replacement(range(7), 7):
        repeats = math.prod(math.factorial(times) for times in Counter(places).values())
        ways[sum(MICE[place] for place in places) / 7] += math.factorial(7) // repeats
    mean = sum(MICE) / 7
    spread = math.sqrt(sum(times * (value - mean) ** 2 for value, times in ways.items()) / 7**7)
    reached, below = {}, 0
    for value in sorted(ways):
        below += ways[value]
        reached[value] = below / 7**7

    assert spread == pytest.approx(23.36, abs=5e-3)
    for confidence in (0.8, 0.95):
        tail = (1 - confidence) / 2
        whole = [next(value for value in reached if reached[value] >= share) for share in (tail, 1 - tail)]
        assert statistics.bootstrap_mean(MICE, confidence, 1) == pytest.approx(whole, abs=spread / 10)


@pytest.mark.parametrize(("size", "probability"), [(30, 0.05), (49, 0.02), (20, 0.3)])
def test_the_upper_limit_covers_at_least_as_often_as_it_says(size: int, probability: float) -> None:
    """Catches a limit that is too low on average: the coverage is summed over all outcomes, without a sample."""
    covered = sum(
        math.comb(size, seen) * probability**seen * (1 - probability) ** (size - seen)
        for seen in range(size + 1)
        if statistics.proportion_upper(seen, size, 0.9) >= probability
    )
    assert covered >= 0.9


@pytest.mark.outside(
    computation="Cohen's kappa and its interval",
    source="printout of SAS for a 3 x 3 table, as the tests of statsmodels carry it; Agresti and Winner 1997 (two critics)",
    status="quoted",
    agreement="to the four digits printed; the second, from memory, to its two",
)
def test_kappa_is_that_of_published_examples() -> None:
    """Catches kappa with rows taken for columns, or the interval of the hypothesis of no agreement (ASE 0.1484)."""
    kappa = statistics.cohen_kappa([[0, 4, 1], [0, 8, 0], [0, 1, 5]], 0.95)
    critics = statistics.cohen_kappa([[24, 8, 13], [8, 13, 11], [10, 9, 64]], 0.95)

    assert kappa == pytest.approx((0.4842, 0.2137, 0.7547), abs=5e-5)
    assert critics == pytest.approx((0.389, 0.27, 0.51), abs=5e-3)


def test_kappa_is_not_told_where_there_is_none() -> None:
    """Catches a division by nothing, and a whole agreement that is less than 1."""
    assert statistics.cohen_kappa([[0, 0], [0, 0]], 0.95) is None
    assert statistics.cohen_kappa([[9, 0], [0, 0]], 0.95) is None
    assert statistics.cohen_kappa([[9, 0], [0, 3]], 0.95) == (1.0, 1.0, 1.0)


# Down syndrome in Michigan, births of order five and later, by age of the mother (Stark and Mantell 1966, as in Fay and
# Feuer 1997, table II): cases, births, and all births of that age, which the rate is standardised to.
CASES = (0, 8, 63, 112, 262, 295)
BIRTHS = (327, 30666, 123419, 149919, 104088, 34392)
ALL_BIRTHS = (319933, 931318, 786511, 488235, 237863, 61313)


@pytest.mark.outside(
    computation="limits of a weighted sum of counts (Fay and Feuer)",
    source="R package dsrTest 1.0.0, its vignette's gamma method on the data of Fay and Feuer 1997",
    status="consulted",
    agreement="5e-6, the last printed digit",
)
def test_limits_of_a_weighted_sum() -> None:
    """Catches an upper limit without the largest weight, or with that of what was seen; the mean and the variance changed."""
    weights = [1e5 * whole / sum(ALL_BIRTHS) / births for whole, births in zip(ALL_BIRTHS, BIRTHS, strict=True)]
    found = statistics.weighted_interval(list(zip(CASES, weights, strict=True)), max(weights), 0.95)

    assert found == pytest.approx((75.52901, 67.70212, 188.30017), abs=1e-5)


@pytest.mark.parametrize("events", [0, 1, 7])
def test_limits_of_one_weight_are_those_of_a_rate(events: int) -> None:
    """Catches limits that are exact for mixed weights only."""
    _, *limits = statistics.weighted_interval([(events, 0.5)], 0.5, 0.9)

    assert limits == pytest.approx(statistics.rate_interval(events, 2.0, 0.9))


# Hours slept more under the second of two drugs than under the first (Student 1908; R's data `sleep`).
SLEPT_MORE = (1.2, 2.4, 1.3, 1.3, 0.0, 1.0, 1.8, 0.8, 4.6, 1.4)


@pytest.mark.outside(
    computation="limits of a mean of paired differences (Student)",
    source="R's paired t.test of its data `sleep` (Student 1908), as R For Dummies prints it; the data from memory",
    status="consulted",
    agreement="5e-8, the last printed digit",
)
def test_limits_of_a_mean_of_differences() -> None:
    """Catches a normal taken for Student's t, another number of degrees of freedom, and limits of one value."""
    assert statistics.mean_interval(SLEPT_MORE, 0.95) == pytest.approx((0.7001142, 2.4598858), abs=6e-8)
    assert statistics.mean_interval([3.0], 0.95) == (float("-inf"), float("inf"))
    assert statistics.mean_interval([3.0] * 4, 0.95) == (3.0, 3.0)
