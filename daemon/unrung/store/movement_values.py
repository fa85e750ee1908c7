"""A record as the values of a row of ``movements``."""

from __future__ import annotations

import json
from typing import Any

from unrung.records import AnyRecord, KegEvent, LogEntry, Pour, Reading, Ring

COLUMNS = (
    "kind", "feed", "ident", "source", "line", "ref", "version", "raw", "at_ms", "start_ms",
    "end_ms", "day", "at_text", "what", "outlet", "tap", "product", "item", "size", "price_level",
    "modifier", "units_micro", "amount_minor", "tax_minor", "check_no", "terminal", "staff",
    "voided_ms", "voids_ref", "volume_ul", "pulses", "more",
)
CONTENT = COLUMNS[0:1] + COLUMNS[7:]
"""What makes two receipts of a row equal: all but where it was received."""
NEEDED = {*COLUMNS[:9], "at_text"}
"""Columns that every row has a value for."""
NUMBERS = {
    "start_ms", "end_ms", "day", "units_micro", "amount_minor", "tax_minor", "voided_ms", "volume_ul",
    "pulses", "more",
}  # fmt: skip
"""Of the others, those that are null where a row has none; the rest are then empty."""

Values = tuple[Any, ...]
"""In the order of COLUMNS."""


def values_of(record: AnyRecord, feed: str, ident: bytes, source: int) -> Values:
    """The column values of ``record``, in the order of COLUMNS."""
    head = (feed, ident, source, record.line, record.ref, record.version, record.raw)
    match record:
        case Ring():
            return (
                "ring", *head, record.at_ms, None, None, None, record.at_text, record.kind,
                record.outlet, "", "", record.item, record.size, record.price_level,
                record.modifier, record.units_micro, record.amount_minor, record.tax_minor,
                record.check, record.terminal, record.staff, record.voided_ms, record.voids_ref,
                None, None, None,
            )
        case Pour():
            return (
                "pour", *head, record.end_ms, record.start_ms, None, None, record.at_text, "", "",
                record.tap, "", "", "", "", "", None, None, None, "", "", "", None, "",
                record.volume_ul, record.pulses, None,
            )
        case Reading():
            return (
                "reading", *head, record.at_ms, None, None, None, record.at_text, "", "",
                record.meter, "", "", "", "", "", None, None, None, "", "", "", None, "",
                record.total_ul, record.pulses, None,
            )
        case LogEntry():
            return (
                "log", *head, record.at_ms, None, record.end_ms, record.day or None,
                record.at_text, record.reason, record.outlet, record.tap, record.product,
                record.item, "", "", "", record.units_micro, None, None, "", "", "", None, "",
                record.volume_ul, None, None,
            )
        case KegEvent():
            more = record.model_dump(
                include={"keg", "size_ul", "part_ul", "gross_g", "tare_g", "cost_minor", "to_outlet"}
            )
            return (
                "keg", *head, record.at_ms, None, None, None, record.at_text, record.kind,
                record.outlet, record.tap, record.product, "", "", "", "", record.units_micro,
                None, None, "", "", "", None, "", None, None, json.dumps(more),
            )
