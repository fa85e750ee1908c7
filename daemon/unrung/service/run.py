"""The service in the foreground: starts its workers, ticks, and stops cleanly when told to."""

from __future__ import annotations

import json
import logging
import os
import signal
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import FrameType

from apscheduler.schedulers.background import BackgroundScheduler

from unrung import __version__
from unrung.clock_doubt import note_clock
from unrung.clock_trust import clock_trouble
from unrung.errors import StoreError, StoreLost
from unrung.opening import open_venue
from unrung.service.child import Child
from unrung.service.clock import REAL
from unrung.service.issuer import Issuer
from unrung.service.lock import one_instance
from unrung.service.logs import start_log
from unrung.service.lost import forget_lost, tell_lost
from unrung.service.notify import notify
from unrung.service.polling import Polling
from unrung.service.steps import Heart, Intake, Night, Post
from unrung.service.ticking import Every, is_far
from unrung.service.venue import Venue, stamp_of
from unrung.service.watching import Watching
from unrung.service.workers import Worker
from unrung.settings import Settings
from unrung.store.days import set_fact
from unrung.store.open import BUSY_TIMEOUT_MS, write_tx
from unrung.upkeep import check_at_start

TICK_SECONDS = 30.0
STOP_SECONDS = 3.0
STUCK_SECONDS = 2400.0
"""A step that lasts this long hangs, whatever it does."""
JUMP_SECONDS = 5.0
"""The clock was moved, or the machine slept, where wall clock and passed time differ by this much."""
_log = logging.getLogger("unrung.service")


def run_service(config: Path, tick_seconds: float = TICK_SECONDS) -> int:
    """Run until a signal says stop; returns the exit code.

    Raises ConfigError, StoreError or AlreadyRunning where it cannot start; StoreLost, after people were
    told, where starting again cannot help.
    """
    stop = threading.Event()
    os.umask(0o077)  # what the service writes is for its account alone
    with one_instance(config):
        _listen(stop)
        start_log(config.resolve())
        stamp = stamp_of(config)
        try:
            settings, checked, believed = _opened(config)
        except StoreLost as error:
            tell_lost(config, error, REAL.wall_ms())
            raise
        venue = Venue(config, settings, REAL, stamp if believed else ())
        service = _Service(venue, stop, tick_seconds, checked)
        code = service.run()
    if not service.ended:
        # A thread that hangs in a library would hold the interpreter; the lock is free already.
        logging.shutdown()
        os._exit(code)
    return code


def _opened(config: Path) -> tuple[Settings, bool, bool]:
    """The settings; whether the store was read from end to end just now; and whether the clock can be
    believed: otherwise what was edited is taken up later."""
    settings, db = open_venue(config, REAL.wall_ms())
    try:
        checked = check_at_start(db, settings, REAL.wall_ms())
        believed = not clock_trouble(db, settings, REAL.wall_ms())
        with write_tx(db):
            note_clock(db, settings, REAL.wall_ms())
    finally:
        db.close()
    forget_lost(Path(settings.folder))
    return settings, checked, believed


