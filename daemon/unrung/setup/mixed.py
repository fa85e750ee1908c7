"""Items that take several beers: found among the pours that the plain items leave over."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

from unrung.setup.meet import Hill, PourFact, RingFact, lifted, nearest_pairs
from unrung.setup.portions import Portion, agreed, densest, snapped
from unrung.setup.proposal import Key, Place

_LEAST = 3
"""Rings below which chance cannot be told from habit."""

Parts = list[tuple[str, Portion]]
Taps = Mapping[str, tuple[str, str]]
"""Tap to its outlet and its beer."""


def left_over(
    rings: Sequence[RingFact], pours: Sequence[PourFact], hill: Hill, beer: Mapping[Key, str],
    sizes: Mapping[Key, float], taps: Taps,
) -> list[PourFact]:
    """Pours that no plain item accounts for. ``beer``: known items to their product; ``sizes``: the
    amount of each."""
    left: list[PourFact] = []
    by_place: dict[tuple[str, str], list[PourFact]] = defaultdict(list)
    for pour in pours:
        if pour.tap in taps:
            by_place[taps[pour.tap]].append(pour)
    for (outlet, product), mine in by_place.items():
        known = [
            ring for ring in rings if (not ring.outlet or ring.outlet == outlet)
            and beer.get(key := Key(ring.item, ring.size)) == product and key in sizes
        ]
        expected = {at: sizes[Key(ring.item, ring.size)] for at, ring in enumerate(known)}
        taken = {pour for _, pour in nearest_pairs(known, mine, hill, expected)}
        left += [pour for at, pour in enumerate(mine) if at not in taken]
    return left


def mixed_items(
    rings: Sequence[RingFact], left: Sequence[PourFact], hill: Hill, beer: Mapping[Key, str], taps: Taps,
    place: Place,
) -> dict[Key, Parts]:
    """Items outside ``beer`` to the beers that go with them, with a portion of each."""
    sold: dict[Key, list[RingFact]] = defaultdict(list)
    for ring in rings:
        if Key(ring.item, ring.size) not in beer:
            sold[Key(ring.item, ring.size)].append(ring)
    found: dict[Key, Parts] = {}
    for key, mine in sold.items():
        if len(mine) >= _LEAST and (parts := _parts(mine, left, hill, taps, place)):
            found[key] = parts
    return found


def _parts(
    mine: Sequence[RingFact], left: Sequence[PourFact], hill: Hill, taps: Taps, place: Place
) -> Parts:
    """Beers of which most of the rings have a left-over pour near by."""
    by_product: dict[str, list[PourFact]] = defaultdict(list)
    for pour in left:
        by_product[taps[pour.tap][1]].append(pour)
    found, ats = [], [ring.at_ms for ring in mine]
    for product, pours in sorted(by_product.items()):
        pairs = nearest_pairs(mine, pours, hill)
        if len(pairs) < _LEAST:
            continue
        seen = densest([pours[at].amount for _, at in pairs])
        alike = [pour for pour in pours if abs(pour.amount / seen.amount - 1) < 0.1]
        share = lifted(ats, sorted(pour.end_ms for pour in alike), -hill.high_ms, -hill.low_ms)
        if share.lift > 0.45 and share.least > 0.25:
            found.append((product, snapped(seen, place.metric, place.imperial)))
    usual = agreed([(Key(product, ""), portion) for product, portion in found], most=False, within=0.12)
    return [(product, usual.get(Key(product, ""), portion)) for product, portion in found]
