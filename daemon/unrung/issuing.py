"""Which days are due, and issuing one: compute, place its files, write down what was issued.

A day is due once its issue time has come and every feed covers it, or at its latest time regardless.
It is issued again, as the next revision, only where its bytes without the revision differ. Files are
placed before the rows that say so are committed: after a crash in between the same revision is made
again, with the same bytes.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from unrung.adjusting import judge_closed_day
from unrung.beside import around, keep_outline, stands
from unrung.clock_doubt import lived_ms, seen_ms
from unrung.daybook import Cache, bounds_of, day_at, day_inputs, ledger_of
from unrung.findings.apply import with_findings
from unrung.findings.fix_cases import first_needed
from unrung.issue.daily import csv_files, revised_files, tables_of
from unrung.issue.digest import NO_REVISION, content_digest
from unrung.issue.place import Unplaced, folder_for_day, place
from unrung.ledger.results import DayLedger
from unrung.ledger.tap_spans import tap_spans
from unrung.month_issuing import touched_periods
from unrung.morning import write_morning_mail
from unrung.page.render import page_bytes
from unrung.safety import tell_served
from unrung.settings import Settings
from unrung.store.day_books import day_ledgers, save_day_books, tap_spans_between
from unrung.store.days import (
    DayRow,
    day_row,
    day_rows,
    day_stands,
    note_fixes,
    note_unplaced,
    record_issue,
    save_day,
)
from unrung.store.doubts import note_doubtful
from unrung.store.facts import facts_between, save_facts
from unrung.store.months import closed_spans, closing_of, mark_months_dirty
from unrung.store.movements import first_and_last_ms
from unrung.store.open import Store, write_tx
from unrung.store.outlines import outline_row

Ahead = Callable[[date], DayLedger | None]
"""The ledger of a day with its findings, where it is known already."""


@dataclass(frozen=True, slots=True)
class Issued:
    """What became of one day."""

    day: date
    revision: int
    changed: bool
    """Whether a new revision was issued; False where the bytes were the same."""
    ledger: DayLedger
    unplaced: tuple[Unplaced, ...] = ()
    adjusted: int = 0
    """Figures of a day of a closed period that moved, and are carried by the open one."""


def issue_time_ms(settings: Settings, day: date, at: time) -> int:
    """``at`` local time on the calendar day after ``day``, in UTC milliseconds."""
    local = datetime.combine(day + timedelta(days=1), at, ZoneInfo(settings.venue.timezone))
    return round(local.timestamp() * 1000)


def due_days(db: Store, settings: Settings, now_ms: int, *, quiet: bool = True) -> list[date]:
    """Business days to issue now, in order. By a clock in doubt, those that are known to be over, and
    those that were issued before. Days of a closed period are as good as issued once they are known: what
    comes of them is judged, and no file. ``quiet``: wait for the pause after late data."""
    span = first_and_last_ms(db)
    if span is None:
        return []
    rows = {row.day: row for row in day_rows(db)}
    until_ms, last = seen_ms(db, settings, now_ms), max(rows, default=date.min)
    lived, closed = lived_ms(db, settings, now_ms), closed_spans(db)
    due = []
    day = day_at(settings, span[0])
    while (over_ms := bounds_of(settings, day)[1]) <= now_ms and (over_ms <= until_ms or day <= last):
        row = rows.get(day)
        issued = row is not None and (
            bool(row.revision) or any(first <= day <= end for first, end in closed))
        if row is not None and issued and (not row.dirty or (quiet and waits(row, settings, now_ms))):
            pass
        elif issued or over_ms <= until_ms:
            # A day that is over by what rows and files say has its hour behind it.
            if _time_has_come(db, settings, day, lived if over_ms <= lived else now_ms):
                due.append(day)
        day += timedelta(days=1)
    return due


def waits(row: DayRow, settings: Settings, now_ms: int) -> bool:
    """Whether an issued day that changed waits for more to come: until nothing came for the pause, but
    no longer than the longest one, since a feed asked every minute never pauses. A change that is
    ahead of the clock was written down by one that was wrong, and is waited for no longer."""
    schedule = settings.schedule
    quiet = now_ms - row.changed_ms
    waited = now_ms - row.dirty_since_ms
    return (0 <= quiet < round(schedule.quiet_minutes * 60_000)
            and waited < round(schedule.longest_wait_minutes * 60_000))


def issue_day(
    db: Store, settings: Settings, day: date, now_ms: int, cache: Cache, ahead: Ahead = lambda day: None
) -> Issued:
    """Compute ``day`` and issue it where it is new or differs from what was issued. A day of a closed
    period is never issued again: what differs is carried by the open one. By a clock in doubt it is
    issued, and mailed, as at the time that is known. ``ahead``: its ledger, without findings, where that was
    computed before, since when no movement may have come in."""
    now_ms = seen_ms(db, settings, now_ms)
    closed = closing_of(db, day)
    if closed is not None:
        ledger, moved = judge_closed_day(db, settings, day, closed, now_ms, cache)
        return Issued(day, closed.revision, False, ledger, adjusted=moved)
    row = day_row(db, day)
    if db.written_elsewhere():  # after the changes of the day were counted: what comes later leaves it dirty
        cache.clear()
    revision, digest = (row.revision, row.digest) if row else (0, "")
    seen_around = around(db, settings, day)
    ledger = ahead(day) or ledger_of(db, settings, day, cache)
    ledger = with_findings(ledger, facts_between(db, first_needed(day, settings), day), settings)
    tables = tables_of(ledger, settings, NO_REVISION)
    first = csv_files(ledger, settings, tables)
    now_digest = content_digest(first)
    changed = not revision or digest != now_digest
    revision += changed
    folder = folder_for_day(settings, day)
    files = revised_files(ledger, settings, tables, first, revision)
    page = f"report-{day.isoformat()}.html"
    if changed or not (folder / page).exists():
        # Not part of what decides on a revision: its wording may change with the program.
        files = {page: page_bytes(ledger, settings, revision), **files}
    unplaced = place(folder, files, readers=settings.files.readable_by)
    with write_tx(db):
        before = None if changed or not _is_as_it_was(db, day) else _books(db, day)
        save_day(
            db, day, ledger.leaves, revision=revision, status=ledger.status, digest=now_digest,
            config_digest=settings.digest, changed_ms=row.changed_ms if row else 0,
            changes=row.changes if row else 0,
            issued_ms=now_ms if changed or row is None else row.issued_ms,
        )
        if ledger.facts:
            save_facts(db, ledger.facts)
        save_day_books(db, ledger, tap_spans(ledger.facts, settings) if ledger.facts else ())
        keep_outline(db, settings, ledger, row.own_changes if row else 0, seen_around)
        if before is None or before != _books(db, day):
            mark_months_dirty(db, touched_periods(db, settings, day))
        note_fixes(db, day, [fix.sentence for fix in ledger.fixes])
        note_unplaced(db, day, " ".join(map(str, unplaced)), now_ms)
        if changed:
            named = [(name, hashlib.sha256(data).hexdigest(), len(data)) for name, data in files.items()]
            record_issue(db, day, revision, named, settings.digest, now_ms)
        tell_served(db, settings, ledger, now_ms)
        note_doubtful(db, ledger.doubtful_sources)
        if changed:
            write_morning_mail(
                db, settings, ledger, files, now_ms, bounds_of(settings, day)[1], first=revision == 1
            )
    return Issued(day, revision, changed, ledger, unplaced)


def _is_as_it_was(db: Store, day: date) -> bool:
    """Whether a day was computed before, since when no row of its own came: a delivery among them would
    change its period and not its ledger."""
    kept = outline_row(db, day)
    return kept is not None and kept.current


def _books(db: Store, day: date) -> tuple[object, ...]:
    """What its period is made of."""
    return day_ledgers(db, day, day), tap_spans_between(db, day, day)


def issue_if_touched(
    db: Store, settings: Settings, day: date, now_ms: int, cache: Cache, ahead: Ahead = lambda day: None
) -> Issued | None:
    """Like ``issue_day``; but a day that was issued, and that what changed beside it does not reach, stands
    as it is: None."""
    known = ahead(day)
    if known is None and closing_of(db, day) is None:
        row = day_row(db, day)
        if db.written_elsewhere():
            cache.clear()
        if row is not None and stands(db, settings, day, cache):
            with write_tx(db):
                day_stands(db, day, row.changes)
            return None
    return issue_day(db, settings, day, now_ms, cache, lambda day: known)


def _time_has_come(db: Store, settings: Settings, day: date, now_ms: int) -> bool:
    if now_ms >= issue_time_ms(settings, day, settings.schedule.latest_at):
        return True
    if now_ms < issue_time_ms(settings, day, settings.schedule.issue_at):
        return False
    return not day_inputs(db, settings, day).missing
