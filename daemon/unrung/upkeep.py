"""What is done once a night: check, fold the log, back up, and let go what has had its time.

One part that fails stops no other, and none of them stops the service: what went wrong stands in the
store, for ``status``, and is tried again after a while.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from unrung.clock_doubt import seen_ms
from unrung.clock_trust import clock_trouble
from unrung.errors import UnrungError
from unrung.intake.retention import DAY_MS, delete_spent, spent_files
from unrung.settings import Settings
from unrung.store.ageing import blank_staff
from unrung.store.backup import (
    back_up,
    check_whole,
    clear_unfinished,
    fold_log,
    keep_newest,
    name_of,
)
from unrung.store.days import fact, set_fact
from unrung.store.open import Store, write_tx

FACT, CHECKED = "upkeep", "store_checked_ms"
AGAIN_MS = 3_600_000
"""Pause before a night's upkeep that went wrong is tried again."""
CHECK_MS = 20 * 3_600_000
"""A store that was read from end to end this lately is not read again at a start."""


def store_path(settings: Settings) -> Path:
    return Path(settings.folder) / settings.files.store


def backup_folder(settings: Settings) -> Path:
    return Path(settings.folder) / settings.upkeep.backups


def upkeep_state(db: Store) -> dict[str, Any]:
    """What the last upkeep wrote down; empty before the first."""
    found: dict[str, Any] = json.loads(fact(db, FACT) or "{}")
    return found


def is_due(db: Store, settings: Settings, now_ms: int) -> bool:
    """Whether this night's upkeep waits to be done, or to be tried again."""
    state = upkeep_state(db)
    if state.get("night") != _night(settings, now_ms):
        return True
    return bool(state["problems"]) and abs(now_ms - state["ended_ms"]) >= AGAIN_MS


def nightly(db: Store, settings: Settings, now_ms: int) -> list[str]:
    """Do this night's upkeep where it is due, by a clock that can be believed; returns what went wrong,
    as sentences.

    Raises StoreError only where the store takes no note of it.
    """
    if clock_trouble(db, settings, now_ms) or not is_due(db, settings, now_ms):
        return []
    before = upkeep_state(db)
    state = {"backup": before.get("backup", ""), "backup_ms": before.get("backup_ms")}
    problems = _tried(lambda: _check(db, settings, now_ms))
    whole = not problems
    problems += _tried(lambda: forget_staff(db, settings, seen_ms(db, settings, now_ms)))
    problems += _tried(lambda: fold_log(db))
    if whole:
        problems += _tried(lambda: state.update(_save_and_let_go(db, settings, now_ms)))
    state |= {"night": _night(settings, now_ms), "ended_ms": now_ms, "problems": problems}
    with write_tx(db):
        set_fact(db, FACT, json.dumps(state, ensure_ascii=False))
    return problems


def check_at_start(db: Store, settings: Settings, now_ms: int) -> bool:
    """Read the store from end to end, at most about once a day; whether it was read now, which is to be
    noted once the service can write. Raises StoreError where it is damaged: nothing must be written to
    it then."""
    checked = fact(db, CHECKED)
    due = checked is None or not 0 <= now_ms - int(checked) < CHECK_MS
    if due:
        check_whole(db, store_path(settings))
    return due


def note_checked(db: Store, now_ms: int) -> None:
    """Write down that the store was found whole at ``now_ms``."""
    with write_tx(db):
        set_fact(db, CHECKED, str(now_ms))


def forget_staff(db: Store, settings: Settings, now_ms: int) -> int:
    """Blank the staff names that have stood for ``keep_staff_days``; all where it is unset."""
    days = settings.venue.keep_staff_days
    with write_tx(db):
        return blank_staff(db, None if days is None else now_ms - days * DAY_MS)


def _check(db: Store, settings: Settings, now_ms: int) -> None:
    check_whole(db, store_path(settings))
    note_checked(db, now_ms)


def _save_and_let_go(db: Store, settings: Settings, now_ms: int) -> dict[str, Any]:
    """A backup, then what it makes needless: older backups, and archived exports. These are chosen
    before the backup is made, so that it holds the rows of every one of them."""
    spent = spent_files(db, settings, seen_ms(db, settings, now_ms))
    folder, stem = backup_folder(settings), store_path(settings).stem
    clear_unfinished(folder, stem)
    made = back_up(db, folder / name_of(stem, now_ms))
    keep_newest(folder, stem, settings.upkeep.keep_backups, now_ms)
    return {"backup": made.name, "backup_ms": now_ms, "deleted": delete_spent(settings, spent)}


def _night(settings: Settings, now_ms: int) -> str:
    """The local date on which the upkeep that is due at ``now_ms`` became due."""
    local = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(ZoneInfo(settings.venue.timezone))
    passed = local.time().replace(tzinfo=None) >= settings.upkeep.at
    return (local.date() - timedelta(days=not passed)).isoformat()


def _tried(work: Callable[[], object]) -> list[str]:
    try:
        work()
    except (UnrungError, OSError) as error:
        return [str(error)]
    return []
