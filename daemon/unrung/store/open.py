"""Opening the store, refusing what is not ours, and the one kind of write transaction."""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Generator, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from unrung.errors import StoreError, StoreLost
from unrung.store.backup import back_up
from unrung.store.refused import MEND, refused
from unrung.store.schema import APPLICATION_ID, NEWEST, migrations

BUSY_TIMEOUT_MS = 15_000
_ONE_WRITER = threading.RLock()
"""Workers of one process have connections of their own and still write one after the other."""


class Store(Database):
    """An open store; what SQLite refuses is a StoreError that says what to do."""

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        super().__init__(connection, execute_plugins=False, strict=True)
        self.path = path
        self._version = 0

    def written_elsewhere(self) -> bool:
        """Whether another connection wrote since this was asked last; also when it is asked first."""
        before, self._version = self._version, self.execute("PRAGMA data_version").fetchone()[0]
        return before != self._version

    def execute(self, sql: str, parameters: Any = None) -> sqlite3.Cursor:
        try:
            return super().execute(sql, parameters)
        except sqlite3.DatabaseError as error:
            raise refused(self.path, error) from error

    def query(self, sql: str, params: Any = None) -> Generator[dict[Any, Any], None, None]:
        """The rows, read to the end at once: no reader stays open while somebody wants to write."""
        try:
            rows = list(super().query(sql, params))
        except sqlite3.DatabaseError as error:
            raise refused(self.path, error) from error
        return (row for row in rows)


def open_store(path: Path) -> Store:
    """Open (or make) the store at ``path``, apply what migrations it lacks, and return it.

    Raises StoreError where the file is not ours, is damaged, or was written by a newer version.
    """
    _refuse_hollow(path)
    try:
        if not path.exists():
            _make(path)
        db = Store(_connected(path), path)
        with _closed_on_error(db):
            _check(db)
            _set_up(db)
            _keep_earlier(db)
            _migrate(db)
    except sqlite3.DatabaseError as error:
        raise refused(path, error) from error
    except OSError as error:
        raise StoreError(f"{path} cannot be made: {error.strerror}.") from error
    return db


def look_at_store(path: Path) -> Store:
    """The store to read only: neither made, nor migrated, nor locked. One that is not there yet
    looks like one without a row. Raises StoreError as ``open_store`` does."""
    _refuse_hollow(path)
    try:
        if not path.exists():
            return memory_store(path)
        db = Store(_connected(f"{path.resolve().as_uri()}?mode=ro", uri=True), path)
        with _closed_on_error(db):
            _check(db)
            _refuse_earlier(db)
    except sqlite3.DatabaseError as error:
        raise refused(path, error) from error
    return db


def memory_store(path: Path = Path(":memory:")) -> Store:
    """A store without a row that leaves nothing behind; ``path`` is for messages."""
    db = Store(sqlite3.connect(":memory:"), path)
    _migrate(db)
    return db


@contextmanager
def write_tx(db: Database) -> Iterator[Database]:
    """One transaction that holds the write lock from its start; all or nothing.

    A deferred BEGIN could read, then fail at its first write because another connection wrote in
    between; BEGIN IMMEDIATE waits its turn instead. Raises StoreError where SQLite refuses: the
    lock is not to be had, the disk is full.
    """
    with _ONE_WRITER, _undone_in_memory(db):
        try:
            db.execute("BEGIN IMMEDIATE")
            yield db
            db.commit()
        except BaseException as error:
            with suppress(sqlite3.Error, StoreError):
                db.rollback()
            if isinstance(error, sqlite3.DatabaseError):
                raise refused(getattr(db, "path", "the store"), error) from error
            raise


@contextmanager
def _undone_in_memory(db: Database) -> Iterator[None]:
    """What a statement or savepoint would need to be undone is some pages, which SQLite else writes to a
    file: for an export's rows more pages than it writes to the store. Sorting elsewhere may take a file."""
    db.execute("PRAGMA temp_store = MEMORY")
    try:
        yield
    finally:
        with suppress(sqlite3.Error, StoreError):
            db.execute("PRAGMA temp_store = DEFAULT")


def _connected(path: Path | str, uri: bool = False) -> sqlite3.Connection:
    return sqlite3.connect(
        path, timeout=BUSY_TIMEOUT_MS / 1000, check_same_thread=False, uri=uri
    )


def _make(path: Path) -> None:
    """A whole new store, made aside and renamed: a crash leaves none, never half of one. In one
    transaction: each by itself would wait for the disk several times."""
    path.parent.mkdir(parents=True, exist_ok=True)
    aside = path.with_name(f".{path.name}.new")
    for left in (aside, aside.with_name(f"{aside.name}-journal")):
        left.unlink(missing_ok=True)
    os.close(os.open(aside, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    db = Store(_connected(aside), path)
    try:
        with db.atomic():
            db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            _migrate(db)
    finally:
        db.close()
    os.replace(aside, path)


def _set_up(db: Store) -> None:
    with db.ensure_autocommit_on():
        db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA foreign_keys = ON")
    db.execute("PRAGMA journal_size_limit = 67108864")


def _migrate(db: Store) -> None:
    if migrations.pending(db):
        migrations.apply(db)
    if db.execute("PRAGMA user_version").fetchone()[0] != NEWEST:
        db.execute(f"PRAGMA user_version = {NEWEST}")


def _keep_earlier(db: Store) -> None:
    """A backup beside the store before a newer version changes its form, so that there is a way back."""
    version = db.execute("PRAGMA user_version").fetchone()[0]
    if migrations.pending(db) or version != NEWEST:
        back_up(db, db.path.with_name(f"{db.path.name}.form-{version}"))


def _refuse_hollow(path: Path) -> None:
    if path.exists() and path.stat().st_size == 0:
        raise StoreLost(
            f"{path} is empty: the store was there and has lost its contents. {MEND}. Or move the empty "
            "file away to start anew."
        )


def _check(db: Store) -> None:
    """Ours, and not from the future."""
    if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        raise StoreLost(
            f"{db.path} is a database of another program; name another file in [files]."
        )
    version = db.execute("PRAGMA user_version").fetchone()[0]
    if version > NEWEST:
        raise StoreLost(
            f"{db.path} was written by a newer version (store {version}, this one knows {NEWEST}); "
            "install that version again."
        )


def _refuse_earlier(db: Store) -> None:
    """Only who may write brings it up to date, and what it lacks cannot be looked at before."""
    version = db.execute("PRAGMA user_version").fetchone()[0]
    if version < NEWEST or migrations.pending(db):
        raise StoreError(
            f"{db.path} is of an earlier version of this program (store {version}, this one needs "
            f"{NEWEST}). Nothing is wrong with it: start the service anew, or run unrung catch-up once, "
            "which keeps a copy and brings it up to date."
        )


@contextmanager
def _closed_on_error(db: Store) -> Iterator[None]:
    try:
        yield
    except BaseException:
        db.close()
        raise
