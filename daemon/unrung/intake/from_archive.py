"""Exports that lie in the archive and that the store knows nothing of: taken in again.

That is so after an older copy of the store was put in place. The archive is gone through in the order
in which its exports came: by day of arrival, then as a look at a folder orders them.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from unrung.errors import IncompleteExport, SourceError
from unrung.intake.archive import REASONS, hash_of
from unrung.intake.keeping import keeper, put_away, root_of
from unrung.intake.take_in import Keep, Taken, take_in
from unrung.records import Export
from unrung.settings import Feed, Settings
from unrung.store.open import Store
from unrung.store.sources import known


def take_in_archived(db: Store, settings: Settings, now_ms: int) -> Iterator[Taken]:
    """Take in every archived or set-aside export that ``db`` does not know by its bytes.

    Each is a transaction of its own, so that a second go carries on where one was cut off.
    """
    for feed in settings.feed:
        for path, state in _kept_files(settings, feed):
            sha256 = hash_of(path)
            before = known(db, feed.name, sha256)
            settled = before is not None and (before.state == "taken" or state == "set_aside")
            if settled or not sha256 or path.stat().st_size > feed.max_bytes:
                continue
            with suppress(IncompleteExport):
                yield _one(db, settings, feed, path, sha256, now_ms)


def _one(
    db: Store, settings: Settings, feed: Feed, path: Path, sha256: str, now_ms: int
) -> Taken:
    name, mtime_ms = _own_name(path.name, sha256), path.stat().st_mtime_ns // 1_000_000
    taken = take_in(
        db, settings, feed, Export(name, path.read_bytes(), min(mtime_ms, now_ms)), mtime_ms=mtime_ms,
        now_ms=now_ms, keep=_here_or(settings, path, keeper(settings, feed, name, now_ms)),
    )
    with suppress(SourceError):  # its rows are in the store; the move is a matter of order only
        put_away(settings, feed, path, taken)
    return taken


def _kept_files(settings: Settings, feed: Feed) -> list[tuple[Path, str]]:
    """The feed's kept exports, oldest first, with the state that their place speaks of."""
    found: list[tuple[Path, str]] = []
    for state in ("taken", "set_aside"):
        files = [path for path in (root_of(settings, state) / feed.name).rglob("*")
                 if path.is_file() and not path.is_symlink()
                 and not path.name.startswith(".") and not path.name.endswith(REASONS)]
        files.sort(key=lambda path: (path.parent.name, path.stat().st_mtime_ns, path.name))
        found += [(path, state) for path in files]
    return found


def _here_or(settings: Settings, path: Path, otherwise: Keep) -> Keep:
    """An export that is in order stays where it lies in the archive."""
    root = root_of(settings, "taken")

    def keep(state: str, sha256: str) -> str:
        if state == "taken" and path.is_relative_to(root):
            return path.relative_to(root).as_posix()
        return otherwise(state, sha256)

    return keep


def _own_name(name: str, sha256: str) -> str:
    """The name under which the export came in: without the digits that set it apart in the archive.

    >>> _own_name("sales.0a1b2c3d.csv", "0a1b2c3d" + 56 * "0")
    'sales.csv'
    """
    return name.replace(f".{sha256[:8]}", "", 1)
