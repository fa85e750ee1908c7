"""From pours to serves: fragments joined and long pours split, by likelihood.

On each tap (and product) the cheapest way to cut the day's pours into serves is found: costs are
negative log densities over the pours' volumes. ``groups`` weighs what belongs together,
``glasses`` what a long pour filled; ``second_look`` revises the cut when the rings are known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unrung.matching import priors
from unrung.matching.columns import Bools, Floats, Ints, Pours
from unrung.matching.fills import Fills, Sizes, deviations, filled, learn_fills, odd_density, sized_density
from unrung.matching.glasses import (
    Handfuls,
    Splits,
    handfuls_of,
    poured_out,
    split_habit,
    split_options,
)
from unrung.matching.groups import Candidates, Group, cheapest_cut, groups_worth
from unrung.matching.habits import Habits, learn_habits, prior_habits
from unrung.matching.links import Links, links_of

Cut = dict[int, Group]
"""How pours become serves: groups by their first row; a pour in none of them is one serve."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """A day's pours, and what each way to make serves of them costs."""

    pours: Pours
    fills: Fills
    habits: Habits
    single: Floats
    """Cost of each pour as one serve."""
    splits: Splits
    handfuls: Handfuls
    groups: Candidates
    """Sets of several pours that may belong together."""


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
    """Row of the first pour of its group."""
    joined: Bools
    """One vessel filled in several goes."""
    shared: Bools
    """One of several vessels that were filled in one go."""
    first: Ints
    part_key: Ints
    part_ul: Ints


def weigh(pours: Pours, sizes: Sizes, top_up_gap_ms: int) -> Weighed:
    """What each pour, join and split costs; habits and fills are learnt from the day.
    """
    links, habits = links_of(pours, top_up_gap_ms), prior_habits(len(sizes.size_ul))
    whole, habit = _likely_whole(pours, links, sizes), np.zeros(len(pours.taps))
    for _ in range(priors.SERVE_ROUNDS):
        fills, _, misfit, single, splits = _weigh_each(pours, whole, sizes, habit)
        habits, fragment = learn_habits(pours, fills, cheapest(single, splits), links, habits)
        habit = split_habit(pours, single, splits)
        whole = ~fragment
        whole[splits.rows[splits.cost[:, 0] < single[splits.rows] + 1]] = False
    fills, handfuls, misfit, single, splits = _weigh_each(pours, whole, sizes, habit)
    cost = cheapest(single, splits)
    groups = groups_worth(pours, fills, handfuls, cost, misfit, links, habits)
    return Weighed(pours, fills, habits, single, splits, handfuls, groups)


def _weigh_each(
    pours: Pours, whole: Bools, sizes: Sizes, habit: Floats
) -> tuple[Fills, Handfuls, Bools, Floats, Splits]:
    """Fills and handfuls; which pours fit no single glass; costs of each as one and as several."""
    fills = learn_fills(pours, whole, sizes)
    handfuls = handfuls_of(fills, habit)
    log_volume = filled(fills, pours.product, pours.tap, pours.volume)
    fit = sized_density(fills, pours.product, log_volume)
    single: Floats = -np.log(fit + odd_density(fills, pours.product, log_volume))
    misfit = fit < priors.SPLIT_LEAST_FIT
    return fills, handfuls, misfit, single, split_options(
        pours, fills, handfuls, single, misfit
    )


def _likely_whole(pours: Pours, links: Links, sizes: Sizes) -> Bools:
    """Pours that are no fragments at first sight: glass-sized, or on their own."""
    fills = learn_fills(pours, np.zeros(len(pours.key), np.bool_), sizes)
    off = deviations(fills, pours.product, np.log(np.maximum(pours.volume, 1)))
    linked = np.zeros(len(pours.key), np.bool_)
    linked[links.first] = True
    linked[links.second] = True
    found: Bools = (np.abs(off) < priors.FILL_BIAS_REACH) | ~linked
    return found


