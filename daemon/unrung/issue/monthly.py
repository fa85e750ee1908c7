"""The files of one period, as bytes: a pure function of its ledger and the settings."""

from __future__ import annotations

from dataclasses import dataclass

from unrung.issue.csv_bytes import csv_bytes
from unrung.issue.daily import PACKAGE
from unrung.issue.month_adjustments import month_adjustments_table
from unrung.issue.month_journal import Journal, month_journal
from unrung.issue.month_kegs import month_kegs_table
from unrung.issue.month_sums import Figures, month_figures
from unrung.issue.month_variance import month_variance_table
from unrung.issue.month_xlsx import workbook_bytes
from unrung.issue.package import package_bytes
from unrung.issue.table import Table
from unrung.ledger.month import MonthLedger
from unrung.settings import Settings


@dataclass(frozen=True, slots=True)
class MonthFiles:
    """File name to content, and what a person should know of them, as sentences."""

    files: dict[str, bytes]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Tables:
    variance: Table
    kegs: Table
    adjustments: Table
    journal: Journal

    def named(self, period: str) -> list[tuple[str, Table]]:
        """File name and table, in the order of the data package."""
        made = [self.variance, self.kegs, self.adjustments]
        made += [self.journal.table] if self.journal.table else []
        return [(f"{one.name}-{period}.csv", one) for one in made]


def monthly_files(
    month: MonthLedger, settings: Settings, revision: int, figures: Figures | None = None,
    workbook: bool = True,
) -> MonthFiles:
    """Called twice it gives the same bytes: nothing tells when it was made.

    ``datapackage.json`` comes last; it holds the hashes of the tables. ``figures``: what
    ``month_figures`` makes of the period, where that is known. ``workbook``: whether to make that too, which
    is most of the work.
    """
    figures = figures or month_figures(month, settings)
    name, made = month.period.name, _tables(month, settings, revision, figures)
    named, journal = made.named(name), made.journal
    files = {path: csv_bytes(table, settings.files) for path, table in named}
    if workbook:
        files[workbook_name(name)] = workbook_bytes(
            month, figures.days, made.variance, made.kegs, made.adjustments, journal.table, settings,
            journal.notes,
        )
    title = f"{settings.venue.name}: draught beer in {name}"
    files[PACKAGE] = package_bytes(f"draught-{name.lower()}", title, named, files, settings)
    return MonthFiles(files, journal.notes if journal.wanted else ())


def workbook_name(period: str) -> str:
    return f"variance-{period}.xlsx"


def monthly_tables(
    month: MonthLedger, settings: Settings, revision: int, figures: Figures | None = None
) -> dict[str, bytes]:
    """Only the CSV files among them, without the work that a workbook is."""
    named = _tables(month, settings, revision, figures).named(month.period.name)
    return {path: csv_bytes(table, settings.files) for path, table in named}


def _tables(
    month: MonthLedger, settings: Settings, revision: int, figures: Figures | None
) -> _Tables:
    sums = (figures or month_figures(month, settings)).sums
    return _Tables(
        month_variance_table(month, settings, revision, sums), month_kegs_table(month, settings),
        month_adjustments_table(month, settings), month_journal(month, settings, revision, sums),
    )
