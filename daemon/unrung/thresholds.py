"""Threshold mails: what cannot wait for the morning, judged on the part of today that both sides cover.

Judged only up to the earlier end of both sides' exports, less the time that a ring usually trails its
pour. Told once, again only when it doubles, at most three mails a day; what later records explain is
taken back in the morning mail.
"""

from __future__ import annotations

import json
from datetime import date

from unrung.alerts.rules import Raised, judge_day
from unrung.alerts.state import next_state
from unrung.daybook import bounds_of, covered_until, day_at, ledger_so_far
from unrung.ledger.results import DayLedger
from unrung.mail.compose import threshold_mail
from unrung.mail.outbox import Mail, may_tell
from unrung.morning import history_before, told_on
from unrung.outgoing import write_down
from unrung.safety import tell_served
from unrung.settings import Settings
from unrung.store import outbox
from unrung.store.days import fact, set_fact
from unrung.store.open import Store, write_tx
from unrung.store.sources import newest_source

DURING_THE_DAY = ("two_hours", "product_day")
"""Rules that make sense before a day is over."""
JUDGED_UNTIL = "judged_until"
SOON_MS = 5 * 60_000
"""A ring in a line's cleaning is told without the whole time that rings trail: it is better to have asked
once for nothing (our own choice)."""


def to_judge(db: Store, settings: Settings, now_ms: int) -> tuple[date, int] | None:
    """Today, and up to when it can be judged (UTC milliseconds); None where there is nothing new."""
    if not (settings.mail.host and settings.mail.to):
        return None
    day = day_at(settings, now_ms)
    until = covered_until(db, settings, day)
    if until is None:
        return None
    until -= round(settings.schedule.trailing_minutes * 60_000)
    if until <= bounds_of(settings, day)[0] or _mark(db, settings, until) == fact(db, JUDGED_UNTIL):
        return None
    return day, until


def _mark(db: Store, settings: Settings, until_ms: int) -> str:
    """Changes when there is something new to judge: both sides reach further, or somebody wrote something
    down, such as a cleaning."""
    logs = [feed.name for feed in settings.feed if feed.carries == "log"]
    return f"{until_ms} {newest_source(db, logs)}" if logs else str(until_ms)


def judge_today(db: Store, settings: Settings, now_ms: int) -> list[Raised]:
    """Judge today as far as it is covered, and put what is news into the outbox; returns that."""
    found = to_judge(db, settings, now_ms)
    if found is None:
        return []
    day, until = found
    ledger = ledger_so_far(db, settings, day, until)
    history = history_before(db, settings, day)
    raised = [one for one in judge_day(ledger, settings, history) if _per(one, settings) in DURING_THE_DAY]
    after = next_state(history.open, raised)
    news = [one for one in raised if one.key in after.tell]
    covered = until + round(settings.schedule.trailing_minutes * 60_000)
    with write_tx(db):
        set_fact(db, JUDGED_UNTIL, _mark(db, settings, until))
        tell_served(db, settings, ledger, now_ms, covered - SOON_MS)
        if news and _write(db, settings, ledger, news, until, now_ms):
            standing = {**history.open, **after.open}
            outbox.save_alerts(
                db, {key: (one.volume_ul, one.told_ul) for key, one in standing.items()}, day.isoformat()
            )
            _remember(db, day, news)
            return news
    return []


def _per(raised: Raised, settings: Settings) -> str:
    return next(alert.per for alert in settings.alert if alert.name == raised.rule)


def _write(
    db: Store, settings: Settings, ledger: DayLedger, news: list[Raised], until_ms: int, now_ms: int
) -> bool:
    """The mail as rows; False where the day has had its share, and the morning tells the rest."""
    day = ledger.day.isoformat()
    written = [Mail(**{**row, "body": ""}) for row in outbox.mails(db, day=day)]
    if not may_tell(written, day):
        return False
    key = f"threshold {day} " + json.dumps([[one.key, one.volume_ul] for one in news])
    composed = threshold_mail(ledger, news, settings, until_ms=until_ms)
    return write_down(db, settings, composed, key=key, kind="threshold", day=ledger.day, now_ms=now_ms)


def _remember(db: Store, day: date, news: list[Raised]) -> None:
    told = told_on(db, day) | {one.key: one.sentence for one in news}
    set_fact(db, f"told {day.isoformat()}", json.dumps(told, ensure_ascii=False))
