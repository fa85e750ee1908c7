"""Products that the till and the tap list call by each other's names.

Where a tap was connected to another keg, or a button sells another beer, serves of one product go
without a ring while rings of another go without a serve, at the same moments. Such rings and
serves are no pair in the ledger. But each explains the other, and they are kept from taking, by
chance, the partners of those that are rightly named. The same goes for a wrong button now and then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from unrung.matching import priors
from unrung.matching.assign import best_assignment
from unrung.matching.columns import Bools, Floats, Ints, spread
from unrung.matching.costs import Edges, Glasses, Rings, glasses_at, is_said, possible_pairs, rings_at
from unrung.matching.laws import Laws

Confusion = tuple[tuple[int, int], ...]
"""(product rung, product poured)."""


def confused(rings: Rings, glasses: Glasses, lone_ring: Bools, lone_glass: Bools) -> Confusion:
    """Pairs of products of which lone rings and lone serves coincide far beyond chance."""
    found = []
    rung = _by_product(rings.product, lone_ring)
    poured = _by_product(glasses.product, lone_glass)
    for product, rows in rung.items():
        for other, serves in poured.items():
            if product != other and _coincide(rings.corrected[rows], glasses.end[serves]):
                found.append((product, other))
    # Two lines are swapped more often than one is connected twice.
    return tuple(sorted({*found, *((other, product) for product, other in found)}))


def swapped_lines(rings: Rings, glasses: Glasses, tap: Ints, full: Bools) -> Confusion:
    """Products that a tap's serves meet the rings of, all of them, far more often than those of the
    product that the tap list gives: where much is poured, both find enough wrong partners by chance that
    few of either stay alone. ``tap``: code of each serve's; ``full``: which of them are glasses."""
    found = set()
    rung = _by_product(rings.product, ~is_said(rings))
    for line in np.unique(glasses.product * (1 << 20) + tap).tolist():
        poured = line >> 20
        end = glasses.end[full & (glasses.product == poured) & (tap == line % (1 << 20))]
        meets = {product: _met(rings.corrected[rows], end) for product, rows in rung.items()}
        own, usual = meets.pop(poured, (0.0, 0.0))
        for product, (more, chance) in meets.items():
            if more - own >= _clearly(chance + usual):
                found |= {(product, poured), (poured, product)}
    return tuple(sorted(found))


def with_confusion(
    edges: Edges, rings: Rings, glasses: Glasses, laws: Laws, confusion: Confusion,
    near: Bools | None = None,
) -> Edges:
    """``edges`` and those between the confused products, at a price."""
    pairs = np.array(confusion, np.int64).reshape(-1, 2)
    low, high = (np.searchsorted(rings.product, pairs[:, 0], side) for side in ("left", "right"))
    pair, rows = spread(low, high)
    real = ~is_said(rings)[rows]
    pair, rows = pair[real], rows[real]
    price, poured = glasses.other - glasses.own, pairs[pair, 1]
    # The least that it costs bounds what is worth a look.
    least = np.full(int(max(glasses.product.max(initial=0), poured.max(initial=0))) + 1, -(1 << 40))
    np.maximum.at(least, glasses.product, price)
    as_other = rings_at(rings, rows)
    as_other = replace(as_other, product=poured, base=as_other.base + least[poured])
    found = possible_pairs(as_other, glasses, laws, None if near is None else near[rows])
    gain = found.gain + (price - least[glasses.product])[found.glass]
    keep = gain > 0
    more = Edges(rows[found.ring[keep]], found.glass[keep], gain[keep])
    return _put_together((edges, more), len(price))


