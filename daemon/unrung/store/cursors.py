"""How far each polled feed has been read, when it is due, and the spans that its polls cover."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass

from sqlite_utils import Database


@dataclass(frozen=True, slots=True)
class Run:
    """A poll under way: several pages of one span, of which some may be in the store already."""

    from_ms: int | None
    """Earliest time asked for; None where the source cannot be asked for times."""
    until_ms: int
    """When it began: nothing later is claimed to be covered."""
    looks_back: bool = False
    position: str = ""
    """Where the next page is; "" for the first."""
    pages: int = 0
    low_ms: int | None = None
    high_ms: int | None = None
    """First and last row time on the pages that are in the store."""


@dataclass(slots=True)
class Cursor:
    """One polled feed; times are UTC milliseconds."""

    feed: str
    digest: str = ""
    since_ms: int | None = None
    run: Run | None = None
    validators: tuple[str, str, str] = ("", "", "")
    """Key of the request, ETag, Last-Modified of its last answer."""
    due_ms: int = 0
    not_before_ms: int = 0
    failures: int = 0
    last_text: str = ""
    polled_ms: int | None = None
    looked_back_ms: int | None = None


def load_cursor(db: Database, feed: str) -> Cursor:
    """What is known of a feed; a blank one where it was never polled."""
    rows = list(db.query("SELECT * FROM cursors WHERE feed = ?", [feed]))
    if not rows:
        return Cursor(feed)
    row = rows[0]
    run, validators = row.pop("run"), row.pop("validators")
    return Cursor(
        **row, run=Run(**json.loads(run)) if run else None,
        validators=tuple(json.loads(validators)) if validators else ("", "", ""),
    )


def save_cursor(db: Database, cursor: Cursor) -> None:
    """Write it down; within a write transaction."""
    values = {name: getattr(cursor, name) for name in Cursor.__slots__}
    values["run"] = json.dumps(asdict(cursor.run)) if cursor.run else ""
    values["validators"] = json.dumps(cursor.validators) if any(cursor.validators) else ""
    db.table("cursors").insert(values, pk="feed", replace=True)


def cover(db: Database, feed: str, from_ms: int, to_ms: int) -> int:
    """Note a span that a complete poll covers, joined with those it touches; within a write
    transaction. Returns from where on it is news."""
    known = list(db.query(
        "SELECT from_ms, to_ms FROM poll_spans WHERE feed = ? AND from_ms <= ? AND to_ms >= ?",
        [feed, to_ms, from_ms],
    ))
    news = max((row["to_ms"] for row in known if row["from_ms"] <= from_ms), default=from_ms)
    lo = min([from_ms, *(row["from_ms"] for row in known)])
    hi = max([to_ms, *(row["to_ms"] for row in known)])
    for row in known:
        db.execute("DELETE FROM poll_spans WHERE feed = ? AND from_ms = ?", [feed, row["from_ms"]])
    db.table("poll_spans").insert({"feed": feed, "from_ms": lo, "to_ms": hi})
    return news


def covered_until(db: Database, feed: str) -> int | None:
    """The end of the last span that polls of ``feed`` cover."""
    end: int | None = db.execute("SELECT max(to_ms) FROM poll_spans WHERE feed = ?", [feed]).fetchone()[0]
    return end


def oldest_waiting(db: Database, feed: str) -> int | None:
    """Time of the first row of the oldest answer of which rows still wait to be read."""
    first: int | None = db.execute(
        "SELECT min(first_ms) FROM sources s WHERE feed = ? AND via = 'http' AND state = 'taken' AND "
        "EXISTS (SELECT 1 FROM rejects r WHERE r.source = s.id AND r.state = 'waiting')", [feed],
    ).fetchone()[0]
    return first
