"""Rows of the cellar made ready: which outlet, product and line they speak of, and how much beer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from fractions import Fraction
from typing import Literal, NamedTuple

from unrung.business_day import business_day
from unrung.ledger.inputs import KegLine
from unrung.ledger.outlets import Outlets
from unrung.ledger.tap_spans import line_of
from unrung.ledger.taps import TapList
from unrung.settings import Product, Settings, TapRow

ONE = 1_000_000
PartBy = Literal["", "tenths", "volume", "weight"]


class CellarEvent(NamedTuple):
    """One keg event. Volumes are whole microlitres; ``full_ul`` counts whole kegs only."""

    id: int
    at_ms: int
    kind: str
    outlet: str
    """Outlet or pool."""
    product: str
    line: str = ""
    """Of a keg going on or off."""
    keg: str = ""
    full_kegs: int = 0
    size_ul: int | None = None
    """What one keg holds."""
    part_ul: int | None = None
    """Beer in part-used kegs; None where nobody said."""
    part_by: PartBy = ""
    """How the part was found."""
    cost_minor: int | None = None
    """Of one keg."""
    to_outlet: str = ""

    @property
    def full_ul(self) -> int:
        return self.full_kegs * (self.size_ul or 0)

    @property
    def volume_ul(self) -> int:
        """All the beer that the event speaks of."""
        return self.full_ul + (self.part_ul or 0)


class Cellar(NamedTuple):
    """The usable events in order of time, and what is wrong with the others, as sentences."""

    events: tuple[CellarEvent, ...]
    notices: tuple[str, ...]


def read_cellar(lines: Iterable[KegLine], settings: Settings) -> Cellar:
    """Keg lines to events: names put right, tap and size looked up, parts and weights to volumes.

    A row that names no known product, no place, or kegs of unknown size, is left out with a notice.
    """
    names = {row.product.casefold(): row.product for row in settings.products}
    outlets, taps = Outlets(settings), TapList(settings.taps, settings.venue)
    events: list[CellarEvent] = []
    notices: dict[str, None] = {}
    for line in sorted(lines, key=lambda one: (one.at_ms, one.id)):
        tap = _tap(line, taps, settings)
        product = names.get(line.product.casefold(), "") or (tap.product if tap else "")
        if not product:
            notices[_unknown(line)] = None
            continue
        outlet = outlets.of(line.outlet or (tap.outlet if tap else ""))
        event = _event(line, outlet, product, tap, settings)
        if event.full_kegs and event.size_ul is None:
            notices[f"The cellar counts kegs of {product}, and nothing says what one holds. Put its "
                    "keg_size into products.csv."] = None
            continue
        to_outlet = str(line.more.get("to_outlet") or "")
        if not outlet or (event.kind == "transfer" and not to_outlet):
            notices[_nowhere(event)] = None
            continue
        events.append(event._replace(to_outlet=outlets.of(to_outlet) if to_outlet else ""))
    return Cellar(tuple(events), tuple(notices))


def size_of(products: Sequence[Product], product: str, day: date) -> int | None:
    """What a keg of ``product`` holds on ``day`` by products.csv."""
    row = row_in_force(products, product, day)
    return row.keg_size_ul if row else None


def row_in_force(products: Sequence[Product], product: str, day: date) -> Product | None:
    """The last row of ``product`` that applies on ``day``; the first one before any does."""
    rows = sorted(
        (row for row in products if row.product == product),
        key=lambda row: row.valid_from or date.min,
    )
    live = [row for row in rows if (row.valid_from or date.min) <= day]
    return live[-1] if live else rows[0] if rows else None


def _event(
    line: KegLine, outlet: str, product: str, tap: TapRow | None, settings: Settings
) -> CellarEvent:
    more, venue = line.more, settings.venue
    day = business_day(line.at_ms, venue.timezone, venue.day_starts)
    size = more.get("size_ul") or size_of(settings.products, product, day)
    full, tenths = divmod(line.units_micro, ONE)
    part, part_by = _part(more.get("part_ul"), more.get("gross_g"), more.get("tare_g"), settings)
    if tenths and size is not None:
        part, part_by = (part or 0) + round(Fraction(tenths * size, ONE)), "tenths"
    return CellarEvent(
        line.id, line.at_ms, line.kind, outlet, product, line_of(tap) if tap else "",
        str(more.get("keg") or ""), full, size, part, part_by, more.get("cost_minor"),
    )


def _part(
    part_ul: int | None, gross_g: int | None, tare_g: int | None, settings: Settings
) -> tuple[int | None, PartBy]:
    """Beer in a part-used keg: as written, or (gross - tare) / density."""
    if part_ul is not None:
        return part_ul, "volume"
    if gross_g is None or tare_g is None:
        return None, ""
    density = Fraction(settings.stock.kg_per_litre)  # kg/L is g/mL
    return max(0, round((gross_g - tare_g) * 1000 / density)), "weight"


def _tap(line: KegLine, taps: TapList, settings: Settings) -> TapRow | None:
    """The row in force for the line's tap or meter; else any row of that name, which tells the line."""
    name = line.tap.strip().casefold()
    if not name:
        return None
    named = (row for row in settings.taps if name in (row.tap.casefold(), row.meter.casefold()))
    return taps.at(name, line.at_ms) or next(named, None)


def _nowhere(event: CellarEvent) -> str:
    lacks = "from which bar" if not event.outlet else "to which bar"
    what = "moves" if event.kind == "transfer" else f"has a row ({event.kind}) for"
    return (f"The cellar {what} {event.product} and does not say {lacks}; the row is kept and not counted. "
            "Map the outlet, or write it into the export.")


def _unknown(line: KegLine) -> str:
    if line.product:
        return (f"The cellar names {line.product!r}, which products.csv does not list; its rows are kept "
                "and not counted. Add a row for it.")
    return (f"A keg event ({line.kind}) at tap {line.tap!r} names no product, and taps.csv does not know "
            "the tap. Add a row for it.")
