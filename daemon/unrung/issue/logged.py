"""logged-D.csv: what was written down per product and reason, and what of it the pours bear out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from itertools import groupby

from unrung.issue.cells import VOLUME_PLACES, volume
from unrung.issue.foot import foot
from unrung.issue.glossary import day_column, outlet_column, product_column, unit_column
from unrung.issue.shown import ProductTotals, thousandths
from unrung.issue.table import Cell, Column, Row, Table, count, number, text
from unrung.ledger.results import DayLedger, LoggedRow
from unrung.settings import Settings
from unrung.units import UNITS_UL


def logged_table(
    ledger: DayLedger, by_place: Mapping[tuple[str, str], ProductTotals], settings: Settings
) -> Table:
    """One row per outlet, product and reason; ``explained`` foots to variance-D's ``logged``. ``by_place``:
    what ``by_product`` makes of the ledger."""
    rows = logged_rows(ledger, by_place, settings)
    key_names = ("outlet", "product", "reason")
    return Table("logged", "Volume written down, by reason", _columns(settings), rows, key_names)


def logged_rows(
    ledger: DayLedger, by_place: Mapping[tuple[str, str], ProductTotals], settings: Settings
) -> list[Row]:
    """The table's rows, from what ``by_product`` makes of the ledger."""
    unit = settings.venue.volume_unit
    rows: list[Row] = []
    ordered = sorted(ledger.logged, key=lambda it: (it.outlet, it.product, it.reason))
    for key, group in groupby(ordered, key=lambda it: (it.outlet, it.product)):
        entries = list(group)
        explained = _explained(entries, by_place.get(key, ProductTotals()), unit)
        rows += [
            _cells(one, shown, ledger.day.isoformat(), unit)
            for one, shown in zip(entries, explained, strict=True)
        ]
    return rows


def _explained(entries: Sequence[LoggedRow], day: ProductTotals, unit: str) -> list[Decimal]:
    """Displayed ``explained`` of one product's reasons.

    Where they are the whole of the day's ``logged``, they are rounded so that their sum is the
    figure that variance-D shows (it was rounded by window, not by reason).
    """
    if sum(one.explained_ul for one in entries) != day.exact.logged:
        return [volume(thousandths(one.explained_ul, unit)) for one in entries]
    exact = [one.explained_ul / UNITS_UL[unit] for one in entries]
    return foot(exact, VOLUME_PLACES, volume(day.shown.logged))


def _columns(settings: Settings) -> tuple[Column, ...]:
    return (
        day_column(), outlet_column(), product_column(),
        text("reason", "Why it was written down.", required=True), unit_column(settings),
        count("entries", "How many entries; a count."),
        number("said", "What the entries say."),
        number("explained", "Metered volume they explain; a product's reasons sum to its logged "
               "in the variance file.", minimum=0),
        number("without_pour", "What they say for which no pour was found; it explains nothing."),
    )


def _cells(one: LoggedRow, explained: Decimal, day: str, unit: str) -> Row:
    cells: dict[str, Cell] = {
        "business_day": day, "outlet": one.outlet, "product": one.product, "reason": one.reason,
        "unit": unit, "entries": one.entries, "explained": explained,
        "said": volume(thousandths(one.said_ul, unit)),
        "without_pour": volume(thousandths(one.without_pour_ul, unit)),
    }
    return cells