def with_wrong_buttons(
    edges: Edges, rings: Rings, glasses: Glasses, laws: Laws, confusion: Confusion
) -> Edges:
    """``edges`` and those between any two products but the confused ones, at a price: a wrong button now
    and then, at any hour. Only where the ring or the serve is badly off without: two that are well paired
    by their own names have no reason to change."""
    partner = best_assignment(edges, len(rings.product))
    well = (partner[edges.ring] == edges.glass) & (edges.gain >= priors.POOR_GAIN * priors.MILLINATS)
    poor_ring, poor_glass = np.ones(len(partner), np.bool_), np.ones(len(glasses.end), np.bool_)
    poor_ring[edges.ring[well]], poor_glass[edges.glass[well]] = False, False
    real = ~is_said(rings)
    parts = (
        _wrong_buttons(rings, glasses, laws, confusion, real & poor_ring, np.ones_like(poor_glass)),
        _wrong_buttons(rings, glasses, laws, confusion, real & ~poor_ring, poor_glass),
    )
    return _put_together((edges, *parts), len(glasses.end))


def _wrong_buttons(
    rings: Rings, glasses: Glasses, laws: Laws, confusion: Confusion, which: Bools, serve: Bools
) -> Edges:
    """Pairs of two products between some of the rings and some of the serves."""
    rows, serves = np.flatnonzero(which), np.flatnonzero(serve)
    rows = rows[np.argsort(rings.corrected[rows], kind="stable")]
    serves = serves[np.argsort(glasses.end[serves], kind="stable")]
    # All as one product, under whose name every serve costs what another name than its own costs.
    some, others = rings_at(rings, rows), glasses_at(glasses, serves)
    least = int(others.other.max(initial=-(1 << 40)))
    found = possible_pairs(
        replace(some, product=np.zeros_like(rows), base=some.base + least),
        replace(others, product=np.zeros_like(serves), own=others.other - least),
        laws, np.ones(len(rows), np.bool_),
    )
    ring, glass = rows[found.ring], serves[found.glass]
    rung, poured = rings.product[ring], glasses.product[glass]
    keep = rung != poured
    for product, other in confusion:
        keep &= (rung != product) | (poured != other)
    return Edges(ring[keep], glass[keep], found.gain[keep])


def _put_together(parts: Sequence[Edges], glasses: int) -> Edges:
    """All of them, sorted; no pair is in two. ``glasses``: how many there are."""
    ring, glass, gain = (
        np.concatenate([getattr(part, name) for part in parts]) for name in Edges.__slots__
    )
    order = np.argsort(ring * glasses + glass)
    return Edges(ring[order], glass[order], gain[order])


def own(rings: Rings, glasses: Glasses, partner: Ints) -> Ints:
    """``partner`` without the pairs of two products."""
    found = partner.copy()
    pairs = np.flatnonzero(partner >= 0)
    found[pairs[rings.product[pairs] != glasses.product[partner[pairs]]]] = -1
    return found


def _by_product(product: Ints, which: Bools) -> dict[int, Ints]:
    rows = np.flatnonzero(which)
    codes, begin, count = np.unique(product[rows], return_index=True, return_counts=True)
    until = begin + count
    return {
        code: rows[low:high]
        for code, low, high in zip(codes.tolist(), begin.tolist(), until.tolist(), strict=True)
        if high - low >= priors.CONFUSED_LEAST
    }


def _coincide(at: Ints, end: Ints) -> bool:
    more, chance = _met(at, end)
    return more >= _clearly(chance)


def _clearly(chance: float) -> float:
    """What is far more than chance: several times its standard deviation."""
    return float(max(priors.CONFUSED_LEAST, priors.CONFUSED_SIGMAS * (chance + 1) ** 0.5))


def _met(at: Ints, end: Ints) -> tuple[float, float]:
    """How many more serves lie within ``CONFUSED_NEAR_S`` of a ring than the stretch around it promises,
    and how many it promises."""
    near, far = 1_000 * priors.CONFUSED_NEAR_S, 1_000 * priors.CONFUSED_FAR_S
    inner, outer = _within(at, end, near), _within(at, end, far)
    chance = (outer - inner) * near / (far - near)
    return inner - chance, chance


def _within(at: Ints, end: Ints, reach: float) -> float:
    found: Floats = np.searchsorted(end, at + reach) - np.searchsorted(end, at - reach)
    return float(found.sum())


