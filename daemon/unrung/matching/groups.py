"""Which pours on a tap may belong together, and how many vessels they filled.

A group is one or more pours that filled one vessel, or several. Other glasses may be poured
between the pours of a group (a short pint waits while its neighbour is filled).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints, Pours, spread
from unrung.matching.fills import Fills
from unrung.matching.glasses import Handfuls, best_handfuls
from unrung.matching.habits import Habits, division_log, join_cost, log_odds_of
from unrung.matching.links import Links


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
