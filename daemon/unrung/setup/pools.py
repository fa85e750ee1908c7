"""Outlets whose staff ring for each other: what one rings without a pour, the other poured."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations

from unrung.setup.doubt import Doubt, Found
from unrung.setup.meet import Hill, PourFact, RingFact, lifted, nearest_pairs
from unrung.setup.proposal import Key, TapLine

_LEAST = 12
"""Rings left over below which nothing is said."""
_STANDS_OUT = 0.12
"""Simulated outlets that ring for each other give 0.2 and more, others 0.06 at the most."""


def pools_of(
    rings: Sequence[RingFact], pours: Sequence[PourFact], hill: Hill, beer: Mapping[Key, str],
    sizes: Mapping[Key, float], taps: Iterable[TapLine],
) -> list[tuple[str, str, float]]:
    """(outlet, outlet, share of what is left over that the other one poured), where it stands out."""
    by_name = {tap.meter or tap.tap: tap for tap in taps}
    lone_rings, lone_pours = _lone(rings, pours, hill, beer, sizes, by_name)
    outlets = sorted({outlet for outlet, _ in [*lone_rings, *lone_pours]})
    found = []
    for one, other in combinations(outlets, 2):
        share = max(_crossing(lone_rings, lone_pours, hill, *pair) for pair in ((one, other), (other, one)))
        if share > _STANDS_OUT:
            found.append((one, other, share))
    return found


def pool_question(one: str, other: str, share: float) -> Found:
    """Whether two outlets are compared as one."""
    why = (f"of what one rang without a pour of its own, the other had just poured {share:.0%} "
           "beyond chance")
    doubt = Doubt(
        "pool", f"Do the staff of {one} and {other} ring for each other?",
        (("yes", "the two are compared as one"), ("no", "each rings its own beer")), "yes", why,
    )
    return Found("yes", why, doubt)


Lone = dict[tuple[str, str], list[int]]
"""(outlet, product) to sorted times."""


def _lone(
    rings: Sequence[RingFact], pours: Sequence[PourFact], hill: Hill, beer: Mapping[Key, str],
    sizes: Mapping[Key, float], taps: Mapping[str, TapLine],
) -> tuple[Lone, Lone]:
    """Rings without a pour in their own outlet, and pours without a ring there."""
    lone_rings, lone_pours = defaultdict(list), defaultdict(list)
    mine: dict[tuple[str, str], list[RingFact]] = defaultdict(list)
    for ring in rings:
        key = Key(ring.item, ring.size)
        if key in beer and key in sizes and ring.outlet:
            mine[ring.outlet, beer[key]].append(ring)
    flowed: dict[tuple[str, str], list[PourFact]] = defaultdict(list)
    for pour in pours:
        if pour.tap in taps:
            flowed[taps[pour.tap].outlet, taps[pour.tap].product].append(pour)
    for place in {*mine, *flowed}:
        sold, drawn = mine[place], flowed[place]
        expected = {at: sizes[Key(ring.item, ring.size)] for at, ring in enumerate(sold)}
        pairs = nearest_pairs(sold, drawn, hill, expected)
        paired_rings, paired_pours = {ring for ring, _ in pairs}, {pour for _, pour in pairs}
        lone_rings[place] = sorted(r.at_ms for at, r in enumerate(sold) if at not in paired_rings)
        lone_pours[place] = sorted(p.end_ms for at, p in enumerate(drawn) if at not in paired_pours)
    return dict(lone_rings), dict(lone_pours)


def _crossing(lone_rings: Lone, lone_pours: Lone, hill: Hill, rung: str, poured: str) -> float:
    """Share of the lone rings of one outlet with a lone pour of the same beer in the other."""
    hits = count = 0.0
    for (outlet, product), ats in lone_rings.items():
        ends = lone_pours.get((poured, product), [])
        if outlet == rung and ends:
            share = lifted(ats, ends, -hill.high_ms, -hill.low_ms)
            hits, count = hits + share.least * share.count, count + share.count
    return hits / count if count >= _LEAST else 0.0
