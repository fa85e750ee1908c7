"""Folder events as hints. They only wake the intake; the folder's listing is the truth.

An observer can die quietly: when its folder goes away and comes back, its emitter is dead while the
observer still says that it is alive. So emitters are checked, and set up anew, at every tick.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

from watchdog.events import FileSystemEvent, FileSystemEventHandler
from watchdog.observers import Observer
from watchdog.observers.api import BaseObserver
from watchdog.observers.polling import PollingObserver

POLL_SECONDS = 10.0
_log = logging.getLogger("unrung.watching")


class _Hint(FileSystemEventHandler):
    """Does nothing but wake: an exception in a handler would end the observer's thread."""

    def __init__(self, wake: Callable[[], None]) -> None:
        self._wake = wake

    def on_any_event(self, event: FileSystemEvent) -> None:
        if event.event_type not in ("opened", "closed_no_write"):
            self._wake()


class Watch:
    """One watched folder."""

    def __init__(self, folder: Path, polling: bool, wake: Callable[[], None]) -> None:
        self.folder, self.polling = folder, polling
        self.problem = ""
        self._wake = wake
        self._observer: BaseObserver | None = None
        self._inode: tuple[int, int] | None = None

    def supervise(self) -> None:
        """Set the watch up, or up anew where it has died or its folder is another one now."""
        inode = _inode(self.folder)
        if inode is None:
            self.problem = f"the folder {self.folder} is not there"
            self.close()
            return
        if self._observer is not None and inode == self._inode and _living(self._observer):
            return
        if self._observer is not None:
            _log.warning("watching %s had stopped; it is set up again", self.folder)
        self.close()
        self._start(inode)

    def close(self) -> None:
        if self._observer is not None:
            self._observer.stop()
            if self._observer.is_alive():
                self._observer.join(1.0)
        self._observer = None

    def _start(self, inode: tuple[int, int]) -> None:
        observer: Any = PollingObserver(timeout=POLL_SECONDS) if self.polling else Observer()
        observer.daemon = True
        try:
            observer.schedule(_Hint(self._wake), os.fspath(self.folder), recursive=False)
            observer.start()
        except OSError as error:
            # The rescan still finds everything; events are a hint.
            self.problem = f"no events from {self.folder} ({error.strerror}); it is only listed"
            _log.warning(self.problem)
            return
        self._observer, self._inode, self.problem = observer, inode, ""
        self._wake()


def _living(observer: BaseObserver) -> bool:
    return observer.is_alive() and bool(observer.emitters) and all(
        emitter.is_alive() for emitter in observer.emitters
    )


def _inode(folder: Path) -> tuple[int, int] | None:
    try:
        status = folder.stat()
    except OSError:
        return None
    return (status.st_dev, status.st_ino)
