"""Where a tap's level cannot have stepped: told by a few numbers a day, without a look at every glass.

A step is clear beside the noise of the shorter side of it. Of glasses about the means of their items the two
sides' sums cancel out, so a step's distance from 0 in its standard errors is

    |sum of the shorter side| * all glasses / (glasses of the longer side * root of the shorter's squares)

Within a day the sum is no further from 0 than at its start and the day's ``reach`` together, and the squares
are at least those of the whole days before it within their own items. Only the days at the two ends have no
whole day before them, and are looked at glass by glass.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import accumulate
from typing import NamedTuple

from unrung.findings.glass_series import Series

ROUNDED = 0.999
"""The room that rounding is given, many times what it needs."""
LEAST_SQUARES = 1e-12
"""Below it, all is rounding."""


class _Bound(NamedTuple):
    """What is known of one day."""

    glasses: int
    reach: float
    """The sum of all glasses up to any of the day's is no further from 0."""
    within: float


def stays(series: Series, errors: float, least: int) -> bool:
    """Whether no step with at least ``least`` glasses on either side is ``errors`` standard errors of its
    shorter side or more. False where it cannot be told so."""
    if series.count < 2 * least:
        return True
    days, limit = _bounds(series), ROUNDED * errors
    first, last = series.days[0].values, series.days[-1].values[::-1]
    return not any(
        _may_step_inside(values, series.count, limit, least) or _may_step_after(side, series.count, limit)
        for values, side in ((first, days), (last, days[::-1]))
    )


def _bounds(series: Series) -> list[_Bound]:
    found, start = [], 0.0
    for day in series.days:
        own, moved, drift = day.outline, 0.0, 0.0
        for count, total, mean, usual in zip(own.counts, own.sums, day.means, own.usual, strict=True):
            moved += abs(mean - usual) * count
            drift += total - mean * count
        found.append(_Bound(len(day.merged.numbers), abs(start) + own.reach + moved, own.within))
        start += drift
    return found


def _may_step_after(days: Iterable[_Bound], count: int, limit: float) -> bool:
    """Whether there may be a clear step after the first of ``days``, while the side before it is the shorter.
    """
    before, within = 0, 0.0
    for day in days:
        if 2 * before > count:
            break
        if before:
            longer = max(count - before - day.glasses, count / 2)
            if within < LEAST_SQUARES or day.reach * count > limit * longer * math.sqrt(within):
                return True
        before += day.glasses
        within += day.within
    return False


def _may_step_inside(values: Sequence[float], count: int, limit: float, least: int) -> bool:
    """The same for a step among ``values``, which are one end of all."""
    sums, squares = accumulate(values), accumulate([value * value for value in values])
    return any(
        at >= least and 2 * at <= count and (
            (about := square - own * own / at) < LEAST_SQUARES
            or abs(own) * count > limit * (count - at) * math.sqrt(about))
        for at, (own, square) in enumerate(zip(sums, squares, strict=True), 1)
    )
