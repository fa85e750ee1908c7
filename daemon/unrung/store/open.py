"""Opening the store, refusing what is not ours, and the one kind of write transaction."""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlite_utils import Database

from unrung.errors import StoreError
from unrung.store.schema import APPLICATION_ID, NEWEST, migrations

Store = Database
"""What the rest of the program calls an open store."""
BUSY_TIMEOUT_MS = 15_000
_ONE_WRITER = threading.RLock()
"""Workers of one process have connections of their own and still write one after the other."""


def open_store(path: Path) -> Database:
    """Open (or make) the store at ``path``, apply what migrations it lacks, and return it.

    Raises StoreError where the file is not ours, is damaged, or was written by a newer version.
    """
    _refuse_hollow(path)
    fresh = not path.exists()
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        db = _connect(path)
        _check(db, path, fresh)
        migrations.apply(db)
        db.execute(f"PRAGMA user_version = {NEWEST}")
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    except sqlite3.DatabaseError as error:
        raise StoreError(_advice(path, error)) from error
    if fresh and os.name == "posix":
        path.chmod(0o600)
    return db


@contextmanager
def write_tx(db: Database) -> Iterator[Database]:
    """One transaction that holds the write lock from its start; all or nothing.

    A deferred BEGIN could read, then fail at its first write because another connection wrote in
    between; BEGIN IMMEDIATE waits its turn instead.
    """
    with _ONE_WRITER:
        db.execute("BEGIN IMMEDIATE")
        try:
            yield db
        except BaseException:
            db.rollback()
            raise
        db.commit()


def _connect(path: Path) -> Database:
    connection = sqlite3.connect(path, timeout=BUSY_TIMEOUT_MS / 1000, check_same_thread=False)
    db = Database(connection, execute_plugins=False, strict=True)
    with db.ensure_autocommit_on():
        db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA foreign_keys = ON")
    db.execute("PRAGMA journal_size_limit = 67108864")
    return db


def _refuse_hollow(path: Path) -> None:
    if path.exists() and path.stat().st_size == 0:
        raise StoreError(
            f"{path} is empty: the store was there and has lost its contents. "
            "Restore it from a backup, or move the empty file away to start anew."
        )


def _check(db: Database, path: Path, fresh: bool) -> None:
    """Ours, whole, and not from the future."""
    if fresh:
        return
    application = db.execute("PRAGMA application_id").fetchone()[0]
    tables = db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if application != APPLICATION_ID and tables:
        raise StoreError(f"{path} is a database of another program; name another file in [files].")
    version = db.execute("PRAGMA user_version").fetchone()[0]
    if version > NEWEST:
        raise StoreError(
            f"{path} was written by a newer version (store {version}, this one knows {NEWEST}); "
            "install that version again."
        )


def _advice(path: Path, error: sqlite3.DatabaseError) -> str:
    text = str(error)
    if "locked" in text or "busy" in text:
        return f"{path} is held by another program: {text}. Is a second copy running?"
    if "full" in text:
        return f"the disk that holds {path} is full: {text}"
    return (
        f"{path} cannot be read as a store: {text}. Keep the file, and restore the newest backup."
    )
