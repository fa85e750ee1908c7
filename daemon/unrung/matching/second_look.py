"""The cut of pours into serves, revised by the rings.

Volumes alone often leave it open whether two pours filled one vessel, or what a long pour filled;
the rings tell: a pitcher's ring without a serve speaks for the join, two half-pint rings against
it. Every other way of cutting that is not far-fetched is weighed with the rings that are free or
that its pours hold now; the ones that gain are taken, best first. A local search: it never makes
the joint likelihood worse, and does not promise the best.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Floats, Ints
from unrung.matching.costs import Edges, Rings, glasses_of, possible_pairs
from unrung.matching.fills import odd_density, sized_density
from unrung.matching.glasses import Handful, divided
from unrung.matching.laws import Laws
from unrung.matching.serves import Cut, Serves, Weighed

Made = tuple[tuple[int, ...], Handful, float]
"""Rows of pours that make serves, the glasses where they are several, and the cost of that."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """Groups of pours to make in place of the groups that their rows belong to now."""

    leads: tuple[int, ...]
    made: tuple[Made, ...]


def second_look(
    weighed: Weighed, cut: Cut, serves: Serves, edges: Edges, partner: Ints,
    rings: Rings, laws: Laws,
) -> Cut:
    """``cut`` with every change that the rings speak for; ``partner`` is its assignment."""
    lead_of = _lead_of(len(weighed.single), cut)
    proposals = _proposals(weighed, cut, lead_of)
    if not proposals:
        return cut
    now = _worth_now(weighed, cut, serves, edges, partner)
    held = np.where(partner >= 0, serves.lead[partner], -1) if len(partner) else partner
    changes = _weigh(weighed, proposals, now, rings, held, laws)
    return _apply(cut, changes)


def _lead_of(count: int, cut: Cut) -> list[int]:
    """The first row of the group that each pour belongs to."""
    lead = list(range(count))
    for first, (rows, _) in cut.joins.items():
        for row in rows:
            lead[row] = first
    return lead


def _proposals(weighed: Weighed, cut: Cut, lead_of: list[int]) -> list[Proposal]:
    found = []
    for join in weighed.joins:
        leads = {lead_of[row] for row in join[0]}
        if len(leads) == 1 and cut.joins.get(join[0][0]) == join:
            continue
        rest = _rows_of(cut, leads) - set(join[0])
        if len(rest) <= 2:
            made = ((join[0], (), join[1]), *(_by_itself(weighed, row) for row in sorted(rest)))
            found.append(Proposal(tuple(sorted(leads)), made))
    for lead, (rows, _) in cut.joins.items():
        found.append(Proposal((lead,), tuple(_by_itself(weighed, row) for row in rows)))
    for row, options in weighed.splits.items():
        if lead_of[row] == row and row not in cut.joins:
            now = cut.splits.get(row)
            ways: list[Made] = [((row,), handful, cost) for handful, cost in options]
            ways.append(((row,), (), float(weighed.single[row])))
            kept = now[0] if now else ()
            found += [Proposal((row,), (way,)) for way in ways if way[1] != kept]
    return found


def _rows_of(cut: Cut, leads: set[int]) -> set[int]:
    rows: set[int] = set()
    for lead in leads:
        rows.update(cut.joins[lead][0] if lead in cut.joins else (lead,))
    return rows


def _by_itself(weighed: Weighed, row: int) -> Made:
    options = weighed.splits.get(row)
    if options and options[0][1] < weighed.single[row]:
        return (row,), options[0][0], options[0][1]
    return (row,), (), float(weighed.single[row])


def _worth_now(
    weighed: Weighed, cut: Cut, serves: Serves, edges: Edges, partner: Ints
) -> Floats:
    """Log likelihood of each group (by lead row): its cut, and its serves paired or lone."""
    chosen = partner[edges.ring] == edges.glass
    gain = np.zeros(len(serves.lead))
    gain[edges.glass[chosen]] = edges.gain[chosen] / priors.MILLINATS
    split = np.isin(serves.lead, np.array(list(cut.splits), np.int64))
    worth = gain + _lone_log(weighed, serves.product, serves.volume, split)
    total = np.bincount(serves.lead, worth, len(weighed.single))
    for lead, join in cut.joins.items():
        total[lead] += _structure(weighed, (join[0], (), join[1]))
    for row, (handful, cost) in cut.splits.items():
        total[row] += _structure(weighed, ((row,), handful, cost))
    return total


def _lone_log(weighed: Weighed, product: Ints, volume: Ints, split: Ints) -> Floats:
    """Log density of a serve without a ring; of the glasses of a split, whose sizes the split
    has paid for, only that it has none."""
    log_volume = np.log(np.maximum(volume, 1))
    sized = sized_density(weighed.fills, product, log_volume)
    odd = odd_density(weighed.fills, product, log_volume)
    found: Floats = np.where(
        split, np.log(priors.LONE_SERVE),
        np.log(priors.LONE_SERVE * sized + priors.LONE_ODD * odd),
    )
    return found


def _structure(weighed: Weighed, made: Made) -> float:
    """Log likelihood of a group beyond that of its serves' volumes."""
    rows, handful, cost = made
    if handful:
        return -cost
    if len(rows) == 1:
        return 0.0
    volume = np.array([weighed.pours.volume[list(rows)].sum()])
    product = weighed.pours.product[[rows[0]]]
    return -cost - float(np.log(sized_density(weighed.fills, product, np.log(volume)))[0])


