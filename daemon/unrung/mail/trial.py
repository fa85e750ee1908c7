"""The mail that ``unrung mail-test`` sends, straight to the server and without the outbox."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime

from unrung.mail.compose import trial_mail
from unrung.mail.message import as_message, stable_message_id
from unrung.mail.secret import password
from unrung.mail.smtp import Outcome, send
from unrung.settings import Settings


def send_trial(settings: Settings, now_ms: int, environ: Mapping[str, str]) -> dict[str, Outcome]:
    """Offer a test mail to everybody in ``[mail] to``; empty where no mail is set up."""
    mail = settings.mail
    if not (mail.host and mail.to and mail.sender):
        return {}
    message = as_message(
        trial_mail(settings), settings, mail.to, stable_message_id(f"trial {now_ms}", mail.sender),
        datetime.fromtimestamp(now_ms // 1000, UTC),
    )
    return send(message, mail, list(mail.to), password(mail, environ, settings.folder))
