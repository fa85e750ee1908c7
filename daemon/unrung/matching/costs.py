"""What a pair is worth against leaving both sides unpaired, in whole thousandths of a nat.

The gain of pairing a ring with a serve is the log likelihood ratio

    log f(lag) + log P(volume | portion rung) - log P(volume, no ring) - log(rate of lone rings)

where f is the law of lags. An edge whose gain is not positive can be in no cheapest assignment,
so it is left out: that, and not a fixed window alone, keeps the problem small without any error.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints, order_key, spread
from unrung.matching.crowd import offered
from unrung.matching.fills import log_fill
from unrung.matching.laws import CLASSES, Laws, bins, usual_ms
from unrung.matching.sides import Edges, Glasses, Rings, rings_at


def millinats(values: Floats) -> Ints:
    """Natural logarithms as whole thousandths; ``-inf`` becomes a large negative number."""
    found: Ints = np.rint(np.maximum(values, -1e5) * priors.MILLINATS).astype(np.int64)
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
    first, last = _span(rings, glasses, laws, near)
    most = min(priors.MOST_PAIRS, priors.CROWD_OFFERS * len(first)) if blurred else priors.MOST_PAIRS
    day = rings.law // CLASSES
    crowds = np.flatnonzero(np.bincount(day, last - first) > most)
    if not len(crowds):
        return _all_edges(rings, glasses, laws, _stretches(first, last))
    if (day == crowds[0]).all():
        return edges_of(rings, glasses, laws, *_offered(rings, glasses, laws, first, last, most))
    ring, glass = spread(first, np.where(np.isin(day, crowds), first, last))
    keys = [ring * len(glasses.end) + glass]
    for crowd in crowds.tolist():
        rows = np.flatnonzero(day == crowd)
        ring, glass = _offered(rings_at(rings, rows), glasses, laws, first[rows], last[rows], most)
        keys.append(rows[ring] * len(glasses.end) + glass)
    return edges_of(rings, glasses, laws, *np.divmod(np.sort(np.concatenate(keys)), len(glasses.end)))


def _offered(
    rings: Rings, glasses: Glasses, laws: Laws, first: Ints, last: Ints, most: int
) -> tuple[Ints, Ints]:
    expected = rings.corrected - rings.shift - usual_ms(laws)[rings.law // CLASSES]
    near = np.searchsorted(
        _order(rings, glasses, glasses.product, glasses.end), _order(rings, glasses, rings.product, expected)
    )
    return offered(first, last, near, rings.product, rings.centre, glasses.log_volume, most)


def pair_count(rings: Rings, glasses: Glasses, laws: Laws) -> int:
    """How many pairs are possible by time; no more than ``MOST_PAIRS`` of them are looked at."""
    first, last = _span(rings, glasses, laws)
    return int((last - first).sum())


def crowded_days(rings: Rings, glasses: Glasses, laws: Laws) -> Bools:
    """Per day, whether so many pairs are possible that single ones tell nothing."""
    first, last = _span(rings, glasses, laws)
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


def edges_of(rings: Rings, glasses: Glasses, laws: Laws, ring: Ints, glass: Ints) -> Edges:
    """The gains of these pairs; those not worth it left out."""
    cuts = (*range(0, max(len(ring), 1), PAIRS_AT_ONCE), len(ring))
    return _all_edges(rings, glasses, laws, (
        (ring[low:high], glass[low:high]) for low, high in pairwise(cuts)
    ))


def _all_edges(
    rings: Rings, glasses: Glasses, laws: Laws, stretches: Iterable[tuple[Ints, Ints]]
) -> Edges:
    least, whole_round = -_likeliest(laws)[rings.law], _whole_round(rings, laws)
    by_law = replace(laws, solo=laws.solo_share[:, None] * np.repeat(laws.solo, CLASSES, axis=0))
    parts = [
        _edges_of(rings, glasses, by_law, ring, glass, least, whole_round) for ring, glass in stretches
    ]
    if len(parts) == 1:
        return parts[0]
    return Edges(*(np.concatenate([getattr(part, name) for part in parts]) for name in Edges.__slots__))


def _edges_of(
    rings: Rings, glasses: Glasses, laws: Laws, ring: Ints, glass: Ints, least: Ints, whole_round: Floats
) -> Edges:
    """``laws.solo``: a row for each law; ``least``: what each ring's pairs must be worth but for the lag."""
    worth = rings.base[ring] + glasses.own[glass] + _fill_gain(rings.centre[ring], glasses, glass)
    some = np.flatnonzero((worth > least[ring]) & (glasses.end[glass] <= rings.latest[ring]))
    ring, glass, worth = ring[some], glass[some], worth[some]
    density = _lag_density(rings, laws, ring, rings.corrected[ring] - glasses.end[glass], whole_round)
    some = np.flatnonzero(density > 0)
    gain = millinats(np.log(density[some])) + worth[some]
    kept = np.flatnonzero(gain > 0)
    some = some[kept]
    return Edges(ring[some], glass[some], gain[kept])


def _lag_density(rings: Rings, laws: Laws, ring: Ints, residual: Ints, whole_round: Floats) -> Floats:
    """Density (per second) of each ring's lag; 0 beyond the window. ``laws.solo``: a row for each law."""
    at, inside = bins(laws.scale, residual)
    law = rings.law[ring]
    density = laws.solo[law, at]
    some = np.flatnonzero(law % CLASSES)
    near, also = bins(laws.scale, residual[some] - rings.shift[ring[some]])
    mates = laws.mates[law[some], near] * whole_round[ring[some]]
    density[some] += mates * also
    found: Floats = density * inside
    return found


