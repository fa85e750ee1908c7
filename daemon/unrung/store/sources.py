"""What came in: exports, the rows that could not be read, and the spans they cover."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields
from operator import attrgetter

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
    fields_digest: str = ""
    scope: str = ""
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


_WRITTEN = tuple(field.name for field in fields(SourceRow) if field.name != "id")
_INSERT = f"INSERT INTO sources ({', '.join(_WRITTEN)}) VALUES ({', '.join('?' * len(_WRITTEN))})"
_values = attrgetter(*_WRITTEN)


def add_source(db: Database, source: SourceRow) -> int:
    """Write ``source`` down and return its id; call within a write transaction."""
    source.id = int(str(db.execute(_INSERT, _values(source)).lastrowid))
    return source.id


def update_source(db: Database, source_id: int, **changes: object) -> None:
    told = ", ".join(f"{name} = ?" for name in changes)
    db.execute(f"UPDATE sources SET {told} WHERE id = ?", [*changes.values(), source_id])


def known(db: Database, feed: str, sha256: str) -> SourceRow | None:
    """The export with these bytes that was taken in or set aside, if there is one."""
    return next(_sources(
        db, "feed = ? AND sha256 = ? AND state IN ('taken', 'set_aside') ORDER BY id DESC LIMIT 1",
        feed, sha256), None)


def known_duplicate(db: Database, feed: str, sha256: str, name: str, mtime_ms: int) -> SourceRow | None:
    """The entry of this very file, where it was known to be one that came before."""
    return next(_sources(
        db, "feed = ? AND sha256 = ? AND state = 'duplicate' AND name = ? AND mtime_ms = ? LIMIT 1",
        feed, sha256, name, mtime_ms), None)


def newest_named(db: Database, feed: str, name: str) -> SourceRow | None:
    """The last export of this name that was taken in and held a row."""
    return next(_sources(
        db, "feed = ? AND name = ? AND state = 'taken' AND rows > rejected ORDER BY id DESC LIMIT 1",
        feed, name), None)


def of_the_same_time(db: Database, feed: str, first_ms: int, last_ms: int) -> list[SourceRow]:
    """The newest few exports of a feed that were taken in and hold rows of this time."""
    return list(_sources(
        db, "feed = ? AND state = 'taken' AND rows > rejected AND first_ms <= ? AND last_ms >= ? "
        "ORDER BY id DESC LIMIT 5", feed, last_ms, first_ms))


def first_source(db: Database) -> SourceRow | None:
    """The export that came first of all."""
    return next(_sources(db, "true ORDER BY id LIMIT 1"), None)


def newest_taken(db: Database, feed: str) -> SourceRow | None:
    """The last export of a feed that was taken in and kept."""
    return next(_sources(
        db, "feed = ? AND state = 'taken' AND kept_as <> '' ORDER BY id DESC LIMIT 1", feed), None)


def lags_ms(db: Database, feed: str, most: int = 28) -> list[int]:
    """How far from its last row each of the newest exports taken in was written, milliseconds."""
    rows = db.query(
        "SELECT abs(min(mtime_ms, received_ms) - last_ms) AS lag FROM sources WHERE feed = ? "
        "AND state = 'taken' AND last_ms IS NOT NULL ORDER BY id DESC LIMIT ?", [feed, most])
    return [row["lag"] for row in rows]


def last_come(db: Database, feed: str) -> tuple[str, int] | None:
    """Name and time of the last export that came in at all."""
    rows = db.query("SELECT name, received_ms FROM sources WHERE feed = ? ORDER BY id DESC LIMIT 1", [feed])
    return next(((row["name"], row["received_ms"]) for row in rows), None)


def newest_source(db: Database, feeds: Iterable[str]) -> int:
    """Number of the last export of ``feeds`` that was taken in; 0 where there is none."""
    names = list(feeds)
    marks = ",".join("?" * len(names))
    row = db.execute(
        f"SELECT max(id) FROM sources WHERE state = 'taken' AND feed IN ({marks})", names).fetchone()
    return row[0] or 0


def set_aside_ones(db: Database, feed: str) -> list[SourceRow]:
    """Exports of a feed that stand set aside."""
    return list(_sources(db, "feed = ? AND state = 'set_aside' ORDER BY id", feed))


def with_waiting_rows(db: Database, feed: str) -> list[SourceRow]:
    """Exports of a feed, taken in or set aside, of which a bad row waits."""
    return list(_sources(
        db, "feed = ? AND EXISTS (SELECT 1 FROM rejects r WHERE r.source = sources.id "
        "AND r.state = 'waiting') ORDER BY id", feed))


def let_go(db: Database, source_id: int) -> None:
    """A person took the file of a set-aside export away: it and its rows wait no longer."""
    db.execute("UPDATE sources SET state = 'gone' WHERE id = ?", [source_id])
    db.execute(
        "UPDATE rejects SET state = 'accepted' WHERE source = ? AND state = 'waiting'", [source_id])


def later_spans(db: Database, feed: str, source_id: int) -> list[tuple[int, int]]:
    """Spans of the feed's exports that came in after this one."""
    rows = db.query(
        "SELECT cover_from_ms AS lo, cover_to_ms AS hi FROM sources WHERE feed = ? AND id > ? "
        "AND state = 'taken' AND cover_to_ms IS NOT NULL", [feed, source_id],
    )
    return [(row["lo"], row["hi"]) for row in rows]


def seen_in_place(db: Database, feed: str) -> set[tuple[str, int, int]]:
    """(name, size, mtime) of files that stay where they are and need no second look."""
    rows = db.query("SELECT name, size, mtime_ms FROM sources WHERE feed = ?", [feed])
    return {(row["name"], row["size"], row["mtime_ms"]) for row in rows}


