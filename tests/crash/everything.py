"""All that lasts of a venue, by content: every table of its store, every file, no row numbers."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path
from typing import Any

from venue_folder import VenueFolder

PLACES = ("issued", "archive", "set_aside", "exports", "backups")
OURS = ("unrung.sqlite", ".unrung.", "unrung.log")
"""The store, which is compared by its tables, with what SQLite keeps beside it; the lock; the log."""
PARENTS = {"source": "sources", "superseded_by": "sources", "outbox": "outbox"}
"""Columns that hold the row number of another table's row."""
NAMED_BY = {"sources": "feed || '/' || name || '/' || sha256 || '/' || state", "outbox": "key"}

Table = list[tuple[Any, ...]]


def everything(venue: VenueFolder) -> dict[str, object]:
    """Tables by name and files by path. Backups are compared by their tables too."""
    found: dict[str, object] = dict(tables(venue.path / "unrung.sqlite"))
    found["files"] = {name: data for name, data in files(venue).items() if not name.startswith("backups/")}
    for path in sorted((venue.path / "backups").glob("*.sqlite")):
        found[path.name] = tables(path)
    found["names"] = names(venue)
    return found


def tables(store: Path) -> dict[str, Table]:
    """Rows of every table in an order of their own; row numbers give way to what they stand for."""
    with closing(sqlite3.connect(store)) as db:
        known = {name: dict(db.execute(f"SELECT id, {text} FROM {name}")) for name, text in NAMED_BY.items()}
        listed = db.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
        return {name: _rows(db, name, known) for (name,) in listed if "sqlite" not in name}


def _rows(db: sqlite3.Connection, name: str, known: dict[str, dict[int, str]]) -> Table:
    columns = [row[1] for row in db.execute(f"PRAGMA table_info({name})")]
    kept = [at for at, column in enumerate(columns) if column != "id"]
    parents = {at: known[PARENTS[columns[at]]] for at in kept if columns[at] in PARENTS}
    rows = [
        tuple(parents[at].get(row[at], row[at]) if at in parents else row[at] for at in kept)
        for row in db.execute(f"SELECT * FROM {name}")
    ]
    return [tuple(columns[at] for at in kept), *sorted(rows, key=repr)]


def files(venue: VenueFolder, places: Iterable[str] = PLACES) -> dict[str, bytes]:
    """Path to contents of every file below ``places``."""
    return {f"{place}/{name}": data for place in places for name, data in venue.files(place).items()}


def names(venue: VenueFolder) -> list[str]:
    """Every path of the venue's folder: nothing half made is left lying about."""
    found = (path.relative_to(venue.path).as_posix() for path in venue.path.rglob("*"))
    return sorted(name for name in found if not name.startswith(OURS))


def hashes(venue: VenueFolder, places: Iterable[str]) -> set[str]:
    """SHA-256 of every file below ``places``."""
    return {hashlib.sha256(data).hexdigest() for data in files(venue, places).values()}
