"""Which pours on a tap belong together, and how many vessels they filled.

A group is one or more pours that filled one vessel, or several. Other glasses may be poured
between the pours of a group (a short pint waits while its neighbour is filled). The cheapest cut
of a day into groups is exact: groups that cost more than their pours apart can be in no cheapest
cut, and what is left falls into small clusters.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints, Pours, spread
from unrung.matching.fills import Fills
from unrung.matching.glasses import Handful, Handfuls, best_handfuls
from unrung.matching.habits import Habits, division_log, join_cost
from unrung.matching.links import Links


class Group(NamedTuple):
    """Pours that filled one vessel, or several."""

    rows: tuple[int, ...]
    """Rows of the pours, in order."""
    glasses: Handful
    """What each of several vessels holds; empty where it is one."""
    cost: float
    """Negative log density of the pours' volumes (over their logarithms)."""


def groups_worth(
    pours: Pours, fills: Fills, handfuls: Handfuls, cost: Floats, misfit: Bools, links: Links,
    habits: Habits,
) -> list[Group]:
    """Every group of several pours that is cheaper than they are apart, or little dearer.

    ``cost`` is that of each pour alone; ``misfit`` marks pours that fit no single glass.
    """
    begin = np.searchsorted(links.first, np.arange(len(cost) + 1))
    odds = habits.odds[links.kind] + habits.taste[pours.product[links.first]]
    chain, chain_odds = np.stack((links.first, links.second), axis=1), odds
    pace = links.pace
    largest = 1.35 * np.nanmax(np.where(fills.share > 0, np.exp(fills.centre), 0), axis=1)
    most = priors.MAX_GLASSES_JOINED * largest
    found: list[Group] = []
    for _ in range(2, priors.MAX_FRAGMENTS + 1):
        volume, product = pours.volume[chain].sum(axis=1), pours.product[chain[:, 0]]
        small = volume <= np.where(misfit[chain].any(axis=1), most[product], largest[product])
        chain, chain_odds, pace, volume = (a[small] for a in (chain, chain_odds, pace, volume))
        if not len(chain):
            break
        limit = cost[chain].sum(axis=1) + priors.SLACK
        found += _one_vessel(pours, fills, chain, chain_odds, pace, habits, limit)
        some = misfit[chain].any(axis=1)
        found += _several(pours, handfuls, chain[some], chain_odds[some], limit[some])
        row, link = spread(begin[chain[:, -1]], begin[chain[:, -1] + 1])
        chain = np.concatenate((chain[row], links.second[link][:, None]), axis=1)
        chain_odds, pace = chain_odds[row] + odds[link], pace[row]
    return found


def _one_vessel(
    pours: Pours, fills: Fills, chain: Ints, odds: Floats, pace: Ints, habits: Habits,
    limit: Floats,
) -> list[Group]:
    cost = join_cost(pours, fills, chain, odds, pace, habits)
    better = cost < limit
    return [
        Group(tuple(rows), (), price)
        for rows, price in zip(chain[better].tolist(), cost[better].tolist(), strict=True)
    ]


def _several(
    pours: Pours, handfuls: Handfuls, chain: Ints, odds: Floats, limit: Floats
) -> list[Group]:
    parts = pours.volume[chain]
    base = -odds - division_log(parts)
    best = best_handfuls(
        handfuls, pours.product[chain[:, 0]], pours.tap[chain[:, 0]], parts.sum(axis=1), 1
    )
    return [
        Group(tuple(rows), ways[0][0], ways[0][1] + more)
        for rows, ways, more, most in zip(
            chain.tolist(), best, base.tolist(), limit.tolist(), strict=True
        )
        if ways and ways[0][1] + more < most
    ]


def cheapest_cut(cost: Floats, groups: Sequence[Group]) -> list[Group]:
    """The groups of the cheapest cut; every pour in none of them stands alone."""
    chosen: list[Group] = []
    groups = sorted(group for group in groups if group.cost < sum(cost[list(group.rows)]))
    at = 0
    while at < len(groups):
        stop, last = groups[at].rows[-1], at + 1
        while last < len(groups) and groups[last].rows[0] <= stop:
            stop, last = max(stop, groups[last].rows[-1]), last + 1
        cluster = groups[at:last]
        chosen += cluster if last == at + 1 else _cheapest(cost, cluster)
        at = last
    return chosen


def _cheapest(cost: Floats, groups: Sequence[Group]) -> list[Group]:
    """Dynamic programming over the pours of a cluster; a state is the set of later pours that
    groups begun so far have taken."""
    low, high = groups[0].rows[0], max(group.rows[-1] for group in groups)
    starting: dict[int, list[tuple[int, Group]]] = {}
    for group in groups:
        taken = sum(1 << (row - group.rows[0]) for row in group.rows)
        starting.setdefault(group.rows[0], []).append((taken, group))
    states: dict[int, tuple[float, tuple[Group, ...]]] = {0: (0.0, ())}
    for at in range(low, high + 1):
        options: dict[int, tuple[float, tuple[Group, ...]]] = {}
        for taken, (price, chosen) in states.items():
            moves = [(taken >> 1, price, chosen)] if taken & 1 else [
                (taken >> 1, price + float(cost[at]), chosen),
                *(
                    ((taken | mask) >> 1, price + group.cost, (*chosen, group))
                    for mask, group in starting.get(at, ()) if not taken & mask
                ),
            ]
            for left, total, picked in moves:
                if left not in options or (total, picked) < options[left]:
                    options[left] = (total, picked)
        states = options
    return list(states[0][1])
