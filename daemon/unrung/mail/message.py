"""From a composed mail to the bytes that are sent: RFC 5322 and MIME (RFC 2045 to 2047).

Given the same arguments the bytes are the same, so a mail that is tried again is the same mail.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import datetime
from email.errors import MessageError
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime, parseaddr
from typing import NamedTuple

from unrung.alerts.wording import shown_name
from unrung.errors import DeliveryError
from unrung.mail.render import Composed
from unrung.settings import Settings

# 7bit: not every server announces 8BITMIME (RFC 6152), so everything else is encoded.
_POLICY = SMTP.clone(cte_type="7bit")


class Attachment(NamedTuple):
    """A CSV file to go with a mail; ``content`` is UTF-8."""

    name: str
    content: bytes


def as_message(
    composed: Composed, settings: Settings, to: Sequence[str], message_id: str, date: datetime,
    attachments: Sequence[Attachment] = (),
) -> bytes:
    """The whole message, lines of at most 78 characters, ended by CRLF.

    ``date`` must be aware (it becomes the Date header) and ``message_id`` comes from
    :func:`stable_message_id`. Raises DeliveryError (permanent) where an address cannot be used.
    """
    message = EmailMessage(policy=_POLICY)
    message["From"] = _sender(settings)
    message["To"] = tuple(_address(one) for one in to)
    message["Subject"] = shown_name(composed.subject, 200)
    message["Date"] = format_datetime(date)
    message["Message-ID"] = message_id
    # RFC 3834, section 5; the second is what some servers read in its place.
    message["Auto-Submitted"] = "auto-generated"
    message["X-Auto-Response-Suppress"] = "All"
    message.set_content(composed.text, charset="utf-8")
    message.add_alternative(composed.html, subtype="html", charset="utf-8")
    for one in attachments:
        message.add_attachment(
            one.content, maintype="text", subtype="csv", cte="base64", filename=one.name,
            params={"charset": "utf-8"},
        )
    _set_boundaries(message, message_id)
    return message.as_bytes()


def stable_message_id(key: str, sender: str) -> str:
    """The same identifier for the same outbox row, whenever it is tried.

    >>> stable_message_id("morning 2026-10-30", "bar@example.org")
    '<unrung.8fb1f1d2d550df9db69b88078f6657a2@example.org>'
    """
    domain = parseaddr(sender)[1].rpartition("@")[2] or "localhost"
    digest = hashlib.sha256(f"{sender}\n{key}".encode()).hexdigest()
    return f"<unrung.{digest[:32]}@{domain}>"


def _sender(settings: Settings) -> Address:
    address = _address(settings.mail.sender)
    if address.display_name:
        return address
    return Address(shown_name(settings.venue.name), addr_spec=address.addr_spec)


def _address(text: str) -> Address:
    """An address from settings; only ASCII ones travel without the server's SMTPUTF8."""
    name, spec = parseaddr(text)
    try:
        if not text.isprintable() or "@" not in spec:
            raise ValueError("it has no @, or a line break")
        spec.encode("ascii")
        return Address(shown_name(name), addr_spec=spec)
    except (ValueError, MessageError, IndexError) as fault:
        raise DeliveryError(
            f"{text!r} is not a mail address that can be used ({fault}); write name@example.org",
            permanent=True,
        ) from fault


def _set_boundaries(message: EmailMessage, message_id: str) -> None:
    """Fixed boundaries in place of random ones, so that the bytes can be made again."""
    digest = hashlib.sha256(message_id.encode()).hexdigest()[:40]
    parts = [part for part in message.walk() if part.is_multipart()]
    for depth, part in enumerate(parts):
        part.set_boundary(f"=_unrung_{depth}_{digest}")
