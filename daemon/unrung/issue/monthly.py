"""The files of one period, as bytes: a pure function of its ledger and the settings."""

from __future__ import annotations

from unrung.issue.csv_bytes import csv_bytes
from unrung.issue.daily import PACKAGE
from unrung.issue.month_adjustments import month_adjustments_table
from unrung.issue.month_kegs import month_kegs_table
from unrung.issue.month_variance import month_variance_table
from unrung.issue.package import package_bytes
from unrung.issue.table import Table
from unrung.ledger.month import MonthLedger
from unrung.settings import Settings


def monthly_files(month: MonthLedger, settings: Settings, revision: int) -> dict[str, bytes]:
    """File name to content. Called twice it gives the same bytes: nothing tells when it was made.

    ``datapackage.json`` comes last; it holds the hashes of the tables.
    """
    name = month.period.name
    tables = [(f"{one.name}-{name}.csv", one) for one in _tables(month, settings, revision)]
    files = {path: csv_bytes(table, settings.files) for path, table in tables}
    title = f"{settings.venue.name}: draught beer in {name}"
    files[PACKAGE] = package_bytes(f"draught-{name.lower()}", title, tables, files, settings)
    return files


def _tables(month: MonthLedger, settings: Settings, revision: int) -> list[Table]:
    return [
        month_variance_table(month, settings, revision),
        month_kegs_table(month, settings),
        month_adjustments_table(month, settings),
    ]
