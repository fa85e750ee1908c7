"""What a pair is worth against leaving both sides unpaired, in whole thousandths of a nat.

The gain of pairing a ring with a serve is the log likelihood ratio

    log f(lag) + log P(volume | portion rung) - log P(volume, no ring) - log(rate of lone rings)

where f is the law of lags. An edge whose gain is not positive can be in no cheapest assignment,
so it is left out: that, and not a fixed window alone, keeps the problem small without any error.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import NEVER_MS, Bools, Floats, Ints, order_key, spread
from unrung.matching.crowd import offered
from unrung.matching.fills import log_fill
from unrung.matching.lag_density import density_of, lags_of
from unrung.matching.laws import CLASSES, Laws, shared_solo, usual_ms
from unrung.matching.sides import Edges, Glasses, Rings, rings_at


def millinats(values: Floats) -> Ints:
    """Natural logarithms as whole thousandths; ``-inf`` becomes a large negative number."""
    thousandths = np.maximum(values, -1e5)
    thousandths *= priors.MILLINATS
    found: Ints = np.rint(thousandths, out=thousandths).astype(np.int64)
    return found


def glasses_of(
    product: Ints, end: Ints, log_volume: Floats, sized: Floats, odd: Floats, share: Floats,
    swapped: Floats,
) -> Glasses:
    """Prices of serves.

    ``log_volume`` is to be compared with single pours; ``sized``, ``odd``: its density as a glass and
    as no glass; ``share``: of full-size serves like each, the share without a ring; ``swapped``: of
    rung ones, the share rung as another product.
    """
    lone = np.log(share * sized + priors.LONE_ODD * odd)
    rung = np.log(priors.WRONG_SIZE * sized + priors.RUNG_ODD * odd)
    paired = np.log(1 - share)
    bonus = np.where(swapped > priors.CLEARLY_SWAPPED, priors.SWAPPED_BONUS, 0.0)
    other = bonus + np.log(np.maximum(swapped, priors.LEAST_SWAPPED))
    return Glasses(
        product, end, log_volume, lone - paired, millinats(rung + paired - lone),
        millinats(np.log(1 - swapped)), millinats(other),
    )


def ring_bases(ring_rate: Floats, lone: Floats) -> Ints:
    """Gain of being paired at all, from the local rate of rings (per second) and the share of
    such rings that stay alone."""
    return millinats(priors.PAIR_BONUS + np.log((1 - lone) / (lone * ring_rate)))


def possible_pairs(
    rings: Rings, glasses: Glasses, laws: Laws, near: Bools | None = None, *, blurred: bool = False
) -> Edges:
    """Every pair that is worth more than leaving both sides unpaired; some of them of a day that has more
    than ``MOST_PAIRS``, or where single pairs tell nothing (``blurred``); for rings marked ``near``
    (while learning) only those within ``LEARNING_WINDOW_S``."""
    worths = worths_of(rings, glasses)
    first, last = _span(rings, glasses, laws, worths, near)
    most = min(priors.MOST_PAIRS, priors.CROWD_OFFERS * len(first)) if blurred else priors.MOST_PAIRS
    day = rings.law // CLASSES
    crowds = np.flatnonzero(np.bincount(day, last - first) > most)
    if not len(crowds):
        return _all_edges(rings, glasses, laws, worths, _stretches(first, last))
    if (day == crowds[0]).all():
        pairs = _offered(rings, glasses, laws, first, last, most)
        return _all_edges(rings, glasses, laws, worths, _cut(*pairs))
    ring, glass = spread(first, np.where(np.isin(day, crowds), first, last))
    keys = [ring * len(glasses.end) + glass]
    for crowd in crowds.tolist():
        rows = np.flatnonzero(day == crowd)
        ring, glass = _offered(rings_at(rings, rows), glasses, laws, first[rows], last[rows], most)
        keys.append(rows[ring] * len(glasses.end) + glass)
    pairs = np.divmod(np.sort(np.concatenate(keys)), len(glasses.end))
    return _all_edges(rings, glasses, laws, worths, _cut(*pairs))


def _offered(
    rings: Rings, glasses: Glasses, laws: Laws, first: Ints, last: Ints, most: int
) -> tuple[Ints, Ints]:
    expected = rings.corrected - rings.shift - usual_ms(laws)[rings.law // CLASSES]
    near = np.searchsorted(
        _order(rings, glasses, glasses.product, glasses.end), _order(rings, glasses, rings.product, expected)
    )
    return offered(first, last, near, rings.product, rings.centre, glasses.log_volume, most)


def too_many_pairs(rings: Rings, glasses: Glasses, laws: Laws) -> bool:
    """Whether more than ``MOST_PAIRS`` pairs are possible by time; no more of them are looked at."""
    if len(rings.product) * len(glasses.product) <= priors.MOST_PAIRS:
        return False
    first, last = _span(rings, glasses, laws, worths_of(rings, glasses))
    return int((last - first).sum()) > priors.MOST_PAIRS


def crowded_days(rings: Rings, glasses: Glasses, laws: Laws) -> Bools:
    """Per day, whether so many pairs are possible that single ones tell nothing."""
    first, last = _span(rings, glasses, laws, worths_of(rings, glasses))
    day, days = rings.law // CLASSES, len(laws.solo)
    most = np.minimum(priors.MOST_PAIRS, priors.CROWD_PAIRS * np.bincount(day, minlength=days))
    found: Bools = np.bincount(day, last - first, days) > most
    return found


PAIRS_AT_ONCE = 32_768
"""Of many pairs, so many are looked at in one go: what is worked out of them stays near the processor."""


def _stretches(first: Ints, last: Ints) -> Iterator[tuple[Ints, Ints]]:
    """``spread``, a stretch of rings at a time."""
    until = np.cumsum(last - first)
    most = int(until[-1]) if len(until) else 0
    cuts = np.searchsorted(until, np.arange(PAIRS_AT_ONCE, most, PAIRS_AT_ONCE), "right")
    for low, high in pairwise((0, *np.unique(cuts[cuts > 0]).tolist(), len(first))):
        ring, glass = spread(first[low:high], last[low:high])
        yield low + ring, glass


def _cut(ring: Ints, glass: Ints) -> Iterator[tuple[Ints, Ints]]:
    """Pairs, a stretch at a time."""
    cuts = (*range(0, max(len(ring), 1), PAIRS_AT_ONCE), len(ring))
    for low, high in pairwise(cuts):
        yield ring[low:high], glass[low:high]


def edges_of(
    rings: Rings, glasses: Glasses, laws: Laws, worths: Worths, ring: Ints, glass: Ints
) -> Edges:
    """The gains of these pairs of one product each; those not worth it left out."""
    return _all_edges(rings, glasses, laws, worths, _cut(ring, glass))


def _all_edges(
    rings: Rings, glasses: Glasses, laws: Laws, worths: Worths, stretches: Iterable[tuple[Ints, Ints]]
) -> Edges:
    voided, lags = bool((rings.latest < NEVER_MS).any()), lags_of(rings, laws)
    columns: list[list[Ints]] = [[], [], []]
    for ring, glass in stretches:
        density = density_of(lags, ring, rings.corrected[ring] - glasses.end[glass])
        with np.errstate(divide="ignore"):
            gain = millinats(np.log(density))
        gain += rings.base[ring]
        gain += worths.gain[worths.first[ring] + glass]
        kept = np.flatnonzero(gain > 0)
        ring, glass = ring[kept], glass[kept]
        if voided:
            before = np.flatnonzero(glasses.end[glass] <= rings.latest[ring])
            kept, ring, glass = kept[before], ring[before], glass[before]
        for column, part in zip(columns, (ring, glass, gain[kept]), strict=True):
            column.append(part)
    # One column after the other, so that not all of a crowd's pairs are held twice.
    return Edges(*(np.concatenate(columns.pop(0)) for _ in Edges.__slots__))


class Worths(NamedTuple):
    """What serves gain by volume and name, for every kind of ring: its product and its portion's fill."""

    best: Ints
    """Per ring, the most that any serve of its product gains by its volume."""
    first: Ints
    """Per ring, the place in ``gain`` of its kind and of what would be serve 0."""
    kind: Ints
    """Per ring."""
    low: Ints
    """Per kind, the first serve of its product,"""
    high: Ints
    """and one past the last."""
    gain: Ints
    """Per kind and serve of its product."""


