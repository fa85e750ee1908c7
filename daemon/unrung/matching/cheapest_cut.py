"""The cheapest cut of a day's pours into groups.

It is exact: groups that cost more than their pours apart can be in no cheapest cut, and what is left falls
into small clusters, each solved by dynamic programming.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Floats, Ints
from unrung.matching.groups import Candidates


class Group(NamedTuple):
    """A candidate as the cut sees it."""

    first: int
    """Its first pour, counted from the first of the cluster."""
    taken: int
    """A bit for each of its pours, counted from its first."""
    cost: float
    at: int
    """Which of the candidates it is."""


Chosen = tuple[int, Any] | None
"""The candidate chosen last, and those before it."""
State = tuple[float, Chosen]


def cheapest_cut(cost: Floats, candidates: Candidates) -> Ints:
    """Which of the candidates are the groups of the cheapest cut; every pour in none of them stands alone, at
    its ``cost``."""
    apart = np.append(cost, 0.0)[candidates.rows].sum(axis=1)
    worth = np.flatnonzero(candidates.cost < apart)
    if not len(worth):
        return worth
    rows = candidates.rows[worth]
    order = np.lexsort((candidates.cost[worth], *rows.T[::-1]))
    worth, rows = worth[order], rows[order]
    first, last = rows[:, 0], np.maximum.accumulate(rows.max(axis=1))
    begin = np.concatenate(([0], 1 + np.flatnonzero(first[1:] > last[:-1])))
    end = np.append(begin[1:], len(worth))
    taken = np.where(rows >= 0, 1 << np.maximum(rows - first[:, None], 0), 0).sum(axis=1)
    chosen = worth[begin[end - begin == 1]].tolist()
    for low, high in zip(begin[end - begin > 1].tolist(), end[end - begin > 1].tolist(), strict=True):
        some, base = slice(low, high), first[low]
        groups = map(Group._make, zip(
            (first[some] - base).tolist(), taken[some].tolist(), candidates.cost[worth[some]].tolist(),
            worth[some].tolist(), strict=True,
        ))
        chosen += _cheapest(cost[base : last[high - 1] + 1].tolist(), list(groups))
    return np.array(chosen, np.int64)


def _cheapest(alone: Sequence[float], groups: Sequence[Group]) -> list[int]:
    """Dynamic programming over the pours of a cluster; a state is the set of later pours that groups begun
    so far have taken. ``alone``: cost of each pour by itself."""
    starting: dict[int, list[Group]] = {}
    for group in groups:
        starting.setdefault(group.first, []).append(group)
    states: dict[int, State] = {0: (0.0, None)}
    credit: list[float] = []
    for now, by_itself in enumerate(alone):
        begun = starting.get(now, ())
        most = max(priors.MOST_MOVES // (len(begun) + 1), 1)
        before: Iterable[tuple[int, State]] = states.items()
        if len(states) > most:
            credit = credit or _credit(alone, groups)
            before = _likeliest(states, credit[now:], most)
        states = {}
        for taken, (price, chosen) in before:
            if taken & 1:
                _offer(states, taken >> 1, price, chosen)
                continue
            _offer(states, taken >> 1, price + by_itself, chosen)
            for _, mask, cost, at in begun:
                if not taken & mask:
                    _offer(states, (taken | mask) >> 1, price + cost, (at, chosen))
    found, more = [], states[0][1]
    while more:
        found.append(more[0])
        more = more[1]
    return found


def _offer(states: dict[int, State], taken: int, price: float, chosen: Chosen) -> None:
    known = states.get(taken)
    if known is None or price < known[0]:
        states[taken] = (price, chosen)


def _likeliest(
    states: dict[int, State], credit: Sequence[float], most: int
) -> list[tuple[int, State]]:
    """Where a meter that counts in chunks makes thousands of moves, the ``most`` states that have paid least
    beyond the least that the later pours they have taken might have cost (``credit``)."""
    beyond = {
        taken: price - sum(credit[row] for row in range(taken.bit_length()) if taken >> row & 1)
        for taken, (price, _) in states.items()
    }
    return sorted(states.items(), key=lambda one: (beyond[one[0]], one[0]))[:most]


def _credit(alone: Sequence[float], groups: Sequence[Group]) -> list[float]:
    """The least that each pour might cost, as its part of the best group that it is in."""
    credit = list(alone)
    for first, taken, cost, _ in groups:
        rows = [first + row for row in range(taken.bit_length()) if taken >> row & 1]
        hoped = (sum(alone[row] for row in rows) - cost) / len(rows)
        for row in rows:
            credit[row] = min(credit[row], alone[row] - hoped)
    return credit
