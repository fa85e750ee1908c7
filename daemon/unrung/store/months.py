"""Periods: which must be made again, what was issued and closed, and what came too late for them."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlite_utils import Database

from unrung.ledger.adjust import Adjustment, Figures
from unrung.periods import Period


@dataclass(slots=True)
class MonthRow:
    """What stands in ``months`` for one period."""

    period: Period
    dirty: bool
    revision: int
    status: str
    digest: str
    config_digest: str
    issued_ms: int | None
    closed_ms: int | None
    refused_ms: int
    books: dict[str, Any]
    accepted: list[str]


def month_rows(db: Database) -> list[MonthRow]:
    """Every known period in order."""
    return [_month(row) for row in db.query("SELECT * FROM months ORDER BY first_day, period")]


def month_row(db: Database, name: str) -> MonthRow | None:
    rows = list(db.query("SELECT * FROM months WHERE period = ?", [name]))
    return _month(rows[0]) if rows else None


def closed_through(db: Database) -> date | None:
    """The last day of the last closed period."""
    row = db.execute("SELECT max(last_day) FROM months WHERE closed_ms IS NOT NULL").fetchone()
    return date.fromisoformat(row[0]) if row[0] else None


def closed_spans(db: Database) -> list[tuple[date, date]]:
    """First and last day of every closed period."""
    rows = db.execute("SELECT first_day, last_day FROM months WHERE closed_ms IS NOT NULL").fetchall()
    return [(date.fromisoformat(first), date.fromisoformat(last)) for first, last in rows]


def closing_of(db: Database, day: date) -> MonthRow | None:
    """The closed period that ``day`` lies in."""
    rows = list(db.query(
        "SELECT * FROM months WHERE closed_ms IS NOT NULL AND ? BETWEEN first_day AND last_day",
        [day.isoformat()],
    ))
    return _month(rows[0]) if rows else None


def mark_months_dirty(db: Database, periods: Iterable[Period]) -> None:
    """A period's days changed: its files are made again, and issued where they differ. Call within a
    write transaction."""
    for period in periods:
        db.execute(
            "INSERT INTO months (period, first_day, last_day, dirty) VALUES (?, ?, ?, 1) "
            "ON CONFLICT (period) DO UPDATE SET dirty = 1",
            [period.name, period.first.isoformat(), period.last.isoformat()],
        )


def save_month(
    db: Database, period: Period, *, revision: int, status: str, digest: str, config_digest: str,
    issued_ms: int | None, refused_ms: int, books: Mapping[str, Any],
) -> None:
    """Write down a period that was made. It is clean, unless some of its files were refused their
    place at ``refused_ms`` (else 0). Call within a write transaction."""
    mark_months_dirty(db, [period])
    db.table("months").update(period.name, {
        "dirty": int(refused_ms > 0), "revision": revision, "status": status, "digest": digest,
        "config_digest": config_digest, "issued_ms": issued_ms,
        "refused_ms": refused_ms,
        "books": json.dumps(books, ensure_ascii=False, sort_keys=True),
    })


def record_month_issue(
    db: Database, period: Period, revision: int, files: Iterable[tuple[str, str, int]],
    config_digest: str, now_ms: int,
) -> None:
    """What was issued: (name, sha256, size) of every file of a revision."""
    db.table("issued").insert_all(
        (
            {
                "day": period.name, "revision": revision, "name": name, "sha256": digest, "size": size,
                "config_digest": config_digest, "issued_ms": now_ms,
            }
            for name, digest, size in files
        ),
        replace=True,
    )


def close_month(
    db: Database, period: Period, files: Mapping[str, bytes], accepted: Sequence[str], now_ms: int
) -> None:
    """Close an issued period for good and keep its files; within a write transaction."""
    db.table("months").update(period.name, {
        "closed_ms": now_ms, "accepted": json.dumps(list(accepted), ensure_ascii=False),
    })
    db.table("closed_files").insert_all(
        {"period": period.name, "name": name, "content": content} for name, content in files.items()
    )


def closed_files(db: Database, name: str) -> dict[str, bytes]:
    """The files of a closed period as they were issued when it was closed."""
    rows = db.query("SELECT name, content FROM closed_files WHERE period = ? ORDER BY rowid", [name])
    return {row["name"]: row["content"] for row in rows}


def adjustments_of(db: Database, name: str) -> list[Adjustment]:
    """What a period carries for closed ones, in the order in which it was written down."""
    columns = ", ".join(Adjustment._fields)
    rows = db.query(f"SELECT {columns} FROM adjustments WHERE period = ? ORDER BY id", [name])
    return [Adjustment(**row) for row in rows]


def add_adjustments(db: Database, rows: Iterable[Adjustment], now_ms: int) -> None:
    db.table("adjustments").insert_all({**row._asdict(), "written_ms": now_ms} for row in rows)


def judged_day(db: Database, day: date) -> tuple[Figures, Figures]:
    """A closed day's figures: as issued and adjusted since, and as last made."""
    rows = list(db.query("SELECT * FROM judged WHERE day = ?", [day.isoformat()]))
    return (
        {(row["outlet"], row["product"]): json.loads(row["figures"]) for row in rows},
        {(row["outlet"], row["product"]): json.loads(row["made"]) for row in rows},
    )


