"""Archived exports that are old enough to go, and their going."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from unrung.intake.archive import hash_of
from unrung.intake.keeping import kept_path, root_of
from unrung.settings import Settings
from unrung.store.ageing import spent_exports
from unrung.store.open import Store

DAY_MS = 86_400_000


def spent_files(db: Store, settings: Settings, now_ms: int) -> dict[Path, str]:
    """Files of the archive, with their hashes, that ``[upkeep] keep_days`` lets go; none where it is
    unset. A feed that leaves its files where they are has none in the archive."""
    days = settings.upkeep.keep_days
    if days is None:
        return {}
    found = {}
    for source in spent_exports(db, now_ms - days * DAY_MS):
        path = kept_path(settings, source)
        if path is not None and path.is_file() and not path.is_symlink():
            found[path] = source.sha256
    return found


def delete_spent(settings: Settings, files: dict[Path, str]) -> int:
    """Delete those of ``files`` that lie in the archive and still hold what was taken in; returns how
    many went. A folder that is empty then goes too."""
    root = root_of(settings, "taken").resolve()
    gone = [path for path, sha256 in files.items()
            if path.resolve().is_relative_to(root) and hash_of(path) == sha256 and _deleted(path)]
    _drop_empty(path.parent for path in gone)
    return len(gone)


def _deleted(path: Path) -> bool:
    try:
        path.unlink()
    except OSError:  # held open by somebody: it goes next time
        return False
    return True


def _drop_empty(folders: Iterable[Path]) -> None:
    for folder in set(folders):
        with suppress(OSError):
            folder.rmdir()
