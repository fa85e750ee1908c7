"""One export: read, given identities, merged into the store with its own row, all or nothing."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields
from typing import Any

from unrung.errors import ExportError, IncompleteExport
from unrung.intake.adapter import fields_digest, mapping_digest, read_rows, whole_reject
from unrung.intake.archive import sentence
from unrung.intake.identity import Identified, Read, file_scope, identify
from unrung.intake.new_columns import lost_fields, note_columns
from unrung.intake.odd_times import STILL, odd_times
from unrung.intake.span import cover_span
from unrung.intake.waiting import replace_earlier
from unrung.records import Export, Reject
from unrung.settings import Feed, Settings
from unrung.store.days import mark_dirty
from unrung.store.doubts import doubtful, no_longer_doubtful
from unrung.store.movement_values import Columns, column, rows_of
from unrung.store.movements import (
    Merge,
    Span,
    drop_missing,
    drop_unread,
    merge,
    merge_columns,
    within,
)
from unrung.store.open import Store, write_tx
from unrung.store.sources import (
    SourceRow,
    add_rejects,
    add_source,
    known,
    later_spans,
    update_source,
    waiting_rows,
)

ROWS_AT_ONCE = 20_000
"""Rows of an export that are merged in one go: a year of history may be one file."""
REASONS_KEPT = 1000
"""Bad rows kept of an export that is set aside whole; its count says how many there were."""

Keep = Callable[[str, str], str]
"""State and SHA-256 of an export to the place where its bytes will be kept."""

Also = Callable[[Store, SourceRow], None]
"""What is written down in the transaction of the rows, such as how far a source has been read."""


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of one export."""

    source: SourceRow
    rejects: tuple[Reject, ...] = ()

    @property
    def state(self) -> str:
        return self.source.state


def nowhere(state: str, sha256: str) -> str:
    """The bytes stay where they are, or are not kept."""
    return ""


def take_in(
    db: Store, settings: Settings, feed: Feed, export: Export, *,
    mtime_ms: int, via: str = "folder", now_ms: int, again: SourceRow | None = None,
    finished: bool = True, keep: Keep = nowhere, also: Also | None = None, read: Read | None = None,
    sha256: str = "",
) -> Taken:
    """Take one export in. ``again``: the export as it was taken in before (after a fix in the
    settings). ``finished``: it stood still long enough that a cut-off last row stays as it is.
    ``keep``: where its bytes will go, and ``also``: what else, written down in the same transaction.
    ``read``: what was read of these very bytes, with these settings, where it was; ``sha256``: of them, where
    it is known.

    An answer of a polled address (``via`` "http") is what the source says now, whether it said so
    before or not; one that brings nothing new leaves no row of its own, and has no id.

    Never raises for what is wrong with the export: it is set aside with its reasons instead; one
    that is read again and was taken in before then stays as it was. Raises IncompleteExport for one
    that seems to be still growing, StoreError for the store.
    """
    source = SourceRow(
        feed=feed.name, name=export.name, via=via, size=len(export.content), mtime_ms=mtime_ms,
        sha256=sha256 or hashlib.sha256(export.content).hexdigest(), received_ms=export.received_ms,
        mapping_digest=mapping_digest(feed, settings), fields_digest=fields_digest(feed),
    )
    earlier = again or (known(db, feed.name, source.sha256) if via == "folder" else None)
    if earlier and not again and earlier.state == "taken":
        return _duplicate(db, source, earlier, keep)
    if earlier:
        source.id, source.scope = earlier.id, earlier.scope
    try:
        found, rejects, notes = _read(db, settings, feed, export, source, finished, read)
    except _Unusable as bad:
        if again and again.state == "taken":
            with write_tx(db):  # tried with these settings; another edit of them tries again
                update_source(db, again.id or 0, mapping_digest=source.mapping_digest)
            return Taken(again)
        return set_aside(db, source, bad.reason, bad.rejects, keep)
    source.kept_as = again.kept_as if again and again.state == "taken" else keep("taken", source.sha256)
    try:
        note = _with_columns(notes, source.rows, also)
        _merge_all(db, settings, feed, found, source, rejects, now_ms, note)
    except _NothingNew:
        source.id = None
        if also is not None:
            with write_tx(db):
                also(db, source)
    return Taken(source, tuple(rejects))


