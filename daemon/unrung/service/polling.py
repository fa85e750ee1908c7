"""A worker's step for each polled feed, so that a server that hangs stops nothing else."""

from __future__ import annotations

import logging
import os
from collections.abc import Callable

from unrung.clock_doubt import borne_out, in_doubt
from unrung.feed_words import clock_words
from unrung.intake.poll import Polled, poll_feed
from unrung.intake.said import rows_came
from unrung.service.venue import Venue

LONGEST_SECONDS = 300.0
"""Looked at this often at least: a due time by the wall clock can come nearer than it seemed."""
HOLD_SECONDS = 600.0
"""How long days that are due wait for the first answers after a start."""
_log = logging.getLogger("unrung.service")


class Polling:
    """One polled feed, by name: its address and settings may be edited while the service runs."""

    def __init__(self, venue: Venue, feed: str, tell: Callable[[], None]) -> None:
        self._venue, self._feed, self._tell = venue, feed, tell
        self._waiting_since: float | None = venue.clock.mono()
        self._clocks_differ = False

    def step(self) -> float:
        """Ask if it is due; how many seconds may pass until the next look."""
        venue = self._venue
        feed = next((one for one in venue.settings.feed if one.name == self._feed and one.url), None)
        if feed is None:
            venue.note(f"feed {self._feed}", "")
            self._waiting_since = None
            return LONGEST_SECONDS
        with venue.store() as db:
            now_ms = venue.clock.wall_ms()
            if venue.clock_is_wrong(db, now_ms):  # it would ask for a span that ends before it begins
                return 60.0
            doubtful = in_doubt(db, venue.settings, now_ms)
            polled = poll_feed(db, venue.settings, feed, now_ms, os.environ, doubtful=doubtful)
            borne_out(db, venue.settings, now_ms, polled.said_ms)
        if polled.said_ms is not None:
            self._warn(clock_words(feed, polled.said_ms, venue.clock.wall_ms()))
        if not polled.more:
            self._waiting_since = None
        venue.note(f"feed {self._feed}", polled.problem)
        self._arrived(polled)
        return min(LONGEST_SECONDS, max(0.05, (polled.next_ms - venue.clock.wall_ms()) / 1000))

    def _warn(self, apart: str) -> None:
        """Tell the log where the clocks begin to differ, not at every poll."""
        if apart and not self._clocks_differ:
            _log.warning(apart)
        self._clocks_differ = bool(apart)

    def settling(self) -> bool:
        """Whether the first answers since the start are still coming in; days and alerts wait."""
        since = self._waiting_since
        return since is not None and self._venue.clock.mono() - since < HOLD_SECONDS

    def _arrived(self, polled: Polled) -> None:
        news = [one.source for one in polled.taken if one.source.id is not None]
        for source in news:
            _log.info("%s: %s %s, %s, %s kept aside", self._feed, source.name, source.state,
                      rows_came(source), source.rejected)
        if news:
            self._venue.fresh.set()
        if polled.taken or not polled.told:
            self._tell()
