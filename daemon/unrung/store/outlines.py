"""Days in outline, as they were computed last: what their neighbours need of them, and what they saw of
those."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlite_utils import Database

_COLUMNS = ("day", "own_changes", "made_with", "outline", "seen", "around")


@dataclass(frozen=True, slots=True)
class OutlineRow:
    """What is kept of one day; texts that whoever wrote them understands."""

    made_with: str
    outline: str
    seen: str
    around: str
    current: bool
    """Whether nothing of the day itself changed since."""


def outline_row(db: Database, day: date) -> OutlineRow | None:
    row = db.execute(
        "SELECT o.made_with, o.outline, o.seen, o.around, o.own_changes = d.own_changes AND d.revision > 0 "
        "FROM day_outlines o JOIN days d ON d.day = o.day WHERE o.day = ?", [day.isoformat()]
    ).fetchone()
    if row is None:
        return None
    made_with, outline, seen, around, current = row
    return OutlineRow(made_with, outline, seen, around, bool(current))


def save_outline(
    db: Database, day: date, own_changes: int, *, made_with: str, outline: str, seen: str, around: str
) -> None:
    """Keep what a computed day is in outline, or forget it where that is empty. ``own_changes``: of the day,
    as they were counted before it was computed. Within a write transaction."""
    if not outline:
        db.execute("DELETE FROM day_outlines WHERE day = ?", [day.isoformat()])
        return
    db.execute(
        f"INSERT OR REPLACE INTO day_outlines ({', '.join(_COLUMNS)}) VALUES (?, ?, ?, ?, ?, ?)",
        [day.isoformat(), own_changes, made_with, outline, seen, around],
    )
