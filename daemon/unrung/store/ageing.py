"""What time takes away: names of staff after their days, archived exports that nothing needs any more."""

from __future__ import annotations

from sqlite_utils import Database

from unrung.store.sources import SourceRow


def blank_staff(db: Database, before_ms: int | None) -> int:
    """Blank the staff names of movements before a moment (UTC milliseconds), of all where it is None;
    returns how many. Inside the caller's transaction."""
    if before_ms is None:
        return db.execute("UPDATE movements SET staff = '' WHERE staff <> ''").rowcount
    return db.execute(
        "UPDATE movements SET staff = '' WHERE staff <> '' AND coalesce(at_ms, 0) < ?", [before_ms]
    ).rowcount


def spent_exports(db: Database, before_ms: int) -> list[SourceRow]:
    """Archived exports received before a moment (UTC milliseconds), with no later row either, since the
    clock may have been wrong then, of which every row is in the store.

    Not one with a row that was kept aside and never read, and not the newest of a feed, by which the
    next one is measured. An export's row says "taken" in the transaction that brought its movements.
    """
    rows = db.query(
        "WITH open AS (SELECT s.feed, s.sha256 FROM rejects r JOIN sources s ON s.id = r.source "
        "WHERE r.state <> 'taken'), newest AS (SELECT feed, sha256, max(id) FROM sources "
        "WHERE state = 'taken' GROUP BY feed) "
        "SELECT * FROM sources s WHERE via = 'folder' AND kept_as <> '' "
        "AND max(received_ms, coalesce(last_ms, 0)) < ? "
        "AND state IN ('taken', 'duplicate') AND EXISTS (SELECT 1 FROM sources t WHERE "
        "t.feed = s.feed AND t.sha256 = s.sha256 AND t.state = 'taken') "
        "AND (feed, sha256) NOT IN (SELECT feed, sha256 FROM open) "
        "AND (feed, sha256) NOT IN (SELECT feed, sha256 FROM newest) ORDER BY id",
        [before_ms],
    )
    return [SourceRow(**row) for row in rows]
