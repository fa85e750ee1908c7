"""till-D.csv: ties the ledger's units to the till's own day total, per outlet."""

from __future__ import annotations

from unrung.issue.cells import units
from unrung.issue.glossary import day_column, outlet_column
from unrung.issue.table import Cell, Row, Table, number
from unrung.ledger.results import DayLedger, TillRow

_UNITS = {
    "till_units": "Units on the till's lines of the day, of every item.",
    "voids": "Units voided; taken off.",
    "comps": "Units given away and rung as such; part of units_rung, shown only.",
    "training": "Units rung in training; taken off.",
    "carried_in": "Units of another day's lines whose pour ended on this day; added.",
    "carried_out": "Units of this day's lines whose pour ended on another day; taken off.",
    "not_draught": "Units of items that are not draught beer; taken off.",
    "unknown_item": "Units of items that the menu table does not list; taken off.",
    "units_rung": "till_units - voids - training - not_draught - unknown_item + carried_in - "
    "carried_out.",
}


def till_table(ledger: DayLedger) -> Table:
    """One row per outlet. Units are printed exactly, so every row foots."""
    rows = [_cells(one, ledger.day.isoformat()) for one in sorted(ledger.till, key=_outlet)]
    columns = (
        day_column(), outlet_column(), *(number(name, said) for name, said in _UNITS.items())
    )
    title = "From the till's own total to the units in the ledger"
    return Table("till", title, columns, rows, ("business_day", "outlet"))


def _outlet(one: TillRow) -> str:
    return one.outlet


def _cells(one: TillRow, day: str) -> Row:
    cells: dict[str, Cell] = {"business_day": day, "outlet": one.outlet}
    return cells | {name: units(getattr(one, name)) for name in _UNITS}
