"""Mails put into the outbox, and what stands there of them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

from mail.servers import Desk
from unrung.daybook import day_at
from unrung.mail.compose import trial_mail
from unrung.mail.message import as_message, stable_message_id
from unrung.service.clock import wall_ms
from unrung.settings import Settings
from unrung.store import outbox
from unrung.store.days import save_day
from unrung.store.open import Store, write_tx
from venue_folder import VenueFolder


def add(db: Store, settings: Settings, now_ms: int, *, kind: str = "morning", key: str = "one") -> None:
    """Write a short mail to everybody in ``[mail] to``, due at once."""
    composed = trial_mail(settings)
    message_id = stable_message_id(key, settings.mail.sender)
    at = datetime.fromtimestamp(now_ms // 1000, UTC)
    with write_tx(db):
        outbox.add_mail(
            db, key=key, kind=kind, day="2025-06-10", message_id=message_id, subject=composed.subject,
            body=as_message(composed, settings, settings.mail.to, message_id, at),
            recipients=settings.mail.to, now_ms=now_ms,
        )


def put_mail(venue: VenueFolder, now_ms: int) -> None:
    with venue.open() as (settings, db):
        add(db, settings, now_ms)


def sent(desk: Desk) -> list[EmailMessage]:
    """What the server took, read back."""
    return [message_from_bytes(content, policy=policy.default) for _, content in desk.taken]  # type: ignore[misc]


def text(message: EmailMessage) -> str:
    """The plain text, its lines joined to one."""
    part: Any = message.get_body(("plain",))
    return " ".join(part.get_content().split())


def issued_yesterday(venue: VenueFolder, status: str = "final") -> None:
    """As if yesterday, by the real clock, had been issued."""
    with venue.open() as (settings, db), write_tx(db):
        yesterday = day_at(settings, wall_ms()) - timedelta(days=1)
        save_day(db, yesterday, [], revision=1, status=status, digest="", config_digest="",
                 issued_ms=wall_ms(), changed_ms=0)
