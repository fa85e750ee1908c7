"""Readers of export shapes. The built-in ones stand in a plain table; outsiders use entry points."""

from __future__ import annotations

ADAPTERS = {
    "csv": "unrung_adapters.csv_rows:read",
    "json": "unrung_adapters.json_rows:read",
}
"""Name → "module:function". The function is
``read(export, mapping, notes=None) -> Iterator[Record | Reject]``: pure (no network, store or clock).
It counts in ``notes`` (``unrung_adapters.notes.ReadNotes``) and raises ``ExportError`` where the file
as a whole is unusable, ``IncompleteExport`` where it looks cut off, ``ConfigError`` where the mapping
itself is wrong."""

BATCHES = {
    "csv": "unrung_adapters.csv_rows:batches",
    "json": "unrung_adapters.json_rows:batches",
}
"""The same rows in batches (``unrung.records.Batch``), for intake: of those that are in ADAPTERS. An
adapter that gives row after row only is as good, and slower."""
