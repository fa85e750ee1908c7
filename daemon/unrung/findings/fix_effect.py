"""Before and after: did a daily figure change, by how much, and is what it stood for gone?

A day is one observation: serves of one day share a meter's temper, a crowd, a keg. The interval is
Welch's, for two means whose spreads differ (NIST/SEMATECH e-Handbook, 1.3.5.3): a loss that is gone
wanders less than it did.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from statistics import fmean
from typing import NamedTuple

from unrung.findings.statistics import spread, t_quantile
from unrung.ledger.results import Verdict

CHANCE = 0.1
"""Of the interval missing the true change, both sides together."""
LEAST_DAYS = 5
"""With fewer on either side one busy night decides (common practice, no source)."""
LEFT = 1 / 3
"""What costs at most this share of what it cost before is gone (common practice, no source)."""


class Effect(NamedTuple):
    """Two means of daily figures, and the interval of after less before; all in the figures' unit."""

    before: float
    after: float
    low: float
    high: float

    @property
    def verdict(self) -> Verdict:
        """``closed``: clearly less, and at most a third is left. ``smaller``: clearly less. ``no_help``:
        the interval leaves out a change that would have closed it. Else ``too_early``."""
        sign = 1 if self.before >= 0 else -1
        least, most = sorted((sign * self.low, sign * self.high))
        if most < 0:
            return "closed" if abs(self.after) <= LEFT * abs(self.before) else "smaller"
        if least > -(1 - LEFT) * abs(self.before):
            return "no_help"
        return "too_early"


def effect(before: Sequence[float], after: Sequence[float], chance: float = CHANCE) -> Effect | None:
    """The change of the mean with its two-sided interval; None where a side has too few days.

    >>> found = effect([10, 12, 11, 9, 13], [1, 0, 2, 1, 1])
    >>> round(found.low, 3), round(found.high, 3), found.verdict
    (-11.528, -8.472, 'closed')
    """
    if min(len(before), len(after)) < LEAST_DAYS:
        return None
    parts = [spread(side) ** 2 / len(side) for side in (before, after)]
    change = fmean(after) - fmean(before)
    lost = sum(part**2 / (len(side) - 1) for part, side in zip(parts, (before, after), strict=True))
    half = 0.0
    if lost > 0:
        half = t_quantile(1 - chance / 2, sum(parts) ** 2 / lost) * sqrt(sum(parts))
    return Effect(fmean(before), fmean(after), change - half, change + half)