class _Service:
    def __init__(
        self, venue: Venue, stop: threading.Event, tick_seconds: float, checked: bool = False
    ) -> None:
        self._venue, self._stop = venue, stop
        self._child = Child()
        post, heart = Worker("mail", Post(venue).step), Worker("heartbeat", Heart(venue).step)

        def issued() -> None:
            post.wake()
            heart.wake()

        self._intake = Intake(venue, lambda: issuer.wake())
        self._polling: dict[str, Polling] = {}
        issuer = Worker("issuing", Issuer(venue, self._settling, self._child, issued).step)
        self._taking = Worker("intake", self._intake.step)
        self._watching = Watching(venue, self._hint)
        watcher = Worker("watching", self._watching.step)
        life = Worker("sign of life", self._sign_of_life)
        night = Worker("upkeep", Night(venue, checked).step)
        self._workers = [watcher, self._taking, issuer, post, heart, life, night]
        self._workers += self._new_pollers(issuer.wake)
        self._issuer = issuer
        self._scheduler = _scheduler(venue)
        self._pause_s = tick_seconds
        self._job = self._scheduler.add_job(self._tick, Every(tick_seconds))
        self._started_ms = venue.clock.wall_ms()
        self.ended = False
        """Whether every worker ended its step when told to stop."""

    def run(self) -> int:
        _log.info("unrung %s started on %s, process %s", __version__, self._venue.config, os.getpid())
        for worker in self._workers:
            worker.start()
        self._tick()
        self._scheduler.start()
        notify("READY=1")
        ahead = self._ahead()
        try:
            # An unbounded wait cannot be interrupted by a signal on Windows.
            while not self._stop.wait(0.5):
                ahead = self._after_a_jump(ahead)
                if not all(worker.alive for worker in self._workers):
                    _log.error("a worker ended; stopping, so that the service manager starts anew")
                    return 3
            return 0
        finally:
            self._close()

    def _tick(self) -> None:
        """Wake the workers and note which of them hang; nothing that could hang itself."""
        notify("WATCHDOG=1")
        for poller in self._new_pollers(self._issuer.wake):
            poller.start()
            self._workers.append(poller)
        for worker in self._workers:
            worker.wake()
            lasted = worker.busy_seconds()
            said = f"busy for {timedelta(seconds=round(lasted))}, and seems to hang"
            self._venue.note(f"worker {worker.name}", said if lasted > STUCK_SECONDS else worker.last_error)

    def _new_pollers(self, tell: Callable[[], None]) -> list[Worker]:
        """A worker for each polled feed without one. Where a feed goes away, its worker idles."""
        names = {feed.name for feed in self._venue.settings.feed if feed.url} - self._polling.keys()
        new = {name: Polling(self._venue, name, tell) for name in sorted(names)}
        self._polling |= new
        return [Worker(f"poll {name}", polling.step) for name, polling in new.items()]

    def _settling(self) -> bool:
        """Whether exports or first answers are about to be taken in; days wait for them."""
        return self._intake.settling() or any(one.settling() for one in list(self._polling.values()))

    def _hint(self, feed: str) -> None:
        self._intake.hints.put(feed)
        self._taking.wake()

    def _ahead(self) -> float:
        """By how much the wall clock is ahead of the time that passed, in seconds."""
        return self._venue.clock.wall_ms() / 1000 - self._venue.clock.mono()

    def _after_a_jump(self, ahead: float) -> float:
        """Tick at once when the clock was moved: set back, the scheduler would wait until the old
        time comes round again; and after a sleep nothing should wait at all."""
        now = self._ahead()
        moved = abs(now - ahead) >= JUMP_SECONDS
        if moved:
            _log.warning("the clock went %+d seconds beside the time that passed", round(now - ahead))
        now_s = self._venue.clock.wall_ms() / 1000
        if moved or is_far(self._job.next_run_time, now_s, self._pause_s):
            # The scheduler may set its next tick by the old time in the very moment of the move.
            self._job.modify(next_run_time=datetime.fromtimestamp(now_s, UTC))
        return now if moved else ahead

    def _sign_of_life(self, patience_s: float = BUSY_TIMEOUT_MS / 1_000) -> float:
        """Write down that the service lives and what is wrong, for ``status``; ``patience_s``: how long
        somebody else may write meanwhile."""
        venue, now_ms = self._venue, self._venue.clock.wall_ms()
        state = {
            "pid": os.getpid(), "version": __version__, "started_ms": self._started_ms,
            "seen_ms": now_ms, "stopped": self.ended,
            "problems": dict(sorted(venue.problems.items())),
        }
        with venue.store() as db:
            db.execute(f"PRAGMA busy_timeout = {round(1_000 * patience_s)}")
            with write_tx(db):
                set_fact(db, "service", json.dumps(state, ensure_ascii=False))
                note_clock(db, venue.settings, now_ms)
        return TICK_SECONDS

    def _close(self) -> None:
        """Everything ends its step or is left behind: a transaction cut off is rolled back."""
        notify("STOPPING=1")
        until = time.monotonic() + STOP_SECONDS
        for worker in self._workers:
            worker.stop()
        self._child.stop()
        self._scheduler.shutdown(wait=False)
        ended = [worker.join(until - time.monotonic()) for worker in self._workers]
        self._watching.close(max(0.2, until - time.monotonic()))
        self.ended = all(ended)
        if self.ended:
            with suppress(StoreError):
                self._sign_of_life(max(0.2, until - time.monotonic()))
        _log.info("stopped%s", "" if self.ended else " with a step cut off; it is done again at the start")


def _scheduler(venue: Venue) -> BackgroundScheduler:
    """A tick and nothing else: what is due stands in the store, so a tick that came late or not at
    all loses nothing."""
    return BackgroundScheduler(
        timezone=venue.settings.venue.timezone,
        job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None},
    )


def _listen(stop: threading.Event) -> None:
    def on_signal(number: int, frame: FrameType | None) -> None:
        stop.set()

    for name in ("SIGTERM", "SIGINT", "SIGBREAK"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), on_signal)
