"""Which long pours filled several glasses, and which."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations_with_replacement
from math import lgamma

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Floats, Ints, Pours, spread
from unrung.matching.fills import Fills, filled


@dataclass(frozen=True, slots=True)
class Splits:
    """Long pours and the handfuls of glasses they may have filled."""

    rows: Ints
    ways: Ints
    """(rows, options): indices of handfuls of the pour's product, cheapest first."""
    cost: Floats
    """(rows, options); ``inf`` where there are fewer."""


@dataclass(frozen=True, slots=True)
class Handfuls:
    """Every handful of 2 or more glasses of each product."""

    fills: Fills
    counts: list[Ints]
    """Per product, (handfuls, sizes): how many glasses of each size, by rising volume."""
    log_total: list[Floats]
    spread: list[Floats]
    """Standard deviation of the log of the handful's volume."""
    base: list[Floats]
    """Cost of pouring just this handful in one go."""
    habit: Floats
    """Per tap, log of how much likelier than usual its pours fill several glasses."""


def handfuls_of(fills: Fills, habit: Floats) -> Handfuls:
    """All handfuls of the products' sizes."""
    counts, totals, spreads, bases = [], [], [], []
    for share, centre in zip(fills.share, fills.centre, strict=True):
        sizes = int((share > 0).sum())
        count, log_ways = combinations(sizes)
        held = np.exp(centre[:sizes])
        total = count @ held
        base = -log_ways - count @ np.log(share[:sizes])
        order = np.argsort(total, kind="stable")
        counts.append(count[order])
        totals.append(np.log(total[order]))
        spreads.append((1.3 * fills.spread * np.sqrt(count @ held**2) / total)[order])
        bases.append(base[order])
    return Handfuls(fills, counts, totals, spreads, bases, habit)


@lru_cache(maxsize=16)
def combinations(sizes: int) -> tuple[Ints, Floats]:
    """How many of each size (columns) each handful takes, and the log odds of such a handful with
    the number of ways to draw it.

    >>> combinations(1)[0].ravel().tolist()[:3]
    [2, 3, 4]
    """
    rows, logs = [], []
    for extra, log_odds in enumerate(priors.SPLIT_LOG_ODDS):
        number = extra + 2
        mixed = number <= priors.MIXED_GLASSES
        for picked in combinations_with_replacement(range(sizes), number if mixed else 1):
            count = np.bincount(picked, minlength=sizes) * (1 if mixed else number)
            rows.append(count)
            logs.append(log_odds + lgamma(number + 1) - sum(lgamma(n + 1) for n in count.tolist()))
    return np.array(rows, np.int64).reshape(len(rows), sizes), np.array(logs)


def best_handfuls(
    handfuls: Handfuls, product: Ints, tap: Ints, volume: Ints, most: int
) -> tuple[Ints, Floats]:
    """For each volume the ``most`` likeliest handfuls (indices), and their costs, cheapest first;
    ``inf`` where there are fewer."""
    picks = np.zeros((len(volume), most), np.int64)
    prices = np.full((len(volume), most), np.inf)
    log_volume = filled(handfuls.fills, product, tap, volume)
    for code in np.unique(product).tolist():
        total = handfuls.log_total[code]
        at = np.flatnonzero(product == code)
        low = np.searchsorted(total, log_volume[at] - priors.SPLIT_REACH)
        high = np.searchsorted(total, log_volume[at] + priors.SPLIT_REACH)
        row, way = spread(low, high)
        width = handfuls.spread[code][way]
        off = (log_volume[at][row] - total[way]) / width
        cost = 0.5 * off**2 + np.log(width * np.sqrt(2 * np.pi)) + handfuls.base[code][way]
        row, way, cost, place = _cheapest_few(row, way, cost, most)
        picks[at[row], place] = way
        prices[at[row], place] = cost
    return picks, prices - handfuls.habit[tap][:, None]


def _cheapest_few(
    row: Ints, way: Ints, cost: Floats, most: int
) -> tuple[Ints, Ints, Floats, Ints]:
    """The ``most`` cheapest ways of each row, without those far dearer than its cheapest, and their
    places in that order; ``row`` is sorted."""
    if not len(row):
        return row, way, cost, row
    begin = np.flatnonzero(np.diff(row, prepend=-1))
    least = np.repeat(np.minimum.reduceat(cost, begin), np.diff(np.append(begin, len(row))))
    near = np.flatnonzero(cost <= (least if most == 1 else least + 1.01 * priors.SPLIT_SLACK))
    order = near[np.lexsort((cost[near], row[near]))] if most > 1 else near
    place = np.arange(len(order)) - np.searchsorted(row[order], row[order])
    best, place = order[place < most], place[place < most]
    return row[best], way[best], cost[best], place


def split_options(
    pours: Pours, fills: Fills, handfuls: Handfuls, single: Floats
) -> Splits:
    """The likeliest handfuls for each pour that costs little more as several glasses than as one."""
    held = np.exp(np.where(fills.share > 0, fills.centre, np.inf))
    least = 1.5 * held.min(axis=1, initial=np.inf)
    rows = np.flatnonzero(pours.volume > least[pours.product])
    ways, cost = best_handfuls(
        handfuls, pours.product[rows], pours.tap[rows], pours.volume[rows], priors.SPLIT_OPTIONS
    )
    limit = np.minimum(cost[:, 0], single[rows]) + priors.SPLIT_SLACK
    cost = np.where(cost <= limit[:, None], cost, np.inf)
    some = cost[:, 0] < np.inf
    return Splits(rows[some], ways[some], cost[some])


def split_habit(pours: Pours, single: Floats, splits: Splits) -> Floats:
    """Per tap, log of how much likelier than usual its pours fill several glasses."""
    taps = len(pours.taps)
    rows = splits.rows
    worse = single[rows] - splits.cost[:, 0]
    chance = 1 / (1 + np.exp(-np.clip(worse, -50, 50)))
    usual = float(np.exp(priors.SPLIT_LOG_ODDS).sum())
    seen = np.bincount(pours.tap[rows], chance, taps) + priors.SPLIT_PRIOR * usual
    number = np.bincount(pours.tap, minlength=taps) + priors.SPLIT_PRIOR
    found: Floats = np.log(seen / usual / number)
    return found
