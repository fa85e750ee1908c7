"""What comes too late for a closed period: judged against what was issued, carried by the open one."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from unrung.daybook import Cache, bounds_of, day_at, ledger_of, material_of
from unrung.issue.month_stock import STOCK_FIGURES
from unrung.issue.month_sums import SUMMED
from unrung.issue.month_variance import month_variance_table
from unrung.issue.table import Cell
from unrung.issue.variance import variance_table
from unrung.ledger.adjust import Adjustment, Change, Figures, applied, changes
from unrung.ledger.edges import edge_after
from unrung.ledger.month import make_month
from unrung.ledger.outlets import Outlets
from unrung.ledger.results import DayLedger
from unrung.monthbook import margin_days, month_inputs, period_at
from unrung.periods import Period
from unrung.settings import Settings
from unrung.store.closing import LateSource, late_sources
from unrung.store.day_books import day_ledgers
from unrung.store.days import day_row, day_rows
from unrung.store.months import (
    MonthRow,
    add_adjustments,
    closed_through,
    judged_day,
    last_judged_ms,
    mark_months_dirty,
    save_books,
    save_judged,
    save_sealed_units,
    settle_closed_day,
)
from unrung.store.movements import first_and_last_ms
from unrung.store.open import Store, write_tx

_IN_UNITS = {"serves", "units_rung", "comp_units"}
_IN_MONEY = {
    "net_sales", "variance_cost", "variance_retail", "used_cost", "closing_cost", "written_off_cost",
}
ADJUSTED = tuple(name for name in SUMMED if name not in ("poured_not_rung_low", "poured_not_rung_high"))
"""Figures of a closed day that are watched; a plausible range is no figure to adjust."""


def crossing(db: Store, settings: Settings, last: date) -> dict[int, str]:
    """Rings that cross the edge after ``last``, as all three days stand now."""
    before, after = last - timedelta(days=1), last + timedelta(days=1)
    days = [material_of(db, settings, day) for day in (before, last, after)]
    return edge_after(*days)


def seal(db: Store, settings: Settings, period: Period, edge: Mapping[int, str]) -> None:
    """Keep how the period's days stand and which rings cross its last ``edge``; within the transaction
    that closes it, after the period is marked as closed."""
    days = {day.day: day_figures(day, settings) for day in day_ledgers(db, period.first, period.last)}
    save_sealed_units(db, period.last, edge)
    cache: Cache = {}
    for day, figures in days.items():
        made = figures
        if day in (period.first, period.last):
            made = day_figures(ledger_of(db, settings, day, cache), settings)
        save_judged(db, day, figures, made)


def judge_closed_day(
    db: Store, settings: Settings, day: date, closed: MonthRow, now_ms: int, cache: Cache
) -> tuple[DayLedger, int]:
    """Compute a closed day again; what differs becomes adjustments of the first open period. The
    ledger as it would be now, and how many figures moved."""
    row = day_row(db, day)
    changes_seen = row.changes if row else 0
    ledger = ledger_of(db, settings, day, cache)
    issued, made = (_pooled(figures, settings) for figures in judged_day(db, day))
    now = day_figures(ledger, settings)
    moved = changes(issued, made, now)
    stock_moved, books = _stock_changes(db, settings, closed, ledger)
    edited = row is not None and row.config_digest != settings.digest
    rows: list[Adjustment] = []
    if moved:
        late = _late_files(db, settings, closed, day)
        rows += _rows(db, settings, closed, day, moved, lambda _: late, edited=edited)
    if stock_moved:
        of_stock = _late_stock(db, settings, closed)
        rows += _rows(db, settings, closed, closed.period.last, stock_moved, of_stock, edited=edited)
    with write_tx(db):
        if rows:
            add_adjustments(db, rows, now_ms)
            save_judged(db, day, applied(issued, moved), _with_places(now, issued))
            save_books(db, closed.period.name, books)
            mark_months_dirty(db, [_open_period(db, settings)])
        settle_closed_day(db, day, changes_seen, settings.digest)
    return ledger, len(rows)


def day_figures(day: DayLedger, settings: Settings) -> Figures:
    """The figures of a day's issued file, by place."""
    rows = variance_table(replace(day, findings=()), settings, 0).rows
    return {(str(row["outlet"]), str(row["product"])): _digits(row, ADJUSTED) for row in rows}


def stock_figures_of(
    db: Store, settings: Settings, period: Period, again: Sequence[DayLedger] = ()
) -> dict[str, dict[str, str]]:
    """The cellar's figures of a closed period as they would be now; JSON takes no pairs for keys.
    ``again``: its days that were computed anew."""
    month = make_month(month_inputs(db, settings, period, closed=True, again=again), settings)
    rows = month_variance_table(month, settings, 0).rows
    return {
        f"{row['outlet']}\n{row['product']}": _digits(row, STOCK_FIGURES)
        for row in rows if row["level"] == "product"
    }


