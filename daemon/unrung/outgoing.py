"""Write down, then send: a composed mail becomes rows of the outbox before anything leaves."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime

from unrung.mail.message import Attachment, as_message, stable_message_id
from unrung.mail.render import Composed
from unrung.settings import Settings
from unrung.store import outbox
from unrung.store.open import Store


def write_down(
    db: Store, settings: Settings, composed: Composed, *, key: str, kind: str, day: date, now_ms: int,
    attachments: Sequence[Attachment] = (),
) -> bool:
    """Put a mail to the venue's recipients into the outbox, once per ``key``; in a write transaction.

    False where a mail with that key was written before.
    """
    message_id = stable_message_id(key, settings.mail.sender)
    at = datetime.fromtimestamp(now_ms // 1000, UTC)
    return outbox.add_mail(
        db, key=key, kind=kind, day=day.isoformat(), message_id=message_id, subject=composed.subject,
        body=as_message(composed, settings, settings.mail.to, message_id, at, attachments),
        recipients=settings.mail.to, now_ms=now_ms,
    )
