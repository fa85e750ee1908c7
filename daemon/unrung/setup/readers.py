"""The project's own readers, asked by setup whether they can read a text.

They are reached by name, as everywhere in the core: it must work with any set of adapters.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from datetime import datetime
from typing import Any, cast

from unrung.errors import UnrungError
from unrung.mapping import Formats, Mapping
from unrung.records import Export

ReadTime = Callable[[str], int | datetime]


def document(name: str, text: str) -> Any:
    """A JSON text as a document whose numbers stay as written. Raises ExportError."""
    return importlib.import_module("unrung_adapters.documents").document(name, text)


def documents_by_line(name: str, text: str) -> list[Any]:
    """A JSON text of a document a line, as their array. Raises ExportError."""
    lines = importlib.import_module("unrung_adapters.json_lines")
    found: list[Any] = lines.documents_by_line(name, text)
    lines.refuse_unread(name, found)
    return found


def unpacked(export: Export, compression: str) -> bytes:
    """The export's bytes without their compression. Raises ExportError."""
    formats = Formats.model_validate({"compression": compression})
    mapping = Mapping(feed="setup", carries="rings", fields={}, formats=formats, zone="UTC")
    return cast(bytes, importlib.import_module("unrung_adapters.unpack").unpacked(export, mapping))


def time_reader(form: str) -> ReadTime | None:
    """The reader of a time form that gives None for what it cannot read; None for no form at all."""
    try:
        read = importlib.import_module("unrung_adapters.time_text").time_reader(form)
    except (UnrungError, ValueError):
        return None
    return cast(ReadTime, read)


def instant(read: ReadTime, text: str) -> int | datetime | None:
    """What ``read`` makes of ``text``: UTC milliseconds, a local time, or None."""
    try:
        return read(text)
    except ValueError:
        return None