def _stock_changes(
    db: Store, settings: Settings, closed: MonthRow, day: DayLedger
) -> tuple[list[Change], dict[str, Any]]:
    """What moved in a closed period's cellar, and its books with that. It is looked at with the last of the
    days that wait to be judged: beer that came to light on any of them was used too."""
    period, span = closed.period, first_and_last_ms(db)
    begins = max(period.first, day_at(settings, span[0])) if span else period.first
    rows = [row for row in day_rows(db) if begins <= row.day <= period.last]
    if any(row.dirty and row.day != day.day for row in rows):
        return [], closed.books
    cache: Cache = {}
    again = [
        ledger_of(db, settings, row.day, cache)
        for row in rows if row.day != day.day and row.changed_ms > (closed.closed_ms or 0)
    ] + [day]
    was = _pooled(_placed(closed.books.get("stock", {})), settings)
    now = stock_figures_of(db, settings, period, again)
    found = changes(was, was, _placed(now))
    return found, {**closed.books, "stock": now}


def _pooled(figures: Figures, settings: Settings) -> Figures:
    """Figures of outlets that were put into a pool since as those of the pool, which they would be now."""
    of, found = Outlets(settings).of, dict[tuple[str, str], dict[str, str]]()
    for (outlet, product), cells in figures.items():
        pooled = found.setdefault((of(outlet), product), {})
        for name, digits in cells.items():
            pooled[name] = str(Decimal(pooled[name]) + Decimal(digits)) if name in pooled else digits
    return found


def _placed(stock: Mapping[str, Mapping[str, str]]) -> Figures:
    return {(key.split("\n")[0], key.split("\n")[1]): cells for key, cells in stock.items()}


def _rows(
    db: Store, settings: Settings, closed: MonthRow, day: date, moved: Iterable[Change],
    files: Callable[[str], list[str]], *, edited: bool,
) -> list[Adjustment]:
    """The day's changes as what the open period carries. ``files``: product to the exports behind it."""
    carrying = _open_period(db, settings).name
    found = []
    for one in moved:
        late = files(one.product)
        cause = "late_rows" if late and not edited else "late_rows_and_settings" if late else "settings"
        found.append(Adjustment(
            carrying, closed.period.name, day.isoformat(), one.outlet, one.product, one.figure,
            _unit(one.figure, settings), one.old, one.new, cause, "; ".join(late),
        ))
    return found


def _late_files(db: Store, settings: Settings, closed: MonthRow, day: date) -> list[str]:
    """Exports since the closing that brought or took rows of the day; else of a day beside it."""
    since = last_judged_ms(db, day, ADJUSTED, closed.closed_ms or 0)
    for reach in (timedelta(0), timedelta(1)):
        if late := _late(db, settings, day - reach, day + reach, since):
            return _named(late)
    return []


def _late_stock(db: Store, settings: Settings, closed: MonthRow) -> Callable[[str], list[str]]:
    """Product to the exports since the closing that tell of its stock; those that tell of any, where none
    names it."""
    period, margin = closed.period, timedelta(days=margin_days(settings))
    since = last_judged_ms(db, period.last, STOCK_FIGURES, closed.closed_ms or 0)
    late = _late(db, settings, period.first - margin, period.last + margin, since)

    def files(product: str) -> list[str]:
        rows = [row for row in settings.taps if row.product == product]
        taps = {name.casefold() for row in rows for name in (row.tap, row.meter) if name}
        by_till = not all(row.metered for row in rows)
        mine = [
            one for one in late if one.product.casefold() == product.casefold() or one.tap.casefold() in taps
            or (by_till and one.kind == "ring")
        ]
        return _named(mine or late)

    return files


def _late(db: Store, settings: Settings, first: date, last: date, since_ms: int) -> list[LateSource]:
    span = bounds_of(settings, first)[0], bounds_of(settings, last)[1]
    return late_sources(db, span, (first, last), since_ms)


def _named(late: Iterable[LateSource]) -> list[str]:
    return [*dict.fromkeys(one.name for one in late)]


def _open_period(db: Store, settings: Settings) -> Period:
    """The first period that is not closed."""
    last = closed_through(db)
    assert last is not None, "asked for only where a period is closed"
    return period_at(settings, last + timedelta(days=1))


def _with_places(now: Figures, issued: Figures) -> Figures:
    """Places that fell away keep their row, with nothing in it."""
    return {place: now.get(place, {}) for place in {*now, *issued}}


def _digits(row: Mapping[str, Cell], names: Iterable[str]) -> dict[str, str]:
    return {name: str(row[name]) for name in names if row[name] is not None}


def _unit(figure: str, settings: Settings) -> str:
    if figure in _IN_MONEY:
        return settings.venue.currency
    return "units" if figure in _IN_UNITS else settings.venue.volume_unit
