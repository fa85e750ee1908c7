"""Movements as tuples for the calculation: only the columns that it takes, in ``ledger.inputs``' order."""

from __future__ import annotations

from collections.abc import Iterator
from operator import eq, gt, itemgetter
from typing import Any

from sqlite_utils import Database

from unrung.ledger.inputs import COLUMNS, ORIGIN
from unrung.store.movements import Span


def lines_between(db: Database, kind: str, lo_ms: int, hi_ms: int) -> list[tuple[Any, ...]]:
    """Current rows of one kind with lo <= at_ms < hi, in a fixed order of content, as
    ``unrung.ledger.inputs`` takes them. They come nearly in order of time, and are put in order here, in
    less time than SQLite takes."""
    rows = db.execute(
        f"SELECT {_columns(kind)} FROM movements m WHERE superseded_by IS NULL AND at_ms >= ? AND at_ms < ? "
        "AND kind = ?", [lo_ms, hi_ms, kind],
    ).fetchall()
    at = 1 + len(ORIGIN) + COLUMNS[kind].index("at_ms")
    return _in_order(rows, at)


def _in_order(rows: list[tuple[Any, ...]], at: int) -> list[tuple[Any, ...]]:
    """By their times, which stand in column ``at``, and then by feed, source, line and id."""
    times, order = [row[at] for row in rows], itemgetter(at, 1, 2, 3, 0)
    if not any(map(gt, times, times[1:])):
        equal = [number for number, same in enumerate(map(eq, times, times[1:])) if same]
        if all(order(rows[number]) < order(rows[number + 1]) for number in equal):
            return rows
    return sorted(rows, key=order)


def kinds_between(db: Database, lo_ms: int, hi_ms: int) -> set[str]:
    """Kinds of the current rows with lo <= at_ms < hi: asking for rows of a kind looks at those of all."""
    rows = db.execute(
        "SELECT DISTINCT kind FROM movements WHERE superseded_by IS NULL AND at_ms >= ? AND at_ms < ?",
        [lo_ms, hi_ms])
    return {kind for kind, in rows.fetchall()}


def _columns(kind: str) -> str:
    return ", ".join(("m.id", *(f"m.{name}" for name in ORIGIN), *COLUMNS[kind]))


def readings_around(
    db: Database, before_ms: int, day: Span, after_ms: int
) -> Iterator[tuple[Any, ...]]:
    """Current readings of a day; of every meter also the last since ``before_ms`` and the first until
    ``after_ms``, which say what flowed at the day's edges."""
    yield from _edge_readings(db, "max", before_ms, day[0])
    yield from lines_between(db, "reading", *day)
    yield from _edge_readings(db, "min", day[1], after_ms)


def _edge_readings(db: Database, which: str, lo_ms: int, hi_ms: int) -> list[tuple[Any, ...]]:
    columns = ", ".join(f"m.{name}" for name in ("id", *ORIGIN, *COLUMNS["reading"]))
    return db.execute(
        f"SELECT {columns} FROM movements m JOIN (SELECT feed, tap, {which}(at_ms) AS at FROM movements "
        "WHERE superseded_by IS NULL AND kind = 'reading' AND at_ms >= ? AND at_ms < ? GROUP BY 1, 2) e "
        "ON m.at_ms = e.at AND m.feed = e.feed AND m.tap = e.tap "
        "WHERE m.superseded_by IS NULL AND m.kind = 'reading'", [lo_ms, hi_ms],
    ).fetchall()


def lines_of_day(db: Database, kind: str, day: str) -> list[tuple[Any, ...]]:
    """Current rows of one kind written down for ``day`` without a time, as ``lines_between`` has them."""
    return db.execute(
        f"SELECT {_columns(kind)} FROM movements m WHERE superseded_by IS NULL AND day = ? AND kind = ? "
        "ORDER BY feed, source, line, id", [day, kind],
    ).fetchall()
