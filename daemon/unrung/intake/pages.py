"""One run over the pages of a polled address, into the store.

A *run* reads one span, from the cursor less the overlap up to the moment it begins, over as many
pages as there are. Each page is one transaction of its rows and of where the next one is. Only when
the last page is in the store does the cursor move, to the greatest row time taken, and never past
the run's own beginning: so a run that is cut off goes on where it stopped, pages need no order, and
a row with a time in the future hides nothing. What the run covers is noted then, too.
"""

from __future__ import annotations

import hashlib
import time
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from unrung.business_day import business_day
from unrung.errors import SourceError
from unrung.intake.asking import conditions, page_export, request_key, run_url
from unrung.intake.fetch import Answer, Asker, Refused
from unrung.intake.paging import Step, counted, safe_to_keep, step
from unrung.intake.span import cover_span
from unrung.intake.take_in import Taken, take_in
from unrung.settings import Feed, Settings, Venue
from unrung.store.cursors import Cursor, Run, cover, covered_until, save_cursor
from unrung.store.days import mark_days_dirty
from unrung.store.open import Store, write_tx
from unrung.store.sources import SourceRow, let_go, set_aside_ones, update_source

LONGEST_GO_SECONDS = 600.0
"""How long one go over the pages may last; the rest follows in the next."""
BELIEVED_AFTER = 3
"""Times that an answer must come with its last row cut off before it is taken as it is."""
MOST_GOES = 100
"""A run of more pages than this times ``max_pages`` goes round in circles."""


