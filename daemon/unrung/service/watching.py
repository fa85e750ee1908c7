"""Folder events as hints. They only wake the intake; the folder's listing is the truth.

An observer can die quietly: when its folder goes away and comes back, its emitter is dead, or waits
at a file system that is gone, while the observer still says that it is alive. So what is watched is
compared with what is there every few seconds, and watched anew where the two differ.
"""

from __future__ import annotations

import logging
import os
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from watchdog.events import FileSystemEvent, FileSystemEventHandler
from watchdog.observers import Observer
from watchdog.observers.api import BaseObserver
from watchdog.observers.polling import PollingObserver

from unrung.intake.scan import folder_of
from unrung.service.venue import Venue
from unrung.settings import Feed, Settings

POLL_SECONDS = 10.0
SUPERVISE_SECONDS = 5.0
_log = logging.getLogger("unrung.watching")


class Watching:
    """Every watched folder; a worker of its own, since a share that hangs holds whoever looks at it."""

    def __init__(self, venue: Venue, hint: Callable[[str], None]) -> None:
        self._venue, self._hint = venue, hint
        self._settings: Settings | None = None
        self._watches: list[Watch] = []
        self._ear = _Ear(self._look_everywhere)
        logging.getLogger("watchdog").addHandler(self._ear)

    def step(self) -> float:
        """Watch what the settings say, and what came back."""
        settings = self._venue.settings
        if settings is not self._settings:
            self._stop_all(time.monotonic() + 1.0)
            self._watches = [self._watch(feed, settings) for feed in settings.feed if feed.folder]
            self._settings = settings
        for watch in self._watches:
            watch.supervise()
        return SUPERVISE_SECONDS

    def close(self, seconds: float) -> None:
        """Stop watching; an emitter that hangs is left behind after ``seconds``."""
        until = time.monotonic() + seconds
        logging.getLogger("watchdog").removeHandler(self._ear)
        self._stop_all(until)

    def _stop_all(self, until: float) -> None:
        for watch in self._watches:
            watch.stop()
        for watch in self._watches:
            watch.join(until - time.monotonic())

    def _look_everywhere(self) -> None:
        for feed in self._venue.settings.feed:
            if feed.folder:
                self._hint(feed.name)

    def _watch(self, feed: Feed, settings: Settings) -> Watch:
        def wake() -> None:
            self._hint(feed.name)

        return Watch(folder_of(feed, settings), feed.polling, wake)


class Watch:
    """One watched folder."""

    def __init__(self, folder: Path, polling: bool, wake: Callable[[], None]) -> None:
        self.folder, self.polling = folder, polling
        self._wake = wake
        self._observer: BaseObserver | None = None
        self._stopping: threading.Thread | None = None
        self._identity: tuple[int, ...] | None = None

    def supervise(self) -> None:
        """Set the watch up, or up anew where it has died or its folder is another one now."""
        identity = _identity(self.folder)
        if identity == self._identity and (identity is None or _living(self._observer)):
            return
        if self._identity is not None:
            _log.warning("%s went away or its watch ended; it is watched again once it is there", self.folder)
        self.stop()
        self.join(1.0)
        self._observer, self._identity = None, identity
        if identity is not None:
            self._start()
        self._wake()  # the listing says what is there, or that the folder is missing

    def stop(self) -> None:
        """Begin to stop. The library's own call waits on Windows until the folder's last look has ended."""
        if self._observer is not None:
            self._stopping = threading.Thread(target=self._observer.stop, daemon=True)
            self._stopping.start()

    def join(self, seconds: float) -> None:
        until = time.monotonic() + seconds
        for thread in (self._stopping, self._observer):
            if thread is not None and thread.is_alive():
                thread.join(max(0.0, until - time.monotonic()))

    def _start(self) -> None:
        for kind in (PollingObserver,) if self.polling else (Observer, PollingObserver):
            try:
                self._observer = _observing(kind, self.folder, self._wake)
                return
            except OSError as error:
                # Such as too many watches on this machine; the rescan finds everything in any case.
                _log.warning("no events from %s (%s); it is listed instead", self.folder, error.strerror)


class _Ear(logging.Handler):
    """Hears the library say that the kernel dropped events. It throws away what it still held, tells
    no handler, and only writes a warning to its log; without this the next rescan is minutes away."""

    def __init__(self, wake: Callable[[], None]) -> None:
        super().__init__(logging.WARNING)
        self._wake = wake

    def emit(self, record: logging.LogRecord) -> None:
        self._wake()


class _Hint(FileSystemEventHandler):
    """Does nothing but wake: an exception in a handler would end the observer's thread."""

    def __init__(self, wake: Callable[[], None]) -> None:
        self._wake = wake

    def on_any_event(self, event: FileSystemEvent) -> None:
        if event.event_type not in ("opened", "closed_no_write"):
            self._wake()


def _observing(kind: Any, folder: Path, wake: Callable[[], None]) -> BaseObserver:
    observer: BaseObserver = kind(timeout=POLL_SECONDS) if kind is PollingObserver else kind()
    observer.daemon = True
    observer.schedule(_Hint(wake), os.fspath(folder), recursive=False)
    observer.start()
    return observer


def _living(observer: BaseObserver | None) -> bool:
    return observer is not None and observer.is_alive() and bool(observer.emitters) and all(
        emitter.is_alive() for emitter in observer.emitters
    )


def _identity(folder: Path) -> tuple[int, ...] | None:
    """What tells this folder from another at its place; None where it is not there."""
    try:
        status = folder.stat()
        # A file system mounted again at the same place differs in nothing but its own number.
        mount = os.statvfs(folder).f_fsid if hasattr(os, "statvfs") else 0
    except OSError:
        return None
    return (status.st_dev, status.st_ino, mount)
