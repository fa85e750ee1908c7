"""The history of the config tables, and the days that hold rows of a name."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from sqlite_utils import Database

from unrung.config_history import KnownRow
from unrung.settings import Venue
from unrung.store.days import days_of


def known_rows(db: Database) -> list[KnownRow]:
    """Every row of every table that ever applied, in the order it was written down."""
    return [
        KnownRow(row["tbl"], row["row"], _day(row["since"]), _day(row["until"]), row["id"])
        for row in db.query("SELECT * FROM config_rows ORDER BY id")
    ]


def save_rows(db: Database, rows: list[KnownRow]) -> None:
    """Replace the history; within a write transaction."""
    db.execute("DELETE FROM config_rows")
    db.table("config_rows").insert_all(
        {
            "tbl": row.table, "row": row.row,
            "since": row.since.isoformat() if row.since else "",
            "until": row.until.isoformat() if row.until else "",
        }
        for row in rows
    )


def days_with(db: Database, venue: Venue, table: str, names: Iterable[str]) -> set[date]:
    """Business days with till lines of items, or pours of taps or meters, called so without regard
    to case and blanks."""
    column = {"menu": "item", "taps": "tap"}.get(table)
    if column is None:
        return set()
    wanted = {_plain(name) for name in names}
    written = db.query(f"SELECT DISTINCT {column} AS name FROM movements WHERE superseded_by IS NULL")
    times: set[int] = set()
    for name in [row["name"] for row in written if _plain(row["name"]) in wanted]:
        rows = db.query(
            f"SELECT DISTINCT at_ms FROM movements WHERE superseded_by IS NULL AND at_ms IS NOT NULL "
            f"AND {column} = ?", [name],
        )
        times |= {row["at_ms"] for row in rows}
    return days_of(times, venue)


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


def _day(text: str) -> date | None:
    return date.fromisoformat(text) if text else None
