"""Statistics by the book, in plain Python: no cause is named on less.

Sources of the formulas: NIST/SEMATECH e-Handbook of Statistical Methods 1.3.5.2 (t interval),
6.3.2.2 (individuals and moving ranges), 6.3.2.3 (CUSUM), 6.3.2.4 (EWMA), 6.3.3.1 (counts);
exact Poisson limits after Garwood (1936); change point by least squares. Sums of squares are taken
about the mean, never as a difference of squares.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import accumulate, pairwise
from statistics import fmean, median
from typing import NamedTuple

D2 = 1.128
"""Mean range of two standard normal values, to the three decimals of the published tables."""

AT_A_TIME, ROUNDED = 64, 1 + 1e-9
"""Places of a change looked at together, and the room that rounding is given."""


class Limits(NamedTuple):
    """A centre and what lies within the reach of chance around it."""

    low: float
    centre: float
    high: float


def exact_sums(values: Sequence[float]) -> list[float]:
    """Few numbers whose exact sum is that of ``values``: to ``math.fsum`` they are as good as all of them.

    >>> exact_sums([0.1] * 3), math.fsum(exact_sums([0.1] * 3)) == math.fsum([0.1] * 3)
    ([0.30000000000000004, -2.7755575615628914e-17], True)
    """
    sums: list[float] = []
    while rest := math.fsum([*values, *(-one for one in sums)]):
        sums.append(rest)
    return sums


def spread(values: Sequence[float]) -> float:
    """Standard deviation, n - 1 in the divisor; 0 for fewer than two values."""
    if len(values) < 2:
        return 0.0
    centre = fmean(values)
    squares = [(apart := value - centre) * apart for value in values]
    return math.sqrt(math.fsum(squares) / (len(values) - 1))


def middle(values: Sequence[float]) -> float:
    """The median of the means of all pairs (a value with itself among them), after Hodges and Lehmann
    (1963): near the mean where values spread evenly, and unmoved by a few far ones.

    >>> middle([1.0, 2.0, 3.0, 90.0])
    2.75
    """
    return median(
        (one + other) / 2 for number, one in enumerate(values) for other in values[number:])


def none_by_chance(events: int, within: int, rows: int) -> float:
    """Chance that none of so many events falls into a pause in which the other side has ``within`` of its
    ``rows``. A rhythm known from few events is itself uncertain: this is what gamma-Poisson prediction
    gives, far above that of a rhythm known for certain."""
    outside = max(1, rows - within)
    return float((outside / (outside + within)) ** events)


def individuals(values: Sequence[float], sigmas: float = 3.0) -> Limits:
    """Limits of single values from their moving ranges (e-Handbook 6.3.2.2)."""
    centre = fmean(values)
    ranges = [abs(after - before) for before, after in pairwise(values)]
    reach = sigmas * fmean(ranges) / D2 if ranges else 0.0
    return Limits(centre - reach, centre, centre + reach)


def counts(values: Sequence[int], sigmas: float = 3.0) -> Limits:
    """Limits of counts per equal span (e-Handbook 6.3.3.1); never below 0."""
    centre = fmean(values)
    reach = sigmas * math.sqrt(centre)
    return Limits(max(0.0, centre - reach), centre, centre + reach)


def cusum(values: Sequence[float], target: float, slack: float) -> tuple[list[float], list[float]]:
    """The two one-sided cumulative sums, above and below ``target`` (e-Handbook 6.3.2.3).

    >>> cusum([1.0, 2.0, -3.0], 0.0, 0.5)
    ([0.5, 2.0, 0.0], [0.0, 0.0, 2.5])
    """
    above: list[float] = []
    below: list[float] = []
    high = low = 0.0
    for value in values:
        high = max(0.0, high + value - target - slack)
        low = max(0.0, low + target - slack - value)
        above.append(high)
        below.append(low)
    return above, below


def ewma(values: Sequence[float], start: float, weight: float) -> list[float]:
    """Exponentially weighted moving averages, from ``start`` on (e-Handbook 6.3.2.4)."""
    made, level = list[float](), start
    for value in values:
        level = weight * value + (1 - weight) * level
        made.append(level)
    return made


def ewma_limits(centre: float, sigma: float, weight: float, sigmas: float = 3.0) -> Limits:
    """What a long EWMA of values about ``centre`` keeps within (e-Handbook 6.3.2.4)."""
    reach = sigmas * sigma * math.sqrt(weight / (2 - weight))
    return Limits(centre - reach, centre, centre + reach)


def change_point(values: Sequence[float], least: int = 1) -> tuple[int, float]:
    """(index of the first value after the change, sum of squares saved by it), by least squares.

    Both parts hold at least ``least`` values; (0, 0.0) where there are too few.
    """
    best, count, centre = (0, 0.0), len(values), fmean(values) if values else 0.0
    apart = [value - centre for value in values]
    total, sums = math.fsum(apart), list(accumulate(apart))
    for low in range(least, count - least + 1, AT_A_TIME):
        high = min(low + AT_A_TIME, count - least + 1)
        part = sums[low - 1 : high - 1]
        reach = max(max(part), -min(part))
        # No place among these saves more than this, so most of them need no closer look.
        most = reach * reach / low + (reach + abs(total)) ** 2 / (count - high + 1)
        if most * ROUNDED <= best[1]:
            continue
        for at, before in enumerate(part, low):
            after = total - before
            saved = before * before / at + after * after / (count - at) - total * total / count
            if saved > best[1]:
                best = (at, saved)
    return best


def poisson_limits(count: int, chance: float = 0.05) -> Limits:
    """Exact two-sided limits of a Poisson mean (Garwood): each side is missed with half the chance.

    >>> tuple(round(limit, 3) for limit in poisson_limits(5))
    (1.623, 5, 11.668)
    """
    low = 0.0
    if count:
        low = _solve(lambda mean: poisson_tail(count, mean) - chance / 2, 0.0, count + 10.0)
    high = _solve(lambda mean: chance / 2 - _poisson_up_to(count, mean), 0.0, count + 10.0)
    return Limits(low, count, high)


def poisson_chance(count: int, mean: float) -> float:
    """Chance of just ``count`` events where ``mean`` (above 0) are expected."""
    return math.exp(count * math.log(mean) - mean - math.lgamma(count + 1))


def poisson_tail(count: int, mean: float) -> float:
    """Chance of at least ``count`` events where ``mean`` are expected.

    >>> round(poisson_tail(3, 1.0), 6)
    0.080301
    """
    if count <= 0:
        return 1.0
    if mean <= 0:
        return 0.0
    if count <= mean:
        return max(0.0, 1.0 - _poisson_up_to(count - 1, mean))
    return _climb(count, mean)


def binomial_tail(count: int, trials: int, share: float) -> float:
    """Chance of at least ``count`` hits in ``trials`` where each has the chance ``share``.

    >>> binomial_tail(2, 2, 0.5)
    0.25
    """
    if count <= 0:
        return 1.0
    if share <= 0 or count > trials:
        return 0.0
    if share >= 1:
        return 1.0
    if count < trials * share:
        # The other side, so that the sum begins at its largest term.
        return max(0.0, 1.0 - binomial_tail(trials - count + 1, trials, 1 - share))
    term = total = math.exp(
        math.lgamma(trials + 1) - math.lgamma(count + 1) - math.lgamma(trials - count + 1)
        + count * math.log(share) + (trials - count) * math.log1p(-share)
    )
    odds = share / (1 - share)
    for at in range(count, trials):
        term *= odds * (trials - at) / (at + 1)
        if total + term == total:
            break  # those that follow are smaller still
        total += term
    return min(1.0, total)


def t_quantile(probability: float, freedom: float) -> float:
    """Quantile of Student's t.

    >>> round(t_quantile(0.975, 9), 6)
    2.262157
    """
    if probability < 0.5:
        return -t_quantile(1 - probability, freedom)
    return _solve(lambda value: t_up_to(value, freedom) - probability, 0.0, 1.0)


def above_zero(values: Sequence[float], chance: float) -> bool:
    """Whether the low limit of the values' mean (``t_limits``) is above 0: the test dual to the limits."""
    centre, error = fmean(values), spread(values) / math.sqrt(len(values))
    if centre <= 0 or len(values) < 2 or error == 0:
        return centre > 0 and len(values) > 1
    return 1 - t_up_to(centre / error, len(values) - 1) < chance / 2


