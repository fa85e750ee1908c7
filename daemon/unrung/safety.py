"""A ring in the span of a line's cleaning is told at once: by day, and with late records of a day past.

No limit, no cap on mails and no time of learning holds this back. Each such ring is told once by a mail
of its own; the morning mail has it in its first lines as well.
"""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta

from unrung.ledger.results import DayLedger, ServedWhileCleaned
from unrung.mail.safety import safety_mail
from unrung.outgoing import write_down
from unrung.settings import Settings
from unrung.store.days import fact, set_fact
from unrung.store.open import Store

TOLD = "safety_told"
WORTH = timedelta(days=7)
"""Older days are history that was taken in afterwards; their files say it."""


def tell_served(
    db: Store, settings: Settings, ledger: DayLedger, now_ms: int, until_ms: int | None = None
) -> list[ServedWhileCleaned]:
    """Put a mail into the outbox about what was not told yet, and return that; in a write transaction.

    ``until_ms``: both sides' records reach so far. A later ring may still find its pour elsewhere.
    """
    today = datetime.fromtimestamp(now_ms / 1000, UTC).date()
    if not (settings.mail.host and settings.mail.to) or today - ledger.day > WORTH:
        return []
    told = _told(db)
    news = {
        _key(ledger.day, one): one for one in ledger.served_while_cleaned
        if until_ms is None or max(one.poured_ms, one.rung_ms) <= until_ms
    }
    news = {key: one for key, one in news.items() if key not in told}
    if news:
        key = f"safety {json.dumps([*news], ensure_ascii=False)}"
        composed = safety_mail(ledger, [*news.values()], settings)
        write_down(db, settings, composed, key=key, kind="safety", day=ledger.day, now_ms=now_ms)
        recent = [key for key in told if date.fromisoformat(json.loads(key)[0]) >= today - 2 * WORTH]
        set_fact(db, TOLD, json.dumps([*recent, *news], ensure_ascii=False))
    return [*news.values()]


def _told(db: Store) -> list[str]:
    found: list[str] = json.loads(fact(db, TOLD) or "[]")
    return found


def _key(day: date, one: ServedWhileCleaned) -> str:
    """A ring's own time is left out: it moves with the learnt clock."""
    return json.dumps([day.isoformat(), one.outlet, one.product, one.tap, one.poured_ms], ensure_ascii=False)
