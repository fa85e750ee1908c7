"""The mail's table: steps of the venue's unit (``units.step_ul``), each row rounded so that it foots.

    poured = rung + other + not_rung

in every row and in the total, over the beer that was compared: what only one side's records cover is
told apart. The figures are those of the day's page (``issue.summary``). ``other`` is portions poured above
or below their set size and beer written down, less rings without a pour; it may be negative.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from unrung.alerts.measures import compared
from unrung.issue.shown import ProductTotals, by_product
from unrung.issue.whole import Whole, whole_rows
from unrung.ledger.results import DayLedger, Volumes
from unrung.settings import Settings

MAX_ROWS = 12
FEW_ROWS = 6
"""A table of more rows than this has those without a loss as one."""


class Row(NamedTuple):
    """One product of one outlet in steps of the venue's unit; ``share`` is exact."""

    outlet: str
    product: str
    poured: int
    rung: int
    other: int
    not_rung: int
    not_rung_ul: int
    compared_ul: int

    @property
    def share(self) -> Fraction | None:
        """Not rung, of the beer compared; None where there is none."""
        return Fraction(self.not_rung_ul, self.compared_ul) if self.compared_ul > 0 else None


def rows(ledger: DayLedger, settings: Settings) -> list[Row]:
    """Every product that moved, most beer without a ring first."""
    unit = settings.venue.volume_unit
    found = by_product(ledger, unit)
    wholes = whole_rows([totals.exact for totals in found.values()], unit)
    made = [
        _row(*key, totals, whole)
        for (key, totals), whole in zip(found.items(), wholes, strict=True)
    ]
    moved = [row for row in made if row.poured or row.rung]
    return sorted(moved, key=lambda row: (-row.not_rung_ul, row.outlet, row.product))


def shortened(table: Sequence[Row]) -> list[Row]:
    """At most ``MAX_ROWS`` rows: the tail, and in a longer table all without a loss, is one row that
    still foots."""
    if len(table) <= FEW_ROWS:
        return list(table)
    telling = sum(row.not_rung > 0 for row in table)
    kept = min(max(telling, 1), MAX_ROWS - 1)
    if len(table) - kept <= 1:
        return list(table)
    return [*table[:kept], total(table[kept:], f"{len(table) - kept} more")]


def total(table: Sequence[Row], name: str = "Total") -> Row:
    """The sum of the rows as shown."""
    return Row(
        "", name, sum(row.poured for row in table), sum(row.rung for row in table),
        sum(row.other for row in table), sum(row.not_rung for row in table),
        sum(row.not_rung_ul for row in table), sum(row.compared_ul for row in table),
    )


def whole_day(ledger: DayLedger) -> Volumes:
    """The venue's day in microlitres."""
    sums = Volumes()
    for leaf in ledger.leaves:
        sums.add(leaf.volumes)
    return sums


def _row(outlet: str, product: str, totals: ProductTotals, whole: Whole) -> Row:
    poured, rung, not_rung = whole.compared, whole.compared_rung, whole.poured_not_rung
    return Row(
        outlet, product, poured, rung, poured - rung - not_rung, not_rung,
        totals.exact.poured_not_rung, compared(totals.exact),
    )