def _likeliest(laws: Laws) -> Ints:
    """Per law, more than any lag's density brings."""
    most = laws.solo_share * np.repeat(laws.solo.max(axis=1), CLASSES) + laws.mates.max(axis=1)
    return millinats(np.log(np.maximum(most, 1e-40))) + 1


def _whole_round(rings: Rings, laws: Laws) -> Floats:
    """Per ring, its part of how unlikely it is that its round as a whole came so late or early.

    Lags of ``n`` mates are reasons for each other; that all of them are far out must be paid for once,
    so each pays an ``n``-th (its logarithm times ``ROUND_RARE``).
    """
    day = rings.law // CLASSES
    at, inside = bins(laws.scale, rings.shift)
    likely = np.where(inside, laws.solo[day, at], 0.0) / laws.solo.max(axis=1)[day]
    share = priors.ROUND_RARE * np.array((0.0, 1 / 2, 1 / 3, 0.0))[rings.law % CLASSES]
    found: Floats = np.maximum(likely, 1e-9) ** share
    return found


def _fill_gain(centre: Floats, glasses: Glasses, glass: Ints) -> Ints:
    right = millinats(log_fill(glasses.log_volume[glass] - centre) - glasses.lone[glass])
    return np.maximum(right, glasses.wrong[glass])


def _reach(rings: Rings, glasses: Glasses, laws: Laws) -> tuple[Ints, Ints]:
    """Per ring, the residual lags (ms) between which a perfect fill could be worth it."""
    low = np.zeros(len(rings.product))
    high = np.zeros(len(rings.product))
    if not len(low) or not len(glasses.product):
        return low.astype(np.int64), high.astype(np.int64)
    # The density is a sum of two terms: one of them must reach half of what is needed.
    loss = -(_best_fill(rings, glasses) + rings.base) / priors.MILLINATS
    need = 0.5 * np.exp(np.minimum(loss, 700.0))  # beyond that no float holds it, and no law reaches it
    order = np.argsort(rings.law, kind="stable")
    kinds, begin = np.unique(rings.law[order], return_index=True)
    for law, mine in zip(kinds.tolist(), np.split(order, begin[1:]), strict=True):
        solo = laws.solo_share[law] * laws.solo[law // CLASSES]
        low[mine], high[mine] = _where_reached(solo, need[mine], laws.scale.edge_s)
        if law % CLASSES:
            shift = rings.shift[mine] / 1_000
            near, far = _where_reached(laws.mates[law], need[mine], laws.scale.edge_s)
            low[mine] = np.minimum(low[mine], near + shift)
            high[mine] = np.maximum(high[mine], far + shift)
    first, last = laws.scale.edge_s[0], laws.scale.edge_s[-1]
    low, high = np.clip(low - 1, first, last), np.clip(high + 1, first, last)
    return np.floor(1_000 * low).astype(np.int64), np.ceil(1_000 * high).astype(np.int64)


def _best_fill(rings: Rings, glasses: Glasses) -> Ints:
    """Per ring, the most that any serve of its product gains by its volume."""
    order = np.lexsort((rings.centre, rings.product))
    product, centre = rings.product[order], rings.centre[order]
    new = np.ones(len(order), np.bool_)
    new[1:] = (np.diff(product) != 0) | (np.diff(centre) != 0)
    kind = np.flatnonzero(new)
    low = np.searchsorted(glasses.product, product[kind])
    row, glass = spread(low, np.searchsorted(glasses.product, product[kind], "right"))
    most = np.full(len(kind), -100 * priors.MILLINATS)
    begin = np.flatnonzero(np.diff(row, prepend=-1))
    if len(row):
        most[row[begin]] = np.maximum.reduceat(_fill_gain(centre[kind][row], glasses, glass), begin)
    best = np.empty(len(order), np.int64)
    best[order] = np.repeat(most, np.diff(np.append(kind, len(order))))
    return best


def _where_reached(law: Floats, need: Floats, edge_s: Floats) -> tuple[Floats, Floats]:
    """Lower and upper end (seconds) of where ``law`` reaches each ``need``."""
    low = np.searchsorted(np.maximum.accumulate(law), need)
    high = len(law) - np.searchsorted(np.maximum.accumulate(law[::-1]), need)
    empty = low >= high
    return np.where(empty, 0.0, edge_s[low]), np.where(empty, 0.0, edge_s[high])


def _span(
    rings: Rings, glasses: Glasses, laws: Laws, near: Bools | None = None
) -> tuple[Ints, Ints]:
    """First and one past last serve within reach, per ring."""
    if not len(rings.product) or not len(glasses.product):
        nothing = np.zeros(len(rings.product), np.int64)
        return nothing, nothing
    low, high = _reach(rings, glasses, laws)
    if near is not None:
        soonest, latest = (int(1_000 * edge) for edge in priors.LEARNING_WINDOW_S)
        # Around where the ring's round-mates found theirs: a tab rung late is late as a whole.
        low = np.where(near, np.maximum(low, rings.shift + soonest), low)
        high = np.where(near, np.minimum(high, rings.shift + latest), high)
    keys = _order(rings, glasses, glasses.product, glasses.end)
    first = np.searchsorted(keys, _order(rings, glasses, rings.product, rings.corrected - high), "right")
    last = np.searchsorted(keys, _order(rings, glasses, rings.product, rings.corrected - low), "right")
    return first, np.maximum(last, first)


def _order(rings: Rings, glasses: Glasses, product: Ints, at: Ints) -> Ints:
    base = min(int(rings.corrected.min()), int(glasses.end.min())) - (1 << 35)
    return order_key(product, at, base)
