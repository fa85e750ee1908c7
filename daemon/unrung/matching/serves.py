"""From pours to serves: fragments joined and long pours split, by likelihood.

On each tap (and product) the cheapest way to cut the day's pours into serves is found: costs are
negative log densities over the pours' volumes. ``groups`` weighs what belongs together,
``glasses`` what a long pour filled; ``second_look`` revises the cut when the rings are known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from unrung.matching import priors
from unrung.matching.cheapest_cut import cheapest_cut
from unrung.matching.columns import NEVER_MS, Bools, Floats, Ints, Pours, spread
from unrung.matching.fills import Fills, Sizes, filled, sized_density, stray_density
from unrung.matching.fragments import cheapest, learn_fragments, weigh_each
from unrung.matching.glasses import Splits
from unrung.matching.groups import Candidates, groups_worth
from unrung.matching.habits import Habits
from unrung.matching.links import links_of
from unrung.matching.pieces import JOINED, SHARED, Pieces, pieces_of

Cut = Ints
"""How pours become serves: per pour the piece that it is the first of, -1 where it is in another's."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """A day's pours, and what each way to make serves of them costs."""

    pours: Pours
    run_off: Bools
    """Which of them began right after a keg went on."""
    fills: Fills
    habits: Habits
    single: Floats
    """Cost of each pour as one serve."""
    splits: Splits
    groups: Candidates
    """Sets of several pours that may belong together."""
    pieces: Pieces
    judged: Judged
    """Row for row the serves of all pieces."""


@dataclass(frozen=True, slots=True)
class Judged:
    """Serves by their volumes alone."""

    log_volume: Floats
    """To be compared with what single pours hold."""
    sized: Floats
    """Its density as a glass of some size."""
    odd: Floats
    """Its density as a flow that is no glass."""


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
    at: Ints
    """Which serve of the day's pieces it is."""


@dataclass(frozen=True, slots=True)
class Lines:
    """What is usual on each tap. Shapes: (products, taps)."""

    lone: Floats
    """Share of full-size serves without a ring."""
    swapped: Floats
    """Share of rung serves that are rung as another product."""


def usual_lines(products: int, taps: int) -> Lines:
    """What is believed before the day's pairs speak."""
    return Lines(np.full((products, taps), priors.LONE_SERVE), np.zeros((products, taps)))


def shares_at(weighed: Weighed, lines: Lines, product: Ints, tap: Ints, lead: Ints) -> Floats:
    """Share of full-size serves without a ring; ``lead``: row of each serve's first pour."""
    share = lines.lone[product, tap]
    found: Floats = np.where(weighed.run_off[lead], np.maximum(share, priors.RUN_OFF_SHARE), share)
    return found


def weigh(
    pours: Pours, sizes: Sizes, top_up_gap_ms: int, after_keg: Ints | None = None
) -> Weighed:
    """What each pour, join and split costs; habits and fills are learnt from the day. ``after_keg``:
    see ``columns.after_keg``; None where no keg went on."""
    after_keg = np.full(len(pours.key), NEVER_MS) if after_keg is None else after_keg
    run_off = _run_off(pours, after_keg)
    links = links_of(pours, top_up_gap_ms, after_keg)
    whole, habit, habits, _ = learn_fragments(pours, run_off, links, sizes)
    fills, handfuls, misfit, single, splits = weigh_each(pours, run_off, whole, sizes, habit)
    cost = cheapest(single, splits)
    groups = groups_worth(pours, fills, handfuls, cost, misfit, links, habits)
    pieces = pieces_of(pours, splits, handfuls, groups)
    judged = judge(pours, pieces, fills, habits, run_off)
    return Weighed(pours, run_off, fills, habits, single, splits, groups, pieces, judged)