def save_judged(db: Database, day: date, figures: Figures, made: Figures) -> None:
    """Replace what is known of a closed day; both hold the same places."""
    db.execute("DELETE FROM judged WHERE day = ?", [day.isoformat()])
    db.table("judged").insert_all(
        {
            "day": day.isoformat(), "outlet": place[0], "product": place[1],
            "figures": json.dumps(cells, sort_keys=True),
            "made": json.dumps(made.get(place, cells), sort_keys=True),
        }
        for place, cells in sorted(figures.items())
    )


def settle_closed_day(db: Database, day: date, changes: int, config_digest: str) -> None:
    """A closed day was judged: it is clean, unless rows came in since ``changes`` were counted. One of which
    nothing was known before is known from now on."""
    db.execute(
        "INSERT INTO days (day, dirty, changed_ms, config_digest) VALUES (?, 0, 0, ?) "
        "ON CONFLICT (day) DO UPDATE SET dirty = (days.changes <> ?), dirty_since_ms = days.changed_ms, "
        "config_digest = excluded.config_digest", [day.isoformat(), config_digest, changes],
    )


def last_judged_ms(db: Database, day: date, figures: Collection[str], closed_ms: int) -> int:
    """When one of these figures of a closed day was last found to differ; when it was closed, if none ever
    was. The stock of a period stands beside the figures of its last day."""
    row = db.execute(
        "SELECT max(written_ms) FROM adjustments WHERE origin_day = ? "
        f"AND figure IN ({', '.join('?' * len(figures))})", [day.isoformat(), *figures]
    ).fetchone()
    return max(closed_ms, row[0] or 0)


def save_books(db: Database, name: str, books: Mapping[str, Any]) -> None:
    db.table("months").update(name, {"books": json.dumps(books, ensure_ascii=False, sort_keys=True)})


def sealed_units(db: Database, day: date) -> dict[int, str] | None:
    """Ring units that cross the edge after ``day``, each to "early" (that day) or "late" (the next);
    None where the edge is not sealed, which it is after a closed period."""
    closed = db.execute(
        "SELECT 1 FROM months WHERE closed_ms IS NOT NULL AND last_day = ?", [day.isoformat()]
    ).fetchone()
    if closed is None:
        return None
    rows = db.query("SELECT unit, goes_to FROM sealed_units WHERE day = ?", [day.isoformat()])
    return {row["unit"]: row["goes_to"] for row in rows}


def save_sealed_units(db: Database, day: date, units: Mapping[int, str]) -> None:
    db.table("sealed_units").insert_all(
        ({"day": day.isoformat(), "unit": unit, "goes_to": side} for unit, side in units.items()),
        replace=True,
    )


def _month(row: dict[str, Any]) -> MonthRow:
    return MonthRow(
        Period(row["period"], date.fromisoformat(row["first_day"]), date.fromisoformat(row["last_day"])),
        bool(row["dirty"]), row["revision"], row["status"], row["digest"], row["config_digest"],
        row["issued_ms"], row["closed_ms"], row["refused_ms"], json.loads(row["books"]),
        json.loads(row["accepted"]),
    )
