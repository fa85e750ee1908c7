"""Puts a backup in the place of the store, and takes in from the archive what came since."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from unrung.business_day import local_iso
from unrung.config_folder import load
from unrung.errors import StoreError, UnrungError
from unrung.intake.from_archive import take_in_archived
from unrung.intake.said import rows_came
from unrung.opening import open_venue
from unrung.settings import Settings
from unrung.store.backup import backups_in, digest_of, flush, fold_log, name_of, verify
from unrung.store.open import open_store
from unrung.upkeep import backup_folder, store_path

Say = Callable[[str], None]
LOGS = ("-wal", "-shm", "-journal")
"""What SQLite keeps beside a store; they belong to it and to no other."""
AFTERWARDS = (
    "Now start the service, or run unrung catch-up: days that changed are issued again.",
    "What stands in no export and is younger than the backup has to be seen to:",
    "  months closed since then are open again: close them again;",
    "  an edit of a table without a date applies from now on, not from when it was made;",
    "  polled addresses are asked again from where the backup stood;",
    "  a mail about a day issued since then may come a second time.",
)


def listed(config: Path) -> list[str]:
    """The backups that there are, newest first, as lines."""
    settings = load(config)
    folder = backup_folder(settings)
    found = backups_in(folder, store_path(settings).stem)
    if not found:
        return [f"There is no backup in {folder}."]
    return [
        f"{one.path.name}  made {local_iso(one.made_ms, settings.venue.timezone)[:16].replace('T', ' ')}, "
        f"{one.path.stat().st_size / 1e6:.1f} MB" for one in reversed(found)
    ]


def restore(config: Path, chosen: Path, now_ms: int, say: Say) -> None:
    """Verify ``chosen`` (a file, or the name of a backup), put a copy of it in the place of the store,
    which is kept under another name, and take in what the archive holds beyond it. The caller holds
    the lock of the config folder.

    Raises StoreError, with the store as it was, where the backup proves bad or there is no room.
    """
    settings = load(config)
    backup = _found(settings, chosen)
    counts = verify(backup)
    say(f"{backup.name} is whole: {counts['movements']} rows from {counts['sources']} exports.")
    target = store_path(settings)
    copy = _copied(backup, target)
    kept = _set_aside(target, now_ms)
    os.replace(copy, target)
    flush(target.parent)
    say(f"It stands in the place of {target.name}"
        + (f"; the store before it is kept as {kept.name}." if kept else "."))
    _catch_up_from_archive(config, now_ms, say)
    for text in AFTERWARDS:
        say(text)


def _found(settings: Settings, chosen: Path) -> Path:
    named = backup_folder(settings) / chosen
    found = named if not chosen.exists() and named.exists() else chosen
    target = store_path(settings)
    if found.exists() and target.exists() and found.samefile(target):
        raise StoreError(f"{found} is the store itself; name a backup.")
    return found


def _copied(backup: Path, target: Path) -> Path:
    """A copy beside the store, on disk and proved equal, that only its owner reads."""
    copy = target.with_name(f".{target.name}.restored")
    try:
        target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        copy.unlink(missing_ok=True)
        os.close(os.open(copy, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        shutil.copyfile(backup, copy)
        flush(copy)
        same = digest_of(copy) == digest_of(backup)
    except OSError as error:
        copy.unlink(missing_ok=True)
        raise StoreError(f"{backup} cannot be copied to {target.parent} ({error.strerror}); "
                         "the store is as it was.") from error
    if not same:
        copy.unlink(missing_ok=True)
        raise StoreError(f"the copy of {backup} differs from it; the store is as it was.")
    return copy


def _set_aside(target: Path, now_ms: int) -> Path | None:
    """Give the present store a second name, with its log; where it stood something always stands, so
    that a stop half way never leads to an empty store being made."""
    if not target.exists():
        _drop_logs(target)
        return None
    with suppress(UnrungError, OSError):  # a damaged one keeps its log as it is
        db = open_store(target)
        fold_log(db)
        db.close()
    kept = target.with_name(name_of(f"{target.stem}-before-restore", now_ms))
    kept.unlink(missing_ok=True)
    try:
        os.link(target, kept)
    except OSError:  # a file system without second names
        shutil.copy2(target, kept)
    for end in LOGS:
        log = target.with_name(target.name + end)
        if log.exists():
            shutil.copy2(log, kept.with_name(kept.name + end))
    flush(kept.parent)
    _drop_logs(target)
    return kept


def _drop_logs(target: Path) -> None:
    for end in LOGS:
        target.with_name(target.name + end).unlink(missing_ok=True)


def _catch_up_from_archive(config: Path, now_ms: int, say: Say) -> None:
    settings, db = open_venue(config, now_ms)
    try:
        for taken in take_in_archived(db, settings, now_ms):
            source = taken.source
            say(f"{source.feed}: {source.name} from the archive, {source.state.replace('_', ' ')}, "
                f"{rows_came(source)}")
    finally:
        db.close()
