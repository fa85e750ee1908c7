"""Copies of the store that are proved before they count, and what an integrity check says.

A plain copy of the file loses what still stands in its write-ahead log, so a backup is written by
SQLite itself (VACUUM INTO, https://www.sqlite.org/lang_vacuum.html) under a name of its own, opened,
checked, compared, and only then renamed to a name that counts as a backup.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
from contextlib import closing, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from sqlite_utils import Database

from unrung.errors import StoreError, StoreLost
from unrung.store.refused import MEND
from unrung.store.schema import APPLICATION_ID, NEWEST

COUNTED = ("sources", "movements", "days", "issued", "outbox", "months", "closed_files")
"""Tables of which no row is ever taken away: while others go on writing, a copy holds at least what
stood there before it was made and at most what stands there after."""
_STAMP = "%Y%m%dT%H%M%SZ"


class Backup(NamedTuple):
    """One verified copy in the folder of backups."""

    path: Path
    made_ms: int
    """UTC milliseconds, whole seconds."""


def name_of(stem: str, now_ms: int) -> str:
    """The name of a backup made at ``now_ms``, UTC, so that names sort by time.

    >>> name_of("unrung", 1_749_600_000_000)
    'unrung-20250611T000000Z.sqlite'
    """
    return f"{stem}-{datetime.fromtimestamp(now_ms / 1000, UTC).strftime(_STAMP)}.sqlite"


def backups_in(folder: Path, stem: str) -> list[Backup]:
    """The backups of a store in ``folder``, oldest first. Anything else that lies there is no backup."""
    found = []
    for path in folder.glob(f"{stem}-*.sqlite") if folder.is_dir() else ():
        with suppress(ValueError):
            made = datetime.strptime(path.stem[len(stem) + 1 :], _STAMP).replace(tzinfo=UTC)
            found.append(Backup(path, round(made.timestamp() * 1000)))
    return sorted(found, key=lambda one: one.made_ms)


def back_up(db: Database, target: Path) -> Path:
    """A verified copy of the open store at ``target``, which only its owner reads.

    Raises StoreError where it cannot be made or proves bad; nothing then stands at ``target`` that
    did not stand there before.
    """
    aside = target.with_name(f".{target.name}.new")
    try:
        target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        aside.unlink(missing_ok=True)
        os.close(os.open(aside, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        before = _counts(db)
        db.execute("VACUUM INTO ?", [str(aside)])
        flush(aside)
        _compare(verify(aside), before, _counts(db))
        os.replace(aside, target)
        flush(target.parent)
    except (OSError, sqlite3.Error, StoreError) as error:
        reason = error.__cause__ or error
        raise StoreError(f"no backup could be made in {target.parent}: {reason}. "
                         "Is there room, and may this account write there?") from error
    finally:
        with suppress(OSError):
            aside.unlink(missing_ok=True)
    return target


def clear_unfinished(folder: Path, stem: str) -> None:
    """Take away copies that a stop half way left behind."""
    for left in folder.glob(f".{stem}-*.sqlite.new*") if folder.is_dir() else ():
        with suppress(OSError):
            left.unlink()


def verify(path: Path) -> dict[str, int]:
    """Rows per main table of a store's copy, after it was read from end to end.

    Raises StoreError where it is not a store of ours, is damaged, or is from a newer version.
    """
    if not path.is_file():
        raise StoreError(f"{path} is not there; unrung restore CONFIG --list names the backups.")
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as copy:
            mark = copy.execute("PRAGMA application_id").fetchone()[0]
            version = copy.execute("PRAGMA user_version").fetchone()[0]
            wrong = _quick_check(copy)
            counts = {} if wrong else _rows(copy)
    except sqlite3.Error as error:
        raise StoreError(f"{path} cannot be read as a store: {error}. Take another backup.") from error
    if mark != APPLICATION_ID:
        raise StoreError(f"{path} is no store of this program. Take another file.")
    if version > NEWEST:
        raise StoreError(f"{path} was written by a newer version (store {version}, this one knows "
                         f"{NEWEST}); install that version again.")
    if wrong:
        raise StoreError(f"{path} is damaged ({wrong}). Take another backup.")
    return counts


def check_whole(db: Database, path: Path) -> None:
    """Read the open store from end to end. Raises StoreLost where it is damaged."""
    try:
        rows = [str(row[0]) for row in db.execute("PRAGMA quick_check(1)").fetchall()]
    except sqlite3.DatabaseError as error:
        rows = [str(error)]
    if rows != ["ok"]:
        raise StoreLost(f"{path} is damaged ({_plain(rows[0] if rows else 'no answer')}). {MEND}.")


def fold_log(db: Database) -> bool:
    """Bring the write-ahead log into the store and empty it; False where somebody still reads."""
    return not db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]


def keep_newest(folder: Path, stem: str, count: int, now_ms: int) -> list[Path]:
    """Take away all but the newest ``count`` backups; returns those that went. A backup that is dated
    after ``now_ms`` was made by a clock that was ahead: it counts as older than all others, or the ones
    made since would go in its place."""
    gone = []
    found = sorted(backups_in(folder, stem), key=lambda one: (one.made_ms <= now_ms, one.made_ms))
    for backup in found[:-count]:
        with suppress(OSError):  # held open by somebody: it goes next time
            backup.path.unlink()
            gone.append(backup.path)
    return gone


def flush(path: Path) -> None:
    """Have a file, or the names in a folder, on disk. Windows and some shares cannot flush a folder."""
    with suppress(OSError):
        handle = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def digest_of(path: Path) -> str:
    """SHA-256 of a file's contents. Raises OSError."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _quick_check(copy: sqlite3.Connection) -> str:
    row = copy.execute("PRAGMA quick_check(1)").fetchone()
    return "" if row and row[0] == "ok" else _plain(str(row[0] if row else "no answer"))


def _plain(found: str) -> str:
    """What SQLite found wrong, on one line."""
    return " ".join(found.replace("*** in database main ***", "").split())


def _rows(copy: sqlite3.Connection) -> dict[str, int]:
    there = {name for (name,) in copy.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    return {name: copy.execute(f"SELECT count(*) FROM {name}").fetchone()[0]
            for name in COUNTED if name in there}


def _counts(db: Database) -> dict[str, int]:
    there = set(db.table_names())
    return {name: db.execute(f"SELECT count(*) FROM {name}").fetchone()[0]
            for name in COUNTED if name in there}


def _compare(copy: dict[str, int], before: dict[str, int], after: dict[str, int]) -> None:
    for name, least in before.items():
        if not least <= copy.get(name, -1) <= after[name]:
            raise StoreError(f"the copy holds {copy.get(name, 0)} rows of {name}, the store {least}")
