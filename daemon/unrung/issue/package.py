"""datapackage.json: what each issued file is, column by column (Frictionless Data Package)."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

from unrung.issue.csv_bytes import decimal_mark
from unrung.issue.table import Column, ColumnType, Table
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
    }
    resources = [_resource(path, table, files[path], settings) for path, table in tables]
    return (_with_last(_text(descriptor), "resources", _listed(resources)) + "\n").encode("utf-8", "replace")


def _text(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, indent=2)


def _with_last(text: str, name: str, value: str) -> str:
    """An object's text with one more member; ``value``: its text. Most of a descriptor is the same day after
    day, and is not made anew."""
    return f'{text[:-2]},\n  "{name}": {_indented(value)}\n}}'


def _listed(texts: Sequence[str]) -> str:
    """A list's text from those of its values."""
    return "[\n  " + ",\n  ".join(map(_indented, texts)) + "\n]" if texts else "[]"


def _indented(text: str) -> str:
    """JSON escapes every line break inside a text."""
    return text.replace("\n", "\n  ")


def _resource(path: str, table: Table, content: bytes, settings: Settings) -> str:
    resource = {
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
    }
    return _with_last(_text(resource), "schema", _schema(table, decimal_mark(settings.files)))


def _schema(table: Table, mark: str) -> str:
    fields = [_field_of(column, mark) for column in table.columns]
    rest: dict[str, Any] = {"missingValues": [""]}
    if table.primary_key:
        rest["primaryKey"] = list(table.primary_key)
    return f'{{\n  "fields": {_indented(_listed(fields))},\n' + _text(rest).removeprefix("{\n")


def _field_of(column: Column, mark: str) -> str:
    constraints = tuple(
        (name, tuple(value) if isinstance(value, list) else value)
        for name, value in column.constraints.items()
    )
    return _field(column.name, column.type, column.description, column.format, constraints, mark)


@lru_cache(maxsize=1024)
def _field(
    name: str, kind: ColumnType, description: str, fmt: str, constraints: tuple[tuple[str, object], ...],
    mark: str,
) -> str:
    found: dict[str, Any] = {"name": name, "type": kind, "description": description}
    if fmt:
        found["format"] = fmt
    if kind == "number" and mark != ".":
        found["decimalChar"] = mark
    if kind == "boolean":
        found |= {"trueValues": ["true"], "falseValues": ["false"]}
    return _text(found | ({"constraints": dict(constraints)} if constraints else {}))
