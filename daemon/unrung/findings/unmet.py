"""Glasses so far from their portion that they missed their rings: both stayed alone, and are one drink.

Pairs are found by volume: a glass that holds far more than its portion looks like another size, or like
nothing on the menu. Once a finding says how much an item's glasses hold, those that are left over near a
ring that is left over of the same item are seen for what they are.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable

from unrung.findings.facts import Facts
from unrung.findings.glasses import Cell
from unrung.findings.nearest import nearest_first
from unrung.findings.plain import SHIFTED

NEAR_MS = 20 * 60_000
ALIKE = 0.1
"""Of the portion, about what the item's glasses hold: three times the spread of a hand that pours."""


def unmet(facts: Facts, cell: Cell, taps: Iterable[str], off: float) -> dict[int, int]:
    """Lone serve at one of ``taps`` to the lone ring of the cell's item that is nearest to it, each at most
    once. ``off``: what the item's glasses hold over their portion, as a share of it; where it is small, no
    glass misses its ring by it."""
    if abs(off) < SHIFTED:
        return {}
    wanted = (cell.outlet, cell.product, cell.item, cell.size)
    numbers = [
        number for number in facts.lone_rings
        if (r := facts.rings[number])[:4] == wanted and r.portion_ul == cell.portion_ul
    ]
    numbers.sort(key=lambda number: (facts.rings[number].at_ms, number))
    at = [facts.rings[number].at_ms for number in numbers]
    near = []
    for tap in taps:
        for key in facts.lone_by_tap.get(tap, ()):
            serve = facts.serves[key]
            if abs(serve.left_ul - (1 + off) * cell.portion_ul) > ALIKE * cell.portion_ul:
                continue
            low = bisect_left(at, serve.end_ms - NEAR_MS)
            for place in range(low, bisect_right(at, serve.end_ms + NEAR_MS, low)):
                near.append((abs(at[place] - serve.end_ms), key, numbers[place]))
    return nearest_first(near)
