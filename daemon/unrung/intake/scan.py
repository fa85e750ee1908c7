"""One look at one feed's folder: what has settled is taken in, then archived or set aside."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from unrung.business_day import local_iso
from unrung.errors import IncompleteExport, SourceError
from unrung.intake.adapter import mapping_digest
from unrung.intake.archive import keep, write_reasons
from unrung.intake.take_in import Taken, take_in, too_big
from unrung.intake.watch import Found, Tracker, list_folder, read_whole, settled
from unrung.records import Export
from unrung.settings import Feed, Settings
from unrung.store.open import Store, write_tx
from unrung.store.sources import seen_in_place, to_read_again, update_source

UNFINISHED_MS = 10 * 60_000
"""A file whose last line is not ended, or cut off, is given this long to be completed."""


@dataclass(slots=True)
class Scan:
    """What one look found."""

    taken: list[Taken] = field(default_factory=list)
    waiting: list[str] = field(default_factory=list)
    """Names of files that have not settled, or seem unfinished."""
    problems: list[str] = field(default_factory=list)

    @property
    def worked(self) -> bool:
        return bool(self.taken)


def scan(db: Store, settings: Settings, feed: Feed, tracker: Tracker | None, *,
         now_ms: int, now_mono: float = 0.0) -> Scan:
    """Look at ``feed``'s folder once. ``now_ms`` is UTC, ``now_mono`` a monotonic clock in seconds.

    Without a ``tracker`` (one look only) a file has settled when its own time is old enough.
    Raises SourceError where the folder is missing.
    """
    listing = list_folder(folder_of(feed, settings), feed.pattern)
    result = Scan(problems=list(listing.odd))
    files = listing.files
    if feed.leave:
        seen = seen_in_place(db, feed.name)
        files = [file for file in files if (file.path.name, file.size, file.mtime_ms) not in seen]
    if tracker is None:
        ready = [file for file in files if now_ms - file.mtime_ms >= feed.settle_seconds * 1000]
    else:
        ready = settled(files, tracker, feed.settle_seconds, now_mono)
    result.waiting = [file.path.name for file in files if file not in ready]
    for file in ready:
        _one(db, settings, feed, file, now_ms, result)
    return result


def read_again(db: Store, settings: Settings, feed: Feed, now_ms: int) -> list[Taken]:
    """After a fix in the feed's settings: exports with waiting rows, or set aside, once more.

    Identity makes the rows that were good the first time harmless.
    """
    done: list[Taken] = []
    for source in to_read_again(db, feed.name, mapping_digest(feed, settings)):
        root = _root(settings, source.state)
        path = root / source.kept_as if source.kept_as else folder_of(feed, settings) / source.name
        if not path.is_file() or path.stat().st_size > feed.max_bytes:
            continue
        export = Export(source.name, path.read_bytes(), source.received_ms)
        before = source.state
        taken = take_in(db, settings, feed, export, mtime_ms=source.mtime_ms, now_ms=now_ms, again=True)
        if before == "set_aside" and taken.state == "taken" and source.kept_as:
            path.with_name(path.name + ".reasons.csv").unlink(missing_ok=True)
            _keep(db, settings, feed, path, taken, now_ms)
        done.append(taken)
    return done


def folder_of(feed: Feed, settings: Settings) -> Path:
    """The watched folder; a relative one starts at the config folder."""
    return Path(settings.folder) / feed.folder


def _one(db: Store, settings: Settings, feed: Feed, file: Found, now_ms: int, result: Scan) -> None:
    name = _printable(file.path.name)
    if file.size > feed.max_bytes:
        taken = too_big(db, settings, feed, name, file.size, file.mtime_ms, now_ms)
    else:
        content = _read(file, result)
        if content is None:
            return
        finished = now_ms - file.mtime_ms >= UNFINISHED_MS
        if feed.leave and not finished and content and not content.endswith((b"\n", b"\r", b"}", b"]")):
            result.waiting.append(name)
            return
        try:
            taken = take_in(db, settings, feed, Export(name, content, now_ms),
                            mtime_ms=file.mtime_ms, now_ms=now_ms, finished=finished)
        except IncompleteExport:
            result.waiting.append(name)
            return
    result.taken.append(taken)
    try:
        _keep(db, settings, feed, file.path, taken, now_ms)
    except SourceError as error:
        result.problems.append(str(error))


def _read(file: Found, result: Scan) -> bytes | None:
    try:
        content = read_whole(file)
    except OSError as error:
        result.problems.append(
            f"{file.path} cannot be read ({error.strerror}); may this account read it?"
        )
        return None
    if content is None:
        result.waiting.append(file.path.name)
    return content


def _keep(db: Store, settings: Settings, feed: Feed, path: Path, taken: Taken, now_ms: int) -> None:
    """Archive or set aside; the row is updated after the move, so a crash between leaves a file
    that is known by its hash and only moved at the next look."""
    source = taken.source
    root = _root(settings, source.state)
    if source.state == "set_aside":
        folder = feed.name
    else:
        folder = f"{feed.name}/{local_iso(now_ms, settings.venue.timezone)[:10]}"
    if feed.leave:
        kept = ""
        place = root / folder / path.name
    else:
        kept = keep(path, root, folder, source.sha256)
        place = root / kept
    if source.state == "set_aside":
        write_reasons(place, source.name, source.reason, taken.rejects)
    if kept and source.id is not None:
        source.kept_as = kept
        with write_tx(db):
            update_source(db, source.id, kept_as=kept)


def _root(settings: Settings, state: str) -> Path:
    name = settings.files.aside if state == "set_aside" else settings.files.archive
    return Path(settings.folder) / name


def _printable(name: str) -> str:
    """A name that is not UTF-8 on disk, made safe to store and print."""
    return name.encode("utf-8", "backslashreplace").decode()


def youngest_age_ms(settings: Settings, now_ms: int) -> int | None:
    """Age of the youngest file that waits in any watched folder; None where none waits."""
    ages = []
    for feed in settings.feed:
        if feed.folder:
            with suppress(SourceError):
                files = list_folder(folder_of(feed, settings), feed.pattern).files
                ages += [now_ms - file.mtime_ms for file in files]
    return min(ages, default=None)
