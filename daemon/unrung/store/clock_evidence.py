"""What the store says of the time: evidence for or against this machine's clock."""

from __future__ import annotations

import json
from typing import NamedTuple

from sqlite_utils import Database

from unrung.store.days import fact, set_fact

FACT = "clock"


class Known(NamedTuple):
    """What is known of the time; UTC milliseconds."""

    known_ms: int
    """It was this late at least,"""
    shown_ms: int
    """when the clock showed this: the same, unless it was in doubt."""
    waited_ms: int = 0
    """How long it has been in doubt."""
    told: bool = False
    """Whether people were told of that."""


def known_time(db: Database) -> Known | None:
    """What was written down last; else when the last export came in; None where none did."""
    received = newest_receipt_ms(db)
    if received is None:
        return None
    noted = fact(db, FACT)
    return Known(**json.loads(noted)) if noted else Known(received, received)


def save_known(db: Database, known: Known) -> None:
    """Write it down; within a write transaction."""
    set_fact(db, FACT, json.dumps(known._asdict()))


def has_rows(db: Database, feed: str) -> bool:
    """Whether an export of the feed was ever taken in with a row that has a time."""
    return bool(db.execute(
        "SELECT EXISTS (SELECT 1 FROM sources WHERE feed = ? AND state = 'taken' AND last_ms IS NOT NULL)",
        [feed]).fetchone()[0])


def has_rows_after(db: Database, feed: str, at_ms: int) -> bool:
    """Whether a current row of the feed is later than ``at_ms``."""
    return bool(db.execute(
        "SELECT EXISTS (SELECT 1 FROM movements WHERE superseded_by IS NULL AND at_ms > ? AND feed = ?)",
        [at_ms, feed]).fetchone()[0])


def has_rows_between(db: Database, lo_ms: int, hi_ms: int) -> bool:
    """Whether any current row lies in [lo, hi]."""
    return bool(db.execute(
        "SELECT EXISTS (SELECT 1 FROM movements WHERE superseded_by IS NULL AND at_ms BETWEEN ? AND ?)",
        [lo_ms, hi_ms]).fetchone()[0])


def covered_by_files_ms(db: Database, before_ms: int) -> int:
    """Up to when exports reach that were written before a moment; 0 without any."""
    row = db.execute(
        "SELECT max(cover_to_ms) FROM sources WHERE state = 'taken' AND mtime_ms < ?", [before_ms]
    ).fetchone()
    return int(row[0] or 0)


def newest_receipt_ms(db: Database) -> int | None:
    """When the last export came in, by the clock of then."""
    row = db.execute("SELECT received_ms FROM sources ORDER BY id DESC LIMIT 1").fetchone()
    return row[0] if row else None
