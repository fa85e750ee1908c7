"""Which beer each tap pours: as the exports name it, else as its pours and the rings coincide."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from unrung.setup.groups import Group, product_like
from unrung.setup.meet import Hill, PourFact, RingFact, lifted
from unrung.setup.proposal import Key, KnownNames

_SEEN = 0.5
"""Least sum of the two shares above chance from which a tap is taken to pour a beer (1.5 to 1.8
where a tap and its beer go together, 0.2 where a few pours happen to fall beside a popular one)."""
_CLEAR = 0.15
"""Lead over the second beer below which the choice is in doubt."""


@dataclass(frozen=True, slots=True)
class Pair:
    """A tap with a group of items in an outlet, and how strongly they go together."""

    tap: str
    group: int
    outlet: str
    score: float
    lift: float
    lead: float = 1.0
    second: int | None = None


def pair_taps(
    groups: Sequence[Group], rings: Sequence[RingFact], pours: Sequence[PourFact], hill: Hill | None,
    known: KnownNames,
) -> dict[str, Pair]:
    """Tap to the beer and the outlet that it goes with; taps that go with nothing are left out."""
    times, ends = ring_times(groups, rings), pour_ends(pours)
    known = _only_named(groups, known)
    found: dict[str, Pair] = {}
    for tap in sorted(ends):
        pairs = [
            _scored(tap, group, outlet, ats, ends[tap], hill) for (group, outlet), ats in times.items()
            if may_pour(tap, groups[group], outlet, known)
        ]
        best = best_pair(pairs, named=tap in known.of_tap)
        if best is not None:
            found[tap] = best
    return found


def ring_times(groups: Sequence[Group], rings: Sequence[RingFact]) -> dict[tuple[int, str], list[int]]:
    """Sorted times of each group's rings, per outlet."""
    place = {key: index for index, group in enumerate(groups) for key in group.keys}
    times: dict[tuple[int, str], list[int]] = defaultdict(list)
    for ring in rings:
        times[place[Key(ring.item, ring.size)], ring.outlet].append(ring.at_ms)
    return {key: sorted(ats) for key, ats in times.items()}


def pour_ends(pours: Sequence[PourFact]) -> dict[str, list[int]]:
    """Sorted ends of each tap's pours."""
    ends: dict[str, list[int]] = defaultdict(list)
    for pour in pours:
        ends[pour.tap].append(pour.end_ms)
    return {tap: sorted(all_of) for tap, all_of in ends.items()}


def _scored(
    tap: str, group: int, outlet: str, ats: Sequence[int], ends: Sequence[int], hill: Hill | None
) -> Pair:
    """Rings that found a pour, and pours that found a ring, both beyond chance."""
    if hill is None:
        return Pair(tap, group, outlet, 0.0, 0.0)
    ring_share = lifted(ats, ends, -hill.high_ms, -hill.low_ms)
    pour_share = lifted(ends, ats, hill.low_ms, hill.high_ms)
    return Pair(tap, group, outlet, ring_share.least + pour_share.least, ring_share.lift)


def _only_named(groups: Sequence[Group], known: KnownNames) -> KnownNames:
    """Without the taps whose beer the till calls something else altogether: names do not help there."""
    of_tap = {
        tap: told for tap, told in known.of_tap.items()
        if any(product_like(group.name, [product]) for _, product in told for group in groups)
    }
    return replace(known, of_tap=of_tap)


def may_pour(tap: str, group: Group, outlet: str, known: KnownNames) -> bool:
    """Whether the exports' own words allow it."""
    told = known.of_tap.get(tap, ())
    if told and not any(product_like(group.name, [product]) for _, product in told):
        return False
    place = known.outlet_of_tap.get(tap, "")
    return not place or not outlet or place.casefold() == outlet.casefold()


def best_pair(pairs: Sequence[Pair], *, named: bool, least: float = _SEEN) -> Pair | None:
    """The one with the highest score; None where that is below ``least`` and nothing names the beer."""
    ranked = sorted(pairs, key=lambda pair: (-pair.score, pair.group, pair.outlet))
    if not ranked or (ranked[0].score < least and not named):
        return None
    best = ranked[0]
    second = next((pair for pair in ranked[1:] if pair.group != best.group), None)
    if second is None:
        return best
    return replace(best, lead=best.score - second.score, second=second.group)


def in_doubt(pair: Pair) -> bool:
    """Whether another beer goes with the tap nearly as well."""
    return pair.second is not None and pair.lead < _CLEAR
