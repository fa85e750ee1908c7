"""The mail's table: whole units of the venue, each row rounded so that it foots.

    poured = rung + other + not_rung

in every row and in the total. ``other`` is portions poured above or below their set size, beer
written down, and beer not compared, less rings without a pour; it may be negative. Rows start from
the displayed leaves of the day's files, so mail and files agree.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from unrung.alerts.measures import compared
from unrung.alerts.wording import PLACES
from unrung.issue.foot import foot
from unrung.issue.shown import ProductTotals, by_product
from unrung.ledger.results import DayLedger, Volumes
from unrung.settings import Settings, VenueUnit

MAX_ROWS = 12


class Row(NamedTuple):
    """One product of one outlet, in the venue's unit as shown; ``share`` is exact."""

    outlet: str
    product: str
    poured: Decimal
    rung: Decimal
    other: Decimal
    not_rung: Decimal
    not_rung_ul: int
    compared_ul: int

    @property
    def share(self) -> Fraction | None:
        """Not rung, of the beer compared; None where there is none."""
        return Fraction(self.not_rung_ul, self.compared_ul) if self.compared_ul > 0 else None


def rows(ledger: DayLedger, settings: Settings) -> list[Row]:
    """Every product that moved, most beer without a ring first."""
    unit = settings.venue.volume_unit
    made = [_row(*key, totals, unit) for key, totals in by_product(ledger, unit).items()]
    moved = [row for row in made if row.poured or row.rung]
    return sorted(moved, key=lambda row: (-row.not_rung_ul, row.outlet, row.product))


def shortened(table: Sequence[Row]) -> list[Row]:
    """At most ``MAX_ROWS`` rows: the tail is one row that still foots."""
    if len(table) <= MAX_ROWS:
        return list(table)
    tail = table[MAX_ROWS - 1 :]
    return [*table[: MAX_ROWS - 1], total(tail, f"{len(tail)} more")]


def total(table: Sequence[Row], name: str = "Total") -> Row:
    """The sum of the rows as shown."""
    return Row(
        "", name, sum((row.poured for row in table), Decimal(0)),
        sum((row.rung for row in table), Decimal(0)),
        sum((row.other for row in table), Decimal(0)),
        sum((row.not_rung for row in table), Decimal(0)),
        sum(row.not_rung_ul for row in table), sum(row.compared_ul for row in table),
    )


def whole_day(ledger: DayLedger) -> Volumes:
    """The venue's day in microlitres."""
    sums = Volumes()
    for leaf in ledger.leaves:
        sums.add(leaf.volumes)
    return sums


def _row(outlet: str, product: str, totals: ProductTotals, unit: VenueUnit) -> Row:
    shown = totals.shown
    other = shown.poured - shown.rung - shown.poured_not_rung
    parts = [Fraction(part, 1000) for part in (shown.rung, other, shown.poured_not_rung)]
    rung, rest, not_rung = foot(parts, PLACES[unit])
    return Row(
        outlet, product, rung + rest + not_rung, rung, rest, not_rung,
        totals.exact.poured_not_rung, compared(totals.exact),
    )
