"""Which pours on a tap belong together, and how many vessels they filled.

A group is one or more pours that filled one vessel, or several. Other glasses may be poured
between the pours of a group (a short pint waits while its neighbour is filled). The cheapest cut
of a day into groups is exact: groups that cost more than their pours apart can be in no cheapest
cut, and what is left falls into small clusters.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints, Pours, spread
from unrung.matching.fills import Fills
from unrung.matching.glasses import Handfuls, best_handfuls
from unrung.matching.habits import Habits, division_log, join_cost, log_odds_of
from unrung.matching.links import Links


class Group(NamedTuple):
    """Pours that filled one vessel, or several."""

    rows: tuple[int, ...]
    """Rows of the pours, in order."""
    cost: float
    """Negative log density of the pours' volumes (over their logarithms)."""
    at: int
    """Which of the candidates it is."""


@dataclass(frozen=True, slots=True)
class Candidates:
    """Sets of several pours that may belong together."""

    rows: Ints
    """(candidates, ``MAX_FRAGMENTS``): rows of the pours, padded with -1."""
    way: Ints
    """The product's handful of glasses that they filled; -1 where they filled one vessel."""
    cost: Floats
    """Negative log density of the pours' volumes (over their logarithms)."""
    structure: Floats
    """Log likelihood beyond that of the serves' volumes."""

    def group(self, at: int) -> Group:
        """One of them."""
        rows = self.rows[at]
        return Group(tuple(rows[rows >= 0].tolist()), float(self.cost[at]), at)


Found = tuple[Ints, Ints, Floats, Floats]
"""Rows, ways, costs and structures of candidates."""
LINKS_AT_ONCE = 4_096
"""Links whose groups are weighed at once, so that memory stays bounded."""


def groups_worth(
    pours: Pours, fills: Fills, handfuls: Handfuls, cost: Floats, misfit: Bools, links: Links,
    habits: Habits,
) -> Candidates:
    """Every group of several pours that is cheaper than they are apart, or little dearer.

    ``cost`` is that of each pour alone; ``misfit`` marks pours that fit no single glass.
    """
    found: list[tuple[int, Found]] = []
    for low in range(0, len(links.first), LINKS_AT_ONCE):
        some = slice(low, low + LINKS_AT_ONCE)
        found += enumerate(_worth_from(pours, fills, handfuls, cost, misfit, links, habits, some))
    found.sort(key=lambda one: one[0])
    return _fewer(_gathered([one for _, one in found]), cost)


def _worth_from(
    pours: Pours, fills: Fills, handfuls: Handfuls, cost: Floats, misfit: Bools, links: Links,
    habits: Habits, some: slice,
) -> Iterator[Found]:
    """Those that begin with some of the links: for each number of pours, as one vessel and as several."""
    begin = np.searchsorted(links.first, np.arange(len(cost) + 1))
    odds = log_odds_of(links, pours.product[links.first], fills.day, habits)
    chain, chain_odds = np.stack((links.first, links.second), axis=1)[some], odds[some]
    pace = links.pace[some]
    largest = 1.35 * np.exp(np.where(fills.share > 0, fills.centre, -np.inf).max(axis=1))
    most = priors.MAX_GLASSES_JOINED * largest
    for _ in range(2, priors.MAX_FRAGMENTS + 1):
        volume, product = pours.volume[chain].sum(axis=1), pours.product[chain[:, 0]]
        odd: Bools = np.asarray(misfit[chain].any(axis=1))
        small = volume <= np.where(odd, most[product], largest[product])
        chain, chain_odds, pace, odd = chain[small], chain_odds[small], pace[small], odd[small]
        if not len(chain):
            break
        limit = cost[chain].sum(axis=1) + priors.SLACK
        yield _one_vessel(pours, fills, chain, chain_odds, pace, habits, limit)
        yield _several(pours, handfuls, chain[odd], chain_odds[odd], limit[odd])
        row, link = spread(begin[chain[:, -1]], begin[chain[:, -1] + 1])
        chain = np.concatenate((chain[row], links.second[link][:, None]), axis=1)
        chain_odds, pace = chain_odds[row] + odds[link], pace[row]


def _fewer(candidates: Candidates, cost: Floats) -> Candidates:
    """The ``MOST_GROUPS`` that gain most of those that begin with the same pour."""
    first = candidates.rows[:, 0]
    if np.bincount(first, minlength=1).max() <= priors.MOST_GROUPS:
        return candidates
    loss = candidates.cost - np.append(cost, 0.0)[candidates.rows].sum(axis=1)
    order = np.lexsort((loss, first))
    place = np.arange(len(order)) - np.searchsorted(first[order], first[order])
    kept = np.sort(order[place < priors.MOST_GROUPS])
    return Candidates(*(getattr(candidates, name)[kept] for name in Candidates.__slots__))