def worths_of(rings: Rings, glasses: Glasses) -> Worths:
    """What each kind of ring, and each serve of its product, are worth to each other but for the lag."""
    order = np.lexsort((rings.centre, rings.product))
    product, centre = rings.product[order], rings.centre[order]
    new = np.ones(len(order), np.bool_)
    new[1:] = (np.diff(product) != 0) | (np.diff(centre) != 0)
    begin = np.flatnonzero(new)
    kind = np.empty(len(order), np.int64)
    kind[order] = np.cumsum(new) - 1
    low, high = (np.searchsorted(glasses.product, product[begin], side) for side in ("left", "right"))
    most, gains = np.full(len(begin), -100 * priors.MILLINATS), [np.zeros(0, np.int64)]
    for row, glass in _stretches(low, high):
        right = millinats(log_fill(glasses.log_volume[glass] - centre[begin][row]) - glasses.lone[glass])
        gain = np.maximum(right, glasses.wrong[glass])
        some = np.flatnonzero(np.diff(row, prepend=-1))
        if len(some):
            most[row[some]] = np.maximum.reduceat(gain, some)
        gains.append(gain + glasses.own[glass])
    first = np.cumsum(high - low) - high
    return Worths(most[kind], first[kind], kind, low, high, np.concatenate(gains))


