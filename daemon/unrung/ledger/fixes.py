"""Before and after a fix that somebody wrote down: did the serves change, and by how much?

A day is one observation: serves of one day share a meter's temper, a server, a keg. The interval is
Student's, for two means of equal spread (NIST/SEMATECH e-Handbook, 1.3.5.3).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import date, timedelta
from math import sqrt
from statistics import fmean
from typing import NamedTuple

from unrung.ledger.facts import DayFacts
from unrung.settings import Fix

LOOK_DAYS = 28
LEAST_DAYS = 3
"""Fewer days than these on either side show nothing."""
LEAST_SERVES = 5
"""Of a day that counts."""

Quantile = Callable[[float, int], float]
"""Of Student's t: (probability, degrees of freedom)."""


class Effect(NamedTuple):
    """Metered less set portion per serve, in microlitres, before and after; the fix's own day is left
    out."""

    before_ul: float
    after_ul: float
    low_ul: float
    """Of the change, after less before."""
    high_ul: float
    days_before: int
    days_after: int

    @property
    def change_ul(self) -> float:
        return self.after_ul - self.before_ul

    @property
    def clear(self) -> bool:
        """Whether the interval leaves no change out."""
        return self.low_ul > 0 or self.high_ul < 0


def daily_differences(days: Iterable[DayFacts], fix: Fix) -> list[tuple[date, float]]:
    """Each day's mean of metered less set, over the paired serves of the fix's tap and product (of all
    where it names none), other sizes left out."""
    tap, product = fix.tap.casefold(), fix.product.casefold()
    means = []
    for day in days:
        found = [
            serve.difference_ul for serve in day.serves
            if serve.paired and not serve.other_size
            and tap in ("", serve.tap.casefold()) and product in ("", serve.product.casefold())
        ]
        if len(found) >= LEAST_SERVES:
            means.append((day.day, fmean(found)))
    return means


def effect(
    fix: Fix, means: Sequence[tuple[date, float]], quantile: Quantile, chance: float = 0.05
) -> Effect | None:
    """The change at the fix, with its two-sided interval; None where a side has too few days."""
    reach = timedelta(days=LOOK_DAYS)
    before = [mean for day, mean in means if fix.day - reach <= day < fix.day]
    after = [mean for day, mean in means if fix.day < day <= fix.day + reach]
    if min(len(before), len(after)) < LEAST_DAYS:
        return None
    freedom = len(before) + len(after) - 2
    squares = sum((one - fmean(side)) ** 2 for side in (before, after) for one in side)
    error = sqrt(squares / freedom * (1 / len(before) + 1 / len(after)))
    half = quantile(1 - chance / 2, freedom) * error
    change = fmean(after) - fmean(before)
    return Effect(fmean(before), fmean(after), change - half, change + half, len(before), len(after))
