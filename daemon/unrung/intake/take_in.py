"""One export: read, given identities, merged into the store with its own row, all or nothing."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from unrung.errors import ExportError, IncompleteExport
from unrung.intake.adapter import mapping_digest, read_all, whole_reject
from unrung.intake.archive import said
from unrung.intake.identity import identify
from unrung.intake.span import cover_span
from unrung.records import AnyRecord, Export, Reject
from unrung.settings import Feed, Settings
from unrung.store.days import mark_dirty
from unrung.store.movements import Merge, drop_missing, merge, values_of
from unrung.store.open import Store, write_tx
from unrung.store.sources import SourceRow, add_rejects, add_source, known, update_source


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of one export."""

    source: SourceRow
    rejects: tuple[Reject, ...] = ()

    @property
    def state(self) -> str:
        return self.source.state


def take_in(
    db: Store, settings: Settings, feed: Feed, export: Export, *,
    mtime_ms: int, via: str = "folder", now_ms: int, again: bool = False,
    finished: bool = True,
) -> Taken:
    """Take one export in. ``again``: read known bytes once more (after a fix in the settings).
    ``finished``: the file stood still long enough that a cut-off last row will not be completed.

    Never raises for what is wrong with the export: it is set aside with its reasons instead.
    Raises IncompleteExport for one that seems to be still growing, StoreError for the store.
    """
    source = SourceRow(
        feed=feed.name, name=export.name, via=via, size=len(export.content), mtime_ms=mtime_ms,
        sha256=hashlib.sha256(export.content).hexdigest(), received_ms=export.received_ms,
        mapping_digest=mapping_digest(feed, settings),
    )
    earlier = known(db, feed.name, source.sha256)
    if earlier and not again and (
        earlier.state == "taken" or earlier.mapping_digest == source.mapping_digest
    ):
        return _duplicate(db, source, earlier)
    if earlier:
        source.id = earlier.id
    return _take_rows(db, settings, feed, export, source, now_ms, finished)


def set_aside(db: Store, source: SourceRow, reason: str, rejects: Sequence[Reject] = ()) -> Taken:
    """Write down that the export could not be taken in, and why."""
    source.state, source.reason, source.rejected = "set_aside", reason, len(rejects)
    with write_tx(db):
        _save(db, source)
        add_rejects(db, _id(source), source.feed, rejects)
    return Taken(source, tuple(rejects))


def too_big(db: Store, settings: Settings, feed: Feed, name: str, size: int, mtime_ms: int,
            now_ms: int) -> Taken:
    """A file above ``max_bytes`` is set aside unread; its size and time stand for its hash."""
    digest = hashlib.sha256(f"{name}\0{size}\0{mtime_ms}".encode(errors="surrogateescape"))
    source = SourceRow(
        feed=feed.name, name=name, via="folder", sha256=digest.hexdigest(), size=size,
        mtime_ms=mtime_ms, received_ms=now_ms, mapping_digest=mapping_digest(feed, settings),
    )
    return set_aside(db, source, f"{size:,} bytes are more than max_bytes = {feed.max_bytes:,}; "
                                 "raise max_bytes of this feed if the file is right")


def _take_rows(db: Store, settings: Settings, feed: Feed, export: Export, source: SourceRow,
               now_ms: int, finished: bool) -> Taken:
    try:
        records, rejects, notes = read_all(feed, settings, export, finished=finished)
    except IncompleteExport:
        raise
    except ExportError as error:
        return set_aside(db, source, str(error), [whole_reject(error)])
    found = identify(feed, export.name, records)
    rejects = [*rejects, *found.clashes]
    source.rows, source.rejected = len(records) + len(rejects) - len(found.clashes), len(rejects)
    source.skipped = notes.skipped + found.repeats
    source.ambiguous, source.missing = notes.ambiguous, notes.missing
    if source.rows and len(rejects) / source.rows > feed.max_bad_share:
        return set_aside(db, source, _mostly_bad(source, rejects), rejects)
    _span(settings, feed, records, source)
    with write_tx(db):
        _save(db, source)
        for change in _merge(db, feed, found.rows, source):
            mark_dirty(db, settings.venue, change.touched_ms, change.touched_days, now_ms)
        add_rejects(db, _id(source), feed.name, rejects)
        update_source(db, _id(source), new_rows=source.new_rows, superseded=source.superseded)
    return Taken(source, tuple(rejects))


def _merge(db: Store, feed: Feed, rows: Sequence[tuple[bytes, AnyRecord]],
           source: SourceRow) -> list[Merge]:
    source_id = _id(source)
    values = [values_of(record, feed.name, ident, source_id) for ident, record in rows]
    changes = [merge(db, values, source_id)]
    if feed.export == "span" and source.cover_from_ms is not None and source.cover_to_ms is not None:
        kept = {ident for ident, _ in rows}
        span = (source.cover_from_ms, source.cover_to_ms)
        changes.append(drop_missing(db, feed.name, kept, span, source_id))
    source.new_rows = sum(change.new_rows for change in changes)
    source.superseded = sum(change.superseded for change in changes)
    return changes


def _span(settings: Settings, feed: Feed, records: Sequence[AnyRecord], source: SourceRow) -> None:
    times = [at for at in map(counts_at, records) if at is not None]
    if times:
        source.first_ms, source.last_ms = min(times), max(times)
        source.cover_from_ms, source.cover_to_ms = cover_span(
            feed, settings.venue, source.first_ms, source.last_ms, source.mtime_ms
        )


def counts_at(record: AnyRecord) -> int | None:
    """The time a record counts by: the end of a pour, the time of everything else."""
    end: int | None = getattr(record, "end_ms", None)
    return end if record.__class__.__name__ == "Pour" else getattr(record, "at_ms", None)


def _duplicate(db: Store, source: SourceRow, earlier: SourceRow) -> Taken:
    source.state, source.reason = "duplicate", f"the same bytes came before as {earlier.name}"
    if earlier.name == source.name and not earlier.kept_as:
        # Taken in, but the program stopped before it was archived: only that is left to do.
        return Taken(earlier)
    with write_tx(db):
        add_source(db, source)
    return Taken(source)


def _save(db: Store, source: SourceRow) -> None:
    if source.id is None:
        add_source(db, source)
        return
    changes = {name: getattr(source, name) for name in source.__slots__ if name not in ("id", "kept_as")}
    update_source(db, source.id, **changes)


def _id(source: SourceRow) -> int:
    assert source.id is not None
    return source.id


def _mostly_bad(source: SourceRow, rejects: Sequence[Reject]) -> str:
    first = rejects[0]
    return (
        f"{source.rejected} of {source.rows} rows cannot be read, so none is taken in; the first is "
        f"line {first.line}, field {first.field!r}: {said(first)}. {first.fix}"
    )
