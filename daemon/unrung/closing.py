"""Closing a period: refused while something waits, then never changed again."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from unrung.adjusting import crossing, seal, stock_figures_of
from unrung.clock_doubt import clock_doubt
from unrung.clock_trust import clock_trouble
from unrung.daybook import bounds_of, day_at
from unrung.issue.month_sums import month_figures
from unrung.issue.monthly import monthly_files
from unrung.issue.place import Unplaced, folder_for_month, place
from unrung.ledger.menu import Menu, resembles
from unrung.ledger.month import MonthLedger, make_month
from unrung.month_issuing import month_digest, write_down
from unrung.monthbook import books_of, month_inputs, period_called
from unrung.periods import Period, before
from unrung.settings import Settings
from unrung.store.closing import accept_rejects_between, items_between, waiting_rejects_between
from unrung.store.days import day_rows
from unrung.store.months import close_month, closed_through, month_row, save_books
from unrung.store.open import Store, write_tx


@dataclass(slots=True)
class Standing:
    """What stands in the way of closing a period, as sentences."""

    firm: list[str] = field(default_factory=list)
    """Cannot be accepted."""
    open: list[str] = field(default_factory=list)
    """May be accepted, and is then written down with the closing."""


@dataclass(frozen=True, slots=True)
class Closed:
    """What closing did."""

    period: Period
    closed: bool
    standing: Standing
    revision: int = 0
    unplaced: tuple[Unplaced, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def lines(self) -> list[str]:
        """What to tell: everything that stands, and what became of the period."""
        texts = (*self.standing.firm, *self.standing.open, *map(str, self.unplaced), *self.notes)
        said = [f"- {text}" for text in texts]
        if self.closed:
            return [*said, f"{self.period.name} is closed, revision {self.revision}."]
        if self.standing.open:
            said.append(f"{self.period.name} stays open. Settle these, or close it with --accept.")
        return said


def standing(db: Store, settings: Settings, period: Period, now_ms: int) -> Standing:
    """Everything that a person should settle before the period is closed."""
    found = Standing()
    if wrong := clock_trouble(db, settings, now_ms):
        found.firm.append(f"{wrong[0].upper()}{wrong[1:]}.")
        return found
    if doubt := clock_doubt(db, settings, now_ms):
        found.open.append(f"{doubt[0].upper()}{doubt[1:]}.")
    if bounds_of(settings, period.last)[1] > now_ms:
        found.firm.append(f"{period.name} is not over: its last business day is {period.last.isoformat()}.")
        return found
    found.firm += _not_issued(db, settings, period)
    found.firm += _earlier(db, settings, period)
    if not found.firm:
        month = make_month(month_inputs(db, settings, period), settings)
        found.open += _incomplete(month)
        found.open += _rejects(db, settings, period)
        found.open += _unknown_items(db, settings, period)
        found.open += _not_counted(month, settings)
        found.open += month.notices
    return found


def close(db: Store, settings: Settings, name: str, now_ms: int, *, accept: bool = False) -> Closed:
    """Close the period of that name where nothing stands in the way, or what does is accepted. Its
    files are issued once more, as closed, and kept."""
    period = period_called(settings, name)
    row = month_row(db, period.name)
    if row is not None and row.closed_ms is not None:
        return Closed(period, False, Standing([f"{period.name} is closed already."]), row.revision)
    found = standing(db, settings, period, now_ms)
    if found.firm or (found.open and not accept):
        return Closed(period, False, found)
    month = make_month(month_inputs(db, settings, period, closed=True), settings)
    figures = month_figures(month, settings)
    digest = month_digest(month, settings, figures)
    revision = (row.revision if row else 0) + 1
    made = monthly_files(month, settings, revision, figures)
    files = made.files
    unplaced = place(folder_for_month(settings, period.name), files, readers=settings.files.readable_by)
    edge = crossing(db, settings, period.last)
    with write_tx(db):
        write_down(db, settings, month, revision, digest, files, now_ms)
        close_month(db, period, files, found.open, now_ms)
        seal(db, settings, period, edge)
        save_books(db, period.name, books_of(month) | {"stock": stock_figures_of(db, settings, period)})
        accept_rejects_between(db, *_span(settings, period))
    return Closed(period, True, found, revision, unplaced, made.notes)


def _not_issued(db: Store, settings: Settings, period: Period) -> list[str]:
    rows = {row.day: row for row in day_rows(db)}
    issued = [day for day, row in rows.items() if row.revision]
    if not issued or not any(day in period.days() for day in issued):
        return [f"No day of {period.name} was issued."]
    waiting = [
        day for day in period.days() if day >= min(issued)
        and (day not in rows or not rows[day].revision or rows[day].dirty)
    ]
    if not waiting:
        return []
    days = ", ".join(day.isoformat() for day in waiting[:5]) + (", ..." if len(waiting) > 5 else "")
    return [f"Days that are not issued yet, or wait to be issued again: {days}. Run unrung catch-up."]


def _earlier(db: Store, settings: Settings, period: Period) -> list[str]:
    """Periods are closed in order: what is found late belongs to the first open one."""
    last = before(period, settings.period.kind, settings.period.start)
    row = month_row(db, last.name)
    if row is not None and row.closed_ms is None:
        return [f"{last.name} is still open; close it first."]
    done = closed_through(db)
    if done is not None and done >= period.first:
        return [f"{period.name} begins before {done.isoformat()}, up to which the books are closed."]
    return []


def _incomplete(month: MonthLedger) -> list[str]:
    return [
        f"{day.day.isoformat()} was issued without all of its data." for day in month.days
        if day.status == "incomplete"
    ]


def _rejects(db: Store, settings: Settings, period: Period) -> list[str]:
    return [
        f"{row['name']}: {row['n']} row{'s' if row['n'] > 1 else ''} could not be read and "
        f"wait{'' if row['n'] > 1 else 's'}, the first at line {row['line']}."
        for row in waiting_rejects_between(db, *_span(settings, period))
    ]


def _unknown_items(db: Store, settings: Settings, period: Period) -> list[str]:
    """Items that look like draught beer and stand in no menu row on the day they were sold."""
    lo, hi = _span(settings, period)
    products = [row.product for row in settings.products]
    menus: dict[date, Menu] = {}
    found: dict[tuple[str, str], set[date]] = {}
    for words, at_ms in items_between(db, lo, hi):
        day = day_at(settings, at_ms)
        menu = menus.setdefault(day, Menu(settings.menu, day))
        like = resembles(words[0], products)
        if like and menu.portions(*words) is None:
            found.setdefault((words[0], like), set()).add(day)
    return [
        f"The till sold {item!r} on {len(days)} day{'s' if len(days) > 1 else ''}, which menu.csv does not "
        f"list; it looks like {like}. Add a row for it." for (item, like), days in sorted(found.items())
    ]


def _not_counted(month: MonthLedger, settings: Settings) -> list[str]:
    """Places whose closing stock was not counted, where the venue has a cellar feed at all."""
    if not any(feed.carries == "kegs" for feed in settings.feed):
        return []
    return [
        f"{row.product} at {row.outlet} has no closing count; its use would be taken from the meters."
        for row in month.stock
        if row.closing_ul is None and (row.drawn_ul or row.moved_ul or row.opening_ul)
    ]


def _span(settings: Settings, period: Period) -> tuple[int, int]:
    return bounds_of(settings, period.first)[0], bounds_of(settings, period.last)[1]
