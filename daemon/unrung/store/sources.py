"""What came in: exports, the rows that could not be read, and the spans they cover."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass

from sqlite_utils import Database

from unrung.records import Reject


@dataclass(slots=True)
class SourceRow:
    """One export as written down in ``sources``; times in UTC milliseconds."""

    feed: str
    name: str
    via: str
    sha256: str
    size: int
    mtime_ms: int
    received_ms: int
    mapping_digest: str
    state: str = "taken"
    reason: str = ""
    kept_as: str = ""
    rows: int = 0
    new_rows: int = 0
    rejected: int = 0
    superseded: int = 0
    skipped: int = 0
    ambiguous: int = 0
    missing: int = 0
    first_ms: int | None = None
    last_ms: int | None = None
    cover_from_ms: int | None = None
    cover_to_ms: int | None = None
    id: int | None = None


def add_source(db: Database, source: SourceRow) -> int:
    """Write ``source`` down and return its id; call within a write transaction."""
    values = {key: value for key, value in asdict(source).items() if key != "id"}
    source.id = int(str(db.table("sources").insert(values).last_pk))
    return source.id


def update_source(db: Database, source_id: int, **changes: object) -> None:
    db.table("sources").update(source_id, changes)


def known(db: Database, feed: str, sha256: str) -> SourceRow | None:
    """The export with these bytes that was taken in or set aside, if there is one."""
    rows = list(
        db.query(
            "SELECT * FROM sources WHERE feed = ? AND sha256 = ? AND state <> 'duplicate' "
            "ORDER BY id DESC LIMIT 1",
            [feed, sha256],
        )
    )
    return SourceRow(**rows[0]) if rows else None


def seen_in_place(db: Database, feed: str) -> set[tuple[str, int, int]]:
    """(name, size, mtime) of files that stay where they are and need no second look."""
    rows = db.query("SELECT name, size, mtime_ms FROM sources WHERE feed = ?", [feed])
    return {(row["name"], row["size"], row["mtime_ms"]) for row in rows}


def to_read_again(db: Database, feed: str, mapping_digest: str) -> list[SourceRow]:
    """Exports with rows that wait, or set aside whole, last read with other settings."""
    rows = db.query(
        "SELECT * FROM sources WHERE feed = ? AND mapping_digest <> ? AND via = 'folder' AND "
        "((state = 'taken' AND EXISTS (SELECT 1 FROM rejects r WHERE r.source = sources.id "
        "AND r.state = 'waiting')) OR state = 'set_aside') ORDER BY id",
        [feed, mapping_digest],
    )
    return [SourceRow(**row) for row in rows]


def add_rejects(db: Database, source: int, feed: str, rejects: Iterable[Reject]) -> None:
    """Keep rows aside with their reasons; earlier ones of the same export are replaced."""
    db.execute("DELETE FROM rejects WHERE source = ? AND state = 'waiting'", [source])
    db.table("rejects").insert_all(
        {
            "source": source, "feed": feed, "line": reject.line, "field": reject.field,
            "value": reject.value[:200], "reason": reject.reason, "fix": reject.fix,
            "cells": json.dumps(reject.cells, ensure_ascii=False), "state": "waiting",
        }
        for reject in rejects
    )


def cover_spans(db: Database, feeds: Iterable[str], lo_ms: int, hi_ms: int) -> list[tuple[int, int]]:
    """Spans of accepted exports and polls of ``feeds`` that touch [lo, hi), in time order."""
    names = list(feeds)
    marks = ",".join("?" * len(names))
    rows = db.query(
        f"SELECT cover_from_ms AS lo, cover_to_ms AS hi FROM sources WHERE state = 'taken' "
        f"AND feed IN ({marks}) AND cover_to_ms > ? AND cover_from_ms < ? ORDER BY 1, 2",
        [*names, lo_ms, hi_ms],
    )
    return [(row["lo"], row["hi"]) for row in rows]


def source_names(db: Database, ids: Iterable[int]) -> dict[int, str]:
    """Source id to the name people know the export by."""
    wanted = sorted(set(ids))
    found: dict[int, str] = {}
    for at in range(0, len(wanted), 500):
        part = wanted[at : at + 500]
        marks = ",".join("?" * len(part))
        for row in db.query(f"SELECT id, name FROM sources WHERE id IN ({marks})", part):
            found[row["id"]] = row["name"]
    return found
