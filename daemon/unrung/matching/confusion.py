"""Products that the till and the tap list call by each other's names.

Where a tap was connected to another keg, or a button sells another beer, serves of one product go
without a ring while rings of another go without a serve, at the same moments. Such rings and
serves are no pair in the ledger. But each explains the other, and they are kept from taking, by
chance, the partners of those that are rightly named.
"""

from __future__ import annotations

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints
from unrung.matching.costs import Edges, Glasses, Rings, is_said, possible_pairs, rings_at
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


def with_confusion(
    edges: Edges, rings: Rings, glasses: Glasses, laws: Laws, confusion: Confusion,
    near: Bools | None = None,
) -> Edges:
    """``edges`` and those between the confused products, at a price."""
    more = [edges]
    for product, other in confusion:
        rows = np.flatnonzero((rings.product == product) & ~is_said(rings))
        some = rings_at(rings, rows)
        as_other = Rings(np.full(len(rows), other), *(
            getattr(some, name) for name in Rings.__slots__ if name != "product"
        ))
        found = possible_pairs(as_other, glasses, laws, None if near is None else near[rows])
        gain = found.gain + (glasses.other - glasses.own)[found.glass]
        keep = gain > 0
        more.append(Edges(rows[found.ring[keep]], found.glass[keep], gain[keep]))
    ring, glass, gain = (
        np.concatenate([getattr(one, name) for one in more]) for name in Edges.__slots__
    )
    order = np.lexsort((glass, ring))
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
    """Far more serves within ``CONFUSED_NEAR_S`` of a ring than the stretch around it promises."""
    near, far = 1_000 * priors.CONFUSED_NEAR_S, 1_000 * priors.CONFUSED_FAR_S
    inner, outer = _within(at, end, near), _within(at, end, far)
    chance = (outer - inner) * near / (far - near)
    least = max(priors.CONFUSED_LEAST, priors.CONFUSED_SIGMAS * (chance + 1) ** 0.5)
    return bool(inner - chance >= least)


def _within(at: Ints, end: Ints, reach: float) -> float:
    found: Floats = np.searchsorted(end, at + reach) - np.searchsorted(end, at - reach)
    return float(found.sum())


