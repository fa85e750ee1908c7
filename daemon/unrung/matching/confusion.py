"""Products that the till and the tap list call by each other's names.

Where a tap was connected to another keg, or a button sells another beer, serves of one product go
without a ring while rings of another go without a serve, at the same moments. Such rings and
serves are no pair in the ledger. But each explains the other, and they are kept from taking, by
chance, the partners of those that are rightly named. The same goes for a wrong button now and then.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints, spread
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


def misrung(rings: Rings, glasses: Glasses, confusion: Confusion) -> Confusion:
    """Every other product for every product: a wrong button now and then, at any hour."""
    rung, poured = (np.unique(side.product).tolist() for side in (rings, glasses))
    return tuple(
        (product, other) for product in rung for other in poured
        if product != other and (product, other) not in confusion
    )


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
    ring, glass, gain = (np.concatenate(both) for both in zip(
        (edges.ring, edges.glass, edges.gain),
        (rows[found.ring[keep]], found.glass[keep], gain[keep]), strict=True,
    ))
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


