"""The service in the foreground: starts its workers, ticks, and stops cleanly when told to."""

from __future__ import annotations

import json
import logging
import os
import signal
import threading
import time
from datetime import timedelta
from pathlib import Path
from types import FrameType

from apscheduler.schedulers.background import BackgroundScheduler

from unrung import __version__
from unrung.intake.scan import folder_of
from unrung.opening import open_venue
from unrung.service.lock import one_instance
from unrung.service.logs import start_log
from unrung.service.steps import Bookkeeping, Post, Venue, wall_ms
from unrung.service.watching import Watch
from unrung.service.workers import Worker
from unrung.settings import Settings
from unrung.store.days import set_fact
from unrung.store.open import open_store, write_tx

TICK_SECONDS = 30
STOP_SECONDS = 4.0
STUCK_SECONDS = 900.0
_log = logging.getLogger("unrung.service")


def run_service(config: Path) -> int:
    """Run until a signal says stop; returns the exit code.

    Raises ConfigError, StoreError or AlreadyRunning where it cannot start.
    """
    with one_instance(config):
        settings, db = open_venue(config, wall_ms())
        db.close()
        start_log(Path(settings.folder))
        stop = threading.Event()
        _listen(stop)
        return _Service(Venue(config, settings), stop).run()


class _Service:
    def __init__(self, venue: Venue, stop: threading.Event) -> None:
        self._venue, self._stop = venue, stop
        self._post = Worker("mail", Post(venue).step)
        self._book = Bookkeeping(venue, self._post.wake)
        self._worker = Worker("intake", self._book.step)
        self._workers = [self._worker, self._post]
        self._watches: list[Watch] = []
        self._watched: Settings | None = None
        self._started_ms = wall_ms()

    def run(self) -> int:
        _log.info("unrung %s started on %s, process %s", __version__, self._venue.config, os.getpid())
        for worker in self._workers:
            worker.start()
        self._tick()
        scheduler = self._scheduler()
        scheduler.start()
        try:
            # An unbounded wait cannot be interrupted by a signal on Windows.
            while not self._stop.wait(0.5):
                if not all(worker.alive for worker in self._workers):
                    _log.error("a worker ended; stopping, so that the service manager starts anew")
                    return 3
            return 0
        finally:
            self._close(scheduler)

    def _scheduler(self) -> BackgroundScheduler:
        """A tick and nothing else: what is due stands in the store."""
        scheduler = BackgroundScheduler(
            timezone=self._venue.settings.venue.timezone,
            job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None},
        )
        scheduler.add_job(self._tick, "interval", seconds=TICK_SECONDS)
        return scheduler

    def _tick(self) -> None:
        """Supervise the watches, wake the workers, leave a sign of life."""
        self._rewatch()
        for watch in self._watches:
            watch.supervise()
            self._note(f"watch {watch.folder}", watch.problem)
        for worker in self._workers:
            worker.wake()
            stuck = worker.busy_seconds() > STUCK_SECONDS
            lasted = timedelta(seconds=round(worker.busy_seconds()))
            said = f"the {worker.name} worker has been busy for {lasted}"
            self._note(f"worker {worker.name}", said if stuck else worker.last_error)
        self._sign_of_life()

    def _rewatch(self) -> None:
        """Make the watches anew when the settings changed."""
        settings = self._venue.settings
        if settings is self._watched:
            return
        for watch in self._watches:
            watch.close()
        self._watches = [
            Watch(folder_of(feed, settings), feed.polling, self._hint(feed.name))
            for feed in settings.feed if feed.folder
        ]
        self._watched = settings

    def _hint(self, name: str):  # type: ignore[no-untyped-def]
        def wake() -> None:
            self._book.hints.add(name)
            self._worker.wake()

        return wake

    def _sign_of_life(self) -> None:
        settings = self._venue.settings
        db = open_store(Path(settings.folder) / settings.files.store)
        state = {
            "pid": os.getpid(), "version": __version__, "started_ms": self._started_ms,
            "seen_ms": wall_ms(), "problems": dict(sorted(self._venue.problems.items())),
        }
        with write_tx(db):
            set_fact(db, "service", json.dumps(state))
        db.close()

    def _note(self, key: str, text: str) -> None:
        if text:
            self._venue.problems[key] = text
        else:
            self._venue.problems.pop(key, None)

    def _close(self, scheduler: BackgroundScheduler) -> None:
        """Everything ends its step or is left behind: a transaction cut off is rolled back."""
        until = time.monotonic() + STOP_SECONDS
        for worker in self._workers:
            worker.stop()
        scheduler.shutdown(wait=False)
        for watch in self._watches:
            watch.close()
        ended = [worker.join(until - time.monotonic()) for worker in self._workers]
        _log.info("stopped%s", "" if all(ended) else " with a step cut off; it is done again at the start")


def _listen(stop: threading.Event) -> None:
    def on_signal(number: int, frame: FrameType | None) -> None:
        stop.set()

    for name in ("SIGTERM", "SIGINT", "SIGBREAK"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), on_signal)
