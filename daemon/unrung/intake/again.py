"""Exports that wait for a person: read again after a fix, let go once their file is taken away."""

from __future__ import annotations

import hashlib
from contextlib import suppress
from pathlib import Path

from unrung.errors import SourceError
from unrung.intake.adapter import fields_digest, mapping_digest
from unrung.intake.archive import REASONS, hash_of, move, reasons_of, remove_reasons
from unrung.intake.keeping import (
    folder_of,
    give_reasons,
    keeper,
    kept_path,
    put_away,
    reasons_beside,
    root_of,
)
from unrung.intake.take_in import Taken, nowhere, take_in
from unrung.records import Export
from unrung.settings import Feed, Settings
from unrung.store.doubts import doubtful
from unrung.store.open import Store, write_tx
from unrung.store.sources import (
    SourceRow,
    known,
    let_go,
    rejects_of,
    set_aside_ones,
    to_read_again,
    with_waiting_rows,
)


def read_again(db: Store, settings: Settings, feed: Feed, now_ms: int) -> list[Taken]:
    """After a fix in the feed's settings: exports with waiting rows, or set aside, once more; and a
    set-aside file that was mended where it stands. Returns what became of them.

    Identity makes the rows that were good the first time harmless. Where the fix changes the raw
    text that rows without an id are known by, every export of the feed is read again, so that the
    next one meets rows of its own kind.
    """
    aside = set_aside_ones(db, feed.name)
    _let_go(db, settings, feed, aside)
    _tidy(db, settings, feed, aside)
    by_text = "id" not in feed.fields and feed.export != "span"
    due = to_read_again(
        db, feed.name, mapping_digest(feed, settings), fields_digest(feed) if by_text else "", doubtful(db))
    due += [one for one in aside if one not in due and _mended(settings, feed, one, now_ms)]
    done = [_once_more(db, settings, feed, source, now_ms) for source in due]
    return [taken for taken in done if taken is not None]


def _once_more(
    db: Store, settings: Settings, feed: Feed, source: SourceRow, now_ms: int
) -> Taken | None:
    """Read one export again. None where its bytes are gone or nothing waited in it."""
    content = _bytes_of(settings, feed, source)
    if content is None:
        return None
    path = kept_path(settings, source)
    waited = source.state == "set_aside" or source.rejected or source.id in doubtful(db)
    if waited:  # before the rows: reasons that are missing are written again, stale ones would stay
        remove_reasons(reasons_beside(settings, feed, source))
    taken = take_in(
        db, settings, feed, Export(source.name, content, source.received_ms), again=source,
        mtime_ms=source.mtime_ms, now_ms=now_ms,
        keep=nowhere if path is None else keeper(settings, feed, Path(source.kept_as).name, now_ms),
    )
    with suppress(SourceError):  # tried again at the next look
        if path is not None and path != kept_path(settings, taken.source):
            put_away(settings, feed, path, taken)
        elif waited:
            give_reasons(settings, feed, taken)
    return taken if waited else None


def _bytes_of(settings: Settings, feed: Feed, source: SourceRow) -> bytes | None:
    """The export as it was; of a file that grew in its place, the part that was there then."""
    path = kept_path(settings, source)
    try:
        where = path or folder_of(feed, settings) / source.name
        if where.stat().st_size > feed.max_bytes:
            return None
        content = where.read_bytes()
    except OSError:
        return None
    if path is None:
        content = content[: source.size]
    whole = hashlib.sha256(content).hexdigest() == source.sha256
    return content if whole or (path is not None and source.state == "set_aside") else None


def _mended(settings: Settings, feed: Feed, source: SourceRow, now_ms: int) -> bool:
    """Whether somebody saved a set-aside file anew where it stands, and it has settled since."""
    path = kept_path(settings, source)
    try:
        status = path.stat() if path else None
    except OSError:
        return False
    if status is None or status.st_mtime_ns // 1_000_000 == source.mtime_ms:
        return False
    still_ms = abs(now_ms - status.st_mtime_ns // 1_000_000)
    return still_ms >= feed.settle_seconds * 1000 and status.st_size <= feed.max_bytes


def _let_go(db: Store, settings: Settings, feed: Feed, aside: list[SourceRow]) -> None:
    """A set-aside file that a person took away is no longer waited for. Where the whole folder is
    away, somebody moved it or a disk is not there: that settles nothing."""
    folder = root_of(settings, "set_aside") / feed.name
    for source in list(aside):
        kept = kept_path(settings, source)
        came_in = folder_of(feed, settings) / source.name
        if came_in.exists() or (kept is not None and (kept.exists() or not folder.is_dir())):
            continue
        if kept is None and not came_in.parent.is_dir():
            continue
        if kept is not None:
            remove_reasons(kept)
        with write_tx(db):
            let_go(db, source.id or 0)
        aside.remove(source)


def _tidy(db: Store, settings: Settings, feed: Feed, aside: list[SourceRow]) -> None:
    """What a stop half way left: an export that was taken in after all and still lies among the
    set-aside ones goes to the archive, and reasons that are missing are written."""
    folder = root_of(settings, "set_aside") / feed.name
    placed = {source.kept_as for source in aside}
    for path in sorted(folder.iterdir()) if folder.is_dir() else ():
        if path.name.endswith(REASONS) or f"{feed.name}/{path.name}" in placed or not path.is_file():
            continue
        source = known(db, feed.name, hash_of(path))
        kept = kept_path(settings, source) if source and source.state == "taken" else None
        if kept is not None:
            with suppress(SourceError):
                remove_reasons(path)
                move(path, kept)
    for source in with_waiting_rows(db, feed.name):
        kept, reasons = kept_path(settings, source), reasons_of(reasons_beside(settings, feed, source))
        if not reasons.exists() and (kept is None or kept.parent.is_dir()):
            with suppress(SourceError):
                give_reasons(settings, feed, Taken(source, tuple(rejects_of(db, source.id or 0))))
