"""A till, or a tap's meter, that paused longer on one day than its rhythm has it by chance."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from itertools import chain, pairwise
from operator import sub
from typing import NamedTuple

from unrung.findings.of_a_day import by_tap, columns
from unrung.findings.statistics import none_by_chance
from unrung.ledger.facts import DayFacts

SHORTEST_MS = 30 * 60_000
TOGETHER_MS = 120_000
"""Rows this close together are one event: a round, a check."""
BY_CHANCE = 0.0067
"""Chance of a pause that is still told, since what stays alone in it tells the rest: that of five events
expected and none seen, had the rhythm been known exactly."""
GLASS_UL = 100_000

Gap = tuple[int, int]


def till_pauses(day: DayFacts, outlet_of: Mapping[str, str]) -> list[tuple[str, Gap, list[int]]]:
    """(outlet, pause of its tills, the day's serves in it) of every outlet."""
    rows: dict[str, list[int]] = defaultdict(list)
    for till in day.till:
        rows[till.outlet] += till.at_s
    found, (start_ms, _), own = list[tuple[str, Gap, list[int]]](), day.bounds, columns(day)
    for outlet, seconds in sorted(rows.items()):
        at = [start_ms + 1000 * second for second in sorted(seconds)]
        if _long(at):
            pours = _poured_at(day, outlet_of, outlet)
            ends = [own.end_ms[number] for number in pours]
            found += [
                (outlet, (low, high), pours[bisect_left(ends, low) : bisect_left(ends, high)])
                for low, high in pauses(at, ends)
            ]
    return found


def _poured_at(day: DayFacts, outlet_of: Mapping[str, str], outlet: str) -> list[int]:
    """Numbers of the day's glasses at one outlet's taps."""
    volumes_ul, taps = columns(day).volume_ul, day.once("by tap", None, partial(by_tap, day))
    own = [numbers for tap, numbers in taps.items() if outlet_of.get(tap, "") == outlet]
    return [number for number in sorted(chain.from_iterable(own)) if volumes_ul[number] >= GLASS_UL]


class MeterPause(NamedTuple):
    tap: str
    gap: Gap
    rings: list[int]
    """The day's rings without a serve in it, by their number."""
    expected: float
    """What was rung of its beer meanwhile, as far as this tap usually pours it."""


def meter_pauses(day: DayFacts) -> list[MeterPause]:
    """Pauses of every tap of a day."""
    own, taps = columns(day), day.once("by tap", None, partial(by_tap, day))
    ends = {tap: [own.end_ms[number] for number in numbers] for tap, numbers in sorted(taps.items())}
    ends = {tap: at for tap, at in ends.items() if _long(at)}
    if not ends:
        return []
    rung: dict[tuple[str, str], list[int]] = defaultdict(list)
    poured: dict[tuple[str, str], list[int]] = defaultdict(list)
    places = list(zip(own.outlet, own.product, strict=True))
    for place, end_ms, ring_ms, paired in zip(places, own.end_ms, own.ring_ms, own.paired, strict=True):
        poured[place].append(end_ms)
        if paired:
            rung[place].append(ring_ms)
    alone: dict[tuple[str, str], list[int]] = defaultdict(list)
    for number, ring in enumerate(day.rings):
        rung[ring.outlet, ring.product].append(ring.at_ms)
        alone[ring.outlet, ring.product].append(number)
    found = []
    for tap, at in ends.items():
        place = places[taps[tap][-1]]
        for low, high in pauses(at, sorted(rung[place])):
            inside = [n for n in alone[place] if low <= day.rings[n].at_ms < high]
            elsewhere = sum(not low <= end_ms < high for end_ms in poured[place])
            meanwhile = sum(low <= ring_ms < high for ring_ms in rung[place])
            found.append(
                MeterPause(tap, (low, high), inside, meanwhile * len(at) / max(1, elsewhere)))
    return found


def pauses(own: Sequence[int], other: Sequence[int]) -> Iterator[Gap]:
    """Pauses of ``own`` (times, sorted) too long for chance, judged by the other side's rows in them.

    Own events per row of the other side make the rhythm, outside the pause.
    """
    long = _long(own)
    if not long or not other:
        return
    events = len(moments(own))
    for low, high in long:
        within = bisect_left(other, high) - bisect_right(other, low)
        if none_by_chance(events, within, len(other)) <= BY_CHANCE:
            yield (low + 1, high)


def moments(times: Sequence[int]) -> list[int]:
    """When each round or check began that rows at such times (sorted) may be of."""
    return [*times[:1], *(after for before, after in pairwise(times) if after - before > TOGETHER_MS)]


def _long(own: Sequence[int]) -> list[Gap]:
    if max(map(sub, own[1:], own), default=0) < SHORTEST_MS:  # as is usual
        return []
    return [(low, high) for low, high in pairwise(own) if high - low >= SHORTEST_MS]
