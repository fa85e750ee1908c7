"""Readers of export shapes. The built-in ones stand in a plain table; outsiders use entry points."""

from __future__ import annotations

ADAPTERS = {
    "csv": "unrung_adapters.csv_rows:read",
    "json": "unrung_adapters.json_rows:read",
}
"""Name → "module:function". The function is ``read(export, mapping) -> Iterator[Record | Reject]``:
pure (no network, store or clock); it raises ``ExportError`` where the file as a whole is unusable."""
