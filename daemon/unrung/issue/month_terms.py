"""What the workbook's last sheet says: how the figures are made, and what each column means."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from unrung.issue.table import Table
from unrung.ledger.month import MonthLedger
from unrung.settings import Settings

_METHODS = {
    "weighted_average": "weighted average of the opening stock and the deliveries of the period, over the "
    "whole venue",
    "fifo": "oldest beer first, over the whole venue",
}
_PERIODS = {
    "calendar": "calendar months", "4-4-5": "twelve periods of 4, 4 and 5 weeks",
    "13x4": "thirteen periods of 4 weeks",
}


def terms_of(
    month: MonthLedger, tables: Sequence[Table], settings: Settings, notes: Sequence[str]
) -> Iterator[tuple[str, str]]:
    """(term, what it means); a heading has no meaning."""
    yield "Method", ""
    yield from _method(month, settings)
    remarks = [*month.notices, *notes]
    if remarks:
        yield "Remarks", ""
        yield from ((str(number), text) for number, text in enumerate(remarks, 1))
    for table in tables:
        yield table.title, ""
        yield from ((column.name, column.description) for column in table.columns)


def _method(month: MonthLedger, settings: Settings) -> Iterator[tuple[str, str]]:
    yield "period", (
        f"{month.period.name}, business days {month.period.first.isoformat()} to "
        f"{month.period.last.isoformat()}; the venue's periods are {_PERIODS[settings.period.kind]}."
    )
    yield "sums", (
        "Each figure is the sum of the printed figures of the issued days. A figure is rounded once, in its "
        "time window, at 3 decimals; totals are sums of rounded figures. Percentages come from exact "
        "figures and are never summed."
    )
    yield "stock", (
        "used = opening + delivered + transferred_in - transferred_out - returned - written_off - closing; "
        "used = beer_metered + rung_not_compared (beer of unmetered taps) + lost_before_meter. A count is "
        "rolled to the period's end by what was poured, delivered and moved in between."
    )
    yield "cost", (
        f"Beer is valued by {_METHODS[settings.cost.method]}, at the cost of each delivery, else at keg_cost "
        "of products.csv, net of recoverable tax and without deposits. variance_cost is the sum of the days, "
        "each at the cost in force on it."
    )
    yield "retail", "variance_retail is potential revenue; it is never posted."
    yield "status", (
        f"{month.status}. A closed period never changes: what comes later stands under adjustments of the "
        "open period."
    )
    yield "caution", (
        "A variance is not evidence against a person: meters, settings, foam, cleaning and keg changes cause "
        "it too. Not for trade billing or excise."
    )
