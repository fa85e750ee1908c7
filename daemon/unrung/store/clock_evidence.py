"""What the rows say of the time: evidence for or against this machine's clock."""

from __future__ import annotations

from sqlite_utils import Database


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


def newest_receipt_ms(db: Database) -> int | None:
    """When the last export came in, by the clock of then."""
    row = db.execute("SELECT received_ms FROM sources ORDER BY id DESC LIMIT 1").fetchone()
    return row[0] if row else None
