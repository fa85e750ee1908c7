"""What was in the cellar at the ends of a period, and what was used in between.

    used = opening + delivered + transferred_in - transferred_out - returned - written_off - closing

A count is rolled to the end of the period by what was poured, delivered and moved in between. Where
a count says nothing of part-used kegs, what is left in those on the lines comes from the meters.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from unrung.ledger.cellar import CellarEvent
from unrung.ledger.counts import Count, counts_of, together
from unrung.ledger.kegs import KegRow, Meters
from unrung.settings import Settings

Place = tuple[str, str]
"""(outlet or pool, product)."""
Drawn = Callable[[Place, int, int], int | None]
"""Beer that left the kegs of a place within [lo, hi) by meter and till, whole microlitres; None
where the books of that time are not made yet."""


class Level(NamedTuple):
    """Beer in the cellar at one moment, and the bound of that figure."""

    volume_ul: int
    within_ul: int


@dataclass(slots=True)
class StockRow:
    """One place over one period, whole microlitres. None: not counted."""

    outlet: str
    product: str
    opening_ul: int | None = None
    delivered_ul: int = 0
    transferred_in_ul: int = 0
    transferred_out_ul: int = 0
    returned_ul: int = 0
    written_off_ul: int = 0
    closing_ul: int | None = None
    drawn_ul: int = 0
    """By meter and till: what was used, where it was not counted."""
    within_ul: int | None = None
    """Bound of the counted use."""
    carried_ul: int = 0
    """Closing stock of the period before, as its books have it."""

    @property
    def moved_ul(self) -> int:
        """What came in less what went out otherwise than through the taps."""
        return (
            self.delivered_ul + self.transferred_in_ul - self.transferred_out_ul - self.returned_ul
            - self.written_off_ul
        )

    @property
    def counted(self) -> bool:
        return self.opening_ul is not None and self.closing_ul is not None

    @property
    def used_ul(self) -> int:
        """By the counts at both ends; else what was drawn."""
        if self.opening_ul is None or self.closing_ul is None:
            return self.drawn_ul
        return self.opening_ul + self.moved_ul - self.closing_ul

    @property
    def book_opening_ul(self) -> int:
        """The opening stock as counted; else what must have been there, and what the period before left."""
        if self.opening_ul is not None:
            return self.opening_ul
        if self.closing_ul is not None:
            return self.closing_ul - self.moved_ul + self.drawn_ul
        return max(0, self.carried_ul, self.drawn_ul - self.moved_ul)

    @property
    def book_closing_ul(self) -> int:
        """The closing stock as counted; else as the books have it."""
        return self.book_opening_ul + self.moved_ul - self.used_ul


_FIELD = {
    "delivery": "delivered_ul", "return": "returned_ul", "write_off": "written_off_ul",
}


def stock_rows(
    events: Sequence[CellarEvent], bounds: tuple[int, int], kegs: Sequence[KegRow], meters: Meters,
    drawn: Mapping[Place, int], within: Drawn, settings: Settings,
    opening: Mapping[Place, int] | None = None, carried: Mapping[Place, int] | None = None,
) -> list[StockRow]:
    """One row per place that the cellar's events or ``drawn`` name, sorted.

    ``drawn``: beer that left the kegs in the period; ``within`` tells it of any part of the time.
    ``opening``: closing stock of the closed period before, which stands. ``carried``: that of the period
    before by its books, for places that nobody counted.
    """
    found = counts_of(events)
    rows: dict[Place, StockRow] = {}
    for place in sorted({*_places(events), *drawn, *(opening or {})}):
        row = rows[place] = StockRow(
            *place, drawn_ul=drawn.get(place, 0), carried_ul=(carried or {}).get(place, 0)
        )
        ends = [
            _level(place, at, found.get(place, ()), events, kegs, meters, within, settings) for at in bounds
        ]
        row.opening_ul, row.closing_ul = (level.volume_ul if level else None for level in ends)
        if opening is not None and place in opening:
            row.opening_ul = opening[place]
        if row.counted:
            row.within_ul = together(level.within_ul for level in ends if level)
    for event in events:
        if bounds[0] <= event.at_ms < bounds[1]:
            _enter(rows, event)
    return [rows[place] for place in sorted(rows)]


def _places(events: Iterable[CellarEvent]) -> set[Place]:
    named = {(event.outlet, event.product) for event in events}
    return named | {(event.to_outlet, event.product) for event in events if event.to_outlet}


def _enter(rows: Mapping[Place, StockRow], event: CellarEvent) -> None:
    row = rows[event.outlet, event.product]
    if event.kind == "transfer" and event.to_outlet and event.to_outlet != event.outlet:
        row.transferred_out_ul += event.volume_ul
        rows[event.to_outlet, event.product].transferred_in_ul += event.volume_ul
    elif event.kind in _FIELD:
        name = _FIELD[event.kind]
        setattr(row, name, getattr(row, name) + event.volume_ul)


def _level(
    place: Place, at_ms: int, counts: Sequence[Count], events: Sequence[CellarEvent],
    kegs: Sequence[KegRow], meters: Meters, within: Drawn, settings: Settings,
) -> Level | None:
    """Beer at ``at_ms`` by the nearest count that is near enough; None where there is none, or where
    the time between is not on the books yet."""
    most = round(settings.stock.count_within_hours * 3_600_000)
    near = [count for count in counts if abs(count.at_ms - at_ms) <= most]
    if not near:
        return None
    count = min(near, key=lambda one: (abs(one.at_ms - at_ms), one.at_ms))
    lo, hi = sorted((count.at_ms, at_ms))
    sign = 1 if count.at_ms <= at_ms else -1
    moved = sign * _moved(place, events, lo, hi)
    if count.has_part:
        flow = within(place, lo, hi)
        if flow is None:
            return None
        meter = int(Fraction(settings.stock.meter_tolerance) * flow)
        return Level(count.volume_ul + moved - sign * flow, together([count.within_ul, meter]))
    put_on = sign * sum(
        event.size_ul or 0 for event in events
        if event.kind == "on" and event.part_ul is None and (event.outlet, event.product) == place
        and lo <= event.at_ms < hi
    )
    rest, bounds = _on_lines(place, at_ms, kegs, meters, settings)
    return Level(count.full_ul + moved - put_on + rest, together([count.within_ul, *bounds]))


def _moved(place: Place, events: Iterable[CellarEvent], lo_ms: int, hi_ms: int) -> int:
    """Deliveries and moves of a place within [lo, hi), net."""
    moved: Counter[Place] = Counter()
    for event in events:
        if not lo_ms <= event.at_ms < hi_ms:
            continue
        if event.kind == "transfer" and event.to_outlet:
            moved[event.outlet, event.product] -= event.volume_ul
            moved[event.to_outlet, event.product] += event.volume_ul
        elif event.kind in _FIELD:
            sign = 1 if event.kind == "delivery" else -1
            moved[event.outlet, event.product] += sign * event.volume_ul
    return moved[place]


def _on_lines(
    place: Place, at_ms: int, kegs: Sequence[KegRow], meters: Meters, settings: Settings
) -> tuple[int, list[int]]:
    """What is left at ``at_ms`` in the kegs on a place's lines, and the bounds of each.

    Known from what a keg held less what it gave; else from what it gave afterwards until it was
    taken off. A keg of which neither is known counts as nothing, with a bound of a whole one.
    """
    total, bounds = 0, []
    for keg in kegs:
        if (keg.outlet, keg.product) != place or not (keg.on_ms or 0) <= at_ms < (keg.off_ms or 1 << 62):
            continue
        metered = "not_metered" not in keg.notes
        if metered and keg.contents_ul is not None and keg.on_ms is not None:
            given = meters.sums(keg.line, keg.on_ms, at_ms)[0]
            total += max(0, keg.contents_ul - given)
            bounds.append(keg.within_ul)
        elif metered and keg.off_ms is not None:
            given = meters.sums(keg.line, at_ms, keg.off_ms)[0]
            total += given + keg.left_ul
            bounds.append(int(Fraction(settings.stock.meter_tolerance) * given))
        else:
            bounds.append(keg.size_ul)
    return total, bounds
