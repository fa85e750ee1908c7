"""The cellar's books of a period: purchases and opening stock at their costs, per product."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction

from unrung.business_day import business_day
from unrung.ledger.cellar import CellarEvent, row_in_force
from unrung.ledger.costing import Flows, Lot, Method, Valued, newest, value, value_at
from unrung.ledger.stock import StockRow
from unrung.settings import Product, Settings


@dataclass(frozen=True, slots=True)
class Books:
    """Every product's books; None where a cost is missing. ``notices`` say which, as sentences."""

    products: Mapping[str, Valued | None] = field(default_factory=dict)
    notices: tuple[str, ...] = ()


def make_books(
    rows: Sequence[StockRow], events: Iterable[CellarEvent], bounds: tuple[int, int], first: date,
    settings: Settings, previous: Mapping[str, Sequence[Lot]],
) -> Books:
    """Value what each product's rows say. ``previous``: what the stock was made of when the period
    before ended."""
    by_product: dict[str, list[StockRow]] = defaultdict(list)
    for row in rows:
        by_product[row.product].append(row)
    bought: dict[str, list[CellarEvent]] = defaultdict(list)
    for event in events:
        if event.kind == "delivery" and bounds[0] <= event.at_ms < bounds[1]:
            bought[event.product].append(event)
    made: dict[str, Valued | None] = {}
    notices: list[str] = []
    for product, mine in sorted(by_product.items()):
        lots = [_purchase(event, settings) for event in bought[product]]
        opening = sum(row.book_opening_ul for row in mine)
        before = _opening(opening, previous.get(product, ()), lots, product, first, settings.products)
        listed = _listed(settings.products, product, first)
        made[product] = _valued(mine, before, lots, settings.cost.method, listed)
        if made[product] is None:
            notices.append(f"No cost is known for {product}: put its keg_cost into products.csv, or the "
                           "cost into the cellar's deliveries.")
    return Books(made, tuple(notices))


def _valued(
    rows: Sequence[StockRow], opening: Sequence[Lot] | None, purchases: Sequence[Lot | None],
    method: Method, listed: Fraction | None,
) -> Valued | None:
    flows = Flows(
        sum(row.used_ul for row in rows), sum(row.returned_ul for row in rows),
        sum(row.written_off_ul for row in rows), sum(row.book_closing_ul for row in rows),
    )
    known = [lot for lot in purchases if lot is not None]
    if opening is None or len(known) < len(purchases):
        return None
    if any(lot.volume_ul > 0 for lot in (*opening, *known)):
        return value(opening, known, flows, method)
    if not (flows.out_ul or flows.closing_ul):
        return value_at(Fraction(0), flows)
    return None if listed is None else value_at(listed, flows)


def _purchase(event: CellarEvent, settings: Settings) -> Lot | None:
    """A delivery at its own cost; else at the one that products.csv has for that day."""
    if event.cost_minor is not None and event.size_ul:
        return Lot(event.volume_ul, round(Fraction(event.cost_minor * event.volume_ul, event.size_ul)))
    venue = settings.venue
    day = business_day(event.at_ms, venue.timezone, venue.day_starts)
    unit = _listed(settings.products, event.product, day)
    return None if unit is None else Lot(event.volume_ul, round(unit * event.volume_ul))


def _opening(
    volume_ul: int, previous: Sequence[Lot], purchases: Sequence[Lot | None], product: str, first: date,
    products: Sequence[Product],
) -> list[Lot] | None:
    """The opening stock at its cost: as the period before left it, else at the listed cost, else like
    the first purchase."""
    if volume_ul <= 0:
        return []
    kept = [lot for lot in previous if lot.volume_ul > 0]
    if kept:
        return newest(kept, volume_ul)
    unit = _listed(products, product, first)
    if unit is not None:
        return [Lot(volume_ul, round(unit * volume_ul))]
    like = next((lot for lot in purchases if lot is not None and lot.volume_ul), None)
    return None if like is None else newest([like], volume_ul)


def _listed(products: Sequence[Product], product: str, day: date) -> Fraction | None:
    """Cost by products.csv, in minor units a microlitre."""
    row = row_in_force(products, product, day)
    if row is None or row.keg_cost_minor is None or not row.keg_size_ul:
        return None
    return Fraction(row.keg_cost_minor, row.keg_size_ul)
