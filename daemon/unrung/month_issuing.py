"""Which periods are due, and issuing one: make, place its files, write down what was issued.

A period is due once all its days are issued and clean; a day that is issued again makes it due again.
It is issued as the next revision only where its bytes without the revision differ. A closed period
is never issued again.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from unrung.issue.digest import NO_REVISION, content_digest
from unrung.issue.month_sums import Figures, month_figures
from unrung.issue.monthly import monthly_files, monthly_tables, workbook_name
from unrung.issue.place import Unplaced, folder_for_month, place
from unrung.ledger.month import MonthLedger, make_month
from unrung.monthbook import books_of, margin_days, month_inputs, period_at
from unrung.periods import Period, after
from unrung.settings import Settings
from unrung.store.days import day_rows
from unrung.store.months import (
    mark_months_dirty,
    month_row,
    month_rows,
    record_month_issue,
    save_month,
)
from unrung.store.open import Store, write_tx

TABLES = ".csv"


@dataclass(frozen=True, slots=True)
class MonthIssued:
    """What became of one period."""

    period: Period
    revision: int
    changed: bool
    """Whether a new revision was issued; False where the bytes were the same."""
    month: MonthLedger
    unplaced: tuple[Unplaced, ...] = ()
    notes: tuple[str, ...] = ()
    """What a person should do about the files, as sentences."""


def touched_periods(db: Store, settings: Settings, day: date) -> list[Period]:
    """The periods whose files depend on ``day``: its own, and a known one whose counts it may tell of."""
    own = period_at(settings, day)
    margin = timedelta(days=margin_days(settings))
    near = {period_at(settings, day + margin), period_at(settings, day - margin)} - {own}
    return [own, *sorted(one for one in near if month_row(db, one.name) is not None)]


def due_months(db: Store, settings: Settings, now_ms: int) -> list[Period]:
    """Periods that are over and whose days are all issued, where something changed since, in order.
    Files that were refused their place are tried again after the pause for late data."""
    pause = round(settings.schedule.quiet_minutes * 60_000)
    rows = day_rows(db)
    issued = {row.day for row in rows if row.revision}
    waiting = {row.day for row in rows if row.dirty}
    if not issued:
        return []
    first = min(issued)
    return [
        row.period for row in month_rows(db)
        if row.dirty and row.closed_ms is None and row.period.last in issued
        and not 0 <= now_ms - row.refused_ms < pause
        and all(day in issued and day not in waiting for day in row.period.days() if day >= first)
    ]


def issue_due_months(db: Store, settings: Settings, now_ms: int) -> list[MonthIssued]:
    """Issue every period that is due. One that changes the next one's opening makes that due too."""
    done: list[MonthIssued] = []
    while due := due_months(db, settings, now_ms):
        done.append(issue_month(db, settings, due[0], now_ms))
    return done


def issue_month(db: Store, settings: Settings, period: Period, now_ms: int) -> MonthIssued:
    """Make the period's files and issue them where they are new or differ. Not for closed periods."""
    row = month_row(db, period.name)
    month = make_month(month_inputs(db, settings, period), settings)
    figures = month_figures(month, settings)
    digest = month_digest(month, settings, figures)
    changed = row is None or not row.revision or row.digest != digest
    revision = (row.revision if row else 0) + changed
    folder = folder_for_month(settings, period.name)
    workbook = changed or not (folder / workbook_name(period.name)).exists()
    made = monthly_files(month, settings, revision, figures, workbook)
    due = made.files if changed else {
        name: data for name, data in made.files.items()
        if name.endswith(TABLES) or not (folder / name).exists()
    }
    unplaced = place(folder, due, readers=settings.files.readable_by)
    with write_tx(db):
        write_down(
            db, settings, month, revision, digest, made.files if changed else {}, now_ms, bool(unplaced)
        )
    return MonthIssued(period, revision, changed, month, unplaced, made.notes)


def month_digest(month: MonthLedger, settings: Settings, figures: Figures) -> str:
    """Of what the period's tables say, whatever their revision. The workbook and the data package
    follow from them; how they look may change with the program, which is no reason for a revision."""
    return content_digest(monthly_tables(month, settings, NO_REVISION, figures))


def write_down(
    db: Store, settings: Settings, month: MonthLedger, revision: int, digest: str,
    issued: dict[str, bytes], now_ms: int, refused: bool = False,
) -> None:
    """Record a period that was made, and the files that were ``issued``; within a write transaction."""
    period, row = month.period, month_row(db, month.period.name)
    books = books_of(month)
    save_month(
        db, period, revision=revision, status=month.status, digest=digest,
        config_digest=settings.digest, books=books,
        issued_ms=now_ms if issued or row is None else row.issued_ms,
        refused_ms=now_ms if refused else 0,
    )
    if row is None or row.books != books:
        _wake(db, [after(period, settings.period.kind, settings.period.start)])
    if issued:
        named = [(name, hashlib.sha256(data).hexdigest(), len(data)) for name, data in issued.items()]
        record_month_issue(db, period, revision, named, settings.digest, now_ms)


def _wake(db: Store, periods: Iterable[Period]) -> None:
    """Known periods open with what changed in the one before."""
    mark_months_dirty(db, [one for one in periods if month_row(db, one.name) is not None])
