"""The day's figures for a mail, a page or a terminal: computed once, in whole steps that foot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from itertools import groupby

from unrung.issue.cells import money, percent, worth
from unrung.issue.foot import foot
from unrung.issue.shown import ProductTotals, add_counts, by_product
from unrung.issue.whole import Whole, whole_rows, whole_sum
from unrung.ledger.results import DayLedger, DayStatus, ProductDay
from unrung.settings import Settings
from unrung.units import UNIT_LABELS, step_ul


@dataclass(frozen=True, slots=True)
class SummaryRow:
    """One product at one outlet, one outlet (``product`` empty), or the venue (both empty).

    Percentages are from exact figures, None where the divisor is 0.
    """

    outlet: str
    product: str
    whole: Whole
    """Volumes in steps of the venue's unit (``units.step_ul``)."""
    variance_share: Fraction | None
    """Of the beer compared: poured less not_beer and poured_not_compared. Not rounded: who says it does so,
    once."""
    poured_not_rung_share: Fraction | None
    """Of the beer compared."""
    not_compared_pct: Decimal | None
    """Share of poured_not_compared in poured less not_beer."""
    serves: int
    units_rung: Decimal
    net_sales: Decimal
    variance_cost: Decimal | None
    """Of the products with a known cost; None where there is none."""

    @property
    def variance_pct(self) -> Decimal | None:
        """``variance_share`` as the files have it."""
        return None if self.variance_share is None else percent(*self.variance_share.as_integer_ratio())


@dataclass(frozen=True, slots=True)
class DaySummary:
    """All that a morning mail says about one day. Rows sum to outlets, outlets to the total."""

    day: date
    status: DayStatus
    venue: str
    unit_label: str
    currency: str
    rows: tuple[SummaryRow, ...]
    outlets: tuple[SummaryRow, ...]
    total: SummaryRow
    logged_by_reason: tuple[tuple[str, int], ...]
    """Reason and whole steps explained, sorted; they sum to ``total.whole.logged`` when log entries
    are all that is logged."""
    without_cost: tuple[str, ...]
    """Products that poured or rang without a known cost."""
    missing: tuple[str, ...]
    notices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Line:
    """One product's exact day, its whole figures and its cost."""

    outlet: str
    product: str
    totals: ProductTotals
    whole: Whole
    cost: Decimal | None


def day_summary(ledger: DayLedger, settings: Settings) -> DaySummary:
    """The figures of ``ledger`` as people are shown them. Pure."""
    lines = _lines(ledger, settings)
    digits = settings.currency_digits
    rows = tuple(_row(one.outlet, one.product, [one], digits) for one in lines)
    outlets = tuple(
        _row(outlet, "", list(group), digits)
        for outlet, group in groupby(lines, key=lambda one: one.outlet)
    )
    total = _row("", "", lines, digits)
    unpriced = {one.product for one in lines if one.cost is None and any(one.whole)}
    return DaySummary(
        ledger.day, ledger.status, settings.venue.name, UNIT_LABELS[settings.venue.volume_unit],
        settings.venue.currency, rows, outlets, total,
        _by_reason(ledger, lines, settings.venue.volume_unit), tuple(sorted(unpriced)),
        ledger.missing, ledger.notices,
    )


def _lines(ledger: DayLedger, settings: Settings) -> list[_Line]:
    unit = settings.venue.volume_unit
    days = {(it.outlet, it.product): it for it in ledger.products}
    found = by_product(ledger, unit)
    wholes = whole_rows([totals.exact for totals in found.values()], unit)
    return [
        _Line(*key, totals, whole, worth(
            totals.exact.variance, days.get(key, ProductDay(*key)).cost_minor_per_litre,
            settings.currency_digits,
        ))
        for (key, totals), whole in zip(found.items(), wholes, strict=True)
    ]


def _row(outlet: str, product: str, lines: Sequence[_Line], digits: int) -> SummaryRow:
    sums = ProductTotals()
    for one in lines:
        sums.exact.add(one.totals.exact)
        add_counts(sums.counts, one.totals.counts)
    beer = sums.exact.poured - sums.exact.not_beer
    compared = beer - sums.exact.poured_not_compared
    costs = [one.cost for one in lines if one.cost is not None]
    return SummaryRow(
        outlet, product, whole_sum(one.whole for one in lines),
        variance_share=Fraction(sums.exact.variance, compared) if compared else None,
        poured_not_rung_share=Fraction(sums.exact.poured_not_rung, compared) if compared else None,
        not_compared_pct=percent(sums.exact.poured_not_compared, beer),
        serves=sums.counts.serves,
        units_rung=Decimal(sums.counts.units_rung_micro).scaleb(-6),
        net_sales=money(sums.counts.net_sales_minor, digits),
        variance_cost=sum(costs, Decimal(0)) if costs else None,
    )


def _by_reason(
    ledger: DayLedger, lines: Sequence[_Line], unit: str
) -> tuple[tuple[str, int], ...]:
    explained: dict[str, int] = {}
    for entry in ledger.logged:
        explained[entry.reason] = explained.get(entry.reason, 0) + entry.explained_ul
    reasons = sorted(reason for reason, volume_ul in explained.items() if volume_ul)
    whole_day = sum(explained.values()) == sum(one.totals.exact.logged for one in lines)
    shown = Decimal(whole_sum(one.whole for one in lines).logged)
    values = [explained[reason] / step_ul(unit) for reason in reasons]
    footed = foot(values, 0, shown if whole_day else None)
    return tuple(zip(reasons, map(int, footed), strict=True))
