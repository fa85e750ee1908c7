"""Business days: which must be computed again, what was issued, and their ledger leaves."""

from __future__ import annotations

import json
from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, timedelta
from operator import attrgetter
from typing import Any

from sqlite_utils import Database

from unrung.business_day import business_day, day_bounds
from unrung.ledger.results import COMPONENTS, Counts, Leaf, Volumes
from unrung.settings import Venue

UNPLACED = "unplaced"
COUNTS = tuple(field.name for field in fields(Counts))
_LEAF = ("day", "outlet", "product", "window_start_ms", "window_minutes", *COMPONENTS, *COUNTS)
_INSERT_LEAF = f"INSERT INTO leaves ({', '.join(_LEAF)}) VALUES ({', '.join('?' * len(_LEAF))})"
_volumes, _counts = attrgetter(*COMPONENTS), attrgetter(*COUNTS)


@dataclass(slots=True)
class DayRow:
    """What stands in ``days`` for one business day."""

    day: date
    dirty: bool
    changed_ms: int
    revision: int
    status: str
    digest: str
    config_digest: str
    issued_ms: int | None
    dirty_since_ms: int = 0
    """When it became dirty; says nothing of a clean day."""
    changes: int = 0
    """How often it was marked dirty: tells whether rows came in while it was computed."""
    own_changes: int = 0
    """How often for a change of its own, not only of a day beside it."""


def days_of(times_ms: Iterable[int], venue: Venue) -> set[date]:
    """The business days that ``times_ms`` fall into."""
    times = list(times_ms)
    if not times:
        return set()
    first = business_day(min(times), venue.timezone, venue.day_starts)
    last = business_day(max(times), venue.timezone, venue.day_starts)
    if first == last:  # as of most exports
        return {first}
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    starts = [day_bounds(day, venue.timezone, venue.day_starts)[0] for day in days]
    return {days[bisect_right(starts, at) - 1] for at in set(times)}


def mark_dirty(
    db: Database, venue: Venue, times_ms: Iterable[int], days: Iterable[str], now_ms: int
) -> None:
    """A changed row dirties its business day and both neighbours, which share seams with it."""
    touched = days_of(times_ms, venue) | {date.fromisoformat(day) for day in days}
    around = {day + timedelta(days=n) for day in touched for n in (-1, 0, 1)}
    _mark(db, {day: day in touched for day in around}, now_ms)


def mark_days_dirty(db: Database, days: Iterable[date], now_ms: int) -> None:
    """Days that are to be computed again whatever lies beside them."""
    _mark(db, dict.fromkeys(days, True), now_ms)


def _mark(db: Database, own: Mapping[date, bool], now_ms: int) -> None:
    """``own``: days to whether it is their own movements that changed."""
    db.conn.executemany(
        "INSERT INTO days (day, dirty, changed_ms, dirty_since_ms, changes, own_changes) "
        "VALUES (?, 1, ?, ?, 1, ?) "
        "ON CONFLICT (day) DO UPDATE SET dirty = 1, changed_ms = excluded.changed_ms, "
        "dirty_since_ms = iif(days.dirty, days.dirty_since_ms, excluded.dirty_since_ms), "
        "changes = days.changes + 1, own_changes = days.own_changes + excluded.own_changes",
        [(day.isoformat(), now_ms, now_ms, int(own[day])) for day in sorted(own)],
    )


def day_stands(db: Database, day: date, changes: int) -> None:
    """Write down that an issued day is clean as it is, unless rows came in since ``changes`` were counted."""
    db.execute(
        "UPDATE days SET dirty = (changes <> ?), dirty_since_ms = changed_ms WHERE day = ?",
        [changes, day.isoformat()],
    )


def day_rows(db: Database, *, dirty_only: bool = False) -> list[DayRow]:
    """Every known day in order."""
    where = "WHERE dirty = 1" if dirty_only else ""
    return [_day_row(row) for row in db.query(f"SELECT * FROM days {where} ORDER BY day")]


def day_row(db: Database, day: date) -> DayRow | None:
    rows = list(db.query("SELECT * FROM days WHERE day = ?", [day.isoformat()]))
    return _day_row(rows[0]) if rows else None


def save_day(
    db: Database, day: date, leaves: Sequence[Leaf], *, revision: int, status: str, digest: str,
    config_digest: str, issued_ms: int | None, changed_ms: int, changes: int = 0,
) -> None:
    """Write down a computed day: its leaves, and that it is clean unless rows came in since ``changes``
    were counted."""
    db.execute("DELETE FROM leaves WHERE day = ?", [day.isoformat()])
    db.conn.executemany(_INSERT_LEAF, [_leaf_row(day, leaf) for leaf in leaves])
    db.execute(
        "INSERT INTO days (day, dirty, changed_ms, revision, status, digest, config_digest, "
        "issued_ms, changes) VALUES (?, 0, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (day) DO UPDATE SET "
        "dirty = (days.changes <> excluded.changes), dirty_since_ms = days.changed_ms, "
        "revision = excluded.revision, "
        "status = excluded.status, digest = excluded.digest, "
        "config_digest = excluded.config_digest, issued_ms = excluded.issued_ms",
        [day.isoformat(), changed_ms, revision, status, digest, config_digest, issued_ms, changes],
    )


