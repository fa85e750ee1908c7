"""Opens a venue: its config folder and its store, brought together."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

from unrung.clock_doubt import seen_ms
from unrung.clock_trust import clock_trouble
from unrung.closed_days import is_closed
from unrung.config_folder import load
from unrung.config_history import Settled, effective, settle, touched_days
from unrung.daybook import day_at
from unrung.settings import Settings
from unrung.store.config_rows import days_with, known_rows, save_rows
from unrung.store.days import day_rows, mark_days_dirty
from unrung.store.feeds_known import note_feeds
from unrung.store.movements import first_and_last_ms
from unrung.store.open import Store, look_at_store, open_store, write_tx


def open_venue(config: Path, now_ms: int) -> tuple[Settings, Store]:
    """Settings and store of a config folder. Raises ConfigError or StoreError."""
    settings = load(config)
    db = open_store(Path(settings.folder) / settings.files.store)
    return take_config(db, settings, now_ms), db


def look_at_venue(config: Path, now_ms: int) -> tuple[Settings, Store]:
    """Settings and store to read only: nothing is made, migrated or written, whoever works there.

    Raises ConfigError or StoreError.
    """
    settings = load(config)
    db = look_at_store(Path(settings.folder) / settings.files.store)
    return with_past(db, settings, now_ms), db


def with_past(db: Store, settings: Settings, now_ms: int) -> Settings:
    """The settings as they apply day by day, also before what was edited; nothing is written."""
    settled = settle(known_rows(db), settings, day_at(settings, now_ms))
    return effective(settled.rows, settings)


def take_config(db: Store, settings: Settings, now_ms: int) -> Settings:
    """The settings as they apply day by day, after what was edited since the last time.

    Days that an edit changes become dirty, and are issued again where their bytes differ. By a clock
    that cannot be believed no edit is taken up; by one in doubt it applies from the known time on.
    """
    known = known_rows(db)
    if known and clock_trouble(db, settings, now_ms):
        return effective(known, settings)  # an edit would apply from a day that is long past
    until_ms = seen_ms(db, settings, now_ms)
    note_feeds(db, [feed.name for feed in settings.feed], day_at(settings, until_ms))
    settled = settle(known, settings, day_at(settings, until_ms))
    if closed := _closed_since(db, settings):
        with write_tx(db):
            mark_days_dirty(db, closed, now_ms)
    if settled.rows != known:
        days = _touched(db, settings, settled, until_ms)
        with write_tx(db):
            save_rows(db, settled.rows)
            mark_days_dirty(db, {day + timedelta(n) for day in days for n in (-1, 0, 1)}, now_ms)
    return effective(settled.rows, settings)


def _closed_since(db: Store, settings: Settings) -> set[date]:
    """Days that lacked an export when they were issued, and that ``closed`` names since."""
    if not settings.venue.closed:
        return set()
    return {row.day for row in day_rows(db) if row.revision and row.status == "incomplete"
            and row.config_digest != settings.digest and is_closed(settings.venue.closed, row.day)}


def days_of_edits(db: Store, settings: Settings, now_ms: int) -> set[date]:
    """Past business days that edits of the tables change and that were not taken up yet."""
    settled = settle(known_rows(db), settings, day_at(settings, now_ms))
    return _touched(db, settings, settled, now_ms)


def _touched(db: Store, settings: Settings, settled: Settled, now_ms: int) -> set[date]:
    span = first_and_last_ms(db)
    if span is None or not settled.changed:
        return set()
    return touched_days(
        settled, day_at(settings, span[0]), day_at(settings, now_ms),
        lambda table, names: days_with(db, settings.venue, table, names),
    )
