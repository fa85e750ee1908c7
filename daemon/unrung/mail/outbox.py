"""The outbox as pure decisions over its rows; the store keeps them, the service carries them out.

A mail is a row, with a recipient row for each address, before anything leaves. After a crash
between the server's "250 OK" and our commit a mail is sent twice, under one Message-ID; none is
lost.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    from unrung.mail.smtp import Outcome

Kind = Literal["morning", "threshold", "safety", "clock", "trial"]
MailState = Literal["waiting", "sent", "partly", "refused", "expired", "folded"]
RecipientState = Literal["waiting", "sent", "refused", "expired", "folded"]

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
FIRST_PAUSE_MS = 5 * MINUTE_MS
"""RFC 5321, section 4.5.4.1, has a sender wait 30 minutes or more. A mail that is wanted this
morning asks sooner (our own choice): greylisting servers are content with some minutes."""
LONGEST_PAUSE_MS = 4 * HOUR_MS
EXPIRES_MS: dict[Kind, int] = {
    "morning": 18 * HOUR_MS,  # the next one says more
    "threshold": 18 * HOUR_MS,
    "safety": 48 * HOUR_MS,  # somebody may have drunk cleaner: no summary takes its place
    "clock": 7 * 24 * HOUR_MS,  # dropped sooner where the doubt is over
    "trial": HOUR_MS,
}
THRESHOLD_MAILS_A_DAY = 3


class Mail(NamedTuple):
    """A row of ``outbox``. ``key`` is unique: what is told once has one key."""

    id: int
    key: str
    kind: Kind
    day: str
    message_id: str
    subject: str
    body: str
    created_ms: int
    state: MailState


class Recipient(NamedTuple):
    """A row of ``outbox_recipients``."""

    outbox_id: int
    recipient: str
    state: RecipientState
    attempts: int
    next_try_ms: int
    last_text: str


def next_try(attempts: int, now_ms: int, *, slow: bool = False) -> int:
    """When to try again after ``attempts`` failed ones: 5, 10, 20 ... minutes, at most 4 hours.

    >>> [next_try(n, 0) // 60_000 for n in range(1, 8)]
    [5, 10, 20, 40, 80, 160, 240]
    """
    growing = FIRST_PAUSE_MS * 2 ** min(max(attempts, 1) - 1, 16)
    return now_ms + (LONGEST_PAUSE_MS if slow else min(growing, LONGEST_PAUSE_MS))


def expires_ms(mail: Mail) -> int:
    """From when on the mail is no longer worth sending."""
    return mail.created_ms + EXPIRES_MS[mail.kind]


def due(recipients: Sequence[Recipient], now_ms: int) -> list[Recipient]:
    """Whom to try now, the longest waiting first. A next try further ahead than any pause was written
    down by a clock that was wrong then."""
    waiting = [one for one in recipients if one.state == "waiting"
               and not 0 < one.next_try_ms - now_ms <= LONGEST_PAUSE_MS]
    return sorted(waiting, key=lambda one: (one.next_try_ms, one.outbox_id, one.recipient))


def after(mail: Mail, recipient: Recipient, outcome: Outcome, now_ms: int) -> Recipient:
    """The recipient's row after one try."""
    tried = recipient._replace(attempts=recipient.attempts + 1, last_text=outcome.text)
    if outcome.state == "ok":
        return tried._replace(state="sent")
    if outcome.state == "refused":
        return tried._replace(state="refused")
    at = next_try(tried.attempts, now_ms, slow=outcome.slow)
    if at >= expires_ms(mail):
        return tried._replace(state="expired")
    return tried._replace(next_try_ms=at)


def expired(mail: Mail, recipients: Sequence[Recipient], now_ms: int) -> list[Recipient]:
    """Rows that waited out the mail's worth (a machine that slept), to be tried no more."""
    if now_ms < expires_ms(mail):
        return []
    return [one._replace(state="expired") for one in recipients if one.state == "waiting"]


def state_of(recipients: Sequence[Recipient]) -> MailState:
    """A mail's own state: waiting while any recipient waits, partly where only some got it."""
    states = {one.state for one in recipients}
    if "waiting" in states:
        return "waiting"
    if states <= {"sent"}:
        return "sent"
    if "sent" in states:
        return "partly"
    for state in ("refused", "expired", "folded"):
        if state in states:
            return state
    return "sent"


def to_fold(mails: Sequence[Mail]) -> list[Mail]:
    """Threshold mails still waiting when the next summary is written: it takes over what they say.

    Their waiting recipients become ``folded``; :func:`folded_notice` goes into the summary.
    """
    found = [one for one in mails if one.kind == "threshold" and one.state == "waiting"]
    return sorted(found, key=lambda one: (one.created_ms, one.id))


def folded_notice(folded: Sequence[Mail]) -> str:
    """The summary's sentence about mails that did not get out in time; empty without any."""
    if not folded:
        return ""
    subjects = "; ".join(one.subject for one in folded[:THRESHOLD_MAILS_A_DAY])
    more = len(folded) - THRESHOLD_MAILS_A_DAY
    return "Not sent in time, told here: " + subjects + (f"; and {more} more." if more > 0 else ".")


def may_tell(mails: Sequence[Mail], day: str) -> bool:
    """Whether another threshold mail may be written for ``day``; beyond, the morning tells."""
    told = sum(1 for one in mails if one.kind == "threshold" and one.day == day)
    return told < THRESHOLD_MAILS_A_DAY