def t_limits(values: Sequence[float], chance: float = 0.05) -> Limits:
    """Two-sided limits of a mean (e-Handbook 1.3.5.2)."""
    centre = fmean(values)
    if len(values) < 2:
        return Limits(-math.inf, centre, math.inf)
    reach = t_quantile(1 - chance / 2, len(values) - 1) * spread(values) / math.sqrt(len(values))
    return Limits(centre - reach, centre, centre + reach)


def t_up_to(value: float, freedom: float) -> float:
    """Chance that Student's t is at most ``value`` (at least 0)."""
    return 1 - beta_share(freedom / (freedom + value * value), freedom / 2, 0.5) / 2


def beta_share(at: float, a: float, b: float) -> float:
    """Regularised incomplete beta function, by its continued fraction."""
    if at <= 0 or at >= 1:
        return float(at >= 1)
    front = math.exp(
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(at) + b * math.log1p(-at)
    )
    if at < (a + 1) / (a + b + 2):
        return front * _beta_fraction(at, a, b) / a
    return 1 - front * _beta_fraction(1 - at, b, a) / b


def _beta_fraction(at: float, a: float, b: float) -> float:
    """Lentz's evaluation of the continued fraction."""
    tiny = 1e-300
    c, d = 1.0, 1 / ((1 - (a + b) * at / (a + 1)) or tiny)
    made = d
    for m in range(1, 500):
        for even in (True, False):
            if even:
                step = m * (b - m) * at / ((a + 2 * m - 1) * (a + 2 * m))
            else:
                step = -(a + m) * (a + b + m) * at / ((a + 2 * m) * (a + 2 * m + 1))
            d = 1 / ((1 + step * d) or tiny)
            c = (1 + step / c) or tiny
            made *= c * d
        if abs(c * d - 1) < 1e-15:
            break
    return made


def _poisson_up_to(count: int, mean: float) -> float:
    """Chance of at most ``count`` events."""
    if mean <= 0:
        return 1.0
    if count > mean:
        return 1.0 - _climb(count + 1, mean)
    term = total = poisson_chance(count, mean)
    at = count
    while at > 0 and term > total * 1e-17:
        term *= at / mean
        at -= 1
        total += term
    return min(1.0, total)


def _climb(count: int, mean: float) -> float:
    """The tail from ``count`` (above the mean) on, summed upwards."""
    term = total = poisson_chance(count, mean)
    at = count
    while term > total * 1e-17:
        at += 1
        term *= mean / at
        total += term
    return total


def _solve(rising: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function reaches 0 from ``low`` on, by halving until two neighbours are left."""
    while rising(high) < 0:
        high *= 2
    while low < (middle := (low + high) / 2) < high:
        low, high = (middle, high) if rising(middle) < 0 else (low, middle)
    return middle
