"""The cut of pours into serves, revised by the rings.

Volumes alone often leave it open whether two pours filled one vessel, or what a long pour filled;
the rings tell: a pitcher's ring without a serve speaks for the join, two half-pint rings against
it. Every other way of cutting that is not far-fetched is weighed with the rings near it, each at
the price of taking it from where it is; the ones that gain are taken, best first. A local search:
it does not promise the best.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints, order_key, spread
from unrung.matching.costs import Worths, edges_of, glasses_of, millinats, possible_pairs, worths_of
from unrung.matching.laws import Laws
from unrung.matching.most_gained import most_gained
from unrung.matching.pieces import SHARED, Pieces
from unrung.matching.prices import Prices, prices_of
from unrung.matching.proposals import Proposals, now_of, proposals_of
from unrung.matching.serves import Cut, Judged, Lines, Serves, Weighed, shares_at, with_pieces
from unrung.matching.sides import Edges, Glasses, Rings, glasses_at, put_together


class Change(NamedTuple):
    """A proposal that gains, and the rings it would use; by order of what is lost by leaving it."""

    loss: float
    leads: list[int]
    made: list[int]
    rings: tuple[int, ...]


def second_look(
    weighed: Weighed, cut: Cut, serves: Serves, edges: Edges, partner: Ints,
    rings: Rings, laws: Laws, lines: Lines,
) -> Cut:
    """``cut`` with every change that the rings speak for; ``partner`` is its assignment."""
    worth, badly = _worth_now(weighed, cut, serves, edges, partner, lines)
    now = now_of(weighed.pieces, cut)
    poor = badly[now.lead]
    proposals = proposals_of(weighed, now, poor, poor | _free_ring_near(weighed, rings, partner))
    if not len(proposals.made):
        return cut
    held = np.full(len(partner), -1)
    held[partner >= 0] = serves.lead[partner[partner >= 0]]
    prices = prices_of(edges, partner, len(serves.lead))
    changes = _weigh(weighed, proposals, worth, rings, held, prices, laws, lines)
    return _apply(weighed.pieces, cut, changes)


def _free_ring_near(weighed: Weighed, rings: Rings, partner: Ints) -> Bools:
    """Pours with an unpaired ring of their product within ``FREE_RING_S``."""
    pours, free = weighed.pours, partner < 0
    found = np.zeros(len(pours.end), np.bool_)
    if free.any() and len(found):
        reach = int(1_000 * priors.FREE_RING_S)
        base = min(int(rings.corrected.min()), int(pours.end.min())) - (1 << 35)
        keys = order_key(rings.product[free], rings.corrected[free], base)
        at = order_key(pours.product, pours.end, base)
        found = np.searchsorted(keys, at - reach) < np.searchsorted(keys, at + reach)
    return found


def _worth_now(
    weighed: Weighed, cut: Cut, serves: Serves, edges: Edges, partner: Ints, lines: Lines
) -> tuple[Floats, Bools]:
    """Log likelihood of each group (by lead row): its cut, and its serves paired or lone; and
    whether some serve of it is lone or badly paired."""
    chosen = partner[edges.ring] == edges.glass
    gain = np.zeros(len(serves.lead))
    gain[edges.glass[chosen]] = edges.gain[chosen] / priors.MILLINATS
    worth = gain + _lone_log(
        weighed.judged, serves.at, serves.shared,
        shares_at(weighed, lines, serves.product, serves.tap, serves.lead),
    )
    total: Floats = np.bincount(serves.lead, worth, len(weighed.single))
    lead = np.flatnonzero(cut >= 0)
    total = total + np.bincount(lead, weighed.pieces.structure[cut[lead]], len(total))
    poor = np.zeros(len(total), np.bool_)
    poor[serves.lead[gain < priors.POOR_GAIN]] = True
    return total, poor


def _lone_log(judged: Judged, at: Ints, shared: Bools, share: Floats) -> Floats:
    """Log density of a serve without a ring; of the glasses of a split, whose sizes the split
    has paid for, only that it has none."""
    density = share * judged.sized[at] + priors.LONE_ODD * judged.odd[at]
    found: Floats = np.log(np.where(shared, share, density))
    return found


def _weigh(
    weighed: Weighed, proposals: Proposals, worth: Floats, rings: Rings, held: Ints, prices: Prices,
    laws: Laws, lines: Lines,
) -> list[Change]:
    """Proposals that gain, best first."""
    pieces, count = weighed.pieces, len(proposals.made)
    owner, serve, row = _new_serves(pieces, proposals)
    product, tap, end = weighed.pours.product[row], weighed.pours.tap[row], pieces.end[serve]
    base = np.append(pieces.structure, 0.0)[proposals.made].sum(axis=1)
    base -= np.append(worth, 0.0)[proposals.leads].sum(axis=1)
    share = shares_at(weighed, lines, product, tap, row)
    lone = _lone_log(weighed.judged, serve, pieces.kind[serve] == SHARED, share)
    base += np.bincount(owner, lone, count)
    spare = np.bincount(held[held >= 0], prices.spare[held >= 0], len(worth))
    base += np.append(spare, 0.0)[proposals.leads].sum(axis=1)
    order = np.lexsort((end, product))
    owner = owner[order]
    judged, at = weighed.judged, serve[order]
    glasses = glasses_of(
        product[order], end[order], judged.log_volume[at], judged.sized[at], judged.odd[at],
        share[order], lines.swapped[product, tap][order],
    )
    worths = worths_of(rings, glasses)
    own = _let_go(_less(rings, prices.spare), glasses, laws, worths, proposals, owner, held)
    taken = _less(rings, prices.take)
    most = most_gained(taken, glasses, laws, worths, held >= 0)
    np.maximum.at(most, own.glass, own.gain)
    hope = base + np.bincount(owner, most / priors.MILLINATS, count)
    # Of the many that cannot gain, the pairs are not looked at.
    some = np.flatnonzero(hope[owner] > priors.SECOND_LOOK_LEAST)
    owner, glasses, own = owner[some], glasses_at(glasses, some), _of_some(own, some, len(order))
    edges = _priced(taken, glasses, laws, proposals, owner, held, own)
    best = np.zeros(len(some))
    np.maximum.at(best, edges.glass, edges.gain / priors.MILLINATS)
    hope = base + np.bincount(owner, best, count)
    return _promising(proposals, base, hope, edges, owner)


def _of_some(edges: Edges, glasses: Ints, count: int) -> Edges:
    """Pairs of some of ``count`` serves, by their place among these."""
    place = np.full(count, -1)
    place[glasses] = np.arange(len(glasses))
    kept = np.flatnonzero(place[edges.glass] >= 0)
    return Edges(edges.ring[kept], place[edges.glass[kept]], edges.gain[kept])


def _new_serves(pieces: Pieces, proposals: Proposals) -> tuple[Ints, Ints, Ints]:
    """Of every serve proposed: its proposal, which serve it is, and its first pour."""
    proposal, column = np.nonzero(proposals.made >= 0)
    made = proposals.made[proposal, column]
    at, serve = spread(pieces.first[made], pieces.first[made + 1])
    return proposal[at], serve, pieces.rows[made[at], 0]


def _priced(
    rings: Rings, glasses: Glasses, laws: Laws, proposals: Proposals, owner: Ints, held: Ints, own: Edges
) -> Edges:
    """Pairs with what is left of their gains when the ring, worth less by its price, is paid for; one that
    the proposal lets go (``own``) would have brought its spare value elsewhere. Rings that are held are
    looked for nearby only."""
    taken = possible_pairs(rings, glasses, laws, held >= 0)
    mine = (proposals.leads[owner[taken.glass]] == held[taken.ring][:, None]).any(axis=1)
    mine &= held[taken.ring] >= 0
    others = Edges(taken.ring[~mine], taken.glass[~mine], taken.gain[~mine])
    return put_together((others, own), len(owner))


def _less(rings: Rings, price: Floats) -> Rings:
    """Rings that are worth less by their price."""
    return replace(rings, base=rings.base - millinats(price))


def _let_go(
    rings: Rings, glasses: Glasses, laws: Laws, worths: Worths, proposals: Proposals, owner: Ints,
    held: Ints,
) -> Edges:
    """Pairs of each proposal's serves with the rings that it lets go."""
    order = np.argsort(held, kind="stable")
    leads = proposals.leads[owner]
    glass, column = np.nonzero(leads >= 0)
    lead = leads[glass, column]
    at, place = spread(np.searchsorted(held[order], lead), np.searchsorted(held[order], lead, "right"))
    glass, ring = glass[at], order[place]
    alike = rings.product[ring] == glasses.product[glass]
    return edges_of(rings, glasses, laws, worths, ring[alike], glass[alike])


