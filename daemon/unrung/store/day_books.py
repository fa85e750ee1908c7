"""What the period's books need of each issued day: written with the day, read back as its ledger."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from typing import Any

from sqlite_utils import Database

from unrung.ledger.results import COMPONENTS, Counts, DayLedger, Leaf, LoggedRow, ProductDay, Volumes
from unrung.ledger.tap_spans import TapSpan
from unrung.store.days import leaf_rows

_SPAN = ("day", *TapSpan._fields)
_INSERT_SPAN = f"INSERT INTO tap_spans ({', '.join(_SPAN)}) VALUES ({', '.join('?' * len(_SPAN))})"


def save_day_books(db: Database, ledger: DayLedger, spans: Iterable[TapSpan]) -> None:
    """Replace what is kept of a day beside its leaves; within a write transaction."""
    day = ledger.day.isoformat()
    for table in ("product_days", "logged_days", "tap_spans"):
        db.execute(f"DELETE FROM {table} WHERE day = ?", [day])
    db.conn.executemany(
        "INSERT INTO product_days (day, outlet, product, low_ul, high_ul, cost_per_litre, retail_per_litre) "
        "VALUES (?, ?, ?, ?, ?, ?, ?)",
        [(day, one.outlet, one.product, one.poured_not_rung_low, one.poured_not_rung_high,
          _written(one.cost_minor_per_litre), _written(one.retail_minor_per_litre))
         for one in ledger.products])
    db.conn.executemany(
        "INSERT INTO logged_days (day, outlet, product, reason, entries, said_ul, explained_ul, "
        "without_pour_ul) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        [(day, one.outlet, one.product, one.reason, one.entries, one.said_ul, one.explained_ul,
          one.without_pour_ul) for one in ledger.logged])
    db.conn.executemany(_INSERT_SPAN, [(day, *span) for span in spans])


def day_ledgers(db: Database, first: date, last: date) -> list[DayLedger]:
    """The issued days first..last in order, as far as they are kept: leaves, products, logged."""
    span = [first.isoformat(), last.isoformat()]
    leaves = _leaves(db, first, last)
    products: dict[str, list[ProductDay]] = defaultdict(list)
    for row in _between(db, "product_days", span):
        products[row["day"]].append(ProductDay(
            row["outlet"], row["product"], row["low_ul"], row["high_ul"],
            _read(row["cost_per_litre"]), _read(row["retail_per_litre"]),
        ))
    logged: dict[str, list[LoggedRow]] = defaultdict(list)
    for row in _between(db, "logged_days", span):
        logged[row.pop("day")].append(LoggedRow(**row))
    days = db.query(
        "SELECT day, status FROM days WHERE revision > 0 AND day BETWEEN ? AND ? ORDER BY day", span
    )
    return [
        DayLedger(
            date.fromisoformat(row["day"]), tuple(leaves[row["day"]]), tuple(products[row["day"]]), (),
            tuple(logged[row["day"]]), (), status=row["status"],
        )
        for row in days
    ]


def tap_spans_between(db: Database, first: date, last: date) -> list[TapSpan]:
    """What ran through every line on the business days first..last."""
    rows = list(_between(db, "tap_spans", [first.isoformat(), last.isoformat()]))
    return [TapSpan(**{key: value for key, value in row.items() if key != "day"}) for row in rows]


def _between(db: Database, table: str, span: list[str]) -> Iterable[dict[str, Any]]:
    return db.query(f"SELECT * FROM {table} WHERE day BETWEEN ? AND ? ORDER BY day, outlet, product", span)


def _leaves(db: Database, first: date, last: date) -> dict[str, list[Leaf]]:
    """By day, in order."""
    found: dict[str, list[Leaf]] = defaultdict(list)
    for day, outlet, product, start_ms, minutes, *figures in leaf_rows(db, first, last):
        volumes, counts = figures[: len(COMPONENTS)], figures[len(COMPONENTS) :]
        found[day].append(Leaf(start_ms, minutes, outlet, product, Volumes(*volumes), Counts(*counts)))
    return found


def _written(price: float | None) -> str:
    """Every digit of a price: STRICT tables hold no fractions."""
    return "" if price is None else repr(price)


def _read(text: str) -> float | None:
    return float(text) if text else None
