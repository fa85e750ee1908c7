"""The cut of pours into serves, revised by the rings.

Volumes alone often leave it open whether two pours filled one vessel, or what a long pour filled;
the rings tell: a pitcher's ring without a serve speaks for the join, two half-pint rings against
it. Every other way of cutting that is not far-fetched is weighed with the rings that are free or
that its pours hold now; the ones that gain are taken, best first. A local search: it never makes
the joint likelihood worse, and does not promise the best.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints, order_key
from unrung.matching.costs import Edges, Rings, glasses_of, possible_pairs
from unrung.matching.fills import odd_density, sized_density
from unrung.matching.glasses import poured_out
from unrung.matching.groups import Group
from unrung.matching.laws import Laws
from unrung.matching.serves import JOINED, SHARED, Cut, Serves, Weighed, log_fill, split_group


class Proposal(NamedTuple):
    """Groups of pours to make in place of the groups that their rows belong to now."""

    leads: tuple[int, ...]
    made: tuple[Group, ...]


class Change(NamedTuple):
    """A proposal that gains, and the rings it would use."""

    gain: float
    proposal: Proposal
    rings: tuple[int, ...]


def second_look(
    weighed: Weighed, cut: Cut, serves: Serves, edges: Edges, partner: Ints,
    rings: Rings, laws: Laws, lone_share: Floats,
) -> Cut:
    """``cut`` with every change that the rings speak for; ``partner`` is its assignment."""
    now, poor = _worth_now(weighed, cut, serves, edges, partner, lone_share)
    lead_of = np.arange(len(now))
    for lead, group in cut.items():
        lead_of[list(group.rows)] = lead
    open_ = poor[lead_of] | _free_ring_near(weighed, rings, partner)
    proposals = [
        *_other_groups(weighed, cut, lead_of, poor[lead_of]),
        *_apart(weighed, cut, open_),
        *_other_ways(weighed, cut, lead_of, open_),
    ]
    if not proposals:
        return cut
    held = np.full(len(partner), -1)
    held[partner >= 0] = serves.lead[partner[partner >= 0]]
    return _apply(cut, _weigh(weighed, proposals, now, rings, held, laws, lone_share))


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


def _other_groups(
    weighed: Weighed, cut: Cut, lead_of: Ints, poor: Bools
) -> Iterator[Proposal]:
    """Groups in place of others, where some pour in them is badly off now."""
    rows = weighed.groups.rows
    for at in np.flatnonzero((np.append(poor, False)[rows]).any(axis=1)).tolist():
        group = weighed.groups.group(at)
        leads = set(lead_of[list(group.rows)].tolist())
        if len(leads) == 1 and cut.get(group.rows[0]) == group:
            continue
        rest = {row for lead in leads for row in _rows(cut, lead)} - set(group.rows)
        if len(rest) <= 2:
            made = (group, *(_by_itself(weighed, row) for row in sorted(rest)))
            yield Proposal(tuple(sorted(leads)), made)


def _apart(weighed: Weighed, cut: Cut, open_: Bools) -> Iterator[Proposal]:
    """The pours of a group by themselves."""
    for lead, group in cut.items():
        if len(group.rows) > 1 and open_[list(group.rows)].any():
            yield Proposal((lead,), tuple(_by_itself(weighed, row) for row in group.rows))


def _other_ways(weighed: Weighed, cut: Cut, lead_of: Ints, open_: Bools) -> Iterator[Proposal]:
    """A long pour as other glasses, or as one."""
    splits = weighed.splits
    for at in np.flatnonzero(open_[splits.rows]).tolist():
        row = int(splits.rows[at])
        if len(_rows(cut, int(lead_of[row]))) == 1:
            number = int((splits.cost[at] < np.inf).sum())
            ways = [split_group(weighed, at, option) for option in range(number)]
            ways.append(_single(weighed, row))
            now = cut[row].glasses if row in cut else ()
            yield from (Proposal((row,), (way,)) for way in ways if way.glasses != now)


def _rows(cut: Cut, lead: int) -> tuple[int, ...]:
    return cut[lead].rows if lead in cut else (lead,)


def _by_itself(weighed: Weighed, row: int) -> Group:
    at = int(np.searchsorted(weighed.splits.rows, row))
    found = at < len(weighed.splits.rows) and weighed.splits.rows[at] == row
    if found and weighed.splits.cost[at, 0] < weighed.single[row]:
        return split_group(weighed, at, 0)
    return _single(weighed, row)


def _single(weighed: Weighed, row: int) -> Group:
    return Group((row,), (), float(weighed.single[row]), 0.0)


def _worth_now(
    weighed: Weighed, cut: Cut, serves: Serves, edges: Edges, partner: Ints, lone_share: Floats
) -> tuple[Floats, Bools]:
    """Log likelihood of each group (by lead row): its cut, and its serves paired or lone; and
    whether some serve of it is lone or badly paired."""
    chosen = partner[edges.ring] == edges.glass
    gain = np.zeros(len(serves.lead))
    gain[edges.glass[chosen]] = edges.gain[chosen] / priors.MILLINATS
    log_volume = log_fill(weighed, serves.product, serves.tap, serves.volume, serves.joined)
    worth = gain + _lone_log(
        weighed, serves.product, log_volume, serves.shared, lone_share[serves.product, serves.tap]
    )
    total = np.bincount(serves.lead, worth, len(weighed.single))
    for lead, group in cut.items():
        total[lead] += group.structure
    poor = np.zeros(len(total), np.bool_)
    poor[serves.lead[gain < priors.POOR_GAIN]] = True
    return total, poor


def _lone_log(
    weighed: Weighed, product: Ints, log_volume: Floats, shared: Bools, share: Floats
) -> Floats:
    """Log density of a serve without a ring; of the glasses of a split, whose sizes the split
    has paid for, only that it has none."""
    sized = sized_density(weighed.fills, product, log_volume)
    odd = odd_density(weighed.fills, product, log_volume)
    found: Floats = np.log(np.where(shared, share, share * sized + priors.LONE_ODD * odd))
    return found


def _weigh(
    weighed: Weighed, proposals: list[Proposal], now: Floats, rings: Rings, held: Ints, laws: Laws,
    lone_share: Floats,
) -> list[Change]:
    """Proposals that gain, best first."""
    owner, product, tap, end, volume, kind = _new_serves(weighed, proposals)
    log_volume = log_fill(weighed, product, tap, volume, kind == JOINED)
    base = np.array([
        sum([group.structure for group in one.made])
        - sum([now[lead] for lead in one.leads])
        for one in proposals
    ])
    lone = _lone_log(weighed, product, log_volume, kind == SHARED, lone_share[product, tap])
    base += np.bincount(owner, lone, len(proposals))
    order = np.lexsort((end, product))
    owner = owner[order]
    glasses = glasses_of(
        product[order], end[order], log_volume[order], weighed.fills,
        lone_share[product, tap][order],
    )
    edges = _allowed(possible_pairs(rings, glasses, laws), proposals, owner, held)
    best = np.zeros(len(order))
    np.maximum.at(best, edges.glass, edges.gain / priors.MILLINATS)
    hope = base + np.bincount(owner, best, len(proposals))
    return _promising(proposals, base, hope, edges, owner)


def _promising(
    proposals: list[Proposal], base: Floats, hope: Floats, edges: Edges, owner: Ints
) -> list[Change]:
    promising = np.flatnonzero(hope > priors.SECOND_LOOK_LEAST)
    near = np.isin(owner[edges.glass], promising)
    options: dict[int, list[tuple[int, int, int]]] = {}
    for ring, glass, gain, one in zip(
        edges.ring[near].tolist(), edges.glass[near].tolist(), edges.gain[near].tolist(),
        owner[edges.glass[near]].tolist(), strict=True,
    ):
        options.setdefault(one, []).append((-gain, glass, ring))
    found = []
    for one in promising.tolist():
        gain, used = _greedy(options.get(one, []))
        total = float(base[one]) + gain
        if total > priors.SECOND_LOOK_LEAST:
            found.append(Change(total, proposals[one], used))
    return sorted(found, key=lambda change: (-change.gain, change.proposal))


def _new_serves(weighed: Weighed, proposals: list[Proposal]) -> tuple[Ints, ...]:
    """Of every serve proposed: its proposal, product, tap, end, volume and kind."""
    pours, rows = weighed.pours, []
    for number, proposal in enumerate(proposals):
        for group in proposal.made:
            product, tap = int(pours.product[group.rows[0]]), int(pours.tap[group.rows[0]])
            if group.glasses:
                rows += [
                    (number, product, tap, ended, sum(ul for _, ul in parts), SHARED)
                    for _, ended, parts in poured_out(pours, group.rows, group.glasses)
                ]
            else:
                end = max(int(pours.end[row]) for row in group.rows)
                volume = sum(int(pours.volume[row]) for row in group.rows)
                kind = JOINED if len(group.rows) > 1 else 0
                rows.append((number, product, tap, end, volume, kind))
    return tuple(np.array(rows, np.int64).T)


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


def _apply(cut: Cut, changes: list[Change]) -> Cut:
    revised = dict(cut)
    touched: set[int] = set()
    used: set[int] = set()
    for _, proposal, rings in changes:
        if touched.intersection(proposal.leads) or used.intersection(rings):
            continue
        touched.update(proposal.leads)
        used.update(rings)
        for lead in proposal.leads:
            revised.pop(lead, None)
        for group in proposal.made:
            if group.glasses or len(group.rows) > 1:
                revised[group.rows[0]] = group
    return revised
