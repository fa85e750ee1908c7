"""Which long pours filled several glasses, and which."""

from __future__ import annotations

from itertools import combinations_with_replacement
from math import lgamma

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Floats, Pours
from unrung.matching.fills import Fills, sized_density

Handful = tuple[float, ...]
"""What each of several glasses holds, microlitres."""


Splits = dict[int, list[tuple[Handful, float]]]
"""Row of a long pour to its handfuls and their costs, cheapest first."""


def split_options(pours: Pours, fills: Fills) -> Splits:
    """The likeliest handfuls for each pour that fits no single glass."""
    found: Splits = {}
    held = np.exp(fills.centre)
    least = np.nanmin(np.where(np.isnan(held), np.inf, held), axis=1, initial=np.inf)
    fits = sized_density(fills, pours.product, np.log(np.maximum(pours.volume, 1)))
    long = (pours.volume > 1.5 * least[pours.product]) & (fits < priors.SPLIT_LEAST_FIT)
    for code in np.unique(pours.product[long]).tolist():
        at = np.flatnonzero(long & (pours.product == code))
        handfuls, base = _handfuls(fills, code)
        cost = _fit(pours.volume[at].astype(float), handfuls, base)
        best = np.argsort(cost, axis=1, kind="stable")[:, : priors.SPLIT_OPTIONS]
        price = np.take_along_axis(cost, best, axis=1)
        for row, picks, prices in zip(at.tolist(), best.tolist(), price.tolist(), strict=True):
            limit = prices[0] + priors.SLACK
            found[row] = [
                (handfuls[pick], p) for pick, p in zip(picks, prices, strict=True) if p <= limit
            ]
    return found


def divided(start: int, end: int, volume: int, glasses: Handful) -> list[tuple[int, int, int]]:
    """Start, end and whole microlitres of each glass of a pour; the last takes the rounding.

    >>> divided(0, 100, 11, (2.0, 3.0))
    [(0, 40, 4), (40, 100, 7)]
    """
    total, filled, made, begun, done = sum(glasses), 0.0, [], start, 0
    for size in glasses[:-1]:
        filled += size
        upto = start + int((end - start) * filled / total)
        share = int(volume * filled / total)
        made.append((begun, upto, share - done))
        begun, done = upto, share
    return [*made, (begun, end, volume - done)]


def _handfuls(fills: Fills, product: int) -> tuple[list[Handful], Floats]:
    """Every handful of 2 or more glasses, and the log of how usual it is."""
    known = np.flatnonzero(fills.share[product] > 0)
    held, share = np.exp(fills.centre[product, known]), fills.share[product, known]
    found: list[Handful] = []
    base: list[float] = []
    for extra, log_odds in enumerate(priors.SPLIT_LOG_ODDS):
        for picked in combinations_with_replacement(range(len(known)), extra + 2):
            found.append(tuple(float(held[k]) for k in picked))
            base.append(log_odds + _log_multinomial(picked, share))
    return found, np.array(base)


def _log_multinomial(picked: tuple[int, ...], share: Floats) -> float:
    """Log probability of drawing these sizes, in any order."""
    chance = lgamma(len(picked) + 1) + float(np.log(share[list(picked)]).sum())
    return chance - sum(lgamma(picked.count(k) + 1) for k in set(picked))


def _fit(volume: Floats, handfuls: list[Handful], base: Floats) -> Floats:
    """Cost of every volume (rows) as every handful of glasses (columns)."""
    total = np.array([sum(found) for found in handfuls])
    square = np.array([sum(size * size for size in found) for found in handfuls])
    spread = 1.3 * priors.FILL_SPREAD * np.sqrt(square) / total
    off = np.log(volume[:, None] / total) / spread
    cost: Floats = 0.5 * off**2 + np.log(spread * np.sqrt(2 * np.pi)) - base
    return cost