def first_cut(weighed: Weighed) -> Cut:
    """The cheapest cut by the pours alone."""
    cost = cheapest(weighed.single, weighed.splits)
    cut = {group.rows[0]: group for group in cheapest_cut(cost, weighed.groups)}
    taken = {row for group in cut.values() for row in group.rows}
    cheaper = weighed.splits.cost[:, 0] < weighed.single[weighed.splits.rows]
    for at in np.flatnonzero(cheaper).tolist():
        row = int(weighed.splits.rows[at])
        if row not in taken:
            cut[row] = split_group(weighed, at, 0)
    return cut


def split_group(weighed: Weighed, at: int, option: int) -> Group:
    """One long pour as several glasses."""
    splits, row = weighed.splits, int(weighed.splits.rows[at])
    glasses = weighed.handfuls.glasses(int(weighed.pours.product[row]), int(splits.ways[at, option]))
    cost = float(splits.cost[at, option])
    return Group((row,), glasses, cost, -cost)


def cheapest(single: Floats, splits: Splits) -> Floats:
    """Cost of each pour by itself, as one glass or several."""
    cost = single.copy()
    cost[splits.rows] = np.minimum(cost[splits.rows], splits.cost[:, 0])
    return cost


def log_fill(weighed: Weighed, product: Ints, tap: Ints, volume: Ints, joined: Bools) -> Floats:
    """Log of what each serve holds, to be compared with what single pours hold."""
    lift = np.where(joined, weighed.habits.lift[product], 0.0)
    found: Floats = filled(weighed.fills, product, tap, volume) - lift
    return found


def serves_of(pours: Pours, cut: Cut, lo_ms: int) -> Serves:
    """The serves of a cut, every microlitre of every pour in exactly one part; none ends before
    ``lo_ms``."""
    alone = np.ones(len(pours.key), np.bool_)
    alone[[row for group in cut.values() for row in group.rows]] = False
    single = np.flatnonzero(alone)
    made, parts = _vessels(pours, cut, lo_ms)
    columns = [
        np.concatenate((known, np.array(more, np.int64)))
        for known, more in zip(
            (single, pours.start[single], pours.end[single], pours.volume[single],
             np.zeros(len(single), np.int64)),
            np.array(made, np.int64).reshape(-1, 5).T, strict=True,
        )
    ]
    rows = np.array([part for vessel in parts for part in vessel], np.int64).reshape(-1, 2)
    owner = np.concatenate((
        np.arange(len(single)),
        len(single) + np.repeat(np.arange(len(parts)), [len(vessel) for vessel in parts]),
    )).astype(np.int64)
    row = np.concatenate((single, rows[:, 0]))
    return _in_order(pours, columns, owner, row, np.concatenate((columns[3][: len(single)], rows[:, 1])))


JOINED, SHARED = 1, 2


def _vessels(
    pours: Pours, cut: Cut, lo_ms: int
) -> tuple[list[tuple[int, int, int, int, int]], list[list[tuple[int, int]]]]:
    """Lead, start, end, volume and kind of each vessel of the groups, and its parts."""
    made, parts = [], []
    for lead in sorted(cut):
        rows, glasses = cut[lead].rows, cut[lead].glasses
        kind = SHARED if glasses else JOINED
        for begun, ended, some in poured_out(pours, rows, glasses or (1.0,)):
            volume = sum(ul for _, ul in some)
            if not glasses:
                ended = max(int(pours.end[row]) for row in rows)
            made.append((lead, begun, max(ended, lo_ms), volume, kind))
            parts.append(some)
    return made, parts


def _in_order(pours: Pours, columns: list[Ints], owner: Ints, row: Ints, part_ul: Ints) -> Serves:
    lead, start, end, volume, kind = columns
    order = np.lexsort((lead, volume, pours.tap[lead], start, end, pours.product[lead]))
    rank = np.empty(len(order), np.int64)
    rank[order] = np.arange(len(order))
    by_serve = np.argsort(rank[owner], kind="stable")
    count = np.bincount(rank[owner], minlength=len(order))
    lead, kind = lead[order], kind[order]
    return Serves(
        pours.product[lead], pours.tap[lead], start[order], end[order], volume[order], lead,
        kind == JOINED, kind == SHARED, np.concatenate(([0], np.cumsum(count))),
        pours.key[row[by_serve]], part_ul[by_serve],
    )
