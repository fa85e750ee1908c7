"""Pairs across a day's edge, found alike from both days.

A serve belongs to the day in which its pour ended, a ring to the day into which its corrected
time falls. Near the edge both days' rings and serves are assigned together; of the result only
the pairs that cross the edge are kept and frozen. Each day's other pairs are then found on what
is left. A day lends a seam only the half of itself that is nearer, so its two seams never meet.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from unrung.matching.assign import best_assignment
from unrung.matching.columns import Ints
from unrung.matching.costs import possible_pairs
from unrung.matching.nodes import gather
from unrung.matching.prepare import Prepared


class Crossing(NamedTuple):
    """Pairs across one edge. Days are 0 (early) and 1 (late); rows are rows of that day's
    ``rings`` and ``glasses``. A ring's day is where it was rung, not where it belongs."""

    ring_day: Ints
    ring_row: Ints
    glass_day: Ints
    glass_row: Ints


_NOTHING = np.zeros(0, np.int64)
NO_CROSSING = Crossing(_NOTHING, _NOTHING, _NOTHING, _NOTHING)


def seam(early: Prepared | None, late: Prepared | None) -> Crossing:
    """The pairs of which one side belongs to ``early`` and the other to ``late``."""
    if early is None or late is None:
        return NO_CROSSING
    days = (early, late)
    low, edge, high = sum(early.bounds) // 2, late.bounds[0], sum(late.bounds) // 2
    rings = [_between(day.rings.corrected, low, high) for day in days]
    glasses = [_between(day.glasses.end, low, high) for day in days]
    if not sum(map(len, rings)) or not sum(map(len, glasses)):
        return NO_CROSSING
    if not _within_reach(days, rings, glasses, edge):
        return NO_CROSSING
    nodes = gather(days, rings, glasses)
    late_ring = nodes.rings.corrected >= edge
    late_glass = nodes.glass_day == 1
    edges = possible_pairs(nodes.rings, nodes.glasses, nodes.laws)
    if not np.any(late_ring[edges.ring] != late_glass[edges.glass]):
        return NO_CROSSING
    partner = best_assignment(edges, len(late_ring))
    ring = np.flatnonzero(partner >= 0)
    ring = ring[late_ring[ring] != late_glass[partner[ring]]]
    glass = partner[ring]
    return Crossing(
        nodes.ring_day[ring], nodes.ring_row[ring], nodes.glass_day[glass], nodes.glass_row[glass]
    )


def _within_reach(
    days: tuple[Prepared, Prepared], rings: list[Ints], glasses: list[Ints], edge: int
) -> bool:
    """Whether a ring on one side of the edge could have its serve on the other: a bar that closes at
    night has none."""
    scale = days[0].laws.scale
    before, after = 1_000 * min(scale.edge_s[0], 0.0), 1_000 * max(scale.edge_s[-1], 0.0)
    at = np.concatenate([day.rings.corrected[rows] for day, rows in zip(days, rings, strict=True)])
    ends = np.concatenate([day.glasses.end[rows] for day, rows in zip(days, glasses, strict=True)])
    late = np.concatenate([np.full(len(rows), day) for day, rows in enumerate(glasses)]) == 1
    first, last = (at[at >= edge], ends[~late]), (at[at < edge], ends[late])
    return bool(
        (len(first[0]) and len(first[1]) and first[0].min() - first[1].max() <= after)
        or (len(last[0]) and len(last[1]) and last[0].max() - last[1].min() >= before)
    )


def _between(at: Ints, low: int, high: int) -> Ints:
    return np.flatnonzero((at >= low) & (at < high))
