"""Meters that count over spans: which beer a tap pours, and how much an item takes, by sums.

What a tap counted hour by hour is the sum of what its beer's items take, each times as often as it was rung
(``matching.span_sums``); a beer goes with the tap whose counts it explains best.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from unrung.setup.groups import Group, in_a_container
from unrung.setup.meet import PourFact, RingFact
from unrung.setup.portions import Seen
from unrung.setup.proposal import Key, KnownNames
from unrung.setup.taps import Pair, best_pair, may_pour

if TYPE_CHECKING:
    from unrung.matching.span_sums import Fit

BIN_MS = 3_600_000
"""Counts are summed over so long: long beside the minute or so that a ring comes after its pour."""
LAG_MS = 45_000
"""A ring comes about so long after its pour (common practice, no source)."""
_LEAST_BINS = 12
_FITS = 0.35
"""Share of a tap's ups and downs that a beer must explain where nothing names the beer: its own explains half
to nine tenths of them, another, as busy at the same hours, a fifth at most."""
_SURE = 0.02
"""Standard error, as a share of it, up to which an amount is believed."""


def in_their_middle(
    rings: Sequence[RingFact], span_ms: int, groups: Sequence[Group], pours: Sequence[PourFact],
    known: KnownNames,
) -> list[RingFact]:
    """The rows of such a till in the middle of their spans, whose times are those of their starts or their
    ends: as the taps' counts say."""
    either = [
        [ring._replace(at_ms=ring.at_ms + way * span_ms // 2) for ring in rings] for way in (1, -1)
    ]
    return max(either, key=lambda one: sum(
        pair.score for pair in pairs_by_sums(groups, one, pours, known).values()))


def longest_span_ms(pours: Sequence[PourFact]) -> int:
    """The usual pause from one count to the next; 0 where there is none."""
    ends = sorted({pour.end_ms for pour in pours})
    steps = Counter(later - earlier for earlier, later in pairwise(ends))
    return steps.most_common(1)[0][0] if steps else 0


def pairs_by_sums(
    groups: Sequence[Group], rings: Sequence[RingFact], pours: Sequence[PourFact], known: KnownNames
) -> dict[str, Pair]:
    """Tap to the beer and the outlet whose rings explain its counts best; others are left out."""
    width = max(BIN_MS, longest_span_ms(pours))
    counts, units = _counts(pours, width), _units(rings, width)
    bins = _common_bins(counts, units)
    outlets = sorted({ring.outlet for ring in rings})
    found: dict[str, Pair] = {}
    for tap, counted in sorted(counts.items()):
        if len(bins) < _LEAST_BINS:
            break
        pairs = []
        for number, group in enumerate(groups):
            for outlet in outlets:
                keys = [key for key in group.keys if (outlet, key) in units and not in_a_container(key)]
                if keys and may_pour(tap, group, outlet, known):
                    fit = _fit([units[outlet, key] for key in keys], counted, bins)
                    pairs.append(Pair(tap, number, outlet, fit.share, fit.share))
        best = best_pair(pairs, named=tap in known.of_tap, least=_FITS)
        if best is not None:
            found[tap] = best
    return found


def amounts_by_sums(
    group: Group, pairs: Sequence[Pair], rings: Sequence[RingFact], pours: Sequence[PourFact]
) -> dict[Key, Seen]:
    """What one of each item takes, by what all taps of a beer counted; ``pairs``: those of its taps. Only
    what is known to within a few per cent."""
    width = max(BIN_MS, longest_span_ms(pours))
    counts, units = _counts(pours, width), _units(rings, width)
    bins = _common_bins(counts, units)
    keys = [key for key in group.keys if not in_a_container(key)]
    rows, totals = list[list[float]](), list[float]()
    for outlet in sorted({pair.outlet for pair in pairs}):
        taps = [counts[pair.tap] for pair in pairs if pair.outlet == outlet and pair.tap in counts]
        for at in bins:
            rows.append([units[outlet, key].get(at, 0.0) for key in keys])
            totals.append(sum(tap.get(at, 0.0) for tap in taps))
    if len(rows) < _LEAST_BINS:
        return {}
    from unrung.matching.span_sums import amounts_of  # loads numpy

    fit = amounts_of(rows, totals)
    if fit.share < _FITS:
        return {}
    rung = map(sum, zip(*rows, strict=True))
    return {
        key: Seen(amount, round(times))
        for key, times, amount, error in zip(keys, rung, fit.amounts, fit.errors, strict=True)
        if amount > 0 and error <= _SURE * amount
    }


_ByBin = dict[int, float]


def _counts(pours: Sequence[PourFact], width: int) -> dict[str, _ByBin]:
    found: dict[str, _ByBin] = defaultdict(lambda: defaultdict(float))
    for pour in pours:
        found[pour.tap][(pour.end_ms - 1) // width] += pour.amount
    return found


def _units(rings: Sequence[RingFact], width: int) -> dict[tuple[str, Key], _ByBin]:
    found: dict[tuple[str, Key], _ByBin] = defaultdict(lambda: defaultdict(float))
    for ring in rings:
        found[ring.outlet, Key(ring.item, ring.size)][(ring.at_ms - LAG_MS) // width] += ring.units
    return found


def _common_bins(counts: dict[str, _ByBin], units: dict[tuple[str, Key], _ByBin]) -> list[int]:
    """Spans in which both sides have something: a cleaning before opening says nothing of glasses."""
    rung = {at for bins in units.values() for at in bins}
    return sorted(rung & {at for bins in counts.values() for at, amount in bins.items() if amount > 0})


def _fit(units: Sequence[_ByBin], counted: _ByBin, bins: Sequence[int]) -> Fit:
    from unrung.matching.span_sums import amounts_of  # loads numpy

    return amounts_of(
        [[own.get(at, 0.0) for own in units] for at in bins], [counted.get(at, 0.0) for at in bins])