def _promising(
    proposals: Proposals, base: Floats, hope: Floats, edges: Edges, owner: Ints
) -> list[Change]:
    promising = np.flatnonzero(hope > priors.SECOND_LOOK_LEAST)
    one = owner[edges.glass]
    near = np.flatnonzero(np.isin(one, promising))
    order = near[np.lexsort((edges.ring[near], edges.glass[near], -edges.gain[near], one[near]))]
    low, high = (np.searchsorted(one[order], promising, side).tolist() for side in ("left", "right"))
    options = list(zip(
        edges.gain[order].tolist(), edges.glass[order].tolist(), edges.ring[order].tolist(), strict=True))
    found = []
    for first, last, start, leads, made in zip(
        low, high, base[promising].tolist(), proposals.leads[promising].tolist(),
        proposals.made[promising].tolist(), strict=True,
    ):
        gain, used = _greedy(options[first:last])
        if start + gain > priors.SECOND_LOOK_LEAST:
            found.append(Change(-(start + gain), leads, made, used))
    return sorted(found)


def _greedy(options: list[tuple[int, int, int]]) -> tuple[float, tuple[int, ...]]:
    """A good assignment of a proposal's few serves: the gain, and the rings used. ``options``: gains with
    their serves and rings, greatest first."""
    rings: set[int] = set()
    glasses: set[int] = set()
    total = 0
    for gain, glass, ring in options:
        if glass not in glasses and ring not in rings:
            glasses.add(glass)
            rings.add(ring)
            total += gain
    return total / priors.MILLINATS, tuple(sorted(rings))


def _apply(pieces: Pieces, cut: Cut, changes: list[Change]) -> Cut:
    touched: set[int] = {-1}
    used: set[int] = set()
    chosen: list[int] = []
    for change in changes:
        leads = [lead for lead in change.leads if lead >= 0]
        if touched.isdisjoint(leads) and used.isdisjoint(change.rings):
            touched.update(leads)
            used.update(change.rings)
            chosen += [piece for piece in change.made if piece >= 0]
    return with_pieces(pieces, cut, np.array(chosen, np.int64))