def _with_columns(notes: Any, rows: int, also: Also | None) -> Also:
    """``also``, and what the export holds."""

    def note(db: Store, source: SourceRow) -> None:
        note_columns(db, source, notes.columns, notes.present, rows)
        if also is not None:
            also(db, source)

    return note


def set_aside(
    db: Store, source: SourceRow, reason: str, rejects: Sequence[Reject] = (), keep: Keep = nowhere
) -> Taken:
    """Write down that the export could not be taken in, and why."""
    source.state, source.reason, source.rejected = "set_aside", reason, len(rejects)
    source.kept_as = keep("set_aside", source.sha256)
    with write_tx(db):
        _save(db, source)
        add_rejects(db, source, rejects[:REASONS_KEPT])
    return Taken(source, tuple(rejects[:REASONS_KEPT]))


def too_big(
    db: Store, settings: Settings, feed: Feed, name: str, size: int, mtime_ms: int, now_ms: int,
    keep: Keep = nowhere,
) -> Taken:
    """A file above ``max_bytes`` is set aside unread; its size and time stand for its hash."""
    source = SourceRow(
        feed=feed.name, name=name, via="folder", sha256=stand_in(name, size, mtime_ms), size=size,
        mtime_ms=mtime_ms, received_ms=now_ms, mapping_digest=mapping_digest(feed, settings),
    )
    reason = (f"{size:,} bytes are more than max_bytes = {feed.max_bytes:,}; "
              "raise max_bytes of this feed if the file is right")
    return set_aside(db, source, reason, keep=keep)


def stand_in(name: str, size: int, mtime_ms: int) -> str:
    """What stands for the hash of a file that is not read."""
    return hashlib.sha256(f"{name}\0{size}\0{mtime_ms}".encode()).hexdigest()


class _Unusable(Exception):
    """The export as a whole cannot be taken in."""

    def __init__(self, reason: str, rejects: Sequence[Reject]) -> None:
        self.reason, self.rejects = reason, rejects
        super().__init__(reason)


class _NothingNew(Exception):
    """A poll brought no row that was not there: its transaction is rolled back."""


def _read(
    db: Store, settings: Settings, feed: Feed, export: Export, source: SourceRow, finished: bool,
    read: Read | None,
) -> tuple[Identified, list[Reject], Any]:
    """The rows with their identities, the bad ones, and the reader's notes; ``source`` is told the
    counts."""
    try:
        rows, rejects, notes = read[:3] if read else read_rows(feed, settings, export, finished=finished)
    except ExportError as error:
        if isinstance(error, IncompleteExport) and not finished:
            raise
        raise _Unusable(str(error), [whole_reject(error)]) from error
    if not source.scope:
        source.scope = file_scope(db, feed, export.name, rows, source.sha256)
    found = (read.found if read else None) or identify(feed, source.scope, rows)
    source.rows = len(rows["line"]) + len(rejects)
    rejects = [*rejects, *found.clashes]
    source.rejected, source.skipped = len(rejects), notes.skipped + found.repeats
    source.ambiguous, source.missing = notes.ambiguous, notes.missing
    if rejects and (not found.idents or len(rejects) / source.rows > feed.max_bad_share):
        raise _Unusable(_mostly_bad(source, rejects), rejects)
    if lost := lost_fields(db, feed, notes.present, source.rows) if notes.present else "":
        raise _Unusable(lost, [Reject(0, "row", "", lost, "See [feed.fields] in venue.toml.", {})])
    times = [at for at in column(rows, "at_ms") if at is not None]
    _span(settings, feed, times, source)
    odd = odd_times(db, settings, feed, times, source)
    if odd:
        raise _Unusable(f"its times cannot be meant: {odd} {STILL}", [Reject(0, "at", "", odd, STILL, {})])
    return found, rejects, notes


