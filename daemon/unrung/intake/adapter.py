"""Finding a feed's reader: the plain table of built-in adapters, then installed entry points."""

from __future__ import annotations

import hashlib
import importlib
import json
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import lru_cache
from importlib.metadata import entry_points
from typing import Any, TypeVar

from unrung.errors import ConfigError, ExportError, IncompleteExport, UnrungError
from unrung.intake.rows import batches_of, checked
from unrung.mapping import Constant, Mapping
from unrung.records import AnyRecord, Batch, Export, Reject
from unrung.settings import Feed, Settings
from unrung.store.movement_values import Columns

GROUP = "unrung.adapters"
Reader = Callable[..., Iterable[AnyRecord | Reject]]
BatchReader = Callable[..., Iterable[Batch]]
Read = TypeVar("Read")


@lru_cache(maxsize=64)
def reader(name: str) -> Reader:
    """The ``read(export, mapping, notes)`` of adapter ``name``. Raises ConfigError naming all."""
    # By name and not by import statement: the core must work with any set of adapters.
    table: dict[str, str] = importlib.import_module("unrung_adapters").ADAPTERS
    if name in table:
        module, function = table[name].split(":")
        found: Reader = getattr(importlib.import_module(module), function)
        return found
    outside = {point.name: point for point in entry_points(group=GROUP)}
    if name in outside:
        loaded: Reader = outside[name].load()
        return loaded
    raise ConfigError([f"adapter {name!r} is not known; there are {sorted({*table, *outside})}"])


@lru_cache(maxsize=64)
def batch_reader(name: str) -> BatchReader:
    """The same rows in batches: what the adapter itself gives so, or one that gives row after row."""
    own: dict[str, str] = importlib.import_module("unrung_adapters").BATCHES
    if name in own:
        module, function = own[name].split(":")
        found: BatchReader = getattr(importlib.import_module(module), function)
        return found
    return lambda *given: batches_of(reader(name)(*given))


def new_notes() -> Any:
    """An empty count of what a reader passes over or shifts (``unrung_adapters.notes``)."""
    return importlib.import_module("unrung_adapters.notes").ReadNotes()


def mapping_of(feed: Feed, settings: Settings) -> Mapping:
    """What the adapter of ``feed`` is told."""
    return Mapping(
        feed=feed.name,
        carries=feed.carries,
        fields=feed.fields,
        formats=feed.formats,
        zone=feed.formats.zone or settings.venue.timezone,
        day_starts=settings.venue.day_starts,
        currency_digits=settings.currency_digits,
        max_bytes=feed.max_bytes,
        keep_staff=settings.venue.keep_staff_days is not None,
    )


def mapping_digest(feed: Feed, settings: Settings) -> str:
    """Changes when the way the feed is read changes."""
    # What was added since is told only where it is used: else every export would be read again.
    mapping = mapping_of(feed, settings)
    text = feed.adapter + mapping.model_dump_json(
        exclude={"day_starts": True, "formats": {"dates", "money_unit", "tap_columns"}})
    text += "" if feed.hold_odd_times else "odd times too"
    text += "" if feed.formats.dates == "calendar" else f"business days from {mapping.day_starts}"
    text += "" if feed.formats.money_unit == "major" else "money in minor units"
    text += f"taps {sorted(feed.formats.tap_columns.items())}" if feed.formats.tap_columns else ""
    return hashlib.sha256(text.encode()).hexdigest()


def fields_digest(feed: Feed) -> str:
    """Changes when the raw text of a row, and with it the identity of one without an id, does."""
    columns = {name: source for name, source in feed.fields.items()
               if not isinstance(source, Constant) and name != "staff"}
    text = json.dumps([feed.adapter, columns], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def read_all(
    feed: Feed, settings: Settings, export: Export, *, finished: bool = True
) -> tuple[list[AnyRecord], list[Reject], Any]:
    """Every record and every bad row of ``export``, and the reader's notes.

    Raises ExportError where the export as a whole cannot be read, and IncompleteExport where its
    last row is cut off and it is not known to be ``finished`` (once it is, that row is a bad row) or
    nothing comes before it.
    """
    rows, cut_off, notes = _read(feed, settings, export, reader)
    records = [row for row in rows if not isinstance(row, Reject)]
    rejects = [row for row in rows if isinstance(row, Reject)]
    return records, rejects + _cut_off(cut_off, finished, bool(records)), notes


def read_rows(
    feed: Feed, settings: Settings, export: Export, *, finished: bool = True
) -> tuple[Columns, list[Reject], Any]:
    """The same, with the records as the columns of their rows in the store."""
    batches, cut_off, notes = _read(feed, settings, export, batch_reader)
    with _reader_fault(feed, export):
        rows = checked(batches)
    rejects = [reject for batch in batches for reject in batch.rejects]
    return rows, rejects + _cut_off(cut_off, finished, bool(rows["line"])), notes


def _read(
    feed: Feed, settings: Settings, export: Export, by: Callable[[str], Callable[..., Iterable[Read]]]
) -> tuple[list[Read], IncompleteExport | None, Any]:
    """What the reader gives, up to where the export is cut off."""
    found: list[Read] = []
    notes = new_notes()
    with _reader_fault(feed, export):
        try:
            for one in by(feed.adapter)(export, mapping_of(feed, settings), notes):
                found.append(one)
        except IncompleteExport as error:
            return found, error, notes
    return found, None, notes


def _cut_off(error: IncompleteExport | None, finished: bool, any_before: bool) -> list[Reject]:
    if error is None:
        return []
    if not finished or not any_before:
        raise error
    return [whole_reject(error)]


@contextmanager
def _reader_fault(feed: Feed, export: Export) -> Iterator[None]:
    try:
        yield
    except UnrungError:
        raise
    except Exception as error:  # one file that trips a reader must not stop the rest
        raise ExportError(
            f"the reader {feed.adapter!r} failed on it ({type(error).__name__}: {error})",
            name=export.name, fix="That is a fault of the reader: keep the file and report it.",
        ) from error


def whole_reject(error: ExportError) -> Reject:
    """What is wrong with an export, as a row of its list of reasons."""
    return Reject(error.line, error.field, error.value, error.reason, error.fix, {})


def check_mapping(feed: Feed, settings: Settings) -> list[str]:
    """What is wrong with a feed's adapter, ``fields`` and ``formats``, as sentences."""
    try:
        reader(feed.adapter)
    except ConfigError as error:
        return [f"Feed {feed.name!r}: {text}" for text in error.problems]
    check = importlib.import_module("unrung_adapters.check").check_mapping
    found: list[str] = check(mapping_of(feed, settings), feed.adapter)
    return found
