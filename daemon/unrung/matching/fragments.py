"""Which pours on a tap filled one vessel together.

A vessel is filled by one pour, or by up to ``MAX_FRAGMENTS`` of them with short pauses between;
other glasses may be poured in the pauses (a short pint waits while its neighbour is filled). The
cheapest cut is exact: joins that cost more than their pours apart can be in no cheapest cut, and
what is left falls into small clusters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import lgamma

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints, Pours, spread
from unrung.matching.fills import Fills, sized_density

Join = tuple[tuple[int, ...], float]
"""Rows of the pours that one vessel took, in order, and the cost of that."""


@dataclass(frozen=True, slots=True)
class Links:
    """Pairs of pours of which the second may go on filling the vessel of the first; sorted."""

    first: Ints
    second: Ints
    kind: Ints
    """Class of the pause, and of whether other glasses were poured in it."""


def links_of(pours: Pours, top_up_gap_ms: int) -> Links:
    """All pairs on one tap, of one product, with a pause of up to ``top_up_gap_ms``."""
    firsts, seconds, kinds = [], [], []
    for apart in range(1, priors.MAX_APART + 1):
        first = np.arange(max(len(pours.key) - apart, 0))
        second = first + apart
        pause_ms = pours.start[second] - pours.end[first]
        near = (
            (pours.tap[first] == pours.tap[second])
            & (pours.product[first] == pours.product[second])
            & (pause_ms <= top_up_gap_ms)
            & (pause_ms >= -1_000 * priors.OVERLAP_S)
        )
        firsts.append(first[near])
        seconds.append(second[near])
        pause = np.searchsorted(priors.PAUSES_S, pause_ms[near] / 1_000)
        kinds.append(pause + (len(priors.PAUSES_S) + 1) * min(apart - 1, 1))
    first, second, kind = (np.concatenate(part) for part in (firsts, seconds, kinds))
    order = np.lexsort((second, first))
    return Links(first[order], second[order], kind[order])


@dataclass(frozen=True, slots=True)
class Habits:
    """How glasses are filled in several goes."""

    odds: Floats
    """Log odds of each kind of link."""
    taste: Floats
    """Per product: log of how much likelier than on the whole its pours are fragments."""
    division: Floats
    """(products, bins): log density of the share of a vessel that its second fragment holds."""


def prior_habits(products: int) -> Habits:
    """What is believed before the day's data speak."""
    pauses = len(priors.PAUSES_S) + 1
    odds = np.repeat([priors.JOIN_LOG_ODDS, priors.INTERLEAVED_LOG_ODDS], pauses)
    division = np.log(_prior_division())
    return Habits(odds, np.zeros(products), np.tile(division, (products, 1)))


def learn_habits(
    pours: Pours, fills: Fills, cost: Floats, links: Links, habits: Habits
) -> tuple[Habits, Bools]:
    """One step of expectation and maximisation: the habits, and which pours are likelier
    fragments than not."""
    chain = np.stack((links.first, links.second), axis=1)
    log_odds = habits.odds[links.kind]
    ratio = cost[chain].sum(axis=1) - _join_cost(pours, fills, chain, log_odds, habits)
    weight = np.exp(np.clip(ratio, -50, 50))
    count = len(cost)
    rivals = 1 + np.maximum(
        np.bincount(links.first, weight, count)[links.first],
        np.bincount(links.second, weight, count)[links.second],
    )
    chance = weight / rivals
    product, bin_of = pours.product[links.first], _division_bin(pours.volume[chain])
    fragment = (
        np.bincount(links.first, chance, count) + np.bincount(links.second, chance, count)
    ) > 0.5
    return Habits(
        _odds(links, chance, len(habits.odds)),
        _taste(links, chance, product, habits),
        _divisions(chance, product, bin_of, len(habits.taste)),
    ), fragment


def _odds(links: Links, chance: Floats, kinds: int) -> Floats:
    pauses = kinds // 2
    prior = np.repeat([priors.JOIN_LOG_ODDS, priors.INTERLEAVED_LOG_ODDS], pauses)
    share = priors.LINK_PRIOR / (1 + np.exp(-prior))
    joined = np.bincount(links.kind, chance, kinds) + share
    apart = np.bincount(links.kind, 1 - chance, kinds) + priors.LINK_PRIOR - share
    found: Floats = np.log(joined / apart)
    return found


def _taste(links: Links, chance: Floats, product: Ints, habits: Habits) -> Floats:
    expected = 1 / (1 + np.exp(-habits.odds[links.kind]))
    count = len(habits.taste)
    seen = np.bincount(product, chance, count) + priors.TASTE_PRIOR
    found: Floats = np.log(seen / (np.bincount(product, expected, count) + priors.TASTE_PRIOR))
    return found


def _divisions(chance: Floats, product: Ints, bin_of: Ints, products: int) -> Floats:
    bins = priors.DIVISION_BINS
    count = np.bincount(product * bins + bin_of, chance, products * bins).reshape(-1, bins)
    prior = _prior_division() / bins
    whole = count.sum(axis=0) + priors.DIVISION_PRIOR * prior
    whole /= whole.sum()
    each = count + priors.DIVISION_PRIOR * whole
    found: Floats = np.log(bins * each / each.sum(axis=1, keepdims=True))
    return found


