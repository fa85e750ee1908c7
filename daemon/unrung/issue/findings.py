"""findings-D.csv: the causes that explain the day's variance, and what none of them explains.

Per outlet and product the volumes of all rows, ``unexplained`` among them, sum to the displayed
variance of variance-D.csv; no microlitre is explained twice.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping

from unrung.issue.cells import volume
from unrung.issue.glossary import outlet_column, product_column, unit_column
from unrung.issue.shown import ProductTotals, thousandths
from unrung.issue.table import Cell, Column, Row, Table, number, text
from unrung.ledger.results import DayLedger, FindingRow
from unrung.settings import Settings

UNEXPLAINED = "unexplained"


def findings_table(
    ledger: DayLedger, by_place: Mapping[tuple[str, str], ProductTotals], settings: Settings
) -> Table:
    """Findings in the order in which they are to be looked at, then the rest, product by product.
    ``by_place``: what ``by_product`` makes of the ledger."""
    rows = [_row(found, settings) for found in ledger.findings]
    explained = _explained(ledger.findings, settings.venue.volume_unit)
    for (outlet, product), totals in by_place.items():
        left = totals.shown.variance - explained[outlet, product]
        if left:
            rows.append(_cells(UNEXPLAINED, outlet, product, left, settings))
    title = "What explains the variance, and what to check first"
    return Table("findings", title, _columns(settings), rows)


def _explained(found: Iterable[FindingRow], unit: str) -> dict[tuple[str, str], int]:
    sums: dict[tuple[str, str], int] = defaultdict(int)
    for row in found:
        sums[row.outlet, row.product] += thousandths(row.volume_ul, unit)
    return sums


def _row(found: FindingRow, settings: Settings) -> Row:
    shown = thousandths(found.volume_ul, settings.venue.volume_unit)
    check = f"{found.check_first} {found.caution}".strip()
    more = {
        "tap": found.tap, "confidence": found.confidence, "evidence": found.evidence, "check_first": check,
    }
    return {**_cells(found.finding, found.outlet, found.product, shown, settings), **more}


def _cells(finding: str, outlet: str, product: str, shown: int, settings: Settings) -> dict[str, Cell]:
    return {
        "finding": finding, "outlet": outlet, "product": product, "tap": "", "volume": volume(shown),
        "unit": settings.venue.volume_unit, "confidence": "", "evidence": "", "check_first": "",
    }


def _columns(settings: Settings) -> tuple[Column, ...]:
    return (
        text("finding", "What the data shows; 'unexplained' is the variance that no finding explains.",
             required=True),
        outlet_column(), product_column(),
        text("tap", "Tap, where it is one tap's."),
        number("volume", "Of this day's variance, what it explains; above 0: more poured than rung. Per "
               "outlet and product the rows sum to the variance in variance-D.csv."),
        unit_column(settings),
        text("confidence", "high or medium: noise alone would hardly, or seldom, show as much; low: "
             "a second reading explains it as well."),
        text("evidence", "The numbers behind it, over the last 28 days."),
        text("check_first", "What to check first, and with what caution."),
    )
