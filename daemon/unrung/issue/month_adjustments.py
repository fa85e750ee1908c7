"""adjustments-M.csv: what came to light of closed periods; carried by this one."""

from __future__ import annotations

from decimal import Decimal

from unrung.issue.glossary import outlet_column, product_column
from unrung.issue.table import Cell, Row, Table, choice, day, number, text
from unrung.ledger.adjust import CAUSES, Adjustment
from unrung.ledger.month import MonthLedger
from unrung.settings import Settings


def month_adjustments_table(month: MonthLedger, settings: Settings) -> Table:
    """One row per closed day, outlet, product and figure, in the order in which they were found."""
    rows = [_cells(one) for one in month.adjustments]
    columns = (
        text("period", "The open period that carries the difference.", required=True),
        text("origin_period", "The closed period it belongs to.", required=True),
        day("origin_day", "The business day in it; for stock, the period's last."),
        outlet_column(), product_column(),
        text("figure", "Column of the day's or the period's file that differs.", required=True),
        text("unit", "Of the figures: a unit of volume, the currency, or a count.", required=True),
        number("old", "As issued, or as last adjusted."), number("new", "As it would be now."),
        number("difference", "new - old."),
        choice("cause", "Rows that came in late, settings that were edited, or both.", CAUSES),
        text("source_file", "Exports that brought the late rows."),
    )
    return Table("adjustments", "Differences of closed periods", columns, rows)


def _cells(one: Adjustment) -> Row:
    old, new = Decimal(one.old), Decimal(one.new)
    cells: dict[str, Cell] = {
        "period": one.period, "origin_period": one.origin_period, "origin_day": one.origin_day,
        "outlet": one.outlet, "product": one.product, "figure": one.figure, "unit": one.unit,
        "old": old, "new": new, "difference": new - old, "cause": one.cause,
        "source_file": one.source_file,
    }
    return cells
