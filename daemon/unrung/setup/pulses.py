"""Meters that count pulses: how many make a litre, as given or as the pours of a known size say."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from unrung.records import Pour
from unrung.setup.doubt import Doubt, Found, Notes
from unrung.setup.groups import groups_of
from unrung.setup.meet import PourFact, RingFact, learn_hill
from unrung.setup.portions import IMP_PINT, US_PINT, seen_amounts
from unrung.setup.proposal import Key, KnownNames
from unrung.setup.taps import pair_taps


def settle_pulses(
    pours: Sequence[Pour], rings: Sequence[RingFact], given: str, imperial: bool, notes: Notes
) -> tuple[str, list[PourFact]]:
    """(pulses per litre or "", pours in microlitres)."""
    counted = [
        PourFact(one.tap, one.end_ms, float(one.pulses)) for one in pours if one.pulses is not None
    ]
    metered = [
        PourFact(one.tap, one.end_ms, float(one.volume_ul)) for one in pours if one.volume_ul is not None
    ]
    if not counted:
        return "", metered
    factor = given or notes.settle("meters: pulses_per_litre", _estimate(counted, rings, imperial))
    scale = 1_000_000 / float(factor)
    return factor, [*metered, *(PourFact(tap, end, count * scale) for tap, end, count in counted)]


def _estimate(counted: list[PourFact], rings: Sequence[RingFact], imperial: bool) -> Found:
    """By the pours of items whose name says their size: no better than the hand that poured them."""
    hill = learn_hill(sorted(ring.at_ms for ring in rings), sorted(pour.end_ms for pour in counted))
    ratios = [] if hill is None else _ratios(counted, rings, imperial)
    if not ratios:
        why = "no item's name says its size, so nothing tells; the figure stands on the meter"
        return Found("1000", why, Doubt("pulses", "How many pulses make a litre?", (), "1000", why))
    factor = f"{float(f'{median(ratios):.3g}'):g}"
    why = "estimated from pours of a known size, good to a few percent; the figure on the meter is better"
    return Found(factor, why, Doubt("pulses", "How many pulses make a litre?", (), factor, why))


def _ratios(counted: list[PourFact], rings: Sequence[RingFact], imperial: bool) -> list[float]:
    hill = learn_hill(sorted(ring.at_ms for ring in rings), sorted(pour.end_ms for pour in counted))
    assert hill is not None
    groups = groups_of(dict.fromkeys(Key(ring.item, ring.size) for ring in rings), ())
    found: list[float] = []
    for tap, pair in pair_taps(groups, rings, counted, hill, KnownNames()).items():
        group = groups[pair.group]
        mine = [pour for pour in counted if pour.tap == tap]
        for key, seen in seen_amounts(group, rings, mine, hill, {}).items():
            named = group.keys[key]
            pint = IMP_PINT if imperial else US_PINT
            size = named.volume_ul or (float(named.pints) * pint if named.pints else None)
            if size and seen.pours >= 5:
                found += [seen.amount / size * 1_000_000] * seen.pours
    return found
