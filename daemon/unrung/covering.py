"""What each feed covers of a span: its exports and polls, and those of a feed that ``venue.toml`` names no
longer, where this one took its place, or is the same under a new name."""

from __future__ import annotations

from unrung.ledger.coverage import Span, intersect, union
from unrung.settings import Settings
from unrung.store.open import Store
from unrung.store.sources import came_between, cover_spans, feeds_besides, kind_of_feed

KINDS = {"rings": "ring", "pours": "pour", "readings": "reading"}
"""What a feed carries to the kind of its rows, of those that a day is compared by."""


def covers_of(db: Store, settings: Settings, bounds: Span) -> dict[str, list[Span]]:
    """What each feed covers of a span."""
    covers = {feed.name: _covered(db, feed.name, bounds) for feed in settings.feed}
    for gone in feeds_besides(db, covers):
        kind, spans = kind_of_feed(db, gone), _covered(db, gone, bounds)
        for feed in settings.feed if spans else ():
            if KINDS.get(feed.carries) == kind and _follows(db, feed.name, gone):
                covers[feed.name] = union([*covers[feed.name], *spans])
    return covers


def _follows(db: Store, feed: str, gone: str) -> bool:
    """Whether nothing came of a feed before the last of the other: two that went on beside each other are
    two tills, of which one says nothing of the other."""
    own, other = came_between(db, feed), came_between(db, gone)
    return own is None or other is None or own[0] > other[1]


def _covered(db: Store, feed: str, bounds: Span) -> list[Span]:
    return intersect(union(cover_spans(db, [feed], *bounds)), [bounds])