def to_read_again(
    db: Database, feed: str, mapping_digest: str, fields_digest: str = "", anew: Iterable[int] = ()
) -> list[SourceRow]:
    """Exports with rows that wait, or set aside whole, last read with other settings; given a
    ``fields_digest``, those whose rows have another identity since; and those among ``anew``."""
    return list(_sources(
        db, "feed = ? AND mapping_digest <> ? AND via = 'folder' AND (state = 'set_aside' OR "
        "state = 'taken' AND (? NOT IN ('', fields_digest) OR EXISTS (SELECT 1 FROM rejects r "
        "WHERE r.source = sources.id AND r.state = 'waiting') OR id IN (SELECT value FROM json_each(?)))) "
        "ORDER BY id", feed, mapping_digest, fields_digest, json.dumps(sorted(anew)),
    ))


def add_rejects(db: Database, source: SourceRow, rejects: Iterable[Reject]) -> None:
    """Keep rows aside with their reasons; earlier ones of the same export are replaced."""
    db.execute("DELETE FROM rejects WHERE source = ? AND state = 'waiting'", [source.id])
    db.table("rejects").insert_all(
        {
            "source": source.id, "feed": source.feed, "line": reject.line, "field": reject.field,
            "value": reject.value[:200], "reason": reject.reason, "fix": reject.fix,
            "cells": _cells(reject), "state": "waiting",
        }
        for reject in rejects
    )


def rejects_of(db: Database, source_id: int) -> list[Reject]:
    """The rows of an export that wait, as they were put down."""
    rows = db.query(
        "SELECT line, field, value, reason, fix, cells FROM rejects WHERE source = ? "
        "AND state = 'waiting' ORDER BY id", [source_id],
    )
    return [Reject(**{**row, "cells": json.loads(row["cells"])}) for row in rows]


def waiting_rows(db: Database, feed: str) -> int:
    """How many rows of a feed wait for a person."""
    found: int = db.execute(
        "SELECT count(*) FROM rejects WHERE feed = ? AND state = 'waiting'", [feed]).fetchone()[0]
    return found


def earlier_waiting(db: Database, source: SourceRow) -> list[SourceRow]:
    """Earlier exports of the feed, taken in, with rows that wait."""
    return list(_sources(
        db, "feed = ? AND id < ? AND state = 'taken' AND EXISTS (SELECT 1 FROM rejects r "
        "WHERE r.source = sources.id AND r.state = 'waiting')", source.feed, source.id))


def replace_rejects(db: Database, older: int, rejects: Iterable[Reject] | None) -> None:
    """Rows of an older export wait no longer, since a newer one brought them again: all of them, or
    those that equal one of ``rejects``."""
    if rejects is None:
        db.execute("DELETE FROM rejects WHERE source = ? AND state = 'waiting'", [older])
        return
    for reject in rejects:
        db.execute(
            "DELETE FROM rejects WHERE source = ? AND state = 'waiting' AND field = ? AND value = ? "
            "AND cells = ?", [older, reject.field, reject.value[:200], _cells(reject)],
        )


def cover_spans(db: Database, feeds: Iterable[str], lo_ms: int, hi_ms: int) -> list[tuple[int, int]]:
    """Spans of accepted exports and complete polls of ``feeds`` that touch [lo, hi), in time order."""
    names = list(feeds)
    marks = ",".join("?" * len(names))
    values = [*names, lo_ms, hi_ms]
    rows = db.query(
        f"SELECT cover_from_ms AS lo, cover_to_ms AS hi FROM sources WHERE state = 'taken' "
        f"AND feed IN ({marks}) AND cover_to_ms > ? AND cover_from_ms < ? UNION ALL "
        f"SELECT from_ms, to_ms FROM poll_spans WHERE feed IN ({marks}) AND to_ms > ? AND from_ms < ? "
        "ORDER BY 1, 2",
        [*values, *values],
    )
    return [(row["lo"], row["hi"]) for row in rows]


def feeds_besides(db: Database, names: Iterable[str]) -> list[str]:
    """Feeds that gave rows and are none of ``names``."""
    known = list(names)
    rows = db.query(f"SELECT DISTINCT feed FROM sources WHERE feed NOT IN ({','.join('?' * len(known))}) "
                    "AND state = 'taken' AND rows > 0 ORDER BY feed", known)
    return [row["feed"] for row in rows]


def kind_of_feed(db: Database, feed: str) -> str:
    """Of the rows that it gave last; empty where none of them stands."""
    row = db.execute(
        "SELECT kind FROM movements WHERE superseded_by IS NULL AND source IN (SELECT id FROM sources "
        "WHERE feed = ? AND state = 'taken' AND new_rows > 0 ORDER BY id DESC LIMIT 20) LIMIT 1", [feed],
    ).fetchone()
    return str(row[0]) if row else ""


def came_between(db: Database, feed: str) -> tuple[int, int] | None:
    """When the first and the last export of a feed that was taken in came; None where none did."""
    first, last = db.execute("SELECT min(received_ms), max(received_ms) FROM sources WHERE feed = ? "
                             "AND state = 'taken'", [feed]).fetchone()
    return None if first is None else (first, last)


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


def _cells(reject: Reject) -> str:
    return json.dumps(reject.cells, ensure_ascii=False)


def _sources(db: Database, where: str, *values: object) -> Iterator[SourceRow]:
    for row in db.query(f"SELECT * FROM sources WHERE {where}", list(values)):
        yield SourceRow(**row)