def _prior_division() -> Floats:
    """Density of the second fragment's share, per bin of equal width."""
    middle = (np.arange(priors.DIVISION_BINS) + 0.5) / priors.DIVISION_BINS
    rate, share = priors.TOP_UP_RATE, priors.TOP_UP_SHARE
    density = share * rate * np.exp(-rate * middle) / (1 - np.exp(-rate)) + 1 - share
    found: Floats = density / density.mean()
    return found


def _division_bin(parts: Ints) -> Ints:
    share = parts[:, 1] / np.maximum(parts.sum(axis=1), 1)
    return np.minimum((share * priors.DIVISION_BINS).astype(np.int64), priors.DIVISION_BINS - 1)


def joins_worth(
    pours: Pours, fills: Fills, cost: Floats, links: Links, habits: Habits
) -> list[Join]:
    """Every set of pours that is cheaper as one serve than apart, or little dearer; ``cost`` is
    that of each alone, ``habits`` how likely each link is."""
    first, second, odds = links.first, links.second, habits.odds[links.kind]
    largest = np.exp(np.nanmax(np.where(np.isnan(fills.centre), -np.inf, fills.centre), axis=1))
    limit = 1.35 * largest[pours.product]
    begin = np.searchsorted(first, np.arange(len(cost) + 1))
    chain, chain_odds = np.stack((first, second), axis=1), odds
    found: list[Join] = []
    for _ in range(2, priors.MAX_FRAGMENTS + 1):
        small = pours.volume[chain].sum(axis=1) <= limit[chain[:, 0]]
        chain, chain_odds = chain[small], chain_odds[small]
        if not len(chain):
            break
        joined = _join_cost(pours, fills, chain, chain_odds, habits)
        better = joined < cost[chain].sum(axis=1) + priors.SLACK
        found += zip(map(tuple, chain[better].tolist()), joined[better].tolist(), strict=True)
        last = chain[:, -1]
        row, link = spread(begin[last], begin[last + 1])
        chain = np.concatenate((chain[row], second[link][:, None]), axis=1)
        chain_odds = chain_odds[row] + odds[link]
    return found


def cheapest_cut(cost: Floats, joins: Sequence[Join]) -> list[Join]:
    """The joins of the cheapest cut; every pour in none of them stands alone."""
    chosen: list[Join] = []
    joins = sorted(join for join in joins if join[1] < sum(cost[row] for row in join[0]))
    at = 0
    while at < len(joins):
        stop, last = joins[at][0][-1], at + 1
        while last < len(joins) and joins[last][0][0] <= stop:
            stop, last = max(stop, joins[last][0][-1]), last + 1
        cluster = joins[at:last]
        chosen += [cluster[0]] if last == at + 1 else _cheapest(cost, cluster)
        at = last
    return chosen


def _join_cost(
    pours: Pours, fills: Fills, chain: Ints, log_odds: Floats, habits: Habits
) -> Floats:
    """Negative log density of the chain's volumes (over their logarithms) as one serve."""
    parts = np.maximum(pours.volume[chain], 1)
    volume = parts.sum(axis=1)
    product = pours.product[chain[:, 0]]
    fit = sized_density(fills, product, np.log(volume))
    share = np.log(parts / volume[:, None]).sum(axis=1)
    if parts.shape[1] == 2:
        divided = habits.division[product, _division_bin(parts)]
    else:
        divided = np.full(len(parts), lgamma(parts.shape[1]))
    with np.errstate(divide="ignore"):
        found: Floats = -(np.log(fit) + share + divided + log_odds + habits.taste[product])
    return found


def _cheapest(cost: Floats, joins: Sequence[Join]) -> list[Join]:
    """Dynamic programming over the pours of a cluster; a state is the set of later pours that
    joins begun so far have taken."""
    low, high = joins[0][0][0], max(rows[-1] for rows, _ in joins)
    starting: dict[int, list[tuple[int, Join]]] = {}
    for join in joins:
        taken = sum(1 << (row - join[0][0]) for row in join[0])
        starting.setdefault(join[0][0], []).append((taken, join))
    states: dict[int, tuple[float, tuple[Join, ...]]] = {0: (0.0, ())}
    for at in range(low, high + 1):
        options: dict[int, tuple[float, tuple[Join, ...]]] = {}
        for taken, (price, chosen) in states.items():
            moves = [(taken >> 1, price, chosen)] if taken & 1 else [
                (taken >> 1, price + float(cost[at]), chosen),
                *(
                    ((taken | mask) >> 1, price + join[1], (*chosen, join))
                    for mask, join in starting.get(at, ()) if not taken & mask
                ),
            ]
            for left, total, picked in moves:
                if left not in options or (total, picked) < options[left]:
                    options[left] = (total, picked)
        states = options
    return list(states[0][1])
