"""What the service's workers do: each step does what is due now and says when to look again."""

from __future__ import annotations

import logging
import os
from collections.abc import Callable
from queue import Empty, SimpleQueue

from unrung.clock_doubt import borne_out, in_doubt
from unrung.config_folder import load
from unrung.errors import ConfigError, SourceError, StoreError
from unrung.heartbeat import alarm, beat, untold
from unrung.intake.said import rows_came
from unrung.intake.scan import Scan, read_again, scan
from unrung.intake.take_in import Taken
from unrung.intake.watch import Tracker
from unrung.opening import take_config
from unrung.sending import send_one
from unrung.service.venue import Venue, stamp_of
from unrung.settings import Feed
from unrung.store.open import Store
from unrung.upkeep import nightly, note_checked

_log = logging.getLogger("unrung.service")
LOOK_AGAIN_SECONDS = 0.5
"""Pause between looks while files settle."""
UNFINISHED_SECONDS = 5.0
"""Pause between looks at files that stand still and seem cut off."""
HOLD_SECONDS = 600.0
"""How long days that are due wait for exports that lie there and have not settled: a machine that
was off all morning must not issue a day without the files that wait in its folders."""

CLOCK_SECONDS = 30.0
"""Pause between looks at a clock that is wrong; when it is set, the jump itself wakes everybody."""
ALARM_SECONDS = 3600.0
"""Pause between two calls to the watchman while the clock is wrong."""


class Intake:
    """Folders to rows, and the config folder's edits: the worker that takes exports in."""

    def __init__(self, venue: Venue, tell: Callable[[], None]) -> None:
        self.hints: SimpleQueue[str] = SimpleQueue()
        """Names of feeds whose folders had an event."""
        self._venue, self._tell = venue, tell
        self._trackers: dict[str, Tracker] = {}
        self._full_look: float | None = None
        self._unsettled_since: float | None = venue.clock.mono()
        self._edited = False

    def step(self) -> float:
        """Look at the folders that had an event or hold unsettled files, and now and then at all."""
        now, now_ms = self._venue.clock.mono(), self._venue.clock.wall_ms()
        with self._venue.store() as db:
            if self._venue.clock_is_wrong(db, now_ms):  # rows of today would be refused as of the future
                return CLOCK_SECONDS
            self._renew_config(db, now_ms)
            settings = self._venue.settings
            everything = self._full_look is None or now >= self._full_look
            if everything:
                self._full_look = now + settings.schedule.rescan_seconds
            hinted = self._hinted()
            for feed in settings.feed:
                if feed.folder and (everything or feed.name in hinted or self._trackers.get(feed.name)):
                    self._look(db, feed)
        return self._pause()

    def settling(self) -> bool:
        """Whether exports lie there that are about to be taken in; days and alerts wait for them."""
        since = self._unsettled_since
        return since is not None and self._venue.clock.mono() - since < HOLD_SECONDS

    def _look(self, db: Store, feed: Feed) -> None:
        """Scan one folder; what is wrong with it stops no other."""
        tracker = self._trackers.setdefault(feed.name, {})
        clock, now_ms = self._venue.clock, self._venue.clock.wall_ms()
        if self._venue.clock_is_wrong(db, now_ms):
            return
        try:
            found = scan(db, self._venue.settings, feed, tracker, now_ms=now_ms, now_mono=clock.mono())
        except SourceError as error:
            found = Scan(problems=[str(error)])
        except StoreError:
            raise
        except Exception as error:  # noqa: BLE001 - a fault of ours in one feed must not stop the others
            _log.exception("%s could not be looked at", feed.name)
            found = Scan(problems=[f"{type(error).__name__}: {error}"])
        if not found.waiting:
            tracker.clear()
        self._venue.note(f"feed {feed.name}", "; ".join(found.problems))
        self._arrived(feed, found.taken)

    def _arrived(self, feed: Feed, taken: list[Taken]) -> None:
        for one in taken:
            source = one.source
            _log.info("%s: %s %s, %s, %s kept aside", feed.name, source.name, source.state, rows_came(source),
                      source.rejected)
        if taken:
            self._venue.fresh.set()
            self._tell()

    def _pause(self) -> float:
        now = self._venue.clock.mono()
        settle = {feed.name: feed.settle_seconds for feed in self._venue.settings.feed}
        left = [
            settle.get(name, 0.0) - (now - since)
            for name, tracker in self._trackers.items() for _, _, since in tracker.values()
        ]
        until_all = max(0.1, (self._full_look or now) - now)
        if not left:
            self._unsettled_since = None
            return until_all
        if self._unsettled_since is None:
            self._unsettled_since = now
        return min(until_all, LOOK_AGAIN_SECONDS if max(left) > 0 else UNFINISHED_SECONDS)

    def _hinted(self) -> set[str]:
        names = set()
        while True:
            try:
                names.add(self.hints.get_nowait())
            except Empty:
                return names

    def _renew_config(self, db: Store, now_ms: int) -> None:
        """Take up an edit; a bad one is told, and the settings before it stay in force."""
        stamp = stamp_of(self._venue.config)
        if stamp != self._venue.stamp:
            wrong = self._take_up(db, now_ms)
            self._venue.stamp = stamp
            self._venue.note("config", wrong)
        if self._edited:
            for feed in self._venue.settings.feed:
                if feed.folder:
                    self._read_again(db, feed, now_ms)
            self._edited = False

    def _take_up(self, db: Store, now_ms: int) -> str:
        """What is wrong with the edit; empty where it is in force."""
        try:
            settings = load(self._venue.config)
        except ConfigError as error:
            return ("the settings were edited and cannot be used, the earlier ones stay in force: "
                    + " ".join(error.problems))
        if settings.files.store != self._venue.settings.files.store:
            return ("[files] store was changed, which needs a restart of the service; the earlier "
                    "settings stay in force until then")
        self._venue.settings = take_config(db, settings, now_ms)
        self._trackers.clear()
        self._full_look, self._edited = None, True
        _log.info("the settings were edited and are in force")
        return ""

    def _read_again(self, db: Store, feed: Feed, now_ms: int) -> None:
        """What could not be read with the earlier settings, once more."""
        try:
            taken = read_again(db, self._venue.settings, feed, now_ms)
        except SourceError as error:
            self._venue.note(f"feed {feed.name}", str(error))
        else:
            self._arrived(feed, taken)


