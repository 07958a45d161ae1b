"""Exact limits for counts: what so many traces or hours can show, and what they cannot.

Every limit is exact (Clopper and Pearson 1934 for a probability, Garwood 1936 for
a rate): it errs to the safe side and never leans on large numbers. Confidence,
probability and coverage lie between 0 and 1; exposure is in any unit, here hours, and
rates are per that unit. scipy computes and is imported by the first call only.
"""

import math
import statistics
from collections.abc import Sequence
from typing import NamedTuple

BOOTSTRAP_SAMPLES = 9999
BOOTSTRAP_DRAWS = 1 << 20  # held at a time


def proportion_interval(events: int, trials: int, confidence: float) -> tuple[float, float]:
    """Return the two-sided Clopper-Pearson limits of a probability; (0, 1) without trials.

    Raises ValueError for counts that cannot be.
    """
    tail = (1 - confidence) / 2
    return 1 - proportion_upper(trials - events, trials, 1 - tail), proportion_upper(events, trials, 1 - tail)


def proportion_upper(events: int, trials: int, confidence: float) -> float:
    """Return the one-sided upper Clopper-Pearson limit of a probability; 1 without trials.

    Raises ValueError for counts that cannot be.
    """
    if not 0 <= events <= trials:
        raise ValueError(f"{events} events in {trials} trials")
    if events == trials:
        return 1.0
    from scipy.special import betaincinv

    return float(betaincinv(events + 1, trials - events, confidence))


def rate_interval(events: int, exposure: float, confidence: float) -> tuple[float, float]:
    """Return the two-sided Garwood limits of a Poisson rate, per unit of exposure.

    Raises ValueError for a negative count or exposure.
    """
    from scipy.special import gammaincinv

    tail = (1 - confidence) / 2
    upper = rate_upper(events, exposure, 1 - tail)
    if events == 0:
        return 0.0, upper
    return (float(gammaincinv(events, tail)) / exposure if exposure else math.inf), upper


def rate_upper(events: int, exposure: float, confidence: float) -> float:
    """Return the one-sided upper Garwood limit of a Poisson rate; infinite without exposure.

    Raises ValueError for a negative count or exposure.
    """
    if events < 0 or exposure < 0:
        raise ValueError(f"{events} events in {exposure}")
    if exposure == 0:
        return math.inf
    return exposure_needed(events, 1.0, confidence) / exposure


def weighted_interval(
    parts: Sequence[tuple[float, float]], largest: float, confidence: float
) -> tuple[float, float, float]:
    """Return (sum, lower, upper limit) of a weighted sum of Poisson counts, parts being pairs (count, weight).

    The gamma interval of Fay and Feuer (1997), Statistics in Medicine 16:791-801. largest: the largest weight that an
    event could have had, seen or not, which stands for the one that comes next. With one weight it is Garwood's.
    """
    from scipy.special import gammaincinv

    tail = (1 - confidence) / 2
    total = math.fsum(count * weight for count, weight in parts)
    spread = math.fsum(count * weight * weight for count, weight in parts)
    lower = 0.0
    if spread > 0:
        lower = float(gammaincinv(total * total / spread, tail)) * spread / total
    more, wider = total + largest, spread + largest * largest
    if wider == 0:
        return total, lower, total
    return total, lower, float(gammaincinv(more * more / wider, 1 - tail)) * wider / more


def exposure_needed(events: int, rate: float, confidence: float) -> float:
    """Return the exposure over which so many events show, at this confidence, a rate of at most `rate`."""
    from scipy.special import gammaincinv

    return float(gammaincinv(events + 1, confidence)) / rate


def trials_needed(events: int, probability: float, confidence: float) -> int:
    """Return the fewest trials in which so many events show a probability of at most `probability`.

    Without events that is the success-run theorem, ceil(ln(1 - confidence) /
    ln(1 - probability)). Raises ValueError for a probability that no number of trials shows.
    """
    if not 0 < probability < 1:
        raise ValueError(f"no number of trials shows a probability of at most {probability:g}")
    from scipy.special import bdtr

    few, enough = events, max(1, 2 * events)
    while bdtr(events, enough, probability) > 1 - confidence:
        few, enough = enough, 2 * enough
    while enough - few > 1:
        middle = (few + enough) // 2
        if bdtr(events, middle, probability) > 1 - confidence:
            few = middle
        else:
            enough = middle
    return enough


