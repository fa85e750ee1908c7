"""windows-D.csv: one row per time window, outlet (or pool) and product: the ledger's leaves."""

from __future__ import annotations

from unrung.business_day import local_iso
from unrung.issue.glossary import (
    day_column,
    figure_columns,
    outlet_column,
    product_column,
    unit_column,
)
from unrung.issue.shown import figure_cells, shown
from unrung.issue.table import LOCAL_FORMAT, Cell, Row, Table, count, moment
from unrung.ledger.results import DayLedger, Leaf
from unrung.settings import Settings

FIGURES = (
    "poured", "rung", "matched_portion", "over_portion", "under_portion", "size_difference",
    "portion_difference", "logged", "poured_not_rung", "voided_after_pour", "rung_not_poured",
    "poured_not_compared", "rung_not_compared", "not_beer", "variance", "serves", "units_rung",
    "comp_units", "comp_volume", "net_sales", "revision",
)


def windows_table(ledger: DayLedger, settings: Settings, revision: int) -> Table:
    """Every leaf, in order of time, outlet and product; volumes rounded here and nowhere later."""
    leaves = sorted(ledger.leaves, key=lambda it: (it.window_start_ms, it.outlet, it.product))
    shared: dict[str, Cell] = {
        "business_day": ledger.day.isoformat(), "unit": settings.venue.volume_unit,
        "revision": revision,
    }
    rows: list[Row] = [shared | _leaf_cells(one, settings) for one in leaves]
    figures = figure_columns(settings)
    columns = (
        day_column(), outlet_column(), product_column(),
        moment("window_start", "Start of the window, local time with its offset.", LOCAL_FORMAT),
        count("window_minutes", "Length of the window, in minutes.", minimum=1),
        unit_column(settings), *(figures[name] for name in FIGURES),
    )
    key = ("window_start", "outlet", "product")
    return Table("windows", "Poured against rung, by time window", columns, rows, key)


def _leaf_cells(one: Leaf, settings: Settings) -> dict[str, Cell]:
    displayed = shown(one.volumes, settings.venue.volume_unit)
    return {
        "outlet": one.outlet, "product": one.product,
        "window_start": local_iso(one.window_start_ms, settings.venue.timezone),
        "window_minutes": one.window_minutes,
        **figure_cells(displayed, one.counts, settings.currency_digits),
    }
