"""datapackage.json: what each issued file is, column by column (Frictionless Data Package)."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

from unrung.issue.csv_bytes import decimal_mark
from unrung.issue.table import Column, Table
from unrung.settings import Settings

GUARD_NOTE = (
    "Text that a spreadsheet would take for a formula carries a leading apostrophe. "
    "A variance is not evidence against a person."
)


def package_bytes(
    name: str, title: str, tables: Sequence[tuple[str, Table]], files: Mapping[str, bytes],
    settings: Settings,
) -> bytes:
    """The descriptor of ``tables``, given with their file names; hashes are of ``files``.

    It holds nothing but what the files and the settings say: no time, no program version.
    """
    descriptor = {
        "profile": "tabular-data-package",
        "name": name,
        "title": title,
        "description": GUARD_NOTE,
        "resources": [_resource(path, table, files[path], settings) for path, table in tables],
    }
    return (json.dumps(descriptor, ensure_ascii=False, indent=2) + "\n").encode("utf-8", "replace")


def _resource(path: str, table: Table, content: bytes, settings: Settings) -> dict[str, Any]:
    return {
        "profile": "tabular-data-resource",
        "name": table.name,
        "title": table.title,
        "path": path,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(content),
        "hash": "sha256:" + hashlib.sha256(content).hexdigest(),
        "dialect": {
            "delimiter": settings.files.csv_delimiter,
            "lineTerminator": "\r\n",
            "quoteChar": '"',
            "doubleQuote": True,
            "skipInitialSpace": False,
            "header": True,
        },
        "schema": _schema(table, decimal_mark(settings.files)),
    }


def _schema(table: Table, mark: str) -> dict[str, Any]:
    schema: dict[str, Any] = {
        "fields": [_field(column, mark) for column in table.columns],
        "missingValues": [""],
    }
    return schema | ({"primaryKey": list(table.primary_key)} if table.primary_key else {})


def _field(column: Column, mark: str) -> dict[str, Any]:
    found: dict[str, Any] = {
        "name": column.name, "type": column.type, "description": column.description,
    }
    if column.format:
        found["format"] = column.format
    if column.type == "number" and mark != ".":
        found["decimalChar"] = mark
    if column.type == "boolean":
        found |= {"trueValues": ["true"], "falseValues": ["false"]}
    return found | ({"constraints": dict(column.constraints)} if column.constraints else {})