def tolerance_limit(values: Sequence[float], coverage: float, confidence: float) -> float | None:
    """Return a value that at least this share of the population exceeds, at this confidence.

    It is an order statistic of the sample and assumes no distribution (Wilks
    1941). None where the sample is too small.
    """
    from scipy.special import bdtr

    limit = None
    for below, value in enumerate(sorted(values)):
        if bdtr(below, len(values), 1 - coverage) > 1 - confidence:
            break
        limit = value
    return limit


def mcnemar(only_first: int, only_second: int) -> float:
    """Return the two-sided exact McNemar p-value of two counts of discordant pairs; 1 without any.

    Fagerland, Lydersen and Laake 2013: twice the binomial tail of the smaller count, at most 1.
    """
    fewer, both = min(only_first, only_second), only_first + only_second
    tail: float = sum(math.comb(both, events) for events in range(fewer + 1)) / (1 << both)
    return min(1.0, 2 * tail)


def bootstrap_mean(differences: Sequence[float], confidence: float, seed: int) -> tuple[float, float] | None:
    """Return the percentile bootstrap interval of the mean of paired differences; None of fewer than two pairs.

    In the unit of the differences (Efron and Tibshirani 1993).

    The same differences in any order and the same seed give the same interval.
    """
    if len(differences) < 2:  # noqa: PLR2004 - one pair has no spread
        return None
    import numpy as np

    pairs, draw = np.sort(np.asarray(differences, float)), np.random.default_rng(seed)
    size, means = len(pairs), np.empty(BOOTSTRAP_SAMPLES)
    for samples in np.array_split(means, -(-BOOTSTRAP_SAMPLES * size // BOOTSTRAP_DRAWS)):
        samples[:] = pairs[draw.integers(0, size, (len(samples), size))].mean(axis=1)
    tail = 50 * (1 - confidence)
    low, high = np.percentile(means, (tail, 100 - tail))
    return float(low), float(high)


def mean_interval(values: Sequence[float], confidence: float) -> tuple[float, float]:
    """Return the two-sided limits of a mean by Student's t (1908): infinite of fewer than two values.

    In the unit of the values. Exact for normal values; the mean of some skewed ones is nearly so.
    """
    from scipy.special import stdtrit

    count = len(values)
    if count < 2:  # noqa: PLR2004 - one value has no spread
        return -math.inf, math.inf
    mean = math.fsum(values) / count
    half = float(stdtrit(count - 1, (1 + confidence) / 2)) * statistics.stdev(values) / math.sqrt(count)
    return mean - half, mean + half


class Kappa(NamedTuple):
    """Agreement beyond chance: 1 whole, 0 what chance brings; with a two-sided interval."""

    value: float
    low: float
    high: float


def cohen_kappa(counts: Sequence[Sequence[int]], confidence: float) -> Kappa | None:
    """Return Cohen's kappa of a square table (rows by the one, columns by the other) with its interval within -1 .. 1.

    Cohen 1960; the interval is that of large samples (Fleiss, Cohen and Everitt 1969): of few cases it is rough, and of
    no width where all agree or nothing but chance is seen. None without cases, and where both only ever say one thing.
    """
    whole = sum(map(sum, counts))
    if not whole:
        return None
    places = range(len(counts))
    share = [[counts[one][other] / whole for other in places] for one in places]
    rows = [sum(row) for row in share]
    columns = [sum(share[one][other] for one in places) for other in places]
    seen, chance = sum(share[at][at] for at in places), sum(rows[at] * columns[at] for at in places)
    if chance >= 1.0:
        return None
    kappa = (seen - chance) / (1 - chance)
    on = sum(share[at][at] * (1 - (rows[at] + columns[at]) * (1 - kappa)) ** 2 for at in places)
    off = sum(
        share[one][other] * (columns[one] + rows[other]) ** 2 for one in places for other in places if one != other
    )
    variance = (on + (1 - kappa) ** 2 * off - (kappa - chance * (1 - kappa)) ** 2) / (whole * (1 - chance) ** 2)
    wide = statistics.NormalDist().inv_cdf((1 + confidence) / 2) * math.sqrt(max(variance, 0.0))
    return Kappa(kappa, max(kappa - wide, -1.0), min(kappa + wide, 1.0))
