"""What ``status`` shows: counts and newest rows, read only."""

from __future__ import annotations

import sqlite3
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
            db, "SELECT count(*) FROM rejects WHERE feed = ? AND state = 'waiting'", [feed]),
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


def outbox_overview(db: Database) -> dict[str, Any]:
    """How many mails are in each state, and the last thing a server said to one that waits."""
    states = {
        row["state"]: row["n"]
        for row in db.query("SELECT state, count(*) AS n FROM outbox GROUP BY state ORDER BY state")
    }
    said = list(
        db.query(
            "SELECT recipient, last_text FROM outbox_recipients WHERE state IN ('waiting', 'refused') "
            "AND last_text <> '' ORDER BY outbox DESC LIMIT 1"
        )
    )
    return {"states": states, "last_text": said[0]["last_text"] if said else ""}


def store_overview(db: Database, path: Path) -> dict[str, Any]:
    """Size of the store and the version of SQLite under it."""
    return {
        "path": str(path),
        "bytes": path.stat().st_size,
        "sqlite": sqlite3.sqlite_version,
        "movements": _one(db, "SELECT count(*) FROM movements", []),
    }


def _one(db: Database, sql: str, values: list[Any]) -> Any:
    return db.execute(sql, values).fetchone()[0]