def _run_off(pours: Pours, after_keg: Ints) -> Bools:
    """The first flows soon after a keg went on that may be foam."""
    new = np.ones(len(after_keg), np.bool_)
    new[1:] = (
        (np.diff(pours.product) != 0) | (np.diff(pours.tap) != 0) | (np.diff(after_keg) < 0)
    )
    at = np.arange(len(new))
    since = at - np.maximum.accumulate(np.where(new, at, 0))
    found: Bools = (
        (after_keg <= 1_000 * priors.RUN_OFF_S) & (since < priors.RUN_OFF_FLOWS)
        & (pours.volume <= priors.RUN_OFF_MOST_UL)
    )
    return found


def judge(pours: Pours, pieces: Pieces, fills: Fills, habits: Habits, run_off: Bools) -> Judged:
    """All serves of all pieces."""
    row = np.repeat(pieces.rows[:, 0], np.diff(pieces.first))
    product = pours.product[row]
    lift = np.where(pieces.kind == JOINED, habits.lift[product], 0.0)
    log_volume = filled(fills, product, pours.tap[row], pieces.volume) - lift
    return Judged(
        log_volume, sized_density(fills, product, log_volume),
        stray_density(fills, product, log_volume, run_off[row]),
    )


def first_cut(weighed: Weighed) -> Cut:
    """The cheapest cut by the pours alone."""
    pieces, splits = weighed.pieces, weighed.splits
    cut = np.arange(len(weighed.single))
    rows = splits.rows[splits.cost[:, 0] < weighed.single[splits.rows]]
    cut[rows] = by_itself(weighed)[rows]
    chosen = cheapest_cut(cheapest(weighed.single, splits), weighed.groups)
    return with_pieces(pieces, cut, pieces.together + chosen)


def with_pieces(pieces: Pieces, cut: Cut, made: Ints) -> Cut:
    """``cut`` with other pieces in it; of no pour two."""
    found = cut.copy()
    rows = pieces.rows[made]
    found[rows[rows >= 0]] = -1
    found[rows[:, 0]] = made
    return found


def by_itself(weighed: Weighed) -> Ints:
    """Per pour, the cheaper piece that it is alone: one glass or several."""
    found, splits = np.arange(len(weighed.single)), weighed.splits
    cheaper = splits.cost[:, 0] < weighed.single[splits.rows]
    found[splits.rows[cheaper]] = weighed.pieces.way[cheaper, 0]
    return found


def serves_of(weighed: Weighed, cut: Cut, lo_ms: Ints) -> Serves:
    """The serves of a cut, every microlitre of every pour in exactly one part; none ends before its
    day's ``lo_ms``."""
    pieces, pours = weighed.pieces, weighed.pours
    lead = np.flatnonzero(cut >= 0)
    made = cut[lead]
    owner, serve = spread(pieces.first[made], pieces.first[made + 1])
    vessel, part = spread(pieces.part_first[serve], pieces.part_first[serve + 1])
    since = lo_ms[weighed.fills.day[pours.product[lead[owner]]]]
    columns = [
        lead[owner], pieces.start[serve], np.maximum(pieces.end[serve], since), pieces.volume[serve],
        pieces.kind[serve],
    ]
    return _in_order(pours, columns, vessel, pieces.part_row[part], pieces.part_ul[part], serve)


def serves_at(serves: Serves, rows: slice, product: int) -> Serves:
    """Some of the serves, whose products are numbered from ``product``; ``lead`` and ``at`` stay as they
    are."""
    first = serves.first[rows.start : rows.stop + 1]
    parts = slice(int(first[0]), int(first[-1]))
    return Serves(
        serves.product[rows] - product, serves.tap[rows], serves.start[rows], serves.end[rows],
        serves.volume[rows], serves.lead[rows], serves.joined[rows], serves.shared[rows], first - first[0],
        serves.part_key[parts], serves.part_ul[parts], serves.at[rows],
    )


def _in_order(
    pours: Pours, columns: list[Ints], owner: Ints, row: Ints, part_ul: Ints, at: Ints
) -> Serves:
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
        pours.key[row[by_serve]], part_ul[by_serve], at[order],
    )
