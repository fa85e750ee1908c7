"""What must hold at every moment, also with the program dead: a whole store, whole files, nothing lost."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from hashlib import sha256
from pathlib import Path

from crash.everything import files
from unrung.store.backup import verify
from venue_folder import VenueFolder

BROKEN = {
    "a day whose revision has no files": "SELECT day FROM days d WHERE revision > 0 AND NOT EXISTS "
    "(SELECT 1 FROM issued i WHERE i.day = d.day AND i.revision = d.revision)",
    "files of a revision that no day or month has": "SELECT day FROM issued i WHERE revision > coalesce("
    "(SELECT revision FROM days d WHERE d.day = i.day), "
    "(SELECT revision FROM months m WHERE m.period = i.day), 0)",
    "an issued day without a ledger": "SELECT day FROM days d WHERE revision > 0 AND status = 'final' AND "
    "NOT EXISTS (SELECT 1 FROM leaves l WHERE l.day = d.day) AND NOT EXISTS "
    "(SELECT 1 FROM day_facts f WHERE f.day = d.day)",
    "an export whose rows are not there": "SELECT name FROM sources s WHERE state = 'taken' AND new_rows > "
    "(SELECT count(*) FROM movements m WHERE m.source = s.id)",
    "a mail that is done while somebody waits": "SELECT key FROM outbox o WHERE (state = 'waiting') <> "
    "EXISTS (SELECT 1 FROM outbox_recipients r WHERE r.outbox = o.id AND r.state = 'waiting')",
    "a fresh day without its mail": "SELECT day FROM days d WHERE revision > 0 AND "
    "NOT EXISTS (SELECT 1 FROM outbox o WHERE o.key = 'morning ' || d.day)",
    "two current rows of one identity": "SELECT ident FROM movements WHERE superseded_by IS NULL "
    "GROUP BY ident HAVING count(*) > 1",
}
"""What no moment may show, and the query that finds it. The nights' days are all fresh ones."""

CAME = ("exports/", "archive/", "set_aside/")
"""Where exports lie."""
_VERIFIED = set[str]()
"""Digests of stores and backups that were found whole: most backups are those of the nights before, and most
kills of a step find the store as they found it the last time."""


def is_sound(venue: VenueFolder, before: dict[str, bytes], after: dict[str, bytes]) -> None:
    """Fails where something is broken. ``before``, ``after``: the files of the undisturbed night."""
    store = venue.path / "unrung.sqlite"
    if store.exists() and (stands := _digest(store, store.with_name(f"{store.name}-wal"))) not in _VERIFIED:
        verify(store)
        _store(store)
        _VERIFIED.add(stands)
    now = files(venue)
    torn = [name for name, data in now.items() if not _aside(name) and not name.endswith(".sqlite")
            and data not in (before.get(name), after.get(name))]
    assert torn == [], "files that are neither the old ones nor the new ones"
    came = {sha256(data).hexdigest() for name, data in now.items() if name.startswith(CAME)}
    assert _exports(before) <= came, "an export is gone"
    for path in (venue.path / "backups").glob("*.sqlite"):
        digest = _digest(path)
        if digest not in _VERIFIED:
            verify(path)
            _VERIFIED.add(digest)


def _digest(*paths: Path) -> str:
    """Of the contents of files, those that are there."""
    return " ".join(sha256(path.read_bytes()).hexdigest() for path in paths if path.exists())


def _store(path: Path) -> None:
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert db.execute("PRAGMA foreign_key_check").fetchall() == []
        for what, query in BROKEN.items():
            assert db.execute(query).fetchall() == [], what


def _aside(name: str) -> bool:
    return name.rpartition("/")[2].startswith(".")


def _exports(before: dict[str, bytes]) -> set[str]:
    return {sha256(data).hexdigest() for name, data in before.items()
            if name.startswith(("exports/", "archive/")) and not name.endswith(".reasons.csv")}
