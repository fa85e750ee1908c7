"""Asking a polled address for what is due, and taking it in.

What is due, how far a source has been read, and what went wrong stand in the store; a look at a feed
asks the store first. A failure sets a later due time and never waits.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import dataclass, field, replace

import requests

from unrung.business_day import business_day
from unrung.errors import ConfigError, IncompleteExport, SourceError
from unrung.intake.asking import asker_of, asking_digest, new_run
from unrung.intake.deadline import new_session
from unrung.intake.fetch import Refused
from unrung.intake.pages import Reading
from unrung.intake.pauses import LONGEST_PAUSE_MS, LONGEST_WISH_MS, pause_ms, wish_ms
from unrung.intake.take_in import Taken
from unrung.settings import Feed, Settings
from unrung.store.cursors import Cursor, load_cursor, oldest_waiting, save_cursor
from unrung.store.open import Store, write_tx

NewSession = Callable[[], requests.Session]

GO_ON_MS = 5_000
"""Pause before a run that was too long for one go is continued."""
PATIENCE = 5
"""Failures in a row after which a run is begun anew in place of being continued."""


@dataclass(slots=True)
class Polled:
    """What became of one look at a polled feed."""

    feed: str
    next_ms: int
    """When the feed is due again, UTC milliseconds."""
    taken: list[Taken] = field(default_factory=list)
    problem: str = ""
    told: bool = False
    """Whether the problem is the same as at the last try."""
    more: bool = False
    """Whether the run was too long for one go and goes on presently."""
    said_ms: int | None = None
    """What time the server has, UTC milliseconds, where it answered and said so."""


def poll_feed(
    db: Store, settings: Settings, feed: Feed, now_ms: int, environ: Mapping[str, str], *,
    fetch_session: NewSession = new_session, on_demand: bool = False, doubtful: bool = False,
) -> Polled:
    """Do what is due for one polled feed. ``now_ms``: UTC milliseconds; ``environ``: where secrets
    may be; ``on_demand``: a person asked, so that only a wish of the server's to wait holds;
    ``doubtful``: the clock is in doubt, so that rows are taken in and nothing else follows from it.

    What goes wrong with the source is told in the result, never raised, and names no secret.
    Raises StoreError for the store.
    """
    digest = asking_digest(feed, settings)
    cursor = load_cursor(db, feed.name)
    if cursor.digest != digest:
        cursor = _renewed(db, cursor, digest)
    elif 0 < (cursor.not_before_ms if on_demand else cursor.due_ms) - now_ms <= _longest_ms(feed):
        return Polled(feed.name, cursor.due_ms, problem=cursor.last_text, told=True)
    taken: list[Taken] = []
    try:
        with closing(fetch_session()) as session:
            asker = asker_of(settings, feed, session, environ)
            run = cursor.run or new_run(feed, cursor, now_ms, _looks_back(settings, cursor, now_ms))
            reading = Reading(db, settings, feed, asker, cursor, run, now_ms, taken, doubtful)
            drained = reading.read_pages()
    except (SourceError, ConfigError, IncompleteExport) as error:
        return _failed(db, feed, cursor, error, now_ms, taken)
    if drained:
        return Polled(feed.name, cursor.due_ms, taken, said_ms=reading.said_ms)
    return _goes_on(db, feed, cursor, now_ms, taken)


def every_ms(feed: Feed) -> int:
    return round(feed.poll.every_minutes * 60_000)


def _longest_ms(feed: Feed) -> int:
    """A due time further ahead was written down by a clock that was wrong then."""
    return max(every_ms(feed), round(1.1 * LONGEST_PAUSE_MS), LONGEST_WISH_MS)


def _renewed(db: Store, cursor: Cursor, digest: str) -> Cursor:
    """The cursor after an edit of the feed: due at once, and back to where rows still wait."""
    waits, since = oldest_waiting(db, cursor.feed), cursor.since_ms
    if waits is not None and since is not None:
        since = min(since, waits)
    return Cursor(
        cursor.feed, digest, since, polled_ms=cursor.polled_ms, looked_back_ms=cursor.looked_back_ms
    )


def _looks_back(settings: Settings, cursor: Cursor, now_ms: int) -> bool:
    """Whether this is the first complete run of a business day."""
    venue = settings.venue
    before, today = (
        business_day(at_ms, venue.timezone, venue.day_starts)
        for at_ms in (cursor.looked_back_ms or 0, now_ms)
    )
    return before != today


def _goes_on(db: Store, feed: Feed, cursor: Cursor, now_ms: int, taken: list[Taken]) -> Polled:
    cursor.due_ms = now_ms + min(GO_ON_MS, every_ms(feed))
    with write_tx(db):
        save_cursor(db, cursor)
    return Polled(feed.name, cursor.due_ms, taken, more=True)


def _failed(
    db: Store, feed: Feed, cursor: Cursor, error: Exception, now_ms: int, taken: list[Taken]
) -> Polled:
    """Write the failure down: when to try again, and where to go on."""
    text = " ".join(error.problems) if isinstance(error, ConfigError) else str(error)
    permanent = isinstance(error, ConfigError) or getattr(error, "permanent", False)
    stored = load_cursor(db, feed.name)
    # What was changed in memory before a transaction that did not come about is forgotten.
    cursor = stored if stored.digest == cursor.digest else replace(cursor, run=None)
    cursor.failures += 1
    pause = pause_ms(feed.name, cursor.failures, every_ms(feed), permanent=permanent)
    wish = wish_ms(error.retry_after, error.date, now_ms) if isinstance(error, Refused) else None
    cursor.not_before_ms = 0 if wish is None else now_ms + wish
    cursor.due_ms = max(now_ms + pause, cursor.not_before_ms)
    if permanent or cursor.failures >= PATIENCE:
        cursor.run = None
    told, cursor.last_text = stored.last_text == text, text
    with write_tx(db):
        save_cursor(db, cursor)
    return Polled(feed.name, cursor.due_ms, taken, text, told)
