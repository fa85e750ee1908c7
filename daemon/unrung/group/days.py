"""Ledgers of a venue's business days from exported partitions, by the function that its own PC runs.

The partitions of the days, and of two more at either end, become a small store in memory: the ledger of
a day is a function of its own movements and its neighbours', and a neighbour's meter readings may begin
on the day before it.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path

from unrung.daybook import Cache, ledger_of
from unrung.errors import UnrungError
from unrung.ledger.results import DayLedger
from unrung.parquet.files import from_file
from unrung.parquet.layout import FILE, SETTINGS, day_folder, settings_folder
from unrung.settings import Settings
from unrung.store.open import Store, memory_store, write_tx
from unrung.store.partitions import put_coverage, put_movements, put_sealed_edge

AROUND = timedelta(days=2)
TOGETHER = 2
"""Days made ready with the one before them; that costs hardly more than that one alone."""


def ledgers(root: Path, venue: str, first: date, last: date) -> Iterator[DayLedger]:
    """The ledgers of ``venue`` on the business days ``first`` to ``last``, in order.

    Raises UnrungError where the venue's settings or a partition cannot be read.
    """
    settings = settings_of(root, venue)
    cache: Cache = {}
    with closing(_loaded(root, venue, first - AROUND, last + AROUND)) as db:
        days = list(_through(first, last))
        for number, day in enumerate(days):
            yield ledger_of(db, settings, day, cache, days[number + 1 : number + 1 + TOGETHER])


def settings_of(root: Path, venue: str) -> Settings:
    """The settings that a venue's days are computed with, as they were exported."""
    path = settings_folder(root, venue) / SETTINGS
    try:
        return Settings.model_validate_json(path.read_bytes())
    except (OSError, ValueError) as error:
        raise UnrungError(
            f"{path} cannot be read as the settings of {venue!r}: export the venue again."
        ) from error


def _loaded(root: Path, venue: str, first: date, last: date) -> Store:
    db = memory_store()
    with write_tx(db):
        for day in _through(first, last):
            put_movements(db, from_file("movements", day_folder(root, "movements", venue, day) / FILE))
            put_coverage(db, from_file("coverage", day_folder(root, "coverage", venue, day) / FILE))
            edge = day_folder(root, "edges", venue, day) / FILE
            if edge.exists():
                put_sealed_edge(db, day, from_file("edges", edge))
    return db


def _through(first: date, last: date) -> Iterator[date]:
    return (first + timedelta(days=n) for n in range((last - first).days + 1))