class Post:
    """Mail: offers what is due, one at a time."""

    def __init__(self, venue: Venue) -> None:
        self._venue = venue

    def step(self) -> float:
        settings = self._venue.settings
        if not settings.mail.host:
            return 60.0
        with self._venue.store() as db:
            now_ms = self._venue.clock.wall_ms()
            if self._venue.clock_is_wrong(db, now_ms):
                return CLOCK_SECONDS
            return 0.0 if send_one(db, settings, now_ms, os.environ) else 30.0


class Night:
    """Once a night: integrity check, backup, and what goes with it. ``checked``: the store was found
    whole at the start, and nobody wrote that down yet."""

    def __init__(self, venue: Venue, checked: bool) -> None:
        self._venue, self._checked = venue, checked

    def step(self) -> float:
        with self._venue.store() as db:
            now_ms = self._venue.clock.wall_ms()
            if self._venue.clock_is_wrong(db, now_ms):
                return CLOCK_SECONDS
            if self._checked:
                note_checked(db, now_ms)
                self._checked = False
            for text in nightly(db, self._venue.settings, now_ms):
                _log.error("upkeep: %s", text)
        return 60.0


class Heart:
    """The heartbeat address: asked for after each issued day; failures are only logged."""

    def __init__(self, venue: Venue) -> None:
        self._venue = venue
        self._failures = 0
        self._not_before = 0.0
        self._next_alarm = 0.0

    def step(self) -> float:
        settings, clock = self._venue.settings, self._venue.clock
        if not settings.schedule.heartbeat_url or clock.mono() < self._not_before:
            return 60.0
        with self._venue.store() as db:
            now_ms = clock.wall_ms()
            if self._venue.clock_is_wrong(db, now_ms) or in_doubt(db, settings, now_ms):
                return self._alarm(db, now_ms)
            self._next_alarm = 0.0
            wrong = beat(db, settings, now_ms)
            left = bool(untold(db, settings, now_ms))
        if wrong:
            self._failures += 1
            self._not_before = clock.mono() + min(3600.0, 30.0 * 2**self._failures)
            _log.warning("heartbeat: %s", wrong)
        else:
            self._failures = 0
        return 1.0 if left and not wrong else 60.0

    def _alarm(self, db: Store, now_ms: int) -> float:
        """The clock is wrong: the watchman is told now and every hour, while it is. His own bears out
        one that is only in doubt."""
        now = self._venue.clock.mono()
        if now >= self._next_alarm:
            self._next_alarm = now + ALARM_SECONDS
            asked = alarm(self._venue.settings)
            if asked.wrong:
                _log.warning("heartbeat: %s", asked.wrong)
            borne_out(db, self._venue.settings, now_ms, asked.said_ms)
        return CLOCK_SECONDS
