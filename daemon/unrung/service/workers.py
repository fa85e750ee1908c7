"""A thread that does one step at a time, sleeps until it is woken or the step is due, and survives.

Intake and issuing, each polled address, and mail have workers of their own, so that a server that
hangs stops nothing else.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable

from unrung.errors import UnrungError

Step = Callable[[], float]
"""Does what there is to do and returns how many seconds may pass until the next look."""

LONGEST_PAUSE_SECONDS = 300.0
_log = logging.getLogger("unrung.service")


class Worker:
    """One named thread. ``wake`` makes it look at once; ``stop`` ends it after its step."""

    def __init__(self, name: str, step: Step) -> None:
        self.name = name
        self.failures = 0
        self.last_error = ""
        self.busy_since: float | None = None
        self._step = step
        self._wake = threading.Event()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._loop, name=f"unrung-{name}", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def wake(self) -> None:
        self._wake.set()

    def stop(self) -> None:
        self._stop.set()
        self._wake.set()

    def join(self, seconds: float) -> bool:
        """Wait for the end; False where it is still in its step."""
        self._thread.join(max(0.0, seconds))
        return not self._thread.is_alive()

    @property
    def alive(self) -> bool:
        return self._thread.is_alive()

    def busy_seconds(self) -> float:
        """How long the present step has been going on."""
        since = self.busy_since
        return 0.0 if since is None else time.monotonic() - since

    def _loop(self) -> None:
        while True:
            self._wake.clear()
            if self._stop.is_set():
                return
            pause = self._one()
            # After a failure nothing but the end cuts the pause short: it would only fail again.
            (self._stop if self.failures else self._wake).wait(pause)

    def _one(self) -> float:
        self.busy_since = time.monotonic()
        try:
            pause = self._step()
            self.failures, self.last_error = 0, ""
        except Exception as error:  # noqa: BLE001 - one bad step must not end the service
            self.failures += 1
            known = isinstance(error, UnrungError)  # a sentence for people; else the log says where
            self.last_error = str(error) if known else f"{type(error).__name__}: {error}"
            _log.error("%s failed, %s in a row: %s", self.name, self.failures, self.last_error,
                       exc_info=not known)
            pause = min(LONGEST_PAUSE_SECONDS, 2.0**self.failures)
        finally:
            self.busy_since = None
        return pause
