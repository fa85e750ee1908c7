"""Exports whose rows were taken in and cannot be right: read anew, not only again, after a fix."""

from __future__ import annotations

import json
from collections.abc import Iterable

from sqlite_utils import Database

from unrung.store.days import fact, set_fact

DOUBTS = "doubtful_exports"


def doubtful(db: Database) -> set[int]:
    """Ids of such exports."""
    return set(json.loads(fact(db, DOUBTS) or "[]"))


def note_doubtful(db: Database, sources: Iterable[int]) -> None:
    """Add to them; within a write transaction."""
    _save(db, doubtful(db), doubtful(db) | set(sources))


def no_longer_doubtful(db: Database, sources: Iterable[int]) -> None:
    _save(db, doubtful(db), doubtful(db) - set(sources))


def _save(db: Database, before: set[int], after: set[int]) -> None:
    if after != before:
        set_fact(db, DOUBTS, json.dumps(sorted(after)))
