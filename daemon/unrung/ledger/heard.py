"""When each side of a day was really heard: the feeds' spans, less silences of their own.

Judged for the whole side, for the till per outlet (or pool), for the meters per product. One terminal
that is silent while others of its outlet go on is a closed till, and no silence; nor is an outlet of a
pool whose beer the others ring.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from itertools import chain
from math import log
from zoneinfo import ZoneInfo

from unrung.ledger.clocks import ClockNote
from unrung.ledger.coverage import CERTAIN, SILENCE_LEAST_MS, Span, intersect, silences, subtract, union
from unrung.ledger.draft import Draft
from unrung.ledger.outlets import Outlets
from unrung.matching.types import Matched, Serve
from unrung.settings import Venue

GLASS_LEAST_UL = 100_000
"""Smaller flows are drips and tasters (common practice, no source)."""

Times = defaultdict[tuple[str, str], list[int]]


def note_heard(draft: Draft, matched: Mapping[str, Matched], clocks: Mapping[str, ClockNote]) -> None:
    """Write into the draft which moments of the day can be compared."""
    _hear_till(draft, clocks)
    _hear_pooled(draft, matched, clocks)
    _hear_meters(draft, matched, clocks)
    for place, spans in draft.material.blind.items():
        heard = draft.pour_cover.get(place, draft.pour_cover["", ""])
        draft.pour_cover[place] = subtract(heard, spans)


def usual_hours(day: date, venue: Venue) -> Span | None:
    """The venue's usual open hours on a business day; None where it does not say."""
    if venue.opens is None or venue.closes is None:
        return None
    zone = ZoneInfo(venue.timezone)

    def moment(at: time) -> int:
        late = timedelta(days=at < venue.day_starts)
        return round(datetime.combine(day + late, at, zone).timestamp() * 1000)

    first, last = moment(venue.opens), moment(venue.closes)
    return (first, last) if first < last else None


def _hear_till(draft: Draft, clocks: Mapping[str, ClockNote]) -> None:
    """A till is known to be silent only while the venue is open: beer that flows in closed hours has
    no ring to wait for."""
    today, outlets = draft.material, Outlets(draft.settings)
    within = usual_hours(today.day, draft.settings.venue) or today.bounds
    rings = _rung_at(draft, clocks, outlets, outlets.of)
    glasses: dict[str, list[int]] = defaultdict(list)
    for flow in today.pours.beer:
        if flow.volume_ul >= GLASS_LEAST_UL:
            glasses[flow.outlet].append(flow.end_ms)
    early_ms = _early_ms(draft)
    silent = silences(_all(rings.values()), _all(glasses.values()), within, early_ms=early_ms)
    draft.ring_cover = subtract(today.inputs.ring_cover, silent)
    for outlet in sorted(glasses):
        holes = silences(sorted(rings[outlet]), sorted(glasses[outlet]), within, early_ms=early_ms)
        draft.outlet_cover[outlet] = subtract(draft.ring_cover, holes)
        draft.silent += [(outlet, hole) for hole in _worth_telling(holes, today.inputs.ring_cover)]


def _hear_pooled(
    draft: Draft, matched: Mapping[str, Matched], clocks: Mapping[str, ClockNote]
) -> None:
    """Each outlet of a pool by itself: silent where its own till is, and its serves go without rings.

    Since guests of one outlet are served from the taps of the other, nothing that is without a ring in
    the pool can be judged meanwhile.
    """
    today, outlets = draft.material, Outlets(draft.settings)
    within = usual_hours(today.day, draft.settings.venue) or today.bounds
    serves: dict[str, list[Serve]] = defaultdict(list)
    for found in matched.values() if today.stands else ():
        for serve in found.serves:
            if serve.tap in today.stands and serve.volume_ul >= GLASS_LEAST_UL:
                serves[today.stands[serve.tap]].append(serve)
    rings = _rung_at(draft, clocks, outlets, outlets.own) if serves else {}
    in_pool: dict[str, list[Span]] = defaultdict(list)
    for own, mine in sorted(serves.items()):
        ends = sorted(serve.end_ms for serve in mine)
        holes = silences(sorted(rings[own]), ends, within, CERTAIN / 2, _early_ms(draft))
        holes = [hole for hole in holes if _without_rings(hole, mine)]
        in_pool[outlets.of(own)] += holes
        draft.silent += [(own, hole) for hole in _worth_telling(holes, _cover(draft, outlets.of(own)))]
    for own in sorted(serves):
        pool = outlets.of(own)
        draft.outlet_cover[own] = subtract(_cover(draft, pool), union(in_pool[pool]))


