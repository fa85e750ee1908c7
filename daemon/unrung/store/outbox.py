"""Mails as rows: written down before anything leaves, with a row for each recipient."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlite_utils import Database


def add_mail(
    db: Database, *, key: str, kind: str, day: str, message_id: str, subject: str, body: bytes,
    recipients: Sequence[str], now_ms: int,
) -> bool:
    """Write a mail down once; False where its key was written before. Within a transaction."""
    if db.execute("SELECT 1 FROM outbox WHERE key = ?", [key]).fetchone():
        return False
    outbox = db.table("outbox").insert(
        {
            "key": key, "kind": kind, "day": day, "message_id": message_id, "subject": subject,
            "body": body, "created_ms": now_ms, "state": "waiting" if recipients else "sent",
        }
    ).last_pk
    db.table("outbox_recipients").insert_all(
        {"outbox": outbox, "recipient": one, "state": "waiting", "next_try_ms": now_ms}
        for one in dict.fromkeys(recipients)
    )
    return True


def mails(
    db: Database, *, state: str | None = None, day: str | None = None
) -> list[dict[str, Any]]:
    """Mails in the order they were written: all, or those in one state or of one business day."""
    wanted = {name: value for name, value in (("state", state), ("day", day)) if value}
    where = f"WHERE {' AND '.join(f'{name} = :{name}' for name in wanted)}" if wanted else ""
    return list(db.query(f"SELECT * FROM outbox {where} ORDER BY id", wanted))


def recipients_of(db: Database, outbox: int) -> list[dict[str, Any]]:
    return list(
        db.query("SELECT * FROM outbox_recipients WHERE outbox = ? ORDER BY recipient", [outbox])
    )


def save_recipient(db: Database, outbox: int, recipient: str, **changes: object) -> None:
    db.table("outbox_recipients").update((outbox, recipient), changes)


def set_state(db: Database, outbox: int, state: str) -> None:
    db.table("outbox").update(outbox, {"state": state})


def open_alerts(db: Database) -> dict[str, tuple[int, int]]:
    """Key to (volume last judged, volume last told), microlitres, of every alert that is open."""
    return {row["key"]: (row["volume_ul"], row["told_ul"]) for row in db.query("SELECT * FROM alerts")}


def save_alerts(db: Database, standing: dict[str, tuple[int, int]], day: str) -> None:
    """Replace the open alerts; one that stays open keeps the day since when it is."""
    since = {row["key"]: row["since_day"] for row in db.query("SELECT key, since_day FROM alerts")}
    db.execute("DELETE FROM alerts")
    db.table("alerts").insert_all(
        {"key": key, "volume_ul": volume, "told_ul": told, "since_day": since.get(key, day)}
        for key, (volume, told) in sorted(standing.items())
    )
