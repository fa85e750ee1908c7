"""The files of one business day, as bytes: a pure function of the ledger and the settings."""

from __future__ import annotations

from unrung.issue.csv_bytes import csv_bytes
from unrung.issue.findings import findings_table
from unrung.issue.logged import logged_table
from unrung.issue.package import package_bytes
from unrung.issue.table import Table
from unrung.issue.till import till_table
from unrung.issue.unmatched import unmatched_table
from unrung.issue.variance import variance_table
from unrung.issue.windows import windows_table
from unrung.ledger.results import DayLedger
from unrung.settings import Settings

PACKAGE = "datapackage.json"


def daily_files(ledger: DayLedger, settings: Settings, revision: int) -> dict[str, bytes]:
    """File name to content. Called twice it gives the same bytes: nothing tells when it was made.

    ``datapackage.json`` comes last; it holds the hashes of the others.
    """
    day = ledger.day.isoformat()
    tables = [(f"{one.name}-{day}.csv", one) for one in _tables(ledger, settings, revision)]
    files = {name: csv_bytes(table, settings.files) for name, table in tables}
    title = f"{settings.venue.name}: draught beer on {day}"
    files[PACKAGE] = package_bytes(f"draught-{day}", title, tables, files, settings)
    return files


def _tables(ledger: DayLedger, settings: Settings, revision: int) -> list[Table]:
    """Every table of the day. A further file is one more module and one more line here."""
    return [
        variance_table(ledger, settings, revision),
        windows_table(ledger, settings, revision),
        unmatched_table(ledger, settings),
        logged_table(ledger, settings),
        till_table(ledger),
        findings_table(ledger, settings),
    ]
