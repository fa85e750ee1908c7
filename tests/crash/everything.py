"""All that lasts of a venue, by content: every table of its store, every file, no row numbers."""

from __future__ import annotations

import hashlib
import os
import sqlite3
import stat
from collections.abc import Iterable
from contextlib import closing
from functools import lru_cache
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
        found[path.name] = _tables_of(path.read_bytes())
    found["names"] = names(venue)
    return found


def tables(store: Path) -> dict[str, Table]:
    """Rows of every table in an order of their own; row numbers give way to what they stand for."""
    with closing(sqlite3.connect(store)) as db:
        return _tables(db)


def _tables(db: sqlite3.Connection) -> dict[str, Table]:
    known = {name: dict(db.execute(f"SELECT id, {text} FROM {name}")) for name, text in NAMED_BY.items()}
    listed = db.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
    return {name: _rows(db, name, known) for (name,) in listed if "sqlite" not in name}


@lru_cache(8)
def _tables_of(backup: bytes) -> dict[str, Table]:
    """A backup is a whole store in one file, and most are those of the nights before."""
    with closing(sqlite3.connect(":memory:")) as db:
        db.deserialize(backup)
        return _tables(db)


def standing(venue: VenueFolder, now_ms: int) -> str:
    """A digest of all that a program started at ``now_ms`` can find in the venue's folder: the rows of the
    store with their numbers, and every path with mode and contents. Of the files that are older than that
    the time counts too; the others were written by this machine's clock just now."""
    digest = hashlib.sha256()
    root = str(venue.path)
    for name in names(venue):
        path = f"{root}/{name}"
        about = os.stat(path)
        digest.update(repr((name, about.st_mode, min(about.st_mtime_ns, now_ms * 1_000_000))).encode())
        if stat.S_ISREG(about.st_mode):
            with open(path, "rb") as file:
                digest.update(file.read())
    store = venue.path / "unrung.sqlite"
    if store.exists():
        with closing(sqlite3.connect(store)) as db:
            for name, made_by in db.execute("SELECT name, sql FROM sqlite_master ORDER BY name").fetchall():
                digest.update(repr((name, made_by)).encode())
                if (made_by or "").startswith("CREATE TABLE"):
                    columns = "*" if "WITHOUT ROWID" in made_by else "rowid, *"
                    digest.update(repr(db.execute(f"SELECT {columns} FROM {name}").fetchall()).encode())
    return digest.hexdigest()


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
    start, found = len(str(venue.path)) + 1, list[str]()
    for folder, folders, plain in os.walk(venue.path):
        found += [f"{folder}/{name}"[start:].replace(os.sep, "/") for name in (*folders, *plain)]
    return sorted(name for name in found if not name.startswith(OURS))


def hashes(venue: VenueFolder, places: Iterable[str]) -> set[str]:
    """SHA-256 of every file below ``places``."""
    return {hashlib.sha256(data).hexdigest() for data in files(venue, places).values()}
