"""unmatched-D.csv: each pour, ring unit and log entry without a partner, and its source line."""

from __future__ import annotations

from unrung.business_day import local_iso, utc_iso
from unrung.issue.cells import volume
from unrung.issue.glossary import day_column, outlet_column, product_column, unit_column
from unrung.issue.shown import thousandths
from unrung.issue.table import (
    LOCAL_FORMAT,
    UTC_FORMAT,
    Cell,
    Column,
    Row,
    Table,
    choice,
    count,
    moment,
    number,
    text,
)
from unrung.ledger.results import DayLedger, Lone
from unrung.settings import Settings


def unmatched_table(ledger: DayLedger, settings: Settings) -> Table:
    """One row each, in order of time. Each volume is rounded by itself."""
    rows = [
        _cells(lone, ledger.day.isoformat(), settings)
        for lone in sorted(ledger.lone, key=_order)
    ]
    title = "Pours, rings and log entries without a partner"
    return Table("unmatched", title, _columns(settings), rows)


def _columns(settings: Settings) -> tuple[Column, ...]:
    return (
        day_column(),
        choice("kind", "What found no partner.", ("pour", "ring", "log")),
        outlet_column(), product_column(),
        text("tap", "Tap of a pour or log entry."),
        moment("at_local", "When, local time with its offset; rings by the corrected clock.",
               LOCAL_FORMAT),
        moment("at_utc", "The same moment in UTC.", UTC_FORMAT),
        number("volume", "What was poured, rung or written down without a partner."),
        unit_column(settings),
        Column("uncertain", "boolean", "Another one of the same size and moments may be the one "
               "without a partner: totals hold, this row may not.",
               constraints={"required": True}),
        text("source_feed", "Feed it came from."),
        text("source_file", "File or request it came from."),
        count("source_line", "Line (CSV, 1 is the header) or ordinal of the row (JSON)."),
        text("source_id", "The source's own id of the row."),
        text("finding", "Finding that it is part of, if any."),
    )


def _cells(lone: Lone, day: str, settings: Settings) -> Row:
    unit = settings.venue.volume_unit
    cells: dict[str, Cell] = {
        "business_day": day, "kind": lone.kind, "outlet": lone.outlet, "product": lone.product,
        "tap": lone.tap, "at_local": local_iso(lone.at_ms, settings.venue.timezone),
        "at_utc": utc_iso(lone.at_ms), "volume": volume(thousandths(lone.volume_ul, unit)),
        "unit": unit, "uncertain": lone.uncertain, "source_feed": lone.source_feed,
        "source_file": lone.source_file, "source_line": lone.source_line,
        "source_id": lone.source_id, "finding": lone.finding,
    }
    return cells


def _order(lone: Lone) -> tuple[object, ...]:
    """By content alone, so that rows given in another order print the same bytes."""
    return (
        lone.at_ms, lone.kind, lone.outlet, lone.product, lone.tap, lone.source_feed,
        lone.source_file, lone.source_line, lone.source_id, lone.volume_ul, lone.uncertain,
        lone.finding,
    )
