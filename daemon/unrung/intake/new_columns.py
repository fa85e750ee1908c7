"""Remembers what a feed's exports hold, so that a new column can be told, and a lost one held up.

A mapped column that a CSV lacks is an error of its own. A JSON document's rows leave members out where
they have nothing to say, so there a lost one is one that every earlier export had.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from unrung.settings import Feed
from unrung.store.days import fact, set_fact
from unrung.store.open import Store
from unrung.store.sources import SourceRow

MOST = 200
FEWEST_ROWS, EARLIER = 20, 3
"""Smaller exports tell nothing of what is always there; fewer exports do not either."""


def lost_fields(db: Store, feed: Feed, present: Sequence[str], rows: int) -> str:
    """Which mapped fields no row has any more, as a sentence with the fix; empty where none is lost."""
    known = _known(db, feed.name)
    lost = sorted(set(known.get("always", [])) - set(present))
    if not lost or rows < FEWEST_ROWS or known.get("exports", 0) < EARLIER:
        return ""
    sources = [(name, feed.fields.get(name)) for name in lost]
    named = ", ".join(
        f"{name!r} ({', '.join(one)})" if isinstance(one, tuple) else repr(name) for name, one in sources
    )
    return (
        f"no row has {named}, which every export before had: was it renamed? Then set its new name under "
        f"[feed.fields] of feed {feed.name!r} in venue.toml; if it is gone for good, take it out there."
    )


def note_columns(
    db: Store, source: SourceRow, columns: Sequence[str], present: Sequence[str], rows: int
) -> None:
    """Keep what an export has; within the transaction that takes it in."""
    before = _known(db, source.feed)
    after = dict(before)
    if present and rows >= FEWEST_ROWS:
        always = set(before.get("always", present)) & set(present)
        after |= {"always": sorted(always), "exports": min(EARLIER, before.get("exports", 0) + 1)}
    seen = set(before.get("seen", []))
    new = sorted({name for name in columns if name} - seen)
    if new and len(seen) <= MOST:
        after["seen"] = sorted(seen | set(new))
        if seen:
            after |= {"new": new[:10], "since_ms": source.received_ms, "file": source.name}
    if after != before:
        set_fact(db, f"columns {source.feed}", json.dumps(after, ensure_ascii=False))


def _known(db: Store, feed: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(fact(db, f"columns {feed}") or "{}")
    return found
