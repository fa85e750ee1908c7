"""What ``status`` shows: counts and newest rows, read only."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from sqlite_utils import Database


def feed_overview(db: Database, feed: str) -> dict[str, Any]:
    """Last export, rows, waiting bad rows and exports set aside of one feed."""
    last = list(
        db.query(
            "SELECT name, state, received_ms, last_ms, cover_to_ms FROM sources WHERE feed = ? "
            "AND state <> 'set_aside' ORDER BY id DESC LIMIT 1", [feed],
        )
    )
    return {
        "last_export": last[0]["name"] if last else "",
        "last_received_ms": last[0]["received_ms"] if last else None,
        "last_row_ms": _one(db, "SELECT max(last_ms) FROM sources WHERE feed = ?", [feed]),
        "exports": _one(db, "SELECT count(*) FROM sources WHERE feed = ? AND state = 'taken'", [feed]),
        "rows": _one(
            db, "SELECT count(*) FROM movements WHERE feed = ? AND superseded_by IS NULL", [feed]),
        "rejects_waiting": _one(
            db, "SELECT count(*) FROM rejects r JOIN sources s ON s.id = r.source WHERE r.feed = ? "
            "AND r.state = 'waiting' AND s.state = 'taken'", [feed]),
        "set_aside": _one(
            db, "SELECT count(*) FROM sources WHERE feed = ? AND state = 'set_aside'", [feed]),
    }


def waiting_rejects(db: Database, limit: int = 20) -> list[dict[str, Any]]:
    """The newest rows that wait, with where they stand and what is wrong."""
    return list(
        db.query(
            "SELECT s.name AS file, r.line, r.field, r.value, r.reason, r.fix FROM rejects r "
            "JOIN sources s ON s.id = r.source WHERE r.state = 'waiting' ORDER BY r.id DESC LIMIT ?",
            [limit],
        )
    )


def arrivals(db: Database, feed: str, since_ms: int) -> list[int]:
    """When each export was written, or came where that was sooner; UTC milliseconds."""
    rows = db.query(
        "SELECT min(mtime_ms, received_ms) AS at FROM sources WHERE feed = ? AND state = 'taken' "
        "AND received_ms >= ? ORDER BY 1", [feed, since_ms],
    )
    return [row["at"] for row in rows]


def file_of_day(db: Database, feeds: Iterable[str], lo_ms: int, hi_ms: int) -> str:
    """Name of the last export of ``feeds`` that holds rows of a span; empty where there is none."""
    names = list(feeds)
    marks = ",".join("?" * len(names))
    row = db.execute(
        f"SELECT name FROM sources WHERE feed IN ({marks}) AND state = 'taken' AND last_ms >= ? "
        "AND first_ms < ? ORDER BY id DESC LIMIT 1", [*names, lo_ms, hi_ms]).fetchone()
    return row[0] if row else ""


def poll_state(db: Database, feed: str) -> dict[str, Any]:
    """The polling row of a feed; empty where it was never polled."""
    return next(iter(db.query("SELECT * FROM cursors WHERE feed = ?", [feed])), {})


def items_between(
    db: Database, feed: str, from_ms: int, to_ms: int | None
) -> dict[tuple[str, str, str, str], int]:
    """Rows per (item, size, price level, modifier) that the till wrote with from <= at_ms < to; None: since
    then."""
    rows = db.query(
        "SELECT item, size, price_level, modifier, count(*) AS n FROM movements "
        "WHERE superseded_by IS NULL AND at_ms >= ? AND at_ms < ? AND kind = 'ring' AND feed = ? "
        "GROUP BY 1, 2, 3, 4",
        [from_ms, (1 << 62) if to_ms is None else to_ms, feed],
    )
    return {(row["item"], row["size"], row["price_level"], row["modifier"]): row["n"] for row in rows}


def outbox_overview(db: Database) -> dict[str, Any]:
    """Mails per state; per recipient what became of the last mail that is done with; what waits."""
    states = {
        row["state"]: row["n"]
        for row in db.query("SELECT state, count(*) AS n FROM outbox GROUP BY state ORDER BY state")
    }
    last = {
        row["recipient"]: {key: row[key] for key in ("state", "subject", "last_text", "created_ms")}
        for row in db.query(
            "SELECT r.recipient, r.state, r.last_text, o.subject, o.created_ms, max(o.id) "
            "FROM outbox_recipients r JOIN outbox o ON o.id = r.outbox "
            "WHERE r.state IN ('sent', 'refused', 'expired') GROUP BY r.recipient"
        )
    }
    waiting = list(
        db.query(
            "SELECT o.created_ms, o.subject, r.recipient, r.attempts, r.next_try_ms, r.last_text "
            "FROM outbox_recipients r JOIN outbox o ON o.id = r.outbox WHERE r.state = 'waiting' "
            "ORDER BY o.id, r.recipient"
        )
    )
    return {"states": states, "last": last, "waiting": waiting}


def store_overview(db: Database, path: Path) -> dict[str, Any]:
    """Size of the store and the version of SQLite under it."""
    return {
        "path": str(path),
        "bytes": path.stat().st_size if path.exists() else 0,
        "sqlite": sqlite3.sqlite_version,
        "movements": _one(db, "SELECT count(*) FROM movements", []),
    }


def _one(db: Database, sql: str, values: list[Any]) -> Any:
    return db.execute(sql, values).fetchone()[0]
