"""The page of the export's columns, made from the columns themselves."""

from __future__ import annotations

from collections.abc import Iterator
from typing import get_args

from unrung.parquet.columns import Column, Table, columns_of

_TYPES = {"text": "string", "whole": "int64", "time": "timestamp (ms, UTC)"}
_WORDS: dict[Table, str] = {
    "movements": "Every current row that the venue took in, rings and pours and all. Rows that a later "
    "export replaced are left out.",
    "coverage": "The spans in which a feed's silence means that nothing happened, cut at the day's edges.",
    "leaves": "The ledger as issued: a row per time window, outlet and product. Totals are sums of these.",
    "edges": "Only after the last day of a closed month: which rings cross its edge, settled for good.",
}


def reference() -> str:
    """The tables as Markdown."""
    return "\n".join(line for table in get_args(Table) for line in _table(table))


def _table(table: Table) -> Iterator[str]:
    yield from (f"### {table}", "", _WORDS[table], "", "| column | type | what it says |", "|---|---|---|")
    yield from map(_row, columns_of(table, staff=True))
    yield ""


def _row(column: Column) -> str:
    empty = "" if column.needed else " May be null."
    return f"| `{column.name}` | {_TYPES[column.kind]} | {column.says}{empty} |"