def _weigh(
    weighed: Weighed, proposals: list[Proposal], now: Floats, rings: Rings, held: Ints, laws: Laws
) -> list[tuple[float, Proposal, tuple[int, ...]]]:
    """Proposals that gain, best first, with the rings that they would use."""
    owner, serve = _new_serves(weighed, proposals)
    product, end, volume, split = serve
    base = np.array([
        sum(_structure(weighed, made) for made in one.made) - sum(now[lead] for lead in one.leads)
        for one in proposals
    ])
    base += np.bincount(owner, _lone_log(weighed, product, volume, split == 1), len(proposals))
    order = np.lexsort((end, product))
    glasses = glasses_of(product[order], end[order], volume[order], weighed.fills)
    edges = _allowed(possible_pairs(rings, glasses, laws), proposals, owner[order], held)
    best = np.zeros(len(order))
    np.maximum.at(best, edges.glass, edges.gain / priors.MILLINATS)
    hope = base + np.bincount(owner[order], best, len(proposals))
    promising = np.flatnonzero(hope > priors.SECOND_LOOK_LEAST)
    near = np.isin(owner[order][edges.glass], promising)
    options: dict[int, list[tuple[int, int, int]]] = {}
    for ring, glass, gain, one in zip(
        edges.ring[near].tolist(), edges.glass[near].tolist(), edges.gain[near].tolist(),
        owner[order][edges.glass[near]].tolist(), strict=True,
    ):
        options.setdefault(one, []).append((-gain, glass, ring))
    found = []
    for one in promising.tolist():
        gain, used = _greedy(options.get(one, []))
        total = float(base[one]) + gain
        if total > priors.SECOND_LOOK_LEAST:
            found.append((total, proposals[one], used))
    return sorted(found, key=lambda change: (-change[0], change[1].leads, change[1].made))


def _new_serves(
    weighed: Weighed, proposals: list[Proposal]
) -> tuple[Ints, tuple[Ints, Ints, Ints, Ints]]:
    """Of every serve proposed: its proposal; product, end, volume, and 1 where of a split."""
    pours, rows = weighed.pours, []
    for number, proposal in enumerate(proposals):
        for group, handful, _ in proposal.made:
            product = int(pours.product[group[0]])
            if handful:
                row = group[0]
                parts = divided(
                    int(pours.start[row]), int(pours.end[row]), int(pours.volume[row]), handful
                )
                rows += [(number, product, over, ul, 1) for _, over, ul in parts]
            else:
                end = max(int(pours.end[row]) for row in group)
                rows.append((number, product, end, sum(int(pours.volume[r]) for r in group), 0))
    owner, product_, end_, volume, split = np.array(rows, np.int64).T
    return owner, (product_, end_, volume, split)


def _allowed(edges: Edges, proposals: list[Proposal], owner: Ints, held: Ints) -> Edges:
    """Edges to rings that are free, or held by what the proposal replaces."""
    size = 1 << 32
    keys = np.array(
        sorted(number * size + lead for number, one in enumerate(proposals) for lead in one.leads)
    )
    lead = held[edges.ring]
    keep = (lead < 0) | np.isin(owner[edges.glass] * size + lead, keys)
    return Edges(edges.ring[keep], edges.glass[keep], edges.gain[keep])


def _greedy(options: list[tuple[int, int, int]]) -> tuple[float, tuple[int, ...]]:
    """A good assignment of a proposal's few serves: the gain, and the rings used."""
    rings: set[int] = set()
    glasses: set[int] = set()
    total = 0
    for loss, glass, ring in sorted(options):
        if glass not in glasses and ring not in rings:
            glasses.add(glass)
            rings.add(ring)
            total -= loss
    return total / priors.MILLINATS, tuple(sorted(rings))


def _apply(cut: Cut, changes: list[tuple[float, Proposal, tuple[int, ...]]]) -> Cut:
    joins, splits = dict(cut.joins), dict(cut.splits)
    touched: set[int] = set()
    used: set[int] = set()
    for _, proposal, rings in changes:
        if touched.intersection(proposal.leads) or used.intersection(rings):
            continue
        touched.update(proposal.leads)
        used.update(rings)
        for lead in proposal.leads:
            joins.pop(lead, None)
            splits.pop(lead, None)
        for rows, handful, cost in proposal.made:
            if handful:
                splits[rows[0]] = (handful, cost)
            elif len(rows) > 1:
                joins[rows[0]] = (rows, cost)
    return Cut(joins, splits)


