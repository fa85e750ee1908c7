"""Small exports and mappings for the tests of the readers."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from unrung.mapping import Formats, Mapping
from unrung.records import AnyRecord, Export, Reject
from unrung_adapters import csv_rows, json_rows
from unrung_adapters.notes import ReadNotes

OUTSIDE = Path(__file__).parent.parent / "data" / "outside"
RECEIVED = datetime(2026, 11, 25, 12, tzinfo=UTC)
ZONE = "America/New_York"

FIELDS: dict[str, dict[str, Any]] = {
    "rings": {"at": "at", "item": "item", "units": "units", "amount": "amount", "id": "id"},
    "pours": {"tap": "tap", "start": "start", "end": "end", "volume": "volume"},
    "readings": {"meter": "meter", "at": "at", "total": "total"},
    "kegs": {"at": "at", "kind": "kind", "product": "product", "size": "size"},
    "log": {"at": "at", "reason": "reason", "product": "product", "volume": "volume"},
}
FORMATS: dict[str, dict[str, Any]] = {
    "rings": {},
    "pours": {"volume_unit": "us_fl_oz"},
    "readings": {"volume_unit": "l"},
    "kegs": {"kinds": {"on": ["tapped"], "delivery": ["arrived"]}},
    "log": {"volume_unit": "us_fl_oz", "kinds": {"waste": ["spilt"], "staff": ["shift drink"]}},
}


def utc_ms(text: str) -> int:
    """UTC milliseconds of an ISO time with an offset."""
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def mapping(carries: str = "rings", fields: dict[str, Any] | None = None, **settings: Any) -> Mapping:
    """A mapping with the fields above; ``settings`` are those of Mapping or of its formats."""
    own = {name: settings.pop(name) for name in list(settings) if name in Mapping.model_fields}
    formats = Formats(**{**FORMATS[carries], **settings})
    chosen = FIELDS[carries] if fields is None else fields
    return Mapping(
        **{"feed": "till", "carries": carries, "fields": chosen, "formats": formats, "zone": ZONE, **own}
    )


def export(content: str | bytes, name: str = "sales.csv") -> Export:
    data = content.encode() if isinstance(content, str) else content
    return Export(name, data, round(RECEIVED.timestamp() * 1000))


def read_csv(
    content: str | bytes, chosen: Mapping, notes: ReadNotes | None = None
) -> list[AnyRecord | Reject]:
    return list(csv_rows.read(export(content), chosen, notes))


def read_json(
    document: Any, chosen: Mapping, notes: ReadNotes | None = None
) -> list[AnyRecord | Reject]:
    """``document``: text and bytes as they are, anything else dumped."""
    content = document if isinstance(document, str | bytes) else json.dumps(document)
    return list(json_rows.read(export(content, "sales.json"), chosen, notes))


def one(rows: list[AnyRecord | Reject]) -> Any:
    """The only row."""
    (row,) = rows
    return row
