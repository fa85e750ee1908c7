"""Volume without a time, held against rings by totals: no single pour is paired, judged or listed.

A flow with a span (a count per hour, a rise between two distant readings) takes the rings that may
belong to it by the matching window, in whole microlitres, as much as there is. What a serve differed
from its portion cannot be told: it shows up in what is left, on either side, and so the plausible
range of what is left begins only beyond what over-pour explains.
"""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from unrung.ledger.coverage import Span, length_ms
from unrung.ledger.draft import Draft
from unrung.ledger.pairs import count, lone_unit
from unrung.ledger.pours import Flow
from unrung.ledger.readings import crosses
from unrung.ledger.rest import Rest
from unrung.ledger.results import Leaf
from unrung.ledger.rings import Unit

DOUBT = Fraction(1, 10)
"""Share of the matched volume that pours above or under their portions can come to (common practice,
no source)."""

Place = tuple[str, str]


class Slot(NamedTuple):
    """What flowed at some time in a span."""

    start_ms: int
    end_ms: int
    volume_ul: int


def share_out(
    slots: Sequence[Slot], needs: Sequence[tuple[int, int]], before_ms: int, after_ms: int
) -> list[list[tuple[int, int]]]:
    """For each need (time in ms, microlitres) the (slot, microlitres) that it is given.

    A slot serves needs from ``before_ms`` before its span to ``after_ms`` after it. As much as
    possible is given in all: in order of time each need takes of the slot that closes first, which is
    optimal where every slot serves one stretch of the needs (Glover 1967, convex bipartite graphs).

    >>> share_out([Slot(0, 60, 500), Slot(60, 120, 500)], [(30, 400), (50, 400), (90, 400)], 0, 0)
    [[(0, 400)], [(0, 100)], [(1, 400)]]
    """
    given: list[list[tuple[int, int]]] = [[] for _ in needs]
    opening = sorted(range(len(slots)), key=lambda slot: (slots[slot].start_ms, slot), reverse=True)
    left = [slot.volume_ul for slot in slots]
    open_slots: list[tuple[int, int]] = []
    for need in sorted(range(len(needs)), key=lambda need: (needs[need][0], need)):
        at_ms, wanted = needs[need]
        while opening and slots[opening[-1]].start_ms - before_ms <= at_ms:
            slot = opening.pop()
            heapq.heappush(open_slots, (slots[slot].end_ms + after_ms, slot))
        while wanted and open_slots:
            closes_ms, slot = open_slots[0]
            part = min(wanted, left[slot]) if closes_ms >= at_ms else 0
            if part:
                given[need].append((slot, part))
                left[slot] -= part
                wanted -= part
            if closes_ms < at_ms or not left[slot]:
                heapq.heappop(open_slots)
    return given


def enter_totals(draft: Draft) -> None:
    """Match what has no time with the rings that wait; what is left becomes rests and lone rings."""
    flows: dict[Place, list[Flow]] = defaultdict(list)
    units: dict[Place, list[tuple[Unit, int]]] = defaultdict(list)
    for flow in draft.material.pours.untimed:
        flows[flow.outlet, flow.product].append(flow)
    for unit, at_ms in draft.waiting:
        units[unit.outlet, unit.product].append((unit, at_ms))
    for place in sorted(flows):
        _enter_place(draft, place, sorted(flows[place], key=_in_time), sorted(units[place], key=_by_ring))


def _enter_place(
    draft: Draft, place: Place, flows: Sequence[Flow], units: Sequence[tuple[Unit, int]]
) -> None:
    known = [flow for flow in flows if not crosses(flow.start_ms, flow.end_ms, draft.material.bounds[0])]
    for flow in flows:
        if flow not in known:
            _leaf(draft, flow).volumes.poured_not_compared += flow.volume_ul
    matching = draft.settings.matching
    given = share_out(
        [Slot(flow.start_ms, flow.end_ms, flow.volume_ul) for flow in known],
        [(at_ms, unit.portion_ul) for unit, at_ms in units],
        round(matching.window_before_minutes * 60_000), round(matching.window_after_minutes * 60_000),
    )
    left = [flow.volume_ul for flow in known]
    for (unit, at_ms), parts in zip(units, given, strict=True):
        for slot, volume in parts:
            left[slot] -= volume
            _leaf(draft, known[slot]).volumes.matched_portion += volume
        if parts:
            count(_leaf(draft, known[parts[0][0]]), unit)
        wanted = unit.portion_ul - sum(volume for _, volume in parts)
        if wanted or not parts:
            lone_unit(draft, unit, at_ms, wanted, entered=bool(parts), uncertain=True)
    for flow, volume in zip(known, left, strict=True):
        if volume:
            _leave(draft, flow, volume)
    _widen(draft, place, sum(left), sum(flow.volume_ul for flow in known) - sum(left))


def _leave(draft: Draft, flow: Flow, volume_ul: int) -> None:
    """What of a flow no ring took: log entries and keg changes within its span may explain it."""
    draft.rests.append(Rest(
        flow.outlet, flow.tap, draft.material.meters.get(flow.tap, ""), flow.product, flow.end_ms - 1,
        flow.volume_ul, volume_ul, len(draft.rests), since_ms=flow.start_ms,
    ))
    draft.rest_flows.append(flow)
    draft.rest_uncertain.append(True)


def _widen(draft: Draft, place: Place, left_ul: int, matched_ul: int) -> None:
    """Add the range of what is left to that of the place's lone serves."""
    doubt = int(matched_ul * DOUBT)
    lone = draft.lone_ul[place]
    low, high = draft.ranges.get(place, (lone, lone))
    draft.ranges[place] = (low + max(0, left_ul - doubt), high + left_ul + doubt)
    draft.lone_ul[place] += left_ul


def is_heard(cover: Sequence[Span], start_ms: int, end_ms: int) -> bool:
    """Whether spans cover all of a flow's own."""
    return length_ms(cover, (start_ms, end_ms)) == end_ms - start_ms


def _leaf(draft: Draft, flow: Flow) -> Leaf:
    """The window in which a span ends; one that ends with the hour belongs to that hour."""
    return draft.leaf(flow.end_ms - 1, flow.outlet, flow.product)


def _in_time(flow: Flow) -> tuple[object, ...]:
    return (flow.end_ms, flow.start_ms, flow.tap, flow.volume_ul, flow.line.origin, flow.key)


def _by_ring(one: tuple[Unit, int]) -> tuple[object, ...]:
    unit, at_ms = one
    return (at_ms, unit.portion_ul, unit.line.item, unit.line.size, unit.line.origin, unit.key)
