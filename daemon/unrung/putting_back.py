"""Files of a day of a closed period that are gone, made again as they were issued or not at all."""

from __future__ import annotations

import hashlib

from unrung.findings.apply import with_findings
from unrung.findings.fix_cases import first_needed
from unrung.issue.daily import csv_files, revised_files, tables_of
from unrung.issue.digest import NO_REVISION
from unrung.issue.place import folder_for_day, place
from unrung.ledger.results import DayLedger
from unrung.page.render import page_bytes
from unrung.settings import Settings
from unrung.store.days import day_row, issued_files
from unrung.store.facts import facts_between
from unrung.store.open import Store


def put_back(db: Store, settings: Settings, ledger: DayLedger) -> tuple[list[str], list[str]]:
    """Names of the files that were put back, and what went wrong, as sentences. ``ledger``: the day as it is
    now, without findings; files are put back where that still gives the bytes that were issued."""
    day, folder = ledger.day, folder_for_day(settings, ledger.day)
    row = day_row(db, day)
    issued = issued_files(db, day, row.revision) if row else {}
    gone = [name for name in issued if not (folder / name).exists()]
    if row is None or not gone:
        return [], []
    ledger = with_findings(ledger, facts_between(db, first_needed(day, settings), day), settings)
    tables = tables_of(ledger, settings, NO_REVISION)
    files = revised_files(ledger, settings, tables, csv_files(ledger, settings, tables), row.revision)
    same = {name: files[name] for name in gone if _sha256(files.get(name)) == issued[name]}
    page = f"report-{day.isoformat()}.html"
    if page in gone and all(_sha256(content) == issued.get(name) for name, content in files.items()):
        same[page] = page_bytes(ledger, settings, row.revision)  # its wording may change with the program
    unplaced = place(folder, same, readers=settings.files.readable_by)
    lost = [name for name in gone if name not in same]
    return list(same), [*map(str, unplaced), *([_lost(lost)] if lost else [])]


def _sha256(content: bytes | None) -> str:
    return "" if content is None else hashlib.sha256(content).hexdigest()


def _lost(names: list[str]) -> str:
    return (f"{', '.join(names)} cannot be made again as issued, since rows or settings changed after that; "
            "take the files from a copy; the variance went with the morning mail.")
