"""From pours to serves: fragments joined and long pours split, by likelihood.

On each tap (and product) the cheapest way to cut the day's pours into serves is found: costs are
negative log densities over the pours' volumes. ``fragments`` weighs joins, ``glasses`` splits;
``second_look`` revises the cut when the rings are known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Floats, Ints, Pours
from unrung.matching.fills import Fills, learn_fills, odd_density, sized_density
from unrung.matching.fragments import (
    Join,
    cheapest_cut,
    joins_worth,
    learn_habits,
    links_of,
    prior_habits,
)
from unrung.matching.glasses import Handful, Splits, divided, split_options


@dataclass(frozen=True, slots=True)
class Weighed:
    """A day's pours, and what each way to make serves of them costs."""

    pours: Pours
    fills: Fills
    single: Floats
    """Cost of each pour as one serve."""
    splits: Splits
    """Long pours and the handfuls of glasses they may have filled, cheapest first."""
    joins: list[Join]
    """Sets of pours that may be one serve."""


@dataclass(frozen=True, slots=True)
class Cut:
    """How pours become serves: joins by their first row, splits by their row; all others alone."""

    joins: dict[int, Join]
    splits: dict[int, tuple[Handful, float]]


@dataclass(frozen=True, slots=True)
class Serves:
    """Serves sorted by product, end, start, tap, volume.

    The parts of serve ``i`` are ``first[i]`` up to ``first[i + 1]`` of ``part_key`` (pours) and
    ``part_ul`` (their microlitres in it).
    """

    product: Ints
    tap: Ints
    start: Ints
    end: Ints
    volume: Ints
    lead: Ints
    """Row of the first pour."""
    first: Ints
    part_key: Ints
    part_ul: Ints


def weigh(pours: Pours, sizes: Sequence[Sequence[int]], top_up_gap_ms: int) -> Weighed:
    """What each pour, join and split costs; habits and fills are learnt from the day.

    ``sizes``: the portions of each product, microlitres.
    """
    links, habits = links_of(pours, top_up_gap_ms), prior_habits(len(sizes))
    whole = np.ones(len(pours.key), np.bool_)
    for _ in range(priors.SERVE_ROUNDS):
        fills = learn_fills(pours.product[whole], pours.volume[whole], sizes)
        single, splits = single_costs(pours, fills), split_options(pours, fills)
        habits, fragment = learn_habits(pours, fills, cheapest(single, splits), links, habits)
        whole = ~fragment
    fills = learn_fills(pours.product[whole], pours.volume[whole], sizes)
    single, splits = single_costs(pours, fills), split_options(pours, fills)
    joins = joins_worth(pours, fills, cheapest(single, splits), links, habits)
    return Weighed(pours, fills, single, splits, joins)


def first_cut(weighed: Weighed) -> Cut:
    """The cheapest cut by the pours alone."""
    cost = cheapest(weighed.single, weighed.splits)
    joins = {join[0][0]: join for join in cheapest_cut(cost, weighed.joins)}
    taken = {row for rows, _ in joins.values() for row in rows}
    splits = {
        row: options[0] for row, options in weighed.splits.items()
        if options[0][1] < weighed.single[row] and row not in taken
    }
    return Cut(joins, splits)


def cheapest(single: Floats, splits: Splits) -> Floats:
    """Cost of each pour by itself, as one glass or several."""
    cost = single.copy()
    for row, options in splits.items():
        cost[row] = min(cost[row], options[0][1])
    return cost


def single_costs(pours: Pours, fills: Fills) -> Floats:
    """Cost of each pour as one serve."""
    log_volume = np.log(np.maximum(pours.volume, 1))
    found: Floats = -np.log(
        sized_density(fills, pours.product, log_volume)
        + odd_density(fills, pours.product, log_volume)
    )
    return found


def serves_of(pours: Pours, cut: Cut, lo_ms: int) -> Serves:
    """The serves of a cut, every microlitre of every pour in exactly one part; none ends before
    ``lo_ms``."""
    alone = np.ones(len(pours.key), np.bool_)
    joins = [cut.joins[lead][0] for lead in sorted(cut.joins)]
    alone[[row for rows in joins for row in rows]] = False
    alone[list(cut.splits)] = False
    single = np.flatnonzero(alone)
    glasses = [
        (row, begun, max(over, lo_ms), share)
        for row, (handful, _) in sorted(cut.splits.items())
        for begun, over, share in divided(
            int(pours.start[row]), int(pours.end[row]), int(pours.volume[row]), handful
        )
    ]
    joined = [
        (rows[0], int(pours.start[rows[0]]), int(pours.end[list(rows)].max()),
         int(pours.volume[list(rows)].sum()))
        for rows in joins
    ]
    columns = [
        np.concatenate((known, np.array(more, np.int64)))
        for known, more in zip(
            (single, pours.start[single], pours.end[single], pours.volume[single]),
            np.array(glasses + joined, np.int64).reshape(-1, 4).T, strict=True,
        )
    ]
    return _in_order(pours, columns, joins)


def _in_order(pours: Pours, columns: list[Ints], joins: list[tuple[int, ...]]) -> Serves:
    lead, start, end, volume = columns
    whole = len(lead) - len(joins)
    owner = np.concatenate(
        (np.arange(whole), np.repeat(whole + np.arange(len(joins)), [len(rows) for rows in joins]))
    ).astype(np.int64)
    row = np.concatenate((lead[:whole], [row for rows in joins for row in rows])).astype(np.int64)
    part_ul = np.concatenate((volume[:whole], pours.volume[row[whole:]]))
    order = np.lexsort((lead, volume, pours.tap[lead], start, end, pours.product[lead]))
    rank = np.empty(len(order), np.int64)
    rank[order] = np.arange(len(order))
    by_serve = np.argsort(rank[owner], kind="stable")
    count = np.bincount(rank[owner], minlength=len(order))
    lead = lead[order]
    return Serves(
        pours.product[lead], pours.tap[lead], start[order], end[order], volume[order], lead,
        np.concatenate(([0], np.cumsum(count))), pours.key[row[by_serve]], part_ul[by_serve],
    )