def _gathered(found: list[Found]) -> Candidates:
    width = priors.MAX_FRAGMENTS
    rows = [np.pad(one[0], ((0, 0), (0, width - one[0].shape[1])), constant_values=-1) for one in found]
    empty = np.zeros((0, width), np.int64)
    return Candidates(
        np.concatenate([empty, *rows]),
        np.concatenate([empty[:, 0], *(one[1] for one in found)]),
        np.concatenate([np.zeros(0), *(one[2] for one in found)]),
        np.concatenate([np.zeros(0), *(one[3] for one in found)]),
    )


def _one_vessel(
    pours: Pours, fills: Fills, chain: Ints, odds: Floats, pace: Ints, habits: Habits,
    limit: Floats,
) -> Found:
    cost, fit = join_cost(pours, fills, chain, odds, pace, habits)
    better = cost < limit
    cost = cost[better]
    return chain[better], np.full(len(cost), -1), cost, -cost - np.log(fit[better])


def _several(
    pours: Pours, handfuls: Handfuls, chain: Ints, odds: Floats, limit: Floats
) -> Found:
    # A handful costs at least about what its sizes' shares do.
    room = limit + odds + division_log(pours.volume[chain]) > priors.SPLIT_LEAST_COST
    chain, odds, limit = chain[room], odds[room], limit[room]
    parts = pours.volume[chain]
    ways, cost = best_handfuls(
        handfuls, pours.product[chain[:, 0]], pours.tap[chain[:, 0]], parts.sum(axis=1), 1
    )
    price = cost[:, 0] - odds - division_log(parts)
    better = np.flatnonzero(price < limit)
    return chain[better], ways[better, 0], price[better], -price[better]


def cheapest_cut(cost: Floats, candidates: Candidates) -> list[Group]:
    """The groups of the cheapest cut; every pour in none of them stands alone."""
    chosen: list[Group] = []
    apart = np.append(cost, 0.0)[candidates.rows].sum(axis=1)
    worth = np.flatnonzero(candidates.cost < apart)
    groups = sorted(
        Group(tuple(row for row in rows if row >= 0), price, at)
        for rows, price, at in zip(
            candidates.rows[worth].tolist(), candidates.cost[worth].tolist(), worth.tolist(), strict=True
        )
    )
    at = 0
    while at < len(groups):
        stop, last = groups[at].rows[-1], at + 1
        while last < len(groups) and groups[last].rows[0] <= stop:
            stop, last = max(stop, groups[last].rows[-1]), last + 1
        cluster = groups[at:last]
        chosen += cluster if last == at + 1 else _cheapest(cost, cluster)
        at = last
    return chosen


Chosen = tuple[Group, Any] | None
"""The group chosen last, and those before it."""
State = tuple[float, Chosen]


def _cheapest(cost: Floats, groups: Sequence[Group]) -> list[Group]:
    """Dynamic programming over the pours of a cluster; a state is the set of later pours that
    groups begun so far have taken."""
    low, high = groups[0].rows[0], max(group.rows[-1] for group in groups)
    starting: dict[int, list[tuple[int, Group]]] = {}
    alone = cost[low : high + 1].tolist()
    credit = alone[:]
    for group in groups:
        first = group.rows[0]
        taken = sum(1 << (row - first) for row in group.rows)
        starting.setdefault(first, []).append((taken, group))
        hoped = (sum(alone[row - low] for row in group.rows) - group.cost) / len(group.rows)
        for row in group.rows:
            credit[row - low] = min(credit[row - low], alone[row - low] - hoped)
    states: dict[int, State] = {0: (0.0, None)}
    for at in range(low, high + 1):
        begun = starting.get(at, ())
        options: dict[int, State] = {}
        for taken, (price, chosen) in _likeliest(states, credit, at - low, len(begun)):
            moves = [(taken >> 1, price, chosen)] if taken & 1 else [
                (taken >> 1, price + float(cost[at]), chosen),
                *(
                    ((taken | mask) >> 1, price + group.cost, (group, chosen))
                    for mask, group in begun if not taken & mask
                ),
            ]
            for left, total, picked in moves:
                if left not in options or total < options[left][0]:
                    options[left] = (total, picked)
        states = options
    found, more = [], states[0][1]
    while more:
        found.append(more[0])
        more = more[1]
    return found[::-1]


def _likeliest(
    states: dict[int, State], credit: Sequence[float], now: int, begun: int
) -> list[tuple[int, State]]:
    """The states; where a meter that counts in chunks makes thousands of moves, those that have paid
    least beyond the least that the later pours they have taken might have cost (``credit``)."""
    most = max(priors.MOST_MOVES // (begun + 1), 1)
    if len(states) <= most:
        return list(states.items())
    beyond = {
        taken: price - sum(credit[now + row] for row in range(taken.bit_length()) if taken >> row & 1)
        for taken, (price, _) in states.items()
    }
    return sorted(states.items(), key=lambda one: (beyond[one[0]], one[0]))[:most]
