"""The files of one period, as bytes: a pure function of its ledger and the settings."""

from __future__ import annotations

from dataclasses import dataclass

from unrung.issue.csv_bytes import csv_bytes
from unrung.issue.daily import PACKAGE
from unrung.issue.month_adjustments import month_adjustments_table
from unrung.issue.month_journal import month_journal
from unrung.issue.month_kegs import month_kegs_table
from unrung.issue.month_variance import month_variance_table
from unrung.issue.month_xlsx import workbook_bytes
from unrung.issue.package import package_bytes
from unrung.ledger.month import MonthLedger
from unrung.settings import Settings


@dataclass(frozen=True, slots=True)
class MonthFiles:
    """File name to content, and what a person should know of them, as sentences."""

    files: dict[str, bytes]
    notes: tuple[str, ...] = ()


def monthly_files(month: MonthLedger, settings: Settings, revision: int) -> MonthFiles:
    """Called twice it gives the same bytes: nothing tells when it was made.

    ``datapackage.json`` comes last; it holds the hashes of the tables.
    """
    name = month.period.name
    journal = month_journal(month, settings, revision)
    variance = month_variance_table(month, settings, revision)
    kegs, adjustments = month_kegs_table(month, settings), month_adjustments_table(month, settings)
    made = [variance, kegs, adjustments, *([journal.table] if journal.table else [])]
    tables = [(f"{one.name}-{name}.csv", one) for one in made]
    files = {path: csv_bytes(table, settings.files) for path, table in tables}
    files[f"variance-{name}.xlsx"] = workbook_bytes(
        month, variance, kegs, adjustments, journal.table, settings, journal.notes
    )
    title = f"{settings.venue.name}: draught beer in {name}"
    files[PACKAGE] = package_bytes(f"draught-{name.lower()}", title, tables, files, settings)
    return MonthFiles(files, journal.notes if journal.wanted else ())
