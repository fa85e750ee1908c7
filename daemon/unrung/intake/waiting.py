"""Bad rows that wait for a person, and what a newer export makes of them."""

from __future__ import annotations

from collections.abc import Sequence

from unrung.intake.identity import ident_of
from unrung.records import Reject
from unrung.settings import Feed
from unrung.store.movements import given_by
from unrung.store.open import Store
from unrung.store.sources import SourceRow, earlier_waiting, rejects_of, replace_rejects


def replace_earlier(
    db: Store, feed: Feed, source: SourceRow, kept: set[bytes], rejects: Sequence[Reject]
) -> None:
    """Bad rows of earlier exports that ``source`` brings again wait no longer: they wait in it, or
    are mended. ``kept``: the identities it holds. Within a write transaction."""
    for older in earlier_waiting(db, source):
        if older.id is None:
            continue
        if _holds_all_of(db, feed, source, older, kept):
            replace_rejects(db, older.id, None)
        else:
            again = rejects if feed.export != "append" else ()
            replace_rejects(db, older.id, [*again, *_mended(db, feed, older.id, kept)])


def _mended(db: Store, feed: Feed, older: int, kept: set[bytes]) -> list[Reject]:
    """Rows of an older export that wait, and whose id a good row has now."""
    waiting = [reject for reject in rejects_of(db, older) if reject.cells.get("id")]
    return [reject for reject in waiting if ident_of(feed, reject.cells["id"].strip()) in kept]


def _holds_all_of(
    db: Store, feed: Feed, source: SourceRow, older: SourceRow, kept: set[bytes]
) -> bool:
    """Whether ``source`` is a later form of ``older``: the same file grown or mended, an export of
    the same period, or one that holds every row that the older one gave."""
    if feed.export == "append":
        return older.scope == source.scope and source.rows >= older.rows
    if feed.export == "span" and None not in (older.cover_from_ms, source.cover_from_ms):
        return bool(
            source.cover_from_ms <= older.cover_from_ms  # type: ignore[operator]
            and older.cover_to_ms <= source.cover_to_ms  # type: ignore[operator]
        )
    given = given_by(db, older.id or 0)
    return bool(given) and given <= kept
