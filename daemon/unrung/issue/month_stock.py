"""The cellar's part of a period's row: stock, use, yield and cost, footing in the printed digits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from unrung.issue.cells import VOLUME_PLACES, money, percent, volume
from unrung.issue.foot import foot
from unrung.issue.month_sums import Sums
from unrung.issue.shown import thousandths
from unrung.issue.table import Cell
from unrung.ledger.costing import Valued
from unrung.ledger.counts import together
from unrung.ledger.month import MonthLedger
from unrung.ledger.stock import Place, StockRow
from unrung.settings import Settings
from unrung.units import UNITS_UL, quantized

MOVED = ("delivered", "transferred_in", "transferred_out", "returned", "written_off")
STOCK_FIGURES = (
    "opening", *MOVED, "closing", "used", "used_cost", "closing_cost", "written_off_cost",
)
"""What may come to light of a closed period's cellar."""
COUNTED, METERED, MIXED = "counted", "metered", "mixed"
COST_PLACES = 6
Share = tuple[int | None, int | None, int | None]
"""Of a product's cost of used, remaining and written-off beer, in minor units."""


@dataclass(frozen=True, slots=True)
class StockCells:
    """One place (or a total) in thousandths of the unit and whole minor units; None is not known."""

    opening: int | None
    moved: dict[str, int]
    closing: int | None
    used: int
    drawn: int
    """Metered beer and what only the till saw."""
    basis: str
    """How the use is known: counted, metered, or mixed in a total."""
    within_ul: int | None
    used_minor: int | None
    closing_minor: int | None
    written_off_minor: int | None


def place_stock(month: MonthLedger, sums: dict[Place, Sums], settings: Settings) -> dict[Place, StockCells]:
    """Every place's stock; money is shared over a product's outlets so that it foots."""
    by_product: dict[str, list[StockRow]] = {}
    booked = {(row.outlet, row.product) for row in month.stock}
    # A place may have an adjustment of an earlier period alone.
    alone = [StockRow(*place) for place in sums if place not in booked]
    for row in (*month.stock, *alone):
        by_product.setdefault(row.product, []).append(row)
    cells: dict[Place, StockCells] = {}
    for product, rows in by_product.items():
        shares = _shares(rows, month.books.products.get(product))
        for row, share in zip(rows, shares, strict=True):
            place = (row.outlet, row.product)
            cells[place] = _place_cells(row, sums[place], share, settings.venue.volume_unit)
    return cells


def total_stock(parts: Sequence[StockCells]) -> StockCells:
    """The sum; what some part does not know, the total does not."""
    bases = {one.basis for one in parts}
    within = _added([one.within_ul if one.basis != METERED else 0 for one in parts])
    return StockCells(
        _added([one.opening for one in parts]),
        {name: sum(one.moved[name] for one in parts) for name in MOVED},
        _added([one.closing for one in parts]), sum(one.used for one in parts),
        sum(one.drawn for one in parts), bases.pop() if len(bases) == 1 else MIXED,
        None if within is None else together(one.within_ul or 0 for one in parts),
        _added([one.used_minor for one in parts]), _added([one.closing_minor for one in parts]),
        _added([one.written_off_minor for one in parts]),
    )


def stock_figures(cells: StockCells, sums: Sums, settings: Settings) -> dict[str, Cell]:
    """The printed cells of one row, without the unit cost."""
    digits = settings.currency_digits
    metered = _thousandths(sums.cells["poured"]) - _thousandths(sums.cells["not_beer"])
    unit = settings.venue.volume_unit
    counted = cells.basis == COUNTED
    used_ul = round(cells.used * UNITS_UL[unit] / 1000)
    return {
        "opening": _cell(cells.opening), **{name: volume(cells.moved[name]) for name in MOVED},
        "closing": _cell(cells.closing), "used": volume(cells.used),
        "used_within": _cell(_shown(cells.within_ul, unit)) if counted else None,
        "used_basis": cells.basis, "beer_metered": volume(metered),
        "lost_before_meter": volume(cells.used - cells.drawn) if counted else None,
        "yield_pct": percent(sums.exact.rung, used_ul) if counted else None,
        "used_cost": _money(cells.used_minor, digits),
        "closing_cost": _money(cells.closing_minor, digits),
        "written_off_cost": _money(cells.written_off_minor, digits),
    }


def unit_cost(valued: Valued | None, settings: Settings) -> Decimal | None:
    """Cost of one unit of volume, at six decimals."""
    if valued is None or not valued.minor_per_ul:
        return None
    exact = valued.minor_per_ul * UNITS_UL[settings.venue.volume_unit] / 10**settings.currency_digits
    return quantized(Decimal(exact.numerator) / Decimal(exact.denominator), COST_PLACES)


def _place_cells(row: StockRow, sums: Sums, share: Share, unit: str) -> StockCells:
    opening, closing = _shown(row.opening_ul, unit), _shown(row.closing_ul, unit)
    moved = {name: thousandths(getattr(row, f"{name}_ul"), unit) for name in MOVED}
    cells = sums.cells
    drawn = _thousandths(cells["poured"] - cells["not_beer"] + cells["rung_not_compared"])
    used = drawn
    if opening is not None and closing is not None:
        used = (
            opening + moved["delivered"] + moved["transferred_in"] - moved["transferred_out"]
            - moved["returned"] - moved["written_off"] - closing
        )
    basis = COUNTED if row.counted else METERED
    return StockCells(opening, moved, closing, used, drawn, basis, row.within_ul, *share)


def _added(values: Sequence[int | None]) -> int | None:
    known = [value for value in values if value is not None]
    return sum(known) if len(known) == len(values) else None


def _shares(
    rows: Sequence[StockRow], valued: Valued | None
) -> list[Share]:
    """What each of a product's outlets bears; the shares foot."""
    if valued is None:
        return [(None, None, None)] * len(rows)
    parts = []
    for total, volumes in (
        (valued.used_minor, [row.used_ul for row in rows]),
        (valued.closing_minor, [row.book_closing_ul for row in rows]),
        (valued.written_off_minor, [row.written_off_ul for row in rows]),
    ):
        parts.append(_shared(total, volumes, valued.minor_per_ul))
    return list(zip(*parts, strict=True))


def _shared(total: int, volumes: Sequence[int], unit: Fraction) -> list[int]:
    if not any(volumes) or not unit:
        return [total, *[0] * (len(volumes) - 1)]
    return [int(part) for part in foot([one * unit for one in volumes], 0, Decimal(total))]


def _thousandths(value: Decimal) -> int:
    return int(value.scaleb(VOLUME_PLACES))


def _shown(volume_ul: int | None, unit: str) -> int | None:
    return None if volume_ul is None else thousandths(volume_ul, unit)


def _cell(value: int | None) -> Decimal | None:
    return None if value is None else volume(value)


def _money(minor: int | None, digits: int) -> Decimal | None:
    return None if minor is None else money(minor, digits)
