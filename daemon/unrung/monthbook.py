"""From the store to one period's inputs: loads what the pure functions need, and nothing more."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from math import ceil
from typing import Any

from unrung.daybook import bounds_of, day_at
from unrung.ledger.costing import Lot
from unrung.ledger.inputs import DayInputs, KegLine, fill
from unrung.ledger.month import MonthInputs, MonthLedger
from unrung.ledger.results import DayLedger
from unrung.ledger.stock import Place
from unrung.ledger.tap_spans import TapSpan, tap_spans
from unrung.periods import Period, before, period_named, period_of
from unrung.settings import Settings
from unrung.store.day_books import day_ledgers, tap_spans_between
from unrung.store.days import day_rows
from unrung.store.lines import lines_between
from unrung.store.months import adjustments_of, month_row
from unrung.store.open import Store

KEG_DAYS = 70
"""A keg that went on longer ago than this is not looked for: its beer would have gone off (common
practice, no source)."""


def period_at(settings: Settings, day: date) -> Period:
    """The venue's period that ``day`` lies in."""
    return period_of(day, settings.period.kind, settings.period.start)


def period_called(settings: Settings, name: str) -> Period:
    """The venue's period of that name. Raises UnrungError where there is none."""
    return period_named(name, settings.period.kind, settings.period.start)


def margin_days(settings: Settings) -> int:
    """How many days around a period its counts may need."""
    return ceil(settings.stock.count_within_hours / 24)


def month_inputs(
    db: Store, settings: Settings, period: Period, *, closed: bool = False, again: Sequence[DayLedger] = ()
) -> MonthInputs:
    """Everything that a period's ledger is made of. ``again``: days of it that were computed anew, in place
    of what is kept of them."""
    margin = timedelta(days=margin_days(settings))
    rows = {row.day: row for row in day_rows(db) if row.revision}
    anew = {one.day: one for one in again}
    kept = {one.day: one for one in day_ledgers(db, period.first - margin, period.last + margin)}
    around = [ledger for _, ledger in sorted((kept | anew).items())]
    days = [one for one in around if period.first <= one.day <= period.last]
    known = _known(settings, period, around)
    earliest = period.first - timedelta(days=KEG_DAYS)
    earlier = month_row(db, before(period, settings.period.kind, settings.period.start).name)
    this = month_row(db, period.name)
    until = min(known[1], (this.closed_ms if this else None) or known[1])
    opening = _by_place(earlier.books, "closing") if earlier and earlier.closed_ms else None
    adjustments = adjustments_of(db, period.name)
    first = max(period.first, min({*rows, *anew}, default=period.first))
    return MonthInputs(
        period, (bounds_of(settings, first)[0], bounds_of(settings, period.last)[1]), days,
        {day.day: rows[day.day].revision for day in days if day.day in rows}, _missing(period, rows),
        [leaf for day in around for leaf in day.leaves], known,
        _kegs(db, bounds_of(settings, earliest)[0], until),
        _spans(db, settings, earliest, period.last + margin, anew),
        adjustments, opening, _by_place(earlier.books if earlier else {}, "carried"),
        _lots(earlier.books if earlier else {}),
        {one.origin_period: _revision(db, one.origin_period) for one in adjustments}, closed,
    )


def books_of(month: MonthLedger) -> dict[str, Any]:
    """What the next period opens with, as plain values."""
    return {
        "closing": [
            [row.outlet, row.product, row.closing_ul] for row in month.stock if row.closing_ul is not None
        ],
        "carried": [
            [row.outlet, row.product, row.book_closing_ul] for row in month.stock if row.book_closing_ul
        ],
        "lots": {
            product: [list(lot) for lot in valued.closing_lots]
            for product, valued in month.books.products.items() if valued is not None
        },
    }


def _by_place(books: dict[str, Any], name: str) -> dict[Place, int] | None:
    """What a period's books say of each place; None where they say nothing, as those of closed periods
    made by an earlier version."""
    rows = books.get(name)
    return None if rows is None else {(outlet, product): volume_ul for outlet, product, volume_ul in rows}


def _revision(db: Store, name: str) -> int:
    row = month_row(db, name)
    return row.revision if row else 0


def _lots(books: dict[str, Any]) -> dict[str, Sequence[Lot]]:
    return {product: [Lot(*lot) for lot in lots] for product, lots in books.get("lots", {}).items()}


def _missing(period: Period, issued: dict[date, Any]) -> list[date]:
    first = min(issued, default=period.first)
    return [day for day in period.days() if day >= first and day not in issued]


def _known(settings: Settings, period: Period, around: Sequence[DayLedger]) -> tuple[int, int]:
    """The span around the period whose days are all issued, from its first issued day outwards."""
    issued = {one.day for one in around}
    start = next((day for day in period.days() if day in issued), None)
    if start is None:
        bounds = bounds_of(settings, period.first)
        return bounds[0], bounds[0]
    first = last = start
    while first - timedelta(days=1) in issued:
        first -= timedelta(days=1)
    while last + timedelta(days=1) in issued:
        last += timedelta(days=1)
    return bounds_of(settings, first)[0], bounds_of(settings, last)[1]


def _spans(
    db: Store, settings: Settings, first: date, last: date, anew: Mapping[date, DayLedger]
) -> list[TapSpan]:
    kept = tap_spans_between(db, first, last)
    if not anew:
        return kept
    made = [span for day in anew.values() if day.facts for span in tap_spans(day.facts, settings)]
    return [span for span in kept if day_at(settings, span.from_ms) not in anew] + made


def _kegs(db: Store, lo_ms: int, hi_ms: int) -> list[KegLine]:
    inputs = DayInputs(date.min, (lo_ms, hi_ms))
    return fill(inputs, "keg", lines_between(db, "keg", lo_ms, hi_ms)).kegs