def _merge_all(
    db: Store, settings: Settings, feed: Feed, found: Identified, source: SourceRow,
    rejects: Sequence[Reject], now_ms: int, also: Also,
) -> None:
    again = source.id is not None
    with write_tx(db):
        waited = waiting_rows(db, feed.name)
        _save(db, source)
        for change in _merge(db, feed, found, source, again):
            mark_dirty(db, settings.venue, change.touched_ms, change.touched_days, now_ms)
        add_rejects(db, source, rejects)
        if not again:
            replace_earlier(db, feed, source, set(found.idents), rejects)
        news = source.new_rows or source.superseded or rejects or waited != waiting_rows(db, feed.name)
        if source.via == "http" and not news:
            raise _NothingNew
        update_source(db, _id(source), new_rows=source.new_rows, superseded=source.superseded)
        also(db, source)


def _merge(
    db: Store, feed: Feed, found: Identified, source: SourceRow, again: bool
) -> list[Merge]:
    source_id = _id(source)
    kept = set(found.idents)
    later: list[Span] = []
    # Of an export whose times were wrong no row stands as it is: those of the new reading take its place.
    anew = again and source_id in doubtful(db)
    changes = [drop_unread(db, set() if anew else kept, source_id)] if again else []
    if anew:
        no_longer_doubtful(db, [source_id])
    if feed.export == "span" and source.cover_from_ms is not None and source.cover_to_ms is not None:
        # A later export (there is one where this one is read again) is the truth for its own period.
        later = later_spans(db, feed.name, source_id)
        span = (source.cover_from_ms, source.cover_to_ms)
        changes.append(drop_missing(db, feed.name, kept, span, source_id, later))
    came = Merge(0, 0, [], [])
    for part, idents in _some_at_a_time(found):
        if later:
            values = rows_of(part, feed.name, idents, source_id)
            values = [row for row in values if row[8] is None or not within(row[8], later)]
            came.add(merge(db, values, source_id, part))
        else:
            came.add(merge_columns(db, part, feed.name, idents, source_id))
    changes.append(came)
    source.new_rows = sum(change.new_rows for change in changes)
    source.superseded = sum(change.superseded for change in changes)
    return changes


def _some_at_a_time(found: Identified) -> Iterator[tuple[Columns, list[bytes]]]:
    """Rows with their identities: the store's form of them takes more memory than they took in columns."""
    for low in range(0, len(found.idents), ROWS_AT_ONCE):
        some = slice(low, low + ROWS_AT_ONCE)
        yield {name: values[some] for name, values in found.rows.items()}, found.idents[some]


def _span(settings: Settings, feed: Feed, times: Sequence[int], source: SourceRow) -> None:
    if times:
        source.first_ms, source.last_ms = min(times), max(times)
        source.cover_from_ms, source.cover_to_ms = cover_span(
            feed, settings.venue, source.first_ms, source.last_ms, source.mtime_ms
        )


def _duplicate(db: Store, source: SourceRow, earlier: SourceRow, keep: Keep) -> Taken:
    source.state, source.reason = "duplicate", f"the same bytes came before as {earlier.name}"
    source.kept_as = keep("duplicate", source.sha256)
    with write_tx(db):
        add_source(db, source)
    return Taken(source)


def _save(db: Store, source: SourceRow) -> None:
    if source.id is None:
        add_source(db, source)
        return
    changes = {one.name: getattr(source, one.name) for one in fields(source) if one.name != "id"}
    update_source(db, source.id, **changes)


def _id(source: SourceRow) -> int:
    assert source.id is not None
    return source.id


def _mostly_bad(source: SourceRow, rejects: Sequence[Reject]) -> str:
    first = rejects[0]
    return (
        f"{source.rejected} of {source.rows} rows cannot be read, so none is taken in; the first is "
        f"line {first.line}, field {first.field!r}: {sentence(first)}"
    )