@dataclass(slots=True)
class Reading:
    """One run while it goes on."""

    db: Store
    settings: Settings
    feed: Feed
    asker: Asker
    cursor: Cursor
    run: Run
    now_ms: int
    taken: list[Taken]
    """Filled as pages come in."""
    doubtful: bool = False
    """The clock is in doubt: rows are taken in, and the run claims to cover nothing."""
    said_ms: int | None = None
    """What time the server has, where it says so."""
    _seen: set[str] = field(default_factory=set)
    _last_hash: str = ""

    def read_pages(self) -> bool:
        """Page after page; True where the last is in the store, False where one go is not enough.

        Raises SourceError where an answer is not to be had or not to be read, IncompleteExport where
        one is cut off; the pages before it are in the store.
        """
        started = time.monotonic()
        for _ in range(self.feed.poll.paging.max_pages):
            if self._read_page():
                return True
            if time.monotonic() - started > LONGEST_GO_SECONDS:
                break
        return False

    def _read_page(self) -> bool:
        paging, run = self.feed.poll.paging, self.run
        url = run_url(self.feed, self.settings, run)
        if url in self._seen or run.pages > MOST_GOES * paging.max_pages:
            raise Refused("the pages lead round in a circle: the next one was read already", permanent=True)
        self._seen.add(url)
        key = request_key(url, self.cursor.digest)
        asked = conditions(self.cursor.validators, key) if paging.by == "none" else {}
        answer = self.asker.fetch(url, asked)
        self.said_ms = answer.said_ms
        if answer.status == 304:
            with write_tx(self.db):
                self._drained(self.cursor.validators)
            return True
        found = self._step(answer)
        self._take(url, answer, found, (key, answer.etag, answer.modified))
        if found.trouble:
            raise Refused(f"after {self.run.pages} pages: {found.trouble}", permanent=True)
        return self.cursor.run is None

    def _step(self, answer: Answer) -> Step:
        """Where the answer leads, as far as its bytes tell."""
        feed, paging = self.feed, self.feed.poll.paging
        found = step(paging, self.run.position, answer, feed.formats.encoding, feed.url)
        found = safe_to_keep(found, self.asker.login)
        digest = hashlib.sha256(answer.content).hexdigest()
        if paging.by in ("page", "offset") and found.position is not None and digest == self._last_hash:
            found = Step(None, f"two pages are the same; does the source know {paging.query or paging.by!r}?")
        self._last_hash = digest
        return found

    def _take(self, url: str, answer: Answer, found: Step, validators: tuple[str, str, str]) -> None:
        """The rows of a page and what follows from it, in one transaction."""
        position = self.run.position
        self.run = replace(self.run, pages=self.run.pages + 1)

        def also(db: Store, source: SourceRow) -> None:
            self._note_times(source)
            self._move_on(counted(self.feed.poll.paging, position, found, source.rows + source.skipped),
                          validators)

        if not answer.content and (answer.status == 204 or position):
            with write_tx(self.db):
                self._move_on(Step(None), validators)
            return
        taken = take_in(
            self.db, self.settings, self.feed, page_export(self.feed, url, answer, self.now_ms),
            mtime_ms=self.run.until_ms, via="http", now_ms=self.now_ms, also=also,
            finished=self.cursor.failures >= BELIEVED_AFTER,
        )
        self.taken.append(taken)
        if taken.state == "set_aside":
            with write_tx(self.db):
                _forget_aside(self.db, self.feed, taken.source.id)
            raise SourceError(taken.source.reason)

    def _note_times(self, source: SourceRow) -> None:
        """Widen the run by a page's rows. A page covers nothing by itself, the run does; but where an
        answer is the whole truth for its days, the store reads off it which days those are."""
        if source.id is not None and self.feed.export != "span":
            update_source(self.db, source.id, cover_from_ms=None, cover_to_ms=None)
        lows = [at for at in (self.run.low_ms, source.first_ms) if at is not None]
        highs = [at for at in (self.run.high_ms, source.last_ms) if at is not None]
        self.run = replace(
            self.run, low_ms=min(lows, default=None), high_ms=max(highs, default=None)
        )

    def _move_on(self, after: Step, validators: tuple[str, str, str]) -> None:
        """Where the next page is, or that this was the last; in the transaction of the page."""
        if after.trouble:
            return
        if after.position is None:
            self._drained(validators)
            return
        self.run = replace(self.run, position=after.position)
        self.cursor.run, self.cursor.failures, self.cursor.last_text = self.run, 0, ""
        save_cursor(self.db, self.cursor)

    def _drained(self, validators: tuple[str, str, str]) -> None:
        """The run is complete: the cursor moves and the span is covered; in its last transaction."""
        cursor, run = self.cursor, self.run
        cursor.run, cursor.failures, cursor.last_text, cursor.not_before_ms = None, 0, "", 0
        cursor.due_ms = self.now_ms + round(self.feed.poll.every_minutes * 60_000)
        if self.doubtful:  # it would cover the years up to a wrong clock; the next run reads it again
            save_cursor(self.db, cursor)
            return
        cursor.validators, cursor.polled_ms = validators, self.now_ms
        if run.high_ms is not None:
            cursor.since_ms = max(cursor.since_ms or 0, min(run.high_ms, run.until_ms))
        if run.looks_back:
            cursor.looked_back_ms = run.until_ms
        self._cover()
        _forget_aside(self.db, self.feed, None)
        save_cursor(self.db, cursor)

    def _cover(self) -> None:
        """Note what the run covers, and have the days computed again of which that is news."""
        run, venue = self.run, self.settings.venue
        start = run.from_ms
        if start is None and run.low_ms is not None and run.high_ms is not None:
            start, _ = cover_span(self.feed, venue, run.low_ms, run.high_ms, run.until_ms)
        elif start is None and run.pages == 0:
            # Not modified: what was there at the last poll is there now, and nothing else.
            start = covered_until(self.db, self.feed.name)
        if start is not None and start < run.until_ms:
            news = cover(self.db, self.feed.name, start, run.until_ms)
            mark_days_dirty(self.db, _days(venue, news, run.until_ms), self.now_ms)


def _days(venue: Venue, lo_ms: int, hi_ms: int) -> set[date]:
    if hi_ms <= lo_ms:
        return set()
    first, last = (business_day(at, venue.timezone, venue.day_starts) for at in (lo_ms, hi_ms - 1))
    return {first + timedelta(days=n) for n in range((last - first).days + 1)}


def _forget_aside(db: Store, feed: Feed, newest: int | None) -> None:
    """Answers that could not be read are asked for again, so only the newest is worth telling."""
    for older in set_aside_ones(db, feed.name):
        if older.id is not None and older.id != newest:
            let_go(db, older.id)
