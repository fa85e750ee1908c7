"""variance-D.csv: one row per outlet (or pool) and product; the sum of windows-D.csv."""

from __future__ import annotations

from collections.abc import Mapping
from typing import get_args

from unrung.issue.cells import percent, volume, worth
from unrung.issue.glossary import (
    day_column,
    figure_columns,
    outlet_column,
    product_column,
    unit_column,
)
from unrung.issue.shown import ProductTotals, by_product, figure_cells, thousandths
from unrung.issue.table import Cell, Row, Table, choice
from unrung.ledger.results import DayLedger, DayStatus, ProductDay
from unrung.settings import Settings

FIGURES = (
    "poured", "rung", "matched_portion", "over_portion", "under_portion", "size_difference",
    "portion_difference", "logged", "poured_not_rung", "poured_not_rung_low",
    "poured_not_rung_high", "voided_after_pour", "rung_not_poured", "poured_not_compared",
    "rung_not_compared", "not_beer", "variance", "variance_pct", "serves", "units_rung",
    "comp_units", "comp_volume", "net_sales", "variance_cost", "variance_retail",
)


def variance_table(ledger: DayLedger, settings: Settings, revision: int) -> Table:
    """The day by outlet and product, with percentages, money and the status of the day."""
    totals = by_product(ledger, settings.venue.volume_unit)
    return rows_table(variance_rows(ledger, totals, settings, revision), settings)


def variance_rows(
    ledger: DayLedger, by_place: Mapping[tuple[str, str], ProductTotals], settings: Settings, revision: int
) -> list[Row]:
    """The table's rows, from what ``by_product`` makes of the ledger."""
    unit = settings.venue.volume_unit
    known = {(it.outlet, it.product): it for it in ledger.products}
    rows: list[Row] = []
    for key, totals in by_place.items():
        cells: dict[str, Cell] = {
            "business_day": ledger.day.isoformat(), "outlet": key[0], "product": key[1],
            "unit": unit, "status": ledger.status, "revision": revision,
        }
        rows.append(cells | _day_cells(totals, known.get(key, ProductDay(*key)), settings))
    return rows


def rows_table(rows: list[Row], settings: Settings) -> Table:
    """A table of such rows, of one day or of several."""
    figures = figure_columns(settings)
    columns = (
        day_column(), outlet_column(), product_column(), unit_column(settings),
        *(figures[name] for name in FIGURES),
        choice(
            "status", "final; provisional: a feed may still bring more; incomplete: issued at its "
            "latest time without all of its data.", get_args(DayStatus),
        ),
        figures["revision"],
    )
    key = ("business_day", "outlet", "product")
    return Table("variance", "Poured against rung, by outlet and product", columns, rows, key)


def _day_cells(totals: ProductTotals, day: ProductDay, settings: Settings) -> dict[str, Cell]:
    exact, digits = totals.exact, settings.currency_digits
    compared = exact.poured - exact.not_beer - exact.poured_not_compared
    return {
        **figure_cells(totals.shown, totals.counts, digits),
        **_range_cells(totals.shown.poured_not_rung, day, settings.venue.volume_unit),
        "variance_pct": percent(exact.variance, compared),
        "variance_cost": worth(exact.variance, day.cost_minor_per_litre, digits),
        "variance_retail": worth(exact.variance, day.retail_minor_per_litre, digits),
    }


def _range_cells(displayed: int, day: ProductDay, unit: str) -> dict[str, Cell]:
    """Low and high of poured_not_rung, never inside out against the displayed figure."""
    low = max(0, min(thousandths(day.poured_not_rung_low, unit), displayed))
    high = max(thousandths(day.poured_not_rung_high, unit), displayed)
    return {"poured_not_rung_low": volume(low), "poured_not_rung_high": volume(high)}
