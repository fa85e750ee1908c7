"""What SQLite refuses, as an error that says what to do.

By result code where there is one (https://www.sqlite.org/rescode.html): its low byte tells whether it
passes by itself, needs room or rights, or is a damage that only a backup mends.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

from unrung.errors import StoreError, StoreLost

BUSY, FULL = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED), (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR)
SHUT = (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM)
DAMAGED = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)
MEND = (
    "Keep the file, stop the service, and restore the newest backup: unrung restore CONFIG --list "
    "names the backups"
)


def refused(path: Path | str, error: sqlite3.DatabaseError) -> StoreError:
    """The error to raise in place of ``error``: StoreLost where trying again cannot help."""
    text, code = str(error), getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code in DAMAGED:
        return StoreLost(f"{path} is damaged, it cannot be read as a store: {text}. {MEND}.")
    if code in BUSY:
        return StoreError(f"{path} is held by another program: {text}. Is a second copy running?")
    if code in FULL:
        return StoreError(f"the disk that holds {path} is full, or fails: {text}. Free some space.")
    if code in SHUT:
        return StoreError(f"{path} cannot be opened: {text}. May this account read and write there?")
    return StoreError(
        f"{path} did not take what was asked of it: {text}. Its rows are as they were; this is a fault of "
        "the program, please report it."
    )