def leaf_values(day: date, leaf: Leaf) -> dict[str, Any]:
    return dict(zip(_LEAF, _leaf_row(day, leaf), strict=True))


def _leaf_row(day: date, leaf: Leaf) -> tuple[Any, ...]:
    return (day.isoformat(), leaf.outlet, leaf.product, leaf.window_start_ms, leaf.window_minutes,
            *_volumes(leaf.volumes), *_counts(leaf.counts))


def leaves_between(db: Database, first: date, last: date) -> list[dict[str, Any]]:
    """Ledger leaves of the business days first..last, in order."""
    return [dict(zip(_LEAF, row, strict=True)) for row in leaf_rows(db, first, last)]


def leaf_rows(db: Database, first: date, last: date) -> list[tuple[Any, ...]]:
    """The same as plain rows: day, outlet, product, start and minutes of the window, components, counts."""
    rows: list[tuple[Any, ...]] = db.execute(
        f"SELECT {', '.join(_LEAF)} FROM leaves WHERE day BETWEEN ? AND ? "
        "ORDER BY day, window_start_ms, outlet, product",
        [first.isoformat(), last.isoformat()],
    ).fetchall()
    return rows


def volumes_between(db: Database, first: date, last: date) -> dict[date, Volumes]:
    """The sums of the leaves of each of the business days first..last that has any, in order."""
    sums = ", ".join(f"sum({name})" for name in COMPONENTS)
    rows = db.execute(
        f"SELECT day, {sums} FROM leaves WHERE day BETWEEN ? AND ? GROUP BY day ORDER BY day",
        [first.isoformat(), last.isoformat()],
    )
    return {
        date.fromisoformat(day): Volumes(**dict(zip(COMPONENTS, volumes, strict=True)))
        for day, *volumes in rows.fetchall()
    }


def issued_leaves(db: Database, day: date) -> list[dict[str, Any]]:
    """The leaves of one issued day in order, each with the day's status; none before it was issued."""
    return list(
        db.query(
            "SELECT l.*, d.status FROM leaves l JOIN days d ON d.day = l.day WHERE l.day = ? AND "
            "d.revision > 0 ORDER BY window_start_ms, outlet, product",
            [day.isoformat()],
        )
    )


def record_issue(
    db: Database, day: date, revision: int, files: Iterable[tuple[str, str, int]],
    config_digest: str, now_ms: int,
) -> None:
    """What was issued: (name, sha256, size) of every file of a revision."""
    db.table("issued").insert_all(
        (
            {
                "day": day.isoformat(), "revision": revision, "name": name, "sha256": digest,
                "size": size, "config_digest": config_digest, "issued_ms": now_ms,
            }
            for name, digest, size in files
        ),
        replace=True,
    )


def issued_files(db: Database, day: date, revision: int) -> dict[str, str]:
    """Names of the files of a revision, and their SHA-256."""
    rows = db.query("SELECT name, sha256 FROM issued WHERE day = ? AND revision = ?",
                    [day.isoformat(), revision])
    return {row["name"]: row["sha256"] for row in rows}


def fact(db: Database, name: str) -> str | None:
    row = db.execute("SELECT value FROM facts WHERE name = ?", [name]).fetchone()
    return row[0] if row else None


def set_fact(db: Database, name: str, value: str) -> None:
    db.execute(
        "INSERT INTO facts (name, value) VALUES (?, ?) "
        "ON CONFLICT (name) DO UPDATE SET value = excluded.value",
        [name, value],
    )


def note_fixes(db: Database, day: date, sentences: Sequence[str]) -> None:
    """Keep what the fixes did as of a day, unless a later day's is known."""
    if day >= date.fromisoformat(fixes_told(db)["day"] or date.min.isoformat()):
        told = {"day": day.isoformat(), "fixes": list(sentences)}
        set_fact(db, "fixes", json.dumps(told, ensure_ascii=False))


def fixes_told(db: Database) -> dict[str, Any]:
    """``day`` ("" where none) and ``fixes``: what was kept last."""
    found: dict[str, Any] = json.loads(fact(db, "fixes") or '{"day": "", "fixes": []}')
    return found


def unplaced(db: Database) -> dict[str, str]:
    """Days with files that could not take their place, each with the reason."""
    found: dict[str, str] = json.loads(fact(db, UNPLACED) or "{}")
    return found


def note_unplaced(db: Database, day: date, reason: str, now_ms: int) -> None:
    """Keep the reason, and the day dirty so that it is tried again; forget both where there is none."""
    known = unplaced(db)
    if not reason and day.isoformat() not in known:
        return
    if reason:
        known[day.isoformat()] = reason
        mark_days_dirty(db, [day], now_ms)
    else:
        del known[day.isoformat()]
    set_fact(db, UNPLACED, json.dumps(dict(sorted(known.items())), ensure_ascii=False))


def _day_row(row: dict[str, Any]) -> DayRow:
    return DayRow(
        day=date.fromisoformat(row["day"]), dirty=bool(row["dirty"]), changed_ms=row["changed_ms"],
        revision=row["revision"], status=row["status"], digest=row["digest"],
        config_digest=row["config_digest"], issued_ms=row["issued_ms"],
        dirty_since_ms=row["dirty_since_ms"], changes=row["changes"], own_changes=row["own_changes"],
    )
