"""A period's figures: the displayed cells of its daily files summed, so that they foot with them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import NamedTuple

from unrung.issue.logged import logged_rows
from unrung.issue.shown import by_product
from unrung.issue.table import Cell, Row
from unrung.issue.variance import FIGURES, variance_rows
from unrung.ledger.month import MonthLedger
from unrung.ledger.outlets import Outlets
from unrung.ledger.results import Volumes
from unrung.ledger.stock import Place
from unrung.settings import Settings

SUMMED = tuple(name for name in FIGURES if name != "variance_pct")
REASONS = (
    "comp", "staff", "waste", "cleaning", "sample", "function", "training", "other", "keg_change",
)


@dataclass(slots=True)
class Sums:
    """One place, or the total of several."""

    cells: dict[str, Decimal] = field(default_factory=lambda: dict.fromkeys(SUMMED, Decimal(0)))
    exact: Volumes = field(default_factory=Volumes)
    """Microlitres: what percentages are computed from."""
    logged: Counter[str] = field(default_factory=Counter)
    """Displayed volume by reason, in thousandths of the unit."""
    unknown: set[str] = field(default_factory=set)
    """Money that some day with a variance lacks."""
    adjusted: dict[str, Decimal] = field(default_factory=dict)
    """New less old of the adjustments that the period carries, by figure."""

    def add(self, other: Sums) -> None:
        for name, value in other.cells.items():
            self.cells[name] += value
        self.exact.add(other.exact)
        self.logged.update(other.logged)
        self.unknown |= other.unknown
        for name, value in other.adjusted.items():
            self.adjusted[name] = self.adjusted.get(name, Decimal(0)) + value

    def money(self, name: str) -> Decimal | None:
        return None if name in self.unknown else self.cells[name]


class Figures(NamedTuple):
    """What a period's tables are made of."""

    sums: dict[Place, Sums]
    """(outlet, product) to its sums, sorted; places that only the cellar or an adjustment names too."""
    days: list[Row]
    """The rows of every day's variance file, with the revision that each day has."""


def month_figures(month: MonthLedger, settings: Settings) -> Figures:
    """The period's sums. What outlets of a pool issued under their own names, before they were put into it,
    is the pool's."""
    of = Outlets(settings).of
    sums: dict[Place, Sums] = {}
    days: list[Row] = []
    for day in month.days:
        by_place = by_product(day, settings.venue.volume_unit)
        rows = variance_rows(day, by_place, settings, month.revisions.get(day.day, 0))
        days += rows
        for row in rows:
            _add_row(sums.setdefault(_place(row, of), Sums()), row)
        for (outlet, product), totals in by_place.items():
            sums[of(outlet), product].exact.add(totals.exact)
        for row in logged_rows(day, by_place, settings):
            reason = str(row["reason"])
            reason = reason if reason in REASONS else "other"
            explained = int(_decimal(row["explained"]).scaleb(3))
            if explained:  # an entry that explains nothing may name no beer, or one that no tap pours
                sums.setdefault(_place(row, of), Sums()).logged[reason] += explained
    for one in month.adjustments:
        adjusted = sums.setdefault((of(one.outlet), one.product), Sums()).adjusted
        adjusted[one.figure] = adjusted.get(one.figure, Decimal(0)) + (
            Decimal(one.new) - Decimal(one.old)
        )
    for row_ in month.stock:
        sums.setdefault((row_.outlet, row_.product), Sums())
    return Figures(dict(sorted(sums.items())), days)


def total(sums: Iterable[Sums]) -> Sums:
    """Everything added up."""
    whole = Sums()
    for one in sums:
        whole.add(one)
    return whole


def _add_row(sums: Sums, row: Mapping[str, Cell]) -> None:
    for name in SUMMED:
        if row[name] is None:
            if row["variance"]:
                sums.unknown.add(name)
        else:
            sums.cells[name] += _decimal(row[name])


def _place(row: Mapping[str, Cell], of: Callable[[str], str]) -> Place:
    return of(str(row["outlet"])), str(row["product"])


def _decimal(cell: Cell) -> Decimal:
    assert cell is not None
    return Decimal(cell)
