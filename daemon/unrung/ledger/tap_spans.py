"""What ran through each line between one keg event and the next, within a business day."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from operator import add
from typing import NamedTuple

from unrung.ledger.facts import DayFacts, FlowFact, ServeFact
from unrung.ledger.material import groups_of
from unrung.ledger.taps import TapList
from unrung.settings import Settings, TapRow


class TapSpan(NamedTuple):
    """One line from ``from_ms`` on, until its next span begins; whole microlitres.

    A line is what runs through one meter: the meter, or the tap where no meter is named.
    """

    line: str
    outlet: str
    """Outlet or pool."""
    product: str
    from_ms: int
    to_ms: int
    beer_ul: int = 0
    """Metered, less what was not beer."""
    rung_ul: int = 0
    """Set portions of the rings that found their serve here."""
    logged_ul: int = 0
    not_beer_ul: int = 0


def line_of(row: TapRow) -> str:
    """The line that a tap hangs on."""
    return row.meter or row.tap


def lines_by_name(rows: Iterable[TapRow]) -> dict[str, str]:
    """Every name of a tap or meter, without regard to case, to its line."""
    found: dict[str, str] = {}
    for row in rows:
        for name in (row.tap, row.meter):
            if name:
                found.setdefault(name.casefold(), line_of(row))
    return found


def tap_spans(facts: DayFacts, settings: Settings) -> tuple[TapSpan, ...]:
    """The day's spans by line, outlet and product; over them the metered beer sums to the day's."""
    rows = TapList(settings.taps, settings.venue).on_day(facts.day, *facts.bounds)
    groups, lines = groups_of(settings), lines_by_name(rows)
    outlets = {row.tap: groups.get(row.outlet, row.outlet) for row in rows}
    cuts = _cuts(facts, lines)
    sums: dict[tuple[str, str, str, int, int], list[int]] = defaultdict(lambda: [0, 0, 0, 0])

    def sum_at(line: str, outlet: str, product: str, at_ms: int) -> list[int]:
        span = _span(cuts[line], at_ms, facts.bounds) if line in cuts else facts.bounds
        return sums[(line, outlet, product, *span)]

    places: dict[tuple[str, str, str], list[ServeFact]] = defaultdict(list)
    for serve in facts.serves:
        places[serve[:3]].append(serve)
    for (outlet, product, tap), serves in places.items():
        place = lines.get(tap.casefold(), tap), outlet, product
        if place[0] not in cuts:
            own = sum_at(*place, facts.bounds[0])
            own[:] = map(add, own, _of_serves(serves))
            continue
        for serve in serves:
            # A glass begun from one keg may have been filled from the next.
            for _, end_ms, volume_ul in serve.parts:
                sum_at(*place, end_ms)[0] += volume_ul
            own = sum_at(*place, serve.end_ms)
            own[:] = map(add, own, (0, *_of_serves([serve])[1:]))
    for flow in facts.flows:
        own = sum_at(lines.get(flow.tap.casefold(), flow.tap), outlets.get(flow.tap, ""), flow.product,
                     flow.end_ms)
        own[:] = map(add, own, _of_flow(flow))
    return tuple(TapSpan(*key, *sums[key]) for key in sorted(sums))


def _cuts(facts: DayFacts, lines: Mapping[str, str]) -> dict[str, list[int]]:
    cuts: dict[str, set[int]] = defaultdict(set)
    for keg in facts.kegs:
        line = lines.get(keg.tap.casefold())
        if line is not None:
            cuts[line].add(keg.at_ms)
    return {line: sorted(times) for line, times in cuts.items()}


def _span(cuts: Sequence[int], at_ms: int, bounds: tuple[int, int]) -> tuple[int, int]:
    """From the last keg event (or the day's start) to the next one (or the day's end)."""
    place = bisect_right(cuts, at_ms)
    start = cuts[place - 1] if place else bounds[0]
    return start, cuts[place] if place < len(cuts) else bounds[1]


def _of_serves(serves: Sequence[ServeFact]) -> tuple[int, int, int, int]:
    rung = sum([one.portion_ul for one in serves if one.paired])
    logged = sum([
        one.volume_ul - one.left_ul - one.not_compared_ul for one in serves
        if not one.paired and not one.voided
    ])
    return sum([part[2] for one in serves for part in one.parts]), rung, logged, 0


def _of_flow(flow: FlowFact) -> tuple[int, int, int, int]:
    if flow.kind == "line_beer":
        return flow.volume_ul, 0, flow.volume_ul, 0
    return 0, 0, 0, flow.volume_ul
