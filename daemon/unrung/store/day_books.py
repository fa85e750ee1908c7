"""What the period's books need of each issued day: written with the day, read back as its ledger."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from typing import Any

from sqlite_utils import Database

from unrung.ledger.results import COMPONENTS, Counts, DayLedger, Leaf, LoggedRow, ProductDay, Volumes
from unrung.ledger.tap_spans import TapSpan
from unrung.store.days import COUNTS, leaves_between


def save_day_books(db: Database, ledger: DayLedger, spans: Iterable[TapSpan]) -> None:
    """Replace what is kept of a day beside its leaves; within a write transaction."""
    day = ledger.day.isoformat()
    for table in ("product_days", "logged_days", "tap_spans"):
        db.execute(f"DELETE FROM {table} WHERE day = ?", [day])
    db.table("product_days").insert_all(
        {
            "day": day, "outlet": one.outlet, "product": one.product,
            "low_ul": one.poured_not_rung_low, "high_ul": one.poured_not_rung_high,
            "cost_per_litre": _written(one.cost_minor_per_litre),
            "retail_per_litre": _written(one.retail_minor_per_litre),
        }
        for one in ledger.products
    )
    db.table("logged_days").insert_all(
        {
            "day": day, "outlet": one.outlet, "product": one.product, "reason": one.reason,
            "entries": one.entries, "said_ul": one.said_ul, "explained_ul": one.explained_ul,
            "without_pour_ul": one.without_pour_ul,
        }
        for one in ledger.logged
    )
    db.table("tap_spans").insert_all({"day": day, **span._asdict()} for span in spans)


def day_ledgers(db: Database, first: date, last: date) -> list[DayLedger]:
    """The issued days first..last in order, as far as they are kept: leaves, products, logged."""
    span = [first.isoformat(), last.isoformat()]
    leaves: dict[str, list[Leaf]] = defaultdict(list)
    for row in leaves_between(db, first, last):
        leaves[row["day"]].append(_leaf(row))
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


def _leaf(row: dict[str, Any]) -> Leaf:
    return Leaf(
        row["window_start_ms"], row["window_minutes"], row["outlet"], row["product"],
        Volumes(**{name: row[name] for name in COMPONENTS}),
        Counts(**{name: row[name] for name in COUNTS}),
    )


def _written(price: float | None) -> str:
    """Every digit of a price: STRICT tables hold no fractions."""
    return "" if price is None else repr(price)


def _read(text: str) -> float | None:
    return float(text) if text else None
