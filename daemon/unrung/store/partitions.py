"""A venue's rows by business day, to carry away, and such rows as a small store of their own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from sqlite_utils import Database

from unrung.store.movement_values import COLUMNS

Row = Mapping[str, Any]

_INSERT = (
    f"INSERT INTO movements (id, {', '.join(COLUMNS)}) VALUES ({', '.join('?' * (len(COLUMNS) + 1))})"
)


def movements_of_day(db: Database, day: date, lo_ms: int, hi_ms: int) -> list[dict[str, Any]]:
    """Current rows with lo <= at_ms < hi, and those written down for ``day`` without a time; each with
    the name of the export that gave it, in a fixed order."""
    return list(db.query(
        "SELECT m.*, s.name AS source_file FROM movements m JOIN sources s ON s.id = m.source "
        "WHERE m.superseded_by IS NULL AND (m.at_ms >= ? AND m.at_ms < ? OR m.day = ?) ORDER BY m.id",
        [lo_ms, hi_ms, day.isoformat()],
    ))


def put_movements(db: Database, rows: Iterable[Row]) -> None:
    """Rows as ``movements_of_day`` gave them, with their numbers, into a store that holds no others;
    call within a write transaction."""
    listed = list(rows)
    names = {row["source"]: row["source_file"] for row in listed}
    db.table("sources").insert_all(
        ({"id": number, "feed": "", "name": name, "via": "", "sha256": "", "size": 0, "mtime_ms": 0,
          "received_ms": 0, "state": "taken", "mapping_digest": ""} for number, name in names.items()),
        ignore=True,
    )
    db.conn.executemany(_INSERT, map(_values, listed))


def put_coverage(db: Database, rows: Iterable[Row]) -> None:
    """Spans that feeds cover; call within a write transaction."""
    db.table("poll_spans").insert_all(
        {"feed": row["feed"], "from_ms": row["from_ms"], "to_ms": row["to_ms"]} for row in rows
    )


def put_sealed_edge(db: Database, day: date, rows: Iterable[Row]) -> None:
    """The edge after ``day``, which ended a closed period; call within a write transaction."""
    text = day.isoformat()
    db.table("months").insert(
        {"period": text, "first_day": text, "last_day": text, "dirty": 0, "closed_ms": 0}
    )
    db.table("sealed_units").insert_all({"day": text, **row} for row in rows)


def _values(row: Row) -> tuple[Any, ...]:
    ident = row["id"].to_bytes(16, "big")
    own = {"ident": ident, "raw": "", "version": "", "staff": ""}
    return (row["id"], *(own[name] if name in own else row[name] for name in COLUMNS))
