"""How much one of each item takes, by what was counted over spans: for meters that tell no single pours."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy.optimize import nnls

FAR, TO_SIGMA, LEAST_APART = 3.0, 1.4826, 0.002
"""Standard deviations, by the median of what is left (NIST e-Handbook 1.3.5.6; the factor for normal values
is from memory), beyond which a span says nothing of glasses; the least that they are taken for, as a share
of the usual count."""
ROUNDS = 10


class Fit(NamedTuple):
    """Amounts of the items, their standard errors, and the share of the counts' spread that they explain,
    each spread being a median deviation (NIST e-Handbook 1.3.5.6)."""

    amounts: list[float]
    errors: list[float]
    """Infinite where nothing tells."""
    share: float


def amounts_of(units: Sequence[Sequence[float]], counted: Sequence[float]) -> Fit:
    """The amounts, none below 0, whose sums are nearest to what was counted (non-negative least squares after
    Lawson and Hanson, 1974). ``units``: of each item rung, span by span; ``counted``: in each span, any unit.

    Spans that lie far off (a cleaning, a tab of the hour before, a loss) are left out of the fit; the share
    explained is of all, by medians: where a glass an hour is rung in the next, most hours still fit.

    >>> fit = amounts_of([[1, 0], [0, 1], [2, 1], [1, 3], [0, 0]], [16.0, 10.0, 42.0, 46.0, 99.0])
    >>> [round(amount, 6) for amount in fit.amounts]
    [16.0, 10.0]
    """
    table, sums = np.array(units, float), np.array(counted, float)
    kept = np.ones(len(sums), bool)
    for _ in range(ROUNDS):
        amounts, _ = nnls(table[kept], sums[kept])
        apart = np.abs(sums - table @ amounts)
        near = apart <= FAR * max(TO_SIGMA * float(np.median(apart[kept])), LEAST_APART * float(sums.mean()))
        if (near == kept).all() or near.sum() <= len(amounts):
            break
        kept = near
    spread = float(np.median(np.abs(sums - np.median(sums))))
    used = amounts > 0
    errors = np.full(len(amounts), np.inf)
    freedom = int(kept.sum()) - int(used.sum())
    if used.any() and freedom > 0:
        inverse = np.linalg.pinv(table[kept][:, used].T @ table[kept][:, used])
        sigma = max(np.sqrt((apart[kept] ** 2).sum() / freedom), TO_SIGMA * np.median(apart))
        errors[used] = sigma * np.sqrt(np.diag(inverse))
    return Fit(amounts.tolist(), errors.tolist(), 1 - float(np.median(apart)) / spread if spread else 0.0)
