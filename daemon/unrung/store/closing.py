"""What a period's closing looks for: rows that wait, and items that were sold."""

from __future__ import annotations

from datetime import date
from typing import Any, NamedTuple

from sqlite_utils import Database


class LateSource(NamedTuple):
    """An export, and what some of its rows speak of, as it has them."""

    name: str
    kind: str
    tap: str
    product: str


_TOUCHES = (
    "coalesce(s.cover_to_ms, s.last_ms + 1, s.mtime_ms) > ? "
    "AND coalesce(s.cover_from_ms, s.first_ms, s.mtime_ms) < ?"
)
"""Whether an export may hold rows of [lo, hi). A row that could not be read has no time of its own."""


def waiting_rejects_between(db: Database, lo_ms: int, hi_ms: int) -> list[dict[str, Any]]:
    """Exports that may touch [lo, hi) and have rows that wait: ``name``, ``n``, first ``line``."""
    return list(
        db.query(
            "SELECT s.name, count(*) AS n, min(r.line) AS line FROM rejects r "
            "JOIN sources s ON s.id = r.source WHERE r.state = 'waiting' "
            f"AND {_TOUCHES} GROUP BY s.id ORDER BY s.name",
            [lo_ms, hi_ms],
        )
    )


def accept_rejects_between(db: Database, lo_ms: int, hi_ms: int) -> None:
    """Leave those rows out for good; within a write transaction."""
    db.execute(
        "UPDATE rejects SET state = 'accepted' WHERE state = 'waiting' AND source IN "
        f"(SELECT s.id FROM sources s WHERE {_TOUCHES})",
        [lo_ms, hi_ms],
    )


def items_between(db: Database, lo_ms: int, hi_ms: int) -> list[tuple[tuple[str, str, str, str], int]]:
    """Every (item, size, price level, modifier) the till sold within [lo, hi), once per hour, with a
    time in it."""
    rows = db.query(
        "SELECT item, size, price_level, modifier, min(at_ms) AS at FROM movements "
        "WHERE superseded_by IS NULL AND kind = 'ring' AND at_ms >= ? AND at_ms < ? "
        "GROUP BY item, size, price_level, modifier, at_ms / 3600000",
        [lo_ms, hi_ms],
    )
    return [
        ((row["item"], row["size"], row["price_level"], row["modifier"]), row["at"]) for row in rows
    ]


def late_sources(
    db: Database, span: tuple[int, int], days: tuple[date, date], after_ms: int
) -> list[LateSource]:
    """Exports received after a moment that brought, changed or dropped rows within ``span``, or entries
    without a time of ``days`` (first and last), by name."""
    rows = db.query(
        "SELECT DISTINCT s.name, m.kind, m.tap, m.product FROM movements m JOIN sources s "
        "ON s.id = m.source OR s.id = m.superseded_by "
        "WHERE (m.at_ms >= ? AND m.at_ms < ? OR m.day >= ? AND m.day <= ?) AND s.received_ms > ? "
        "ORDER BY s.name, m.kind, m.tap, m.product",
        [*span, *(day.isoformat() for day in days), after_ms],
    )
    return [LateSource(**row) for row in rows]