def _early_ms(draft: Draft) -> int:
    """How long before its pour a ring may come: a till that tells what was sold in each hour writes at every
    hour's start."""
    return round(draft.settings.matching.window_before_minutes * 60_000)


def _cover(draft: Draft, outlet: str) -> list[Span]:
    return draft.outlet_cover.get(outlet, draft.ring_cover)


def _rung_at(
    draft: Draft, clocks: Mapping[str, ClockNote], outlets: Outlets, named: Callable[[str], str]
) -> dict[str, list[int]]:
    """When each outlet rang anything at all, by the meters' clock; ``named``: what it goes by."""
    times: dict[str, list[int]] = defaultdict(list)
    for line in draft.material.inputs.rings:
        times[line.outlet].append(line.at_ms)
    heard: dict[str, list[int]] = defaultdict(list)
    for outlet, rung in times.items():
        heard[named(outlet)] += _corrected(rung, clocks.get(outlets.of(outlet)))
    return heard


def _without_rings(hole: Span, serves: Sequence[Serve]) -> bool:
    """Whether at least half of the serves within found no ring, far more than of the other serves: the
    bound of Chernoff and Hoeffding on the binomial tail is as small as half of ``CERTAIN`` asks."""
    alone = [serve.unit_key is None for serve in serves if hole[0] <= serve.end_ms < hole[1]]
    others = len(serves) - len(alone)
    usual = (sum(serve.unit_key is None for serve in serves) - sum(alone) + 1) / (others + 2)
    share = sum(alone) / max(len(alone), 1)
    if share < 0.5 or share <= usual:
        return False
    apart = share * log(share / usual) + ((1 - share) * log((1 - share) / (1 - usual)) if share < 1 else 0)
    return len(alone) * apart >= CERTAIN / 2


def _hear_meters(
    draft: Draft, matched: Mapping[str, Matched], clocks: Mapping[str, ClockNote]
) -> None:
    """A meter that is stuck is not a quiet beer; but where its beer runs through another line, that
    line has serves without rings in the same moments, and nothing is silent."""
    today = draft.material
    rung: Times = defaultdict(list)
    poured: Times = defaultdict(list)
    for unit in today.rings.units:
        if not unit.voided:
            rung[unit.outlet, unit.product].append(unit.at_ms)
    pours = today.pours
    for flow in (*pours.beer, *pours.gas, *pours.cleaning, *pours.untimed):
        poured[flow.outlet, flow.product].append(flow.end_ms)
    for place in rung:
        rung[place] = sorted(_corrected(rung[place], clocks.get(place[0])))
    for times in poured.values():
        times.sort()
    silent = silences(_all(poured.values()), _all(rung.values()), today.bounds, early_ms=_early_ms(draft))
    everywhere = subtract(today.inputs.pour_cover, silent)
    draft.pour_cover["", ""] = everywhere
    for place, times in sorted(rung.items()):
        if not today.metered.get(place, False):
            continue
        holes = silences(poured[place], times, today.bounds, early_ms=_early_ms(draft))
        serves = matched[place[0]].serves if place[0] in matched else ()
        holes = [hole for hole in holes if not _ran_elsewhere(hole, place[1], times, serves)]
        draft.pour_cover[place] = subtract(everywhere, holes)
        draft.stuck += [(*place, hole) for hole in _worth_telling(holes, today.inputs.pour_cover)]


def _ran_elsewhere(hole: Span, product: str, rung: Sequence[int], serves: Iterable[Serve]) -> bool:
    """Whether other lines had about as many serves without rings as the product had rings."""
    rings = bisect_left(rung, hole[1]) - bisect_left(rung, hole[0])
    strays = sum(
        serve.product != product and serve.unit_key is None and serve.volume_ul >= GLASS_LEAST_UL
        and hole[0] <= serve.end_ms < hole[1] for serve in serves
    )
    return 2 * strays >= rings


def _worth_telling(holes: Sequence[Span], covered: Sequence[Span]) -> list[Span]:
    """What of the silences no missing export explains."""
    return [span for span in intersect(holes, covered) if span[1] - span[0] >= SILENCE_LEAST_MS]


def _corrected(times_ms: list[int], clock: ClockNote | None) -> list[int]:
    return times_ms if clock is None else clock.all_corrected(times_ms)


def _all(lists: Iterable[list[int]]) -> list[int]:
    return sorted(chain.from_iterable(lists))
