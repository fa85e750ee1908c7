"""The tables of an export: every column with its type, where its value comes from and what it says.

Units are those of the store: volumes whole microlitres (``_ul``), quantities millionths of one
(``_micro``), money whole minor units of the venue's currency (``_minor``); times are UTC, to the
millisecond. ``venue`` and ``day`` (the business day) stand in the names of the folders.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from unrung.ledger.results import COMPONENTS

Kind = Literal["text", "whole", "time"]
Table = Literal["movements", "coverage", "leaves", "edges"]


class Column(NamedTuple):
    """One column of an exported table."""

    name: str
    kind: Kind
    of: str
    """The store's own name of it."""
    says: str
    needed: bool = True
    """False where a row may have none."""


def _text(name: str, says: str, of: str = "") -> Column:
    return Column(name, "text", of or name, says)


def _maybe(name: str, kind: Kind, says: str, of: str = "") -> Column:
    return Column(name, kind, of or name, says, needed=False)


MOVEMENTS = (
    Column("id", "whole", "id", "Number of the row in the venue's store."),
    _text("kind", "ring, pour, reading, keg or log."),
    _text("feed", "Name of the feed it came by."),
    Column("source", "whole", "source", "Number of the export it came in."),
    _text("source_file", "Name of that export: a file, or a request."),
    Column("line", "whole", "line", "Line in a CSV (1 is the header), number of the row in JSON."),
    _text("ref", "The source's own id of the row; empty where it has none."),
    _maybe("at", "time", "What the row counts by; of a pour, its end.", "at_ms"),
    _maybe("start", "time", "Start of a pour.", "start_ms"),
    _maybe("end", "time", "End of a log entry's span.", "end_ms"),
    _maybe("untimed_day", "text", "Business day of an entry that was written without a time.", "day"),
    _text("at_text", "The time as the source wrote it."),
    _text("what", "Kind of ring or keg event; reason of a log entry."),
    _text("outlet", "As the source has it; empty where a tap says it."),
    _text("tap", "Tap or meter, as the source has it."),
    _text("product", "Of keg events and log entries. A ring's is found by its menu item."),
    _text("item", "Menu item."),
    _text("size", "Size of the menu item."),
    _text("price_level", "Price level of the menu item."),
    _text("modifier", "Modifier of the menu item."),
    _maybe("units_micro", "whole", "Quantity in millionths of one."),
    _maybe("amount_minor", "whole", "What the line came to."),
    _maybe("tax_minor", "whole", "Tax in it."),
    _text("check_no", "Number of the check."),
    _text("terminal", "Terminal of the till."),
    _maybe("voided", "time", "When the line was voided.", "voided_ms"),
    _text("voids_ref", "The ref of the earlier line that this one takes back."),
    _maybe("volume_ul", "whole", "Volume of a pour, reading or log entry."),
    _maybe("pulses", "whole", "Raw count, where the meter writes pulses."),
    _maybe("more", "text", "JSON: what only keg events have."),
)
STAFF = _text("staff", "Name of staff; the column is there only where the venue keeps names.")
COVERAGE = (
    _text("feed", "Name of the feed."),
    Column("start", "time", "from_ms", "From here on its silence means that nothing happened."),
    Column("end", "time", "to_ms", "Up to here."),
)
LEAVES = (
    Column("window_start", "time", "window_start_ms", "Start of the time window."),
    Column("window_minutes", "whole", "window_minutes", "Its length."),
    _text("outlet", "Outlet, or pool."),
    _text("product", "Product."),
    *(Column(f"{name}_ul", "whole", name, f"The ledger's {name.replace('_', ' ')}.")
      for name in COMPONENTS),
    Column("serves", "whole", "serves", "Serves whose pour ended here."),
    Column("units_rung_micro", "whole", "units_rung_micro", "Ring units in millionths."),
    Column("comp_units_micro", "whole", "comp_units_micro", "Of these, comps."),
    Column("net_sales_minor", "whole", "net_sales_minor", "Net sales."),
    _text("status", "Of the day: final, incomplete or provisional."),
)
EDGES = (
    Column("unit", "whole", "unit", "A ring unit that crosses the edge after a closed period."),
    _text("goes_to", "The side that it belongs to: early or late.", "goes_to"),
)


def columns_of(table: Table, *, staff: bool = False) -> tuple[Column, ...]:
    """The columns of ``table``; those of movements with names of ``staff`` only where asked."""
    all_of: dict[Table, tuple[Column, ...]] = {
        "movements": (*MOVEMENTS, STAFF) if staff else MOVEMENTS,
        "coverage": COVERAGE, "leaves": LEAVES, "edges": EDGES,
    }
    return all_of[table]
