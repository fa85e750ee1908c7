"""The files of one business day, as bytes: a pure function of the ledger and the settings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from unrung.issue.csv_bytes import csv_bytes, with_column
from unrung.issue.findings import findings_table
from unrung.issue.logged import logged_table
from unrung.issue.package import package_bytes
from unrung.issue.shown import by_product
from unrung.issue.table import Table
from unrung.issue.till import till_table
from unrung.issue.unmatched import unmatched_table
from unrung.issue.variance import rows_table, variance_rows
from unrung.issue.windows import windows_table
from unrung.ledger.results import DayLedger
from unrung.settings import Settings

PACKAGE = "datapackage.json"
NO_REVISION = 0
"""Issued revisions start at 1, so files rendered with 0 differ by their contents alone."""


def daily_files(ledger: DayLedger, settings: Settings, revision: int) -> dict[str, bytes]:
    """File name to content. Called twice it gives the same bytes: nothing tells when it was made.

    ``datapackage.json`` comes last; it holds the hashes of the others.
    """
    return files_of(ledger, settings, tables_of(ledger, settings, revision))


def tables_of(ledger: DayLedger, settings: Settings, revision: int) -> list[Table]:
    """Every table of the day. A further file is one more module and one more line here."""
    by_place = by_product(ledger, settings.venue.volume_unit)
    return [
        rows_table(variance_rows(ledger, by_place, settings, revision), settings),
        windows_table(ledger, settings, revision),
        unmatched_table(ledger, settings),
        logged_table(ledger, by_place, settings),
        till_table(ledger),
        findings_table(ledger, by_place, settings),
    ]


def files_of(
    ledger: DayLedger, settings: Settings, tables: Sequence[Table], same: Mapping[str, bytes] | None = None
) -> dict[str, bytes]:
    """``tables`` as files, and what describes them; ``same``: files that are known to be as they were."""
    day, known = ledger.day.isoformat(), same or {}
    named = _named(ledger, tables)
    files = {
        name: known[name] if name in known else csv_bytes(table, settings.files) for name, table in named
    }
    title = f"{settings.venue.name}: draught beer on {day}"
    files[PACKAGE] = package_bytes(f"draught-{day}", title, named, files, settings)
    return files


def csv_files(ledger: DayLedger, settings: Settings, tables: Sequence[Table]) -> dict[str, bytes]:
    """``tables`` alone: what decides on a revision."""
    return {name: csv_bytes(table, settings.files) for name, table in _named(ledger, tables)}


def _named(ledger: DayLedger, tables: Sequence[Table]) -> list[tuple[str, Table]]:
    return [(f"{one.name}-{ledger.day.isoformat()}.csv", one) for one in tables]


def revised_files(
    ledger: DayLedger, settings: Settings, tables: Sequence[Table], files: Mapping[str, bytes], revision: int
) -> dict[str, bytes]:
    """``daily_files`` of ``revision``, from the tables and files of another one: only the cells that tell it
    differ."""
    revised = {
        name: with_column(files[name], "revision", revision, settings.files)
        if any(column.name == "revision" for column in table.columns) else files[name]
        for name, table in _named(ledger, tables)
    }
    return files_of(ledger, settings, tables, revised)
