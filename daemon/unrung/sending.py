"""Carries the outbox out: one mail at a time, the outcome of every recipient written down."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from unrung.clock_doubt import in_doubt
from unrung.errors import ConfigError
from unrung.mail.outbox import Mail, Recipient, after, due, expired, expires_ms, state_of
from unrung.mail.secret import password
from unrung.settings import Settings
from unrung.store import outbox
from unrung.store.open import Store, write_tx

if TYPE_CHECKING:
    from unrung.mail.smtp import Outcome


def send_one(db: Store, settings: Settings, now_ms: int, environ: Mapping[str, str]) -> bool:
    """Offer the oldest mail that is due to the server once; False where none is due.

    After a crash between the server's OK and our commit the mail is sent again under the same
    Message-ID; otherwise each is sent once. While the clock is in doubt only the mail about that is
    sent, and what is a matter of safety; what waits does not expire. Afterwards that one is dropped.
    """
    doubtful = in_doubt(db, settings, now_ms)
    for row in outbox.mails(db, state="waiting"):
        mail = Mail(**{**row, "body": ""})
        if doubtful and mail.kind not in ("clock", "safety"):
            continue
        people = [_recipient(one) for one in outbox.recipients_of(db, mail.id)]
        over = [] if doubtful else expired(mail, people, now_ms if mail.kind != "clock" else expires_ms(mail))
        if over:
            _save(db, mail, people, over)
            continue
        ready = due(people, now_ms)
        if ready:
            outcomes = _offer(row, settings, [one.recipient for one in ready], environ)
            _save(db, mail, people, [after(mail, one, outcomes[one.recipient], now_ms) for one in ready])
            return True
    return False


def send_due(db: Store, settings: Settings, now_ms: int, environ: Mapping[str, str]) -> int:
    """Offer every due mail once; how many were offered."""
    count = 0
    while count < 1000 and send_one(db, settings, now_ms, environ):
        count += 1
    return count


def _offer(
    row: Mapping[str, Any], settings: Settings, to: list[str], environ: Mapping[str, str]
) -> dict[str, Outcome]:
    from unrung.mail.smtp import Outcome, send  # smtplib and ssl load at first use

    try:
        secret = password(settings.mail, environ, settings.folder)
    except ConfigError as error:
        return {one: Outcome("retry", str(error), slow=True) for one in to}
    return send(row["body"], settings.mail, to, secret)


def _save(db: Store, mail: Mail, people: list[Recipient], changed: list[Recipient]) -> None:
    now = {one.recipient: one for one in people} | {one.recipient: one for one in changed}
    with write_tx(db):
        for one in changed:
            outbox.save_recipient(
                db, mail.id, one.recipient, state=one.state, attempts=one.attempts,
                next_try_ms=one.next_try_ms, last_text=one.last_text,
            )
        outbox.set_state(db, mail.id, state_of(list(now.values())))


def _recipient(row: Mapping[str, Any]) -> Recipient:
    return Recipient(row["outbox"], row["recipient"], row["state"], row["attempts"],
                     row["next_try_ms"], row["last_text"])
