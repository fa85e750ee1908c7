"""The morning mail of a day that is issued for the first time: judged, composed, written down."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

from unrung.alerts.rules import History, Raised, comparing_feed_missing, judge_day, not_judged
from unrung.alerts.state import OpenAlert, next_state
from unrung.daybook import day_at
from unrung.feed_volume import Odd, odd_volume
from unrung.feed_words import all_news
from unrung.fix_news import with_fix_news
from unrung.ledger.results import DayLedger
from unrung.mail.actions import Action
from unrung.mail.causes import causes_told, without_repeats
from unrung.mail.compose import morning_mail
from unrung.mail.message import Attachment
from unrung.mail.outbox import Mail, folded_notice, to_fold
from unrung.mail.render import Composed
from unrung.morning_past import keep_standing, same_weekdays, standing_before
from unrung.outgoing import write_down
from unrung.settings import Settings
from unrung.store import outbox
from unrung.store.days import day_rows, fact, set_fact, volumes_between
from unrung.store.movements import first_and_last_ms
from unrung.store.open import Store

FRESH_MS = 36 * 3_600_000
"""A day that ended longer ago is history taken in afterwards: its files are issued, no mail is."""
MEDIAN_DAYS = 28
FINAL = "Final: the data that was missing has come. This takes the place of the provisional mail."


def write_morning_mail(
    db: Store, settings: Settings, ledger: DayLedger, files: Mapping[str, bytes], now_ms: int,
    day_end_ms: int, *, first: bool,
) -> None:
    """Judge the day, move what stands open, and put the mail into the outbox; in a transaction.

    A day has one mail, written when it is issued ``first``; a second, final one where that was
    provisional and what was missing has come.
    """
    provisional = comparing_feed_missing(ledger, settings)
    final = not first and not provisional and fact(db, f"provisional {ledger.day}") is not None
    if now_ms - day_end_ms > FRESH_MS or not (first or final):
        return
    odd = odd_volume(db, settings, ledger.day)
    history = replace(history_before(db, settings, ledger.day), odd=odd.sentence)
    raised = judge_day(ledger, settings, history)
    unjudged = not_judged(ledger, settings, history)
    back = taken_back(told_on(db, ledger.day), raised, ledger)
    newest = not any(row.revision for row in day_rows(db) if row.day > ledger.day)
    if not unjudged and newest:
        _move_alerts(db, raised, history, ledger.day)
    if not (settings.mail.to and settings.mail.host):
        return
    from unrung.menu_mail import beers_told, items_told  # with it loads what looks at exports

    if newest:
        ledger = with_fix_news(db, ledger)
    late = to_fold([_mail(row) for row in outbox.mails(db, state="waiting")])
    notices = [
        text for text in (
            FINAL if final else "", *all_news(db, settings, now_ms), folded_notice(late),
            "" if ledger.missing else unjudged, *back
        ) if text
    ]
    known = standing_before(db, ledger.day)
    causes = causes_told(ledger, settings, judged=not unjudged, known=known)
    items, items_open, items_kept = items_told(db, settings, ledger.day, now_ms, known)
    composed = morning_mail(
        ledger, without_repeats(raised, ledger), settings, first_notices=notices,
        actions=[*_look_at_export(odd), *beers_told(db, settings, ledger), *causes.actions, *items],
        still_open=[*causes.still_open, *items_open],
        before_ul=same_weekdays(db, ledger.day), final=final, items_told=bool(items_kept),
    )
    if provisional:
        set_fact(db, f"provisional {ledger.day}", "mailed")
    if newest:
        keep_standing(db, {**known, **dict(causes.standing), **items_kept})
    _fold(db, late)
    _put(db, settings, ledger.day, composed, files, now_ms, "final" if final else "morning")


def _look_at_export(odd: Odd) -> list[Action]:
    return [Action(odd.title, "Back office", 5, odd.check)] if odd.title else []


def _fold(db: Store, late: Sequence[Mail]) -> None:
    """Mails whose words the new one takes over wait no longer."""
    for mail in late:
        outbox.set_state(db, mail.id, "folded")
        for one in outbox.recipients_of(db, mail.id):
            if one["state"] == "waiting":
                outbox.save_recipient(db, mail.id, one["recipient"], state="folded")


def _put(
    db: Store, settings: Settings, day: date, composed: Composed, files: Mapping[str, bytes],
    now_ms: int, word: str,
) -> None:
    name = f"variance-{day.isoformat()}.csv"
    write_down(
        db, settings, composed, key=f"{word} {day.isoformat()}", kind="morning", day=day, now_ms=now_ms,
        attachments=[Attachment(name, files[name])],
    )


def history_before(db: Store, settings: Settings, day: date) -> History:
    """What earlier days tell the rules."""
    span = first_and_last_ms(db)
    first = day_at(settings, span[0]) if span else day
    opened = {key: OpenAlert(*volumes) for key, volumes in outbox.open_alerts(db).items()}
    return History(
        days_of_data=(day - first).days + 1, venue_shares=_shares(db, day), open=opened
    )


def told_on(db: Store, day: date) -> dict[str, str]:
    """Alerts that threshold mails told of a day: key to sentence."""
    text = fact(db, f"told {day.isoformat()}")
    return json.loads(text) if text else {}


def taken_back(told: Mapping[str, str], raised: Sequence[Raised], ledger: DayLedger) -> list[str]:
    """What was told during the day and the whole day does not bear out, as sentences."""
    if ledger.missing:
        return []
    standing = {one.key for one in raised}
    return [
        f"Taken back, since later records explain it: {sentence}"
        for key, sentence in told.items() if key not in standing
    ]


def _move_alerts(db: Store, raised: list[Raised], history: History, day: date) -> None:
    """Keep which alerts stand open. The morning mail says all that was raised; only threshold mails
    are held to what is news."""
    after = next_state(history.open, raised)
    outbox.save_alerts(
        db, {key: (one.volume_ul, one.told_ul) for key, one in after.open.items()}, day.isoformat()
    )

def _shares(db: Store, day: date) -> tuple[float, ...]:
    """Poured-not-rung as a share of compared beer, per venue-day of the last four weeks."""
    final = {row.day for row in day_rows(db) if row.status == "final"}
    earlier = volumes_between(db, day - timedelta(days=MEDIAN_DAYS), day - timedelta(days=1))
    sums = [volumes for day, volumes in earlier.items() if day in final]
    compared = [
        one.matched_portion + one.portion_difference + one.logged + one.poured_not_rung for one in sums
    ]
    return tuple(
        one.poured_not_rung / whole for one, whole in zip(sums, compared, strict=True) if whole > 0
    )


def _mail(row: Mapping[str, object]) -> Mail:
    return Mail(**{**row, "body": ""})  # type: ignore[arg-type]