def reach_of(rings: Rings, laws: Laws, worths: Worths, near: Bools | None = None) -> tuple[Ints, Ints]:
    """Per ring, the residual lags (ms) between which a perfect fill could be worth it; ``near``: see
    ``possible_pairs``."""
    loss = -(worths.best + rings.base) / priors.MILLINATS
    # The density is a sum of two terms: one of them must reach half of what is needed.
    need = np.minimum(loss, 700.0) - math.log(2)
    low, high = _where_reached(shared_solo(laws), rings.law, need, laws.scale.edge_s)
    mated = np.flatnonzero(rings.law % CLASSES)
    early, late = _where_reached(laws.mates, rings.law[mated], need[mated], laws.scale.edge_s)
    shift = rings.shift[mated] / 1_000
    low[mated] = np.minimum(low[mated], early + shift)
    high[mated] = np.maximum(high[mated], late + shift)
    first, last = laws.scale.edge_s[0], laws.scale.edge_s[-1]
    low, high = np.clip(low - 1, first, last), np.clip(high + 1, first, last)
    least, most = np.floor(1_000 * low).astype(np.int64), np.ceil(1_000 * high).astype(np.int64)
    if near is not None:
        soonest, latest = (int(1_000 * edge) for edge in priors.LEARNING_WINDOW_S)
        # Around where the ring's round-mates found theirs: a tab rung late is late as a whole.
        least = np.where(near, np.maximum(least, rings.shift + soonest), least)
        most = np.where(near, np.minimum(most, rings.shift + latest), most)
    return least, most


APART = 4_000.0
"""More than logarithms of densities that a float holds can differ."""


def _where_reached(table: Floats, law: Ints, need: Floats, edge_s: Floats) -> tuple[Floats, Floats]:
    """Lower and upper end (seconds) of where each law (row of ``table``) reaches each ``need``, a
    logarithm; 0 and 0 where it does not."""
    count = table.shape[1]
    # All laws in one row, each by so much above the one before that a search stays within its own.
    above = APART * np.arange(len(table))
    logs = np.log(np.maximum(table, 1e-300))
    wanted, begin = need + above[law], count * law
    until = (np.maximum.accumulate(side, axis=1) + above[:, None] for side in (logs, logs[:, ::-1]))
    low, left = (np.searchsorted(side.ravel(), wanted) - begin for side in until)
    high = count - left
    empty = low >= high
    return np.where(empty, 0.0, edge_s[low]), np.where(empty, 0.0, edge_s[high])


def _span(
    rings: Rings, glasses: Glasses, laws: Laws, worths: Worths, near: Bools | None = None
) -> tuple[Ints, Ints]:
    """First and one past last serve within reach, per ring."""
    if not len(rings.product) or not len(glasses.product):
        nothing = np.zeros(len(rings.product), np.int64)
        return nothing, nothing
    low, high = reach_of(rings, laws, worths, near)
    keys = _order(rings, glasses, glasses.product, glasses.end)
    first = np.searchsorted(keys, _order(rings, glasses, rings.product, rings.corrected - high), "right")
    last = np.searchsorted(keys, _order(rings, glasses, rings.product, rings.corrected - low), "right")
    return first, np.maximum(last, first)


def _order(rings: Rings, glasses: Glasses, product: Ints, at: Ints) -> Ints:
    base = min(int(rings.corrected.min()), int(glasses.end.min())) - (1 << 35)
    return order_key(product, at, base)
