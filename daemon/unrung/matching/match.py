"""One business day matched, from its own rows and its two neighbours'."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from unrung.matching.assign import best_assignment, good_assignment
from unrung.matching.columns import Bools, Ints
from unrung.matching.confusion import own, with_confusion, with_wrong_buttons
from unrung.matching.costs import possible_pairs, too_many_pairs
from unrung.matching.crowd_learning import as_assigned
from unrung.matching.marginals import chances
from unrung.matching.nodes import Nodes, gather
from unrung.matching.prepare import Prepared
from unrung.matching.seam import Crossing, seam
from unrung.matching.sides import Edges, is_said
from unrung.matching.types import Matched, Serve
from unrung.matching.uncertain import doubtful, plausible_range


def match_day(before: Prepared | None, day: Prepared, after: Prepared | None) -> Matched:
    """The day's serves with their partners, and the lone ring units that belong to it.

    ``before`` and ``after`` are the adjacent days; None where nothing is known of them (rings
    whose corrected time falls there then stay in this day).
    """
    crossings = [(before, day, seam(before, day)), (day, after, seam(day, after))]
    nodes = _interior(before, day, after, crossings)
    days = [source for source in (before, day, after) if source is not None]
    blurred = day.blurred or too_many_pairs(nodes.rings, nodes.glasses, nodes.laws)
    edges = possible_pairs(nodes.rings, nodes.glasses, nodes.laws, blurred=blurred)
    if nodes.confusion:
        edges = with_confusion(edges, nodes.rings, nodes.glasses, nodes.laws, nodes.confusion)
    if not blurred:
        edges = with_wrong_buttons(
            edges, nodes.rings, nodes.glasses, nodes.laws, nodes.confusion, nodes.well_ring, nodes.well_glass
        )
    assigned = (good_assignment if blurred else best_assignment)(edges, len(nodes.rings.product))
    partner = own(nodes.rings, nodes.glasses, assigned)
    said = is_said(nodes.rings)
    told = np.zeros(len(day.glasses.end), np.bool_)
    told[nodes.glass_row[partner[said & (partner >= 0)]]] = True
    partner[said] = -1
    keys = _ring_keys(nodes, days)
    unit = np.full(len(day.glasses.end), -1, np.int64)
    has = np.zeros(len(unit), np.bool_)
    ring = np.flatnonzero(partner >= 0)
    glass = nodes.glass_row[partner[ring]]
    unit[glass], has[glass] = keys[ring], True
    for early, late, crossing in crossings:
        _freeze(early, late, day, crossing, unit, has)
    unsure, range_ul = _honesty(day, nodes, edges, partner, has, blurred)
    lone = np.flatnonzero((partner < 0) & ~said)
    at = np.clip(nodes.rings.corrected[lone], day.bounds[0], day.bounds[1] - 1)
    units = sorted(zip(at.tolist(), keys[lone].tolist(), strict=True))
    return Matched(
        _serves(day, unit, has, unsure, told & ~has), [(key, when) for when, key in units], day.clock,
        range_ul, not blurred,
    )


def _interior(
    before: Prepared | None, day: Prepared, after: Prepared | None,
    crossings: Sequence[tuple[Prepared | None, Prepared | None, Crossing]],
) -> Nodes:
    """What belongs to the day and is in no frozen pair."""
    days, rows = [], []
    for source in (before, day, after):
        if source is not None:
            mine = _belongs(source, before, day, after)
            for early, late, crossing in crossings:
                for code, side in enumerate((early, late)):
                    if side is source:
                        mine[crossing.ring_row[crossing.ring_day == code]] = False
            days.append(source)
            rows.append(np.flatnonzero(mine))
    free = np.ones(len(day.glasses.end), np.bool_)
    for early, late, crossing in crossings:
        for code, side in enumerate((early, late)):
            if side is day:
                free[crossing.glass_row[crossing.glass_day == code]] = False
    nothing = np.zeros(0, np.int64)
    glasses = [np.flatnonzero(free) if source is day else nothing for source in days]
    return gather(days, rows, glasses)


def _belongs(
    source: Prepared, before: Prepared | None, day: Prepared, after: Prepared | None
) -> Bools:
    """Which rings that were rung on ``source`` belong to ``day`` by their corrected time."""
    at, (low, high) = source.rings.corrected, day.bounds
    if source is before:
        return at >= low
    if source is after:
        return at < high
    early = np.zeros(len(at), np.bool_) if before is None else at < low
    late = np.zeros(len(at), np.bool_) if after is None else at >= high
    return ~early & ~late


def _ring_keys(nodes: Nodes, days: Sequence[Prepared]) -> Ints:
    keys = np.zeros(len(nodes.ring_row), np.int64)
    for code, source in enumerate(days):
        mine = nodes.ring_day == code
        keys[mine] = source.ring_key[nodes.ring_row[mine]]
    return keys


def _freeze(
    early: Prepared | None, late: Prepared | None, day: Prepared, crossing: Crossing,
    unit: Ints, has: Bools,
) -> None:
    """Write the partners of the day's serves across an edge into ``unit`` and ``has``."""
    sides = (early, late)
    said = [np.zeros(0, np.bool_) if side is None else is_said(side.rings) for side in sides]
    for ring_day, ring, glass_day, glass in zip(*crossing, strict=True):
        source = sides[ring_day]
        if sides[glass_day] is day and source is not None and not said[ring_day][ring]:
            unit[glass], has[glass] = source.ring_key[ring], True


def _honesty(
    day: Prepared, nodes: Nodes, edges: Edges, partner: Ints, has: Bools, blurred: bool
) -> tuple[Bools, dict[str, tuple[int, int]]]:
    """Uncertain serves, and the plausible range of each product's lone volume."""
    count = len(nodes.glass_row)
    if blurred:
        likely = as_assigned(edges, partner, count)
        likely.lone_glass[:] = likely.lone_glass.mean() if count else 0.0
    else:
        likely = chances(edges, len(nodes.ring_row), np.zeros(count, np.int64))
    ringless = nodes.rings.product[edges.ring] != nodes.glasses.product[edges.glass]
    ringless |= is_said(nodes.rings)[edges.ring]
    np.add.at(likely.lone_glass, edges.glass[ringless], likely.pair[ringless])
    unsure, lone_chance = np.zeros(len(has), np.bool_), np.zeros(len(has))
    unsure[nodes.glass_row] = blurred | doubtful(edges, partner, likely)
    lone_chance[nodes.glass_row] = likely.lone_glass
    ranges = plausible_range(
        day.serves.product, day.serves.volume, ~has, lone_chance, len(day.products)
    )
    return unsure, dict(zip(day.products, ranges, strict=True))


def _serves(day: Prepared, unit: Ints, has: Bools, unsure: Bools, told: Bools) -> list[Serve]:
    serves = day.serves
    partner = unit.astype(object)
    partner[~has] = None
    parts = tuple(zip(serves.part_key.tolist(), serves.part_ul.tolist(), strict=True))
    return list(map(Serve._make, zip(
        map(day.products.__getitem__, serves.product.tolist()),
        map(day.taps.__getitem__, serves.tap.tolist()),
        serves.start.tolist(), serves.end.tolist(), serves.volume.tolist(),
        (parts[low:high] for low, high in pairwise(serves.first.tolist())),
        partner.tolist(), unsure.tolist(), told.tolist(), strict=True,
    )))
