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
    """Every handful of 2 or more glasses of each product: by product, then by rising volume."""

    fills: Fills
    product: Ints
    counts: Ints
    """(handfuls, sizes): how many glasses of each size."""
    log_total: Floats
    spread: Floats
    """Standard deviation of the log of the handful's volume."""
    base: Floats
    """Cost of pouring just this handful in one go."""
    habit: Floats
    """(days, taps): log of how much likelier than usual its pours fill several glasses."""


def handfuls_of(fills: Fills, habit: Floats) -> Handfuls:
    """All handfuls of the products' sizes."""
    sizes = (fills.share > 0).sum(axis=1)
    width = fills.share.shape[1]
    products, log_ways = [np.zeros(0, np.int64)], [np.zeros(0)]
    counts = [np.zeros((0, width), np.int64)]
    for number in np.unique(sizes).tolist():
        count, ways = combinations(number)
        alike = np.flatnonzero(sizes == number)
        products.append(np.repeat(alike, len(count)))
        counts.append(np.tile(np.pad(count, ((0, 0), (0, width - number))), (len(alike), 1)))
        log_ways.append(np.tile(ways, len(alike)))
    product, count = np.concatenate(products), np.concatenate(counts)
    total, square, base = np.zeros(len(product)), np.zeros(len(product)), -np.concatenate(log_ways)
    for column in range(int(sizes.max(initial=0))):
        held = np.exp(np.minimum(fills.centre[:, column], 100.0))[product]
        total += count[:, column] * held
        square += count[:, column] * held**2
        base -= count[:, column] * np.log(np.maximum(fills.share[:, column], 1e-300))[product]
    order = np.lexsort((total, product))
    total, product = total[order], product[order]
    spread_ = 1.3 * fills.spread[fills.day][product] * np.sqrt(square[order]) / total
    return Handfuls(fills, product, count[order], np.log(total), spread_, base[order], habit)


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
    low, high = _within_reach(handfuls, product, log_volume)
    row, way = spread(low, high)
    width = handfuls.spread[way]
    off = (log_volume[row] - handfuls.log_total[way]) / width
    cost = 0.5 * off**2 + np.log(width * np.sqrt(2 * np.pi)) + handfuls.base[way]
    row, way, cost, place = _cheapest_few(row, way, cost, most)
    picks[row, place] = way
    prices[row, place] = cost
    return picks, prices - handfuls.habit[handfuls.fills.day[product], tap][:, None]


LOG_STEPS = 1 << 40
"""Of a log volume, so that product and volume are one whole number to look for."""


def _within_reach(handfuls: Handfuls, product: Ints, log_volume: Floats) -> tuple[Ints, Ints]:
    """The first and one past the last handful that is near each volume."""
    keys = _log_key(handfuls.product, handfuls.log_total)
    return (
        np.searchsorted(keys, _log_key(product, log_volume - priors.SPLIT_REACH)),
        np.searchsorted(keys, _log_key(product, log_volume + priors.SPLIT_REACH)),
    )


def _log_key(product: Ints, log_volume: Floats) -> Ints:
    """Sorts by product, then volume; log volumes are within 200 of 0."""
    found: Ints = product * (LOG_STEPS * 512) + np.rint((log_volume + 200.0) * LOG_STEPS).astype(np.int64)
    return found


def _cheapest_few(
    row: Ints, way: Ints, cost: Floats, most: int
) -> tuple[Ints, Ints, Floats, Ints]:
    """The ``most`` cheapest ways of each row, without those far dearer than its cheapest, and their
    places in that order; ``row`` is sorted."""
    if not len(row):
        return row, way, cost, row
    begin, count = _runs(row)
    least = np.repeat(np.minimum.reduceat(cost, begin), count)
    near = np.flatnonzero(cost <= (least if most == 1 else least + 1.01 * priors.SPLIT_SLACK))
    order = near[np.lexsort((cost[near], row[near]))] if most > 1 else near
    begin, count = _runs(row[order])
    place = np.arange(len(order)) - np.repeat(begin, count)
    first = np.flatnonzero(place < most)
    best = order[first]
    return row[best], way[best], cost[best], place[first]


def _runs(ordered: Ints) -> tuple[Ints, Ints]:
    """Where each run of equal numbers begins, and how long it is."""
    begin = np.flatnonzero(np.diff(ordered, prepend=-1))
    return begin, np.diff(np.append(begin, len(ordered)))


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


def split_habit(pours: Pours, single: Floats, splits: Splits, day: Ints, days: int) -> Floats:
    """(days, taps): log of how much likelier than usual its pours fill several glasses."""
    taps = len(pours.taps)
    line = day[pours.product] * taps + pours.tap
    rows = splits.rows
    worse = single[rows] - splits.cost[:, 0]
    chance = 1 / (1 + np.exp(-np.clip(worse, -50, 50)))
    usual = float(np.exp(priors.SPLIT_LOG_ODDS).sum())
    seen = np.bincount(line[rows], chance, days * taps) + priors.SPLIT_PRIOR * usual
    number = np.bincount(line, minlength=days * taps) + priors.SPLIT_PRIOR
    found: Floats = np.log(seen / usual / number)
    return found.reshape(days, taps)
