"""Records as rows of ``movements``: what of a record stands in which column."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from itertools import chain, repeat
from typing import Any

from unrung.records import AnyRecord, KegEvent, LogEntry, Pour, Reading, Record, Ring

COLUMNS = (
    "kind", "feed", "ident", "source", "line", "ref", "version", "raw", "at_ms", "start_ms",
    "end_ms", "day", "at_text", "what", "outlet", "tap", "product", "item", "size", "price_level",
    "modifier", "units_micro", "amount_minor", "tax_minor", "check_no", "terminal", "staff",
    "voided_ms", "voids_ref", "volume_ul", "pulses", "more",
)
CONTENT = COLUMNS[0:1] + COLUMNS[7:]
"""What makes two receipts of a row equal: all but where it was received."""
OWN = {"feed", "ident", "source", *COLUMNS[4:8], "at_text"}
"""Columns that no record leaves to a default."""
NUMBERS = {
    "at_ms", "start_ms", "end_ms", "day", "units_micro", "amount_minor", "tax_minor", "voided_ms",
    "volume_ul", "pulses", "more",
}  # fmt: skip
"""Those that are null where a row has none; others are then empty."""

Values = tuple[Any, ...]
"""In the order of COLUMNS."""
Columns = dict[str, Sequence[Any]]
"""Column to its values, one a row; a column that is not here is null or empty in every row."""

_KINDS: dict[type[Record], tuple[str, dict[str, str]]] = {
    Ring: ("ring", {"kind": "what", "check": "check_no"}),
    Pour: ("pour", {"end_ms": "at_ms"}),
    Reading: ("reading", {"meter": "tap", "total_ul": "volume_ul"}),
    KegEvent: ("keg", {"kind": "what"}),
    LogEntry: ("log", {"reason": "what"}),
}
"""Record to its word and to the columns that have another name than its field."""
_MORE = ("keg", "size_ul", "part_ul", "gross_g", "tare_g", "cost_minor", "to_outlet")
"""Fields of keg events that stand together in ``more``."""


def columns_of(kind: type[Record], fields: Mapping[str, Sequence[Any]]) -> Columns:
    """The columns of records of one kind, all but ``feed``, ``ident`` and ``source``; ``fields``: the values
    of each field, which has its default where it is not there. ``line`` is always there."""
    word, names = _KINDS[kind]
    count = len(fields["line"])
    whole = {name: field.get_default() for name, field in kind.model_fields.items() if name not in fields}
    values = dict(fields) | {name: [one] * count for name, one in whole.items() if one not in ("", None)}
    if kind is KegEvent:
        more = [values.pop(name, [whole.get(name)] * count) for name in _MORE]
        values["more"] = [json.dumps(dict(zip(_MORE, row, strict=True))) for row in zip(*more, strict=True)]
    if "day" in values:
        values["day"] = [day or None for day in values["day"]]
    return {"kind": [word] * count, **{names.get(name, name): column for name, column in values.items()}}


def joined(parts: Sequence[Columns]) -> Columns:
    """The rows of ``parts`` one after the other."""
    if len(parts) == 1:
        return parts[0]
    names = dict.fromkeys(name for part in parts for name in part)
    return {name: list(chain.from_iterable(column(part, name) for part in parts)) for name in names}


def column(columns: Columns, name: str) -> Sequence[Any]:
    """The values of a column, whether it is there or null or empty in every row."""
    return columns[name] if name in columns else [_nothing(name)] * len(columns["line"])


def rows_of(columns: Columns, feed: str, idents: Sequence[bytes], source: int) -> list[Values]:
    """The rows of an export with their identities."""
    whole: dict[str, Any] = {"feed": repeat(feed), "ident": idents, "source": repeat(source), **columns}
    return list(zip(*(whole.get(name, repeat(_nothing(name))) for name in COLUMNS), strict=False))


def values_of(record: AnyRecord, feed: str, ident: bytes, source: int) -> Values:
    """The row of one record."""
    fields = {name: [getattr(record, name)] for name in type(record).model_fields}
    return rows_of(columns_of(type(record), fields), feed, [ident], source)[0]


def _nothing(name: str) -> str | None:
    return None if name in NUMBERS else ""
