"""Which long pours filled several glasses, and which."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement
from math import lgamma

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints, Pours
from unrung.matching.fills import Fills, filled

Handful = tuple[float, ...]
"""What each of several glasses holds, microlitres."""
Splits = dict[int, list[tuple[Handful, float]]]
"""Row of a long pour to its handfuls and their costs, cheapest first."""


@dataclass(frozen=True, slots=True)
class Handfuls:
    """Every handful of 2 or more glasses of each product."""

    fills: Fills
    ways: list[list[Handful]]
    log_total: list[Floats]
    spread: list[Floats]
    """Standard deviation of the log of the handful's volume."""
    base: list[Floats]
    """Cost of pouring just this handful in one go."""
    habit: Floats
    """Per tap, log of how much likelier than usual its pours fill several glasses."""


def handfuls_of(fills: Fills, habit: Floats) -> Handfuls:
    """All handfuls of the products' sizes."""
    ways, totals, spreads, bases = [], [], [], []
    for product in range(len(fills.share)):
        found, base = _of_product(fills, product)
        sizes = np.array([sum(way) for way in found])
        square = np.array([sum(size * size for size in way) for way in found])
        ways.append(found)
        totals.append(np.log(np.maximum(sizes, 1.0)))
        spreads.append(1.3 * fills.spread * np.sqrt(square) / np.maximum(sizes, 1.0))
        bases.append(base)
    return Handfuls(fills, ways, totals, spreads, bases, habit)


def best_handfuls(
    handfuls: Handfuls, product: Ints, tap: Ints, volume: Ints, most: int
) -> list[list[tuple[Handful, float]]]:
    """For each volume up to ``most`` likeliest handfuls with their costs, cheapest first."""
    found: list[list[tuple[Handful, float]]] = [[] for _ in range(len(volume))]
    log_volume = filled(handfuls.fills, product, tap, volume)
    for code in np.unique(product).tolist():
        ways = handfuls.ways[code]
        if not ways:
            continue
        at = np.flatnonzero(product == code)
        spread = handfuls.spread[code]
        off = (log_volume[at][:, None] - handfuls.log_total[code]) / spread
        cost = 0.5 * off**2 + (np.log(spread * np.sqrt(2 * np.pi)) + handfuls.base[code])
        cost -= handfuls.habit[tap[at]][:, None]
        best = np.argsort(cost, axis=1, kind="stable")[:, :most]
        price = np.take_along_axis(cost, best, axis=1)
        for row, picks, prices in zip(at.tolist(), best.tolist(), price.tolist(), strict=True):
            limit = prices[0] + priors.SLACK
            found[row] = [
                (ways[pick], p) for pick, p in zip(picks, prices, strict=True) if p <= limit
            ]
    return found


def split_options(pours: Pours, fills: Fills, handfuls: Handfuls, misfit: Bools) -> Splits:
    """The likeliest handfuls for each pour that fits no single glass."""
    held = np.where(fills.share > 0, np.exp(fills.centre), np.inf)
    least = 1.5 * held.min(axis=1, initial=np.inf)
    rows = np.flatnonzero(misfit & (pours.volume > least[pours.product]))
    ways = best_handfuls(
        handfuls, pours.product[rows], pours.tap[rows], pours.volume[rows], priors.SPLIT_OPTIONS
    )
    return {row: way for row, way in zip(rows.tolist(), ways, strict=True) if way}


def split_habit(pours: Pours, single: Floats, splits: Splits) -> Floats:
    """Per tap, log of how much likelier than usual its pours fill several glasses."""
    taps = len(pours.taps)
    rows = np.array(list(splits), np.int64)
    worse = single[rows] - np.array([options[0][1] for options in splits.values()])
    chance = 1 / (1 + np.exp(-np.clip(worse, -50, 50)))
    usual = float(np.exp(priors.SPLIT_LOG_ODDS).sum())
    seen = np.bincount(pours.tap[rows], chance, taps) + priors.SPLIT_PRIOR * usual
    number = np.bincount(pours.tap, minlength=taps) + priors.SPLIT_PRIOR
    found: Floats = np.log(seen / usual / number)
    return found


def poured_out(
    pours: Pours, rows: Sequence[int], glasses: Handful
) -> list[tuple[int, int, list[tuple[int, int]]]]:
    """Start, end and parts (row, whole microlitres) of each glass that ``rows`` filled in turn.

    Every microlitre is in exactly one part; the last glass takes the rounding.
    """
    volumes = [int(pours.volume[row]) for row in rows]
    edges, total, filled = [0], sum(glasses), 0.0
    for size in glasses[:-1]:
        filled += size
        edges.append(int(sum(volumes) * filled / total))
    edges.append(sum(volumes))
    found = []
    for low, high in zip(edges[:-1], edges[1:], strict=True):
        parts, at, begun, ended = [], 0, 0, 0
        for row, volume in zip(rows, volumes, strict=True):
            first, last = max(low - at, 0), min(high - at, volume)
            if first < last or (low == high and not parts):
                start, lasts = int(pours.start[row]), int(pours.end[row] - pours.start[row])
                if not parts:
                    begun = start + lasts * first // max(volume, 1)
                ended = start + lasts * last // max(volume, 1)
                parts.append((row, max(last - first, 0)))
            at += volume
        found.append((begun, ended, parts))
    return found


def _of_product(fills: Fills, product: int) -> tuple[list[Handful], Floats]:
    """Every handful of 2 or more glasses, and what it costs to pour it in one go."""
    known = np.flatnonzero(fills.share[product] > 0)
    held, share = np.exp(fills.centre[product, known]), fills.share[product, known]
    found: list[Handful] = []
    base: list[float] = []
    for extra, log_odds in enumerate(priors.SPLIT_LOG_ODDS):
        for picked in combinations_with_replacement(range(len(known)), extra + 2):
            found.append(tuple(float(held[k]) for k in picked))
            base.append(-log_odds - _log_multinomial(picked, share))
    return found, np.array(base)


def _log_multinomial(picked: tuple[int, ...], share: Floats) -> float:
    """Log probability of drawing these sizes, in any order."""
    chance = lgamma(len(picked) + 1) + float(np.log(share[list(picked)]).sum())
    return chance - sum(lgamma(picked.count(k) + 1) for k in set(picked))
