"""What the service's workers do: each step does what is due now and says when to look again."""

from __future__ import annotations

import logging
import os
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from unrung.config_folder import load
from unrung.daybook import Cache
from unrung.errors import ConfigError, SourceError
from unrung.intake.scan import read_again, scan
from unrung.intake.watch import Tracker
from unrung.issuing import due_days, issue_day
from unrung.opening import take_config
from unrung.sending import send_one
from unrung.settings import Feed, Settings
from unrung.store.open import Store, open_store
from unrung.thresholds import judge_today

_log = logging.getLogger("unrung.service")
LOOK_AGAIN_SECONDS = 0.5
"""Pause between looks while files settle."""
CONFIG_FILES = ("venue.toml", "products.csv", "menu.csv", "taps.csv")


def wall_ms() -> int:
    """Now, UTC milliseconds."""
    return time.time_ns() // 1_000_000


@dataclass(slots=True)
class Venue:
    """What the workers share: the settings in force and what is wrong at present."""

    config: Path
    settings: Settings
    problems: dict[str, str] = field(default_factory=dict)
    """Source of trouble to a sentence; empty ones are over."""
    _stamp: tuple[int, ...] = ()

    def store(self) -> Store:
        """A connection of the caller's own thread."""
        return open_store(Path(self.settings.folder) / self.settings.files.store)

    def config_changed(self) -> bool:
        """Whether a file of the config folder was written since the last call."""
        stamp = tuple(_mtime(self.config / name) for name in CONFIG_FILES)
        changed = bool(self._stamp) and stamp != self._stamp
        self._stamp = stamp
        return changed


class Bookkeeping:
    """Intake and issuing: the one worker that writes movements and ledgers."""

    def __init__(self, venue: Venue, tell: Callable[[], None]) -> None:
        self._venue, self._tell = venue, tell
        self._db: Store | None = None
        self._trackers: dict[str, Tracker] = {}
        self._fresh = True
        """Whether rows came in since today was last judged."""
        self._full_look = 0.0
        self.hints: set[str] = set()
        """Names of feeds whose folders had an event."""

    def step(self) -> float:
        db = self._db = self._db or self._venue.store()
        self._renew_config(db)
        settings = self._venue.settings
        now = time.monotonic()
        everything = now >= self._full_look
        if everything:
            self._full_look = now + settings.schedule.rescan_seconds
        hinted, self.hints = self.hints, set()
        waiting = [self._look(db, feed, everything or feed.name in hinted)
                   for feed in settings.feed if feed.folder]
        self._issue(db, settings)
        self._judge(db, settings)
        return LOOK_AGAIN_SECONDS if any(waiting) else max(0.1, self._full_look - time.monotonic())

    def _look(self, db: Store, feed: Feed, wanted: bool) -> bool:
        """Scan one folder where there is reason to; True while files in it wait to settle."""
        tracker = self._trackers.setdefault(feed.name, {})
        if not wanted and not tracker:
            return False
        key = f"feed {feed.name}"
        try:
            found = scan(db, self._venue.settings, feed, tracker, now_ms=wall_ms(),
                         now_mono=time.monotonic())
        except SourceError as error:
            tracker.clear()
            self._note(key, str(error))
            return False
        self._note(key, "; ".join(found.problems))
        for taken in found.taken:
            source = taken.source
            _log.info("%s: %s %s, %s new rows, %s kept aside", feed.name, source.name, source.state,
                      source.new_rows, source.rejected)
            self._fresh = True
        if not found.waiting:
            tracker.clear()
        return bool(found.waiting)

    def _issue(self, db: Store, settings: Settings) -> None:
        cache: Cache = {}
        for day in due_days(db, settings, wall_ms()):
            issued = issue_day(db, settings, day, wall_ms(), cache)
            if issued.changed:
                _log.info("issued %s revision %s", day.isoformat(), issued.revision)
            self._note(f"files {day.isoformat()}", "; ".join(map(str, issued.unplaced)))
            self._tell()

    def _judge(self, db: Store, settings: Settings) -> None:
        """What cannot wait for the morning; only once no more files are about to settle."""
        if self._fresh and not any(self._trackers.values()):
            self._fresh = False
            if judge_today(db, settings, wall_ms()):
                self._tell()

    def _renew_config(self, db: Store) -> None:
        if not self._venue.config_changed():
            return
        try:
            settings = load(self._venue.config)
        except ConfigError as error:
            self._note("config", "the settings were edited and cannot be used, the earlier ones stay "
                                 "in force: " + " ".join(error.problems))
            return
        self._venue.settings = take_config(db, settings, wall_ms())
        self._note("config", "")
        for feed in self._venue.settings.feed:
            if feed.folder:
                read_again(db, self._venue.settings, feed, wall_ms())
        _log.info("the settings were edited and are in force")

    def _note(self, key: str, text: str) -> None:
        before = self._venue.problems.get(key, "")
        if text and text != before:
            _log.warning("%s: %s", key, text)
        if text:
            self._venue.problems[key] = text
        else:
            self._venue.problems.pop(key, None)


class Post:
    """Mail: offers what is due, one at a time, with a connection of its own."""

    def __init__(self, venue: Venue) -> None:
        self._venue = venue
        self._db: Store | None = None

    def step(self) -> float:
        db = self._db = self._db or self._venue.store()
        if not self._venue.settings.mail.host:
            return 60.0
        return 0.0 if send_one(db, self._venue.settings, wall_ms(), os.environ) else 30.0


def _mtime(path: Path) -> int:
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return 0
