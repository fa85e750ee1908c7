"""One look at one feed's folder: what has settled is taken in, then archived or set aside."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field

from unrung.errors import IncompleteExport, SourceError
from unrung.intake.adapter import mapping_digest
from unrung.intake.again import read_again
from unrung.intake.archive import printable
from unrung.intake.identity import Read
from unrung.intake.keeping import folder_of, keeper, kept_path, put_away
from unrung.intake.take_in import Taken, nowhere, stand_in, take_in, too_big
from unrung.intake.watch import Found, Tracker, list_folder, read_whole, settled
from unrung.records import Export
from unrung.settings import Feed, Settings
from unrung.store.open import Store, write_tx
from unrung.store.sources import known, known_duplicate, rejects_of, seen_in_place, update_source

__all__ = ["Scan", "folder_of", "read_again", "scan", "youngest_age_ms"]

UNFINISHED_MS = 10 * 60_000
"""A file that is empty or cut off (or, where it stays in its place, whose last line is not ended) is
given this long to be completed."""
HELD_OPEN = ", or does another program keep it open" if os.name == "nt" else ""
"""There a program may keep others from reading what it writes."""


Reading = Callable[[Feed, Found, str], Read | None]
"""What was read ahead of a file of a feed whose bytes have that SHA-256, if anything."""


def _nothing_read(feed: Feed, file: Found, sha256: str) -> None:
    return None


@dataclass(slots=True)
class Scan:
    """What one look found."""

    taken: list[Taken] = field(default_factory=list)
    waiting: list[str] = field(default_factory=list)
    """Names of files that have not settled, or seem unfinished."""
    problems: list[str] = field(default_factory=list)


def scan(db: Store, settings: Settings, feed: Feed, tracker: Tracker | None, *,
         now_ms: int, now_mono: float = 0.0, reading: Reading = _nothing_read) -> Scan:
    """Look at ``feed``'s folder once, and at what waits of it for a person (``intake.again``).
    ``now_ms`` is UTC, ``now_mono`` a monotonic clock in seconds. ``reading``: what was read ahead.

    Without a ``tracker`` (one look only) a file has settled when its own time is old enough.
    Raises SourceError where the folder is missing.
    """
    listing = list_folder(folder_of(feed, settings), feed.pattern)
    result = Scan(taken=read_again(db, settings, feed, now_ms), problems=list(listing.odd))
    files = listing.files
    if feed.leave:
        seen = seen_in_place(db, feed.name)
        files = [one for one in files if (printable(one.path.name), one.size, one.mtime_ms) not in seen]
    if tracker is None:
        ready = [file for file in files if _age_ms(file, now_ms) >= feed.settle_seconds * 1000]
    else:
        ready = settled(files, tracker, feed.settle_seconds, now_mono)
    due = {file.path for file in ready}
    result.waiting = [printable(file.path.name) for file in files if file.path not in due]
    for file in ready:
        _one(db, settings, feed, file, now_ms, result, reading)
    return result


def youngest_age_ms(settings: Settings, now_ms: int) -> int | None:
    """Age of the youngest file that waits in any watched folder; None where none waits."""
    ages = []
    for feed in settings.feed:
        if feed.folder:
            with suppress(SourceError):
                files = list_folder(folder_of(feed, settings), feed.pattern).files
                ages += [now_ms - file.mtime_ms for file in files]
    return min(ages, default=None)


def _age_ms(file: Found, now_ms: int) -> int:
    """How long ago a file was written. A time ahead of ours comes from another clock and says
    nothing: such a file must not wait until its time has come."""
    return abs(now_ms - file.mtime_ms)


def _one(
    db: Store, settings: Settings, feed: Feed, file: Found, now_ms: int, result: Scan, reading: Reading
) -> None:
    name = printable(file.path.name)
    content = None if file.size > feed.max_bytes else _read(file, result)
    if content is None and file.size <= feed.max_bytes:
        return
    sha256 = hashlib.sha256(content).hexdigest() if content is not None else stand_in(
        name, file.size, file.mtime_ms)
    half_done = _half_done(db, settings, feed, file, sha256, now_ms)
    try:
        taken = half_done or _take(db, settings, feed, file, content, sha256, now_ms, reading)
    except IncompleteExport:
        result.waiting.append(name)
        return
    if half_done is None:
        result.taken.append(taken)
    try:
        put_away(settings, feed, file.path, taken)
    except SourceError as error:
        result.problems.append(str(error))


def _take(
    db: Store, settings: Settings, feed: Feed, file: Found, content: bytes | None, sha256: str, now_ms: int,
    reading: Reading,
) -> Taken:
    """Take a settled file in; ``content`` is None where it is too big to be read."""
    name = printable(file.path.name)
    keep = nowhere if feed.leave else keeper(settings, feed, name, now_ms)
    if content is None:
        return too_big(db, settings, feed, name, file.size, file.mtime_ms, now_ms, keep)
    finished = _age_ms(file, now_ms) >= UNFINISHED_MS
    ended = content.endswith((b"\n", b"\r", b"}", b"]", b"\n\0")) or (bool(content) and not feed.leave)
    if not finished and not ended:
        raise IncompleteExport("its last line is not ended", name=name)
    return take_in(
        db, settings, feed, Export(name, content, now_ms), mtime_ms=file.mtime_ms, now_ms=now_ms,
        finished=finished, keep=keep, read=reading(feed, file, sha256), sha256=sha256,
    )


def _half_done(
    db: Store, settings: Settings, feed: Feed, file: Found, sha256: str, now_ms: int
) -> Taken | None:
    """The export where this very file is in the store already and only has to be put away: the
    program stopped, or was not allowed to. One that stays in its place is known by its time again."""
    name = printable(file.path.name)
    duplicate = known_duplicate(db, feed.name, sha256, name, file.mtime_ms)
    if duplicate is not None:
        return Taken(duplicate)
    source = known(db, feed.name, sha256)
    if source is None or source.name != name or source.id is None:
        return None
    if source.state == "set_aside" and source.mapping_digest != mapping_digest(feed, settings):
        return None
    kept = kept_path(settings, source)
    if feed.leave:
        changes: dict[str, object] = {"mtime_ms": file.mtime_ms}
    elif kept is None:
        source.kept_as = keeper(settings, feed, name, now_ms)(source.state, sha256)
        changes = {"kept_as": source.kept_as}
    elif kept.exists():
        return None
    else:
        changes = {}
    if changes:
        with write_tx(db):
            update_source(db, source.id, **changes)
    return Taken(source, tuple(rejects_of(db, source.id)))


def _read(file: Found, result: Scan) -> bytes | None:
    try:
        content = read_whole(file)
    except OSError as error:
        result.problems.append(
            f"{file.path} cannot be read ({error.strerror}); may this account read it{HELD_OPEN}?"
        )
        return None
    if content is None:
        result.waiting.append(printable(file.path.name))
    return content
