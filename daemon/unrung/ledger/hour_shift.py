"""A till whose clock is whole hours away from the meters': another time zone, or a change of clocks missed.

Within the matching window rings find serves by chance then, and every figure is noise. The two sides say it
themselves: rings follow serves of their product and size most sharply when the till is set right, and at no
other whole hour.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from unrung.ledger.clocks import ClockNote
from unrung.ledger.coverage import Span
from unrung.ledger.facts import ServeFact
from unrung.ledger.rings import Unit
from unrung.matching.types import Matched, Serve


class Rung(NamedTuple):
    """Units of one outlet or pool that were rung, and not voided, in columns, since three days' are looked
    through for each."""

    at_ms: list[int]
    """As the till's clock has it."""
    what: list[tuple[str, int]]
    """Product, and portion in microlitres."""


Ends = Mapping[str, tuple[list[int], list[int]]]
"""Product to the ends of its serves, in order, and to their volumes."""
Like = Mapping[tuple[str, int], list[int]]
"""Product and portion to the ends, in order, of its serves about as large."""
HOUR_MS = 3_600_000
MOST_HOURS = 14
"""Zones lie no further apart than this from a venue's own, nearly anywhere."""
REACH_MS = 10 * 60_000
"""How far the two clocks may differ beside the whole hours, usual lag included."""
BIN_MS = 15_000
BINS = 6
"""Lags this many bins wide are one peak: a minute and a half."""
FEWEST = 20
SHARE = 0.2
"""Of the rings, that must stand above chance at the right hour (on simulated days that are set right it is
0.3 to 1.3; more than 1 where one serve is near several rings)."""
SAMPLED, MOST_NEAR = 20, 50_000
"""Neighbours are counted up from every so many rings; beyond the most, fewer rings are looked at."""
CLEARLY = 2.0
"""The right hour's peak beside that of any other hour (on simulated days at least 2.4)."""


def rung_of(units: Iterable[Unit]) -> dict[str, Rung]:
    """By outlet or pool."""
    found: dict[str, Rung] = defaultdict(lambda: Rung([], []))
    for unit in units:
        if not unit.voided:
            rung = found[unit.outlet]
            rung.at_ms.append(unit.at_ms)
            rung.what.append((unit.product, unit.portion_ul))
    return dict(found)


def hours_ahead(rung: Rung, clock: ClockNote, serves: Sequence[Serve]) -> int:
    """By how many whole hours the till is ahead of the meters; 0 where it is not, where matching learnt
    the offset by itself (it looks for one as far as an hour or two), or where nothing tells. ``clock``: what
    matching learnt."""
    fewer = min(len(rung.what), len(serves))
    if fewer < FEWEST:
        return 0
    ends = _ends(serves)
    corrected_ms = clock.all_corrected(rung.at_ms)
    step = _step(rung.what, corrected_ms, ends)
    at_ms, what = rung.at_ms[::step], rung.what[::step]
    like = _like(what, ends)
    least = SHARE * fewer * (1 / step)
    if _peak(what, corrected_ms[::step], like) >= least:
        return 0
    peaks = {hours: _peak(what, [at - hours * HOUR_MS for at in at_ms], like)
             for hours in range(-MOST_HOURS, MOST_HOURS + 1)}
    second, best = sorted(peaks, key=lambda hours: (peaks[hours], -abs(hours)))[-2:]
    return best if peaks[best] >= max(least, CLEARLY * peaks[second], FEWEST * SHARE) else 0


def sure_of_hours(rung: Rung, clock: ClockNote, serves: Sequence[ServeFact]) -> bool:
    """Whether ``hours_ahead`` is 0 whatever further rings there are, as long as all of them were rung further
    than ``REACH_MS`` from every serve by the clock that matching learnt."""
    if len(serves) < FEWEST:
        return True
    ends, corrected_ms = _ends(serves), clock.all_corrected(rung.at_ms)
    if _in_a_crowd(rung.what, corrected_ms, ends):
        return False
    return _peak(rung.what, corrected_ms, _like(rung.what, ends)) >= SHARE * len(serves)


