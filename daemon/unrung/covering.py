"""What each feed covers of a span: its exports and polls, and those of a feed that ``venue.toml`` names no
longer, where this one took its place, or is the same under a new name.

A feed that was added beside others of its side, such as a second till, says nothing of the days before: they
stay compared as they were without it."""

from __future__ import annotations

from datetime import date

from unrung.business_day import day_bounds
from unrung.ledger.coverage import Span, intersect, union
from unrung.settings import Feed, Settings
from unrung.store.feeds_known import feeds_known
from unrung.store.open import Store
from unrung.store.sources import came_between, cover_spans, feeds_besides, kind_of_feed

KINDS = {"rings": "ring", "pours": "pour", "readings": "reading"}
"""What a feed carries to the kind of its rows, of those that a day is compared by."""
SIDES = {"rings": "till", "pours": "meters", "readings": "meters"}
"""The same to the record that it is part of."""


def covers_of(db: Store, settings: Settings, bounds: Span) -> dict[str, list[Span]]:
    """What each feed covers of a business day."""
    covers = {feed.name: _covered(db, feed.name, bounds) for feed in settings.feed}
    later = _added_later(db, settings, bounds)
    for gone in feeds_besides(db, covers):
        kind, spans = kind_of_feed(db, gone), _covered(db, gone, bounds)
        for feed in settings.feed:
            if KINDS.get(feed.carries) == kind and _follows(db, feed.name, gone):
                covers[feed.name] = union([*covers[feed.name], *spans])
                later -= {feed.name}  # its own past is the other's
    return covers | {name: [bounds] for name in sorted(later)}


def _added_later(db: Store, settings: Settings, bounds: Span) -> set[str]:
    """Feeds that were added after the day, beside one of the same side that was there."""
    since = feeds_known(db)
    new = {feed.name for feed in settings.feed if _since_ms(settings, feed, since) >= bounds[1]}
    there = {SIDES.get(feed.carries) for feed in settings.feed if feed.name not in new}
    return {feed.name for feed in settings.feed if feed.name in new and SIDES.get(feed.carries) in there}


def _since_ms(settings: Settings, feed: Feed, since: dict[str, date | None]) -> int:
    """When the business day began on which a feed was added; 0 where it was there from the start."""
    day, venue = since.get(feed.name), settings.venue
    return day_bounds(day, venue.timezone, venue.day_starts)[0] if day else 0


def _follows(db: Store, feed: str, gone: str) -> bool:
    """Whether nothing came of a feed before the last of the other: two that went on beside each other are
    two tills, of which one says nothing of the other."""
    own, other = came_between(db, feed), came_between(db, gone)
    return own is None or other is None or own[0] > other[1]


def _covered(db: Store, feed: str, bounds: Span) -> list[Span]:
    return intersect(union(cover_spans(db, [feed], *bounds)), [bounds])
