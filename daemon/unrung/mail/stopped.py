"""The mail that says that the service cannot start: straight to the server, since the outbox stands in
the store that cannot be used."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime

from unrung.errors import ConfigError
from unrung.mail.compose import stopped_mail
from unrung.mail.message import as_message, stable_message_id
from unrung.mail.secret import password
from unrung.mail.smtp import send
from unrung.settings import Settings


def send_stopped(settings: Settings, reason: str, now_ms: int, environ: Mapping[str, str]) -> bool:
    """Tell everybody in ``[mail] to``; whether the server took it for one of them. Does not raise."""
    mail = settings.mail
    if not (mail.host and mail.to and mail.sender):
        return False
    message_id = stable_message_id(f"stopped {now_ms}", mail.sender)
    at = datetime.fromtimestamp(now_ms // 1000, UTC)
    message = as_message(stopped_mail(settings, reason), settings, mail.to, message_id, at)
    try:
        secret = password(mail, environ, settings.folder)
    except ConfigError:
        return False
    return any(one.state == "ok" for one in send(message, mail, list(mail.to), secret).values())