def _in_a_crowd(what: Sequence[tuple[str, int]], times_ms: Sequence[int], ends: Ends) -> bool:
    """Whether not every ring may be looked at. Further rings shift which of these are sampled; with any, all
    must be looked at."""
    sampled, width_ms = -(-len(what) // SAMPLED), 2 * REACH_MS
    bins = Counter((product, end_ms // width_ms) for product, (times, _) in ends.items() for end_ms in times)
    most = max(count + bins[product, at + 1] for (product, at), count in bins.items())
    if sampled * most * SAMPLED <= MOST_NEAR:  # as is usual: were as many near each ring as ever are
        return False
    near = [_near(product, at_ms, ends) for (product, _), at_ms in zip(what, times_ms, strict=True)]
    return max(sum(near[first::SAMPLED]) for first in range(SAMPLED)) * SAMPLED > MOST_NEAR


def _step(what: Sequence[tuple[str, int]], times_ms: Sequence[int], ends: Ends) -> int:
    """Every how many rings are looked at, so that a crowd's neighbours stay few enough to be counted."""
    sample = zip(what[::SAMPLED], times_ms[::SAMPLED], strict=True)
    near = sum(_near(product, at_ms, ends) for (product, _), at_ms in sample) * SAMPLED
    return max(1, -(-near // MOST_NEAR))


def _ends(serves: Sequence[Serve] | Sequence[ServeFact]) -> Ends:
    by_product: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for serve in serves:
        by_product[serve.product].append((serve.end_ms, serve.volume_ul))
    return {
        product: ([end_ms for end_ms, _ in rows], [volume_ul for _, volume_ul in rows])
        for product, rows in ((product, sorted(rows)) for product, rows in by_product.items())
    }


def _near(product: str, at_ms: int, ends: Ends) -> int:
    """How many serves of a product end about a moment."""
    times, _ = ends.get(product, ([], []))
    return bisect_left(times, at_ms + REACH_MS) - bisect_left(times, at_ms - REACH_MS)


def _like(what: Iterable[tuple[str, int]], ends: Ends) -> Like:
    """What is to be looked at for rings of each product and portion."""
    found = {}
    for product, portion_ul in set(what):
        times, volumes = ends.get(product, ([], []))
        least, most = portion_ul - portion_ul // 3, portion_ul + portion_ul // 3
        found[product, portion_ul] = [
            end_ms for end_ms, volume_ul in zip(times, volumes, strict=True) if least <= volume_ul <= most
        ]
    return found


def _peak(what: Sequence[tuple[str, int]], times_ms: Sequence[int], like: Like) -> float:
    """How many rings stand above chance at the most frequent lag, were they rung at ``times_ms``."""
    first = min((ends[0] for ends in like.values() if ends), default=0) - REACH_MS
    last = max((ends[-1] for ends in like.values() if ends), default=0) + REACH_MS
    lags: list[int] = []
    for sold, at_ms in zip(what, times_ms, strict=True):
        if first <= at_ms <= last:
            ends = like[sold]
            low = bisect_left(ends, at_ms - REACH_MS)
            near = ends[low : bisect_left(ends, at_ms + REACH_MS, low)]
            lags += [(at_ms - end_ms) // BIN_MS for end_ms in near]
    bins = Counter(lags)
    reach = REACH_MS // BIN_MS
    sums = [sum(bins[at + n] for n in range(BINS)) for at in range(-reach, reach - BINS + 1)]
    usual = sum(bins.values()) * BINS / (2 * reach)
    return max(sums) - usual


def apart(matched: Matched, units: Mapping[int, Unit], bounds: Span) -> Matched:
    """The outlet's day with no pair between its own rings and serves: none of them is to be believed.
    Pairs with rings of a neighbouring day stay, since that day counts on them."""
    serves, lone = [], list(matched.lone_units)
    for serve in matched.serves:
        unit = None if serve.unit_key is None else units[serve.unit_key]
        if unit is not None and bounds[0] <= unit.at_ms < bounds[1]:
            lone.append((unit.key, unit.at_ms))
            serve = serve._replace(unit_key=None, uncertain=True)
        serves.append(serve)
    return replace(matched, serves=serves, lone_units=sorted(lone, key=lambda one: (one[1], one[0])),
                   pour_not_rung_range_ul={})
