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
from unrung.matching.costs import possible_pairs
from unrung.matching.laws import Laws
from unrung.matching.sides import Edges, Glasses, Rings, glasses_at, is_said, put_together, rings_at

Confusion = tuple[tuple[int, int], ...]
"""(product rung, product poured)."""


def confused(rings: Rings, glasses: Glasses, lone_ring: Bools, lone_glass: Bools) -> Confusion:
    """Pairs of products of which lone rings and lone serves coincide far beyond chance."""
    rung, rows, group = _kinds(rings.product, lone_ring)
    poured, serves, kind = _kinds(glasses.product, lone_glass)
    more, chance = _met(rings.corrected[rows], group, glasses.end[serves], kind, (len(rung), len(poured)))
    at, other = np.nonzero((more >= _clearly(chance)) & (rung[:, None] != poured))
    # Two lines are swapped more often than one is connected twice.
    return _both_ways(rung[at], poured[other])


def swapped_lines(rings: Rings, glasses: Glasses, tap: Ints, full: Bools) -> Confusion:
    """Products that a tap's serves meet the rings of, all of them, far more often than those of the
    product that the tap list gives: where much is poured, both find enough wrong partners by chance that
    few of either stay alone. ``tap``: code of each serve's; ``full``: which of them are glasses."""
    rung, rows, group = _kinds(rings.product, ~is_said(rings))
    lines, line = np.unique(glasses.product * (1 << 20) + tap, return_inverse=True)
    more, chance = _met(
        rings.corrected[rows], group, glasses.end[full], line[full], (len(rung), len(lines))
    )
    poured = lines >> 20
    own = rung[:, None] == poured
    own_more, own_chance = np.where(own, more, 0.0).sum(axis=0), np.where(own, chance, 0.0).sum(axis=0)
    product, at = np.nonzero(~own & (more - own_more >= _clearly(chance + own_chance)))
    return _both_ways(rung[product], poured[at])


def _both_ways(one: Ints, two: Ints) -> Confusion:
    pairs = {*zip(one.tolist(), two.tolist(), strict=True)}
    return tuple(sorted({*pairs, *((second, first) for first, second in pairs)}))


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
    return put_together((edges, more), len(price))


def with_wrong_buttons(
    edges: Edges, rings: Rings, glasses: Glasses, laws: Laws, confusion: Confusion,
    well_ring: Bools, well_glass: Bools,
) -> Edges:
    """``edges`` and those between any two products but the confused ones, at a price: a wrong button now
    and then, at any hour. Only where the ring or the serve is badly off without: two that are well paired
    (``well_ring``, ``well_glass``) by their own names have no reason to change."""
    real = ~is_said(rings)
    parts = (
        _wrong_buttons(rings, glasses, laws, confusion, real & ~well_ring, np.ones_like(well_glass)),
        _wrong_buttons(rings, glasses, laws, confusion, real & well_ring, ~well_glass),
    )
    return put_together((edges, *parts), len(glasses.end))


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


def own(rings: Rings, glasses: Glasses, partner: Ints) -> Ints:
    """``partner`` without the pairs of two products."""
    found = partner.copy()
    pairs = np.flatnonzero(partner >= 0)
    found[pairs[rings.product[pairs] != glasses.product[partner[pairs]]]] = -1
    return found


def _kinds(product: Ints, which: Bools) -> tuple[Ints, Ints, Ints]:
    """Products of which there are enough to tell, their rows among ``which``, and the place of each row's
    product among them. ``product`` is sorted."""
    rows = np.flatnonzero(which)
    codes, group, count = np.unique(product[rows], return_inverse=True, return_counts=True)
    enough = count >= priors.CONFUSED_LEAST
    kept = enough[group]
    return codes[enough], rows[kept], (np.cumsum(enough) - 1)[group[kept]]


def _clearly(chance: Floats) -> Floats:
    """What is far more than chance: several times its standard deviation."""
    return np.maximum(priors.CONFUSED_LEAST, priors.CONFUSED_SIGMAS * (chance + 1) ** 0.5)


def _met(at: Ints, group: Ints, end: Ints, kind: Ints, shape: tuple[int, int]) -> tuple[Floats, Floats]:
    """How many more serves of each kind (columns) lie within ``CONFUSED_NEAR_S`` of a ring of each group
    (rows) than the stretch around it promises, and how many it promises."""
    near, far = round(1_000 * priors.CONFUSED_NEAR_S), round(1_000 * priors.CONFUSED_FAR_S)
    order = np.argsort(end, kind="stable")
    end, kind = end[order], kind[order]
    edges = np.searchsorted(end, at[None, :] + np.array((-far, -near, near, far))[:, None])
    inner, outer = np.zeros(shape), np.zeros(shape)
    for one in range(shape[1]):
        until = np.concatenate(([0], np.cumsum(kind == one)))[edges]
        inner[:, one] = np.bincount(group, until[2] - until[1], shape[0])
        outer[:, one] = np.bincount(group, until[3] - until[0], shape[0])
    chance = (outer - inner) * near / (far - near)
    return inner - chance, chance
