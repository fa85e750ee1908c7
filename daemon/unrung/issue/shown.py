"""From exact leaves to displayed ones: each component rounded once, everything else their sums.

Displayed figures are kept as ``Volumes`` whose numbers are *thousandths of the venue's unit* in
place of microlitres. ``poured``, ``rung``, ``portion_difference`` and ``variance`` then come from
the ledger's own formulas over the displayed digits, so the identity holds in what is printed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from operator import attrgetter

from unrung.issue.cells import money, units, volume
from unrung.issue.table import Cell
from unrung.ledger.results import COMPONENTS, Counts, DayLedger, Volumes
from unrung.units import thousandths as thousandths

TOTALS = ("poured", "rung", "portion_difference", "variance")


_FIGURES = (*COMPONENTS, *TOTALS)
_parts, _figures = attrgetter(*COMPONENTS), attrgetter(*_FIGURES)


@dataclass(slots=True)
class ProductTotals:
    """One outlet (or pool) and product over the day."""

    exact: Volumes = field(default_factory=Volumes)
    """Microlitres: what percentages and money are computed from."""
    shown: Volumes = field(default_factory=Volumes)
    """Thousandths of the unit: the sum of the displayed leaves."""
    counts: Counts = field(default_factory=Counts)


def shown(exact: Volumes, unit: str) -> Volumes:
    """The components of one leaf in thousandths of ``unit``, each rounded half to even once."""
    return Volumes(*_digits(_parts(exact), unit))


@lru_cache(maxsize=1024)  # a day's files, page and mail ask for the same leaves
def _digits(parts: tuple[int, ...], unit: str) -> tuple[int, ...]:
    return tuple([thousandths(value, unit) if value else 0 for value in parts])


def by_product(ledger: DayLedger, unit: str) -> dict[tuple[str, str], ProductTotals]:
    """(outlet, product) to its day, sorted; products at rest are there with zeros."""
    keys = {(it.outlet, it.product) for it in ledger.products}
    keys |= {(it.outlet, it.product) for it in ledger.leaves}
    totals = {key: ProductTotals() for key in sorted(keys)}
    for one in ledger.leaves:
        total = totals[one.outlet, one.product]
        total.exact.add(one.volumes)
        total.shown.add(shown(one.volumes, unit))
        add_counts(total.counts, one.counts)
    return totals


def add_counts(total: Counts, more: Counts) -> None:
    """Adds ``more`` to ``total``, in place."""
    total.serves += more.serves
    total.units_rung_micro += more.units_rung_micro
    total.comp_units_micro += more.comp_units_micro
    total.net_sales_minor += more.net_sales_minor


def figure_cells(displayed: Volumes, counts: Counts, currency_digits: int) -> dict[str, Cell]:
    """The cells that the day's row and a window's row share."""
    cells: dict[str, Cell] = dict(zip(_FIGURES, map(volume, _figures(displayed)), strict=True))
    cells["serves"] = counts.serves
    cells["units_rung"] = units(counts.units_rung_micro)
    cells["comp_units"] = units(counts.comp_units_micro)
    cells["net_sales"] = money(counts.net_sales_minor, currency_digits)
    return cells
