"""Has ledgers computed ahead by a process of its own, and hands them over one by one.

Where that process is behind, this one does not wait: it computes the last days of a stretch itself, three at
a time, from the end backwards, until the two meet. A ledger is the same wherever it is made.
"""

from __future__ import annotations

import pickle
import subprocess
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import date
from queue import Empty, Queue
from typing import IO

from unrung.ahead.backwards import Backwards
from unrung.ahead.process import ended, processors, read_bytes, started, write_message
from unrung.ahead.stretches import stretches_of
from unrung.ahead.worker import TOGETHER
from unrung.issuing import Ahead
from unrung.ledger.results import DayLedger
from unrung.settings import Settings
from unrung.store.open import Store

FEWEST_DAYS = 8
"""With fewer, starting the process takes longer than it saves."""
APART = 2 * (1 + TOGETHER)
"""Days of a stretch that are left to the process, at least: those that it is about to make."""
ARRIVED = 8_000_000
"""Bytes of ledgers that wait here, and no more than one beyond them (a busy day's are 180,000): while the
days that were computed here are issued, the process goes on."""


class Arrived(Queue[bytes | Exception]):
    """Ledgers as they were written, and the error that ends them. Its size is that of what waits in it."""

    def _init(self, maxsize: int) -> None:
        super()._init(maxsize)
        self._held = 0

    def _qsize(self) -> int:
        return self._held

    def _put(self, item: bytes | Exception) -> None:
        super()._put(item)
        self._held += _size(item)

    def _get(self) -> bytes | Exception:
        item = super()._get()
        self._held -= _size(item)
        return item


def _size(item: bytes | Exception) -> int:
    return len(item) if isinstance(item, bytes) else 1


@contextmanager
def ledgers_ahead(
    db: Store, settings: Settings, days: Sequence[date], say: Callable[[str], None]
) -> Iterator[Ahead]:
    """Has the ledgers of ``days`` computed ahead, in order, where there are many and more than one processor;
    ask for each in that order. Where that fails, for whatever reason, it is said once, and every day from
    then on is to be computed by who asks, who then sees what is wrong. Nobody else may write movements
    meanwhile."""
    if len(days) < FEWEST_DAYS or processors() < 2:
        yield lambda day: None
        return
    stretches = stretches_of(days)
    process = _started(settings, stretches)
    assert process.stdin is not None and process.stdout is not None
    arrived = Arrived(ARRIVED)
    receiver = threading.Thread(target=_receive, args=(process.stdout, arrived), daemon=True)
    receiver.start()
    left, own = deque(days), _Own(db, settings, stretches, process.stdin)

    def ahead(day: date) -> DayLedger | None:
        if (made := own.taken(day)) is not None:
            return made
        if not left or left[0] != day:
            return None
        while _is_late(arrived) and own.go_on(day):
            pass
        ledger = _next(arrived, day)
        if isinstance(ledger, Exception):
            left.clear()
            say(f"computing ahead ended ({type(ledger).__name__}); the days go on one by one")
            return None
        left.popleft()
        while left and own.has(left[0]):
            left.popleft()
        return ledger

    try:
        yield ahead
    finally:
        process.kill()
        while receiver.is_alive():
            with suppress(Empty):
                arrived.get(timeout=0.01)
        ended(process)
        own.close()


class _Own:
    """What this process computes itself; ``told`` (a pipe) how far it has come."""

    def __init__(
        self, db: Store, settings: Settings, stretches: Sequence[Sequence[date]], told: IO[bytes]
    ) -> None:
        self._stretches = [Backwards(db, settings, days) for days in stretches]
        self._told = told

    def has(self, day: date) -> bool:
        return any(day in one.made for one in self._stretches)

    def taken(self, day: date) -> DayLedger | None:
        """The ledger of a day that was computed here, which is not kept any longer."""
        return next((one.taken(day) for one in self._stretches if day in one.made), None)

    def go_on(self, day: date) -> bool:
        """Compute some days of the first stretch from ``day`` on that has enough of them. False where none
        has, or that failed."""
        for number, one in enumerate(self._stretches):
            if sum(other >= day for other in one.left) < APART + one.at_a_time:
                one.stop()
            elif one.go_on():
                with suppress(OSError):  # who reads from the process sees that it ended
                    write_message(self._told, (number, len(one.left)))
                return True
        return False

    def close(self) -> None:
        for one in self._stretches:
            one.close()


def _is_late(arrived: Arrived) -> bool:
    """Whether the next ledger is still to come."""
    return arrived.empty()


def _next(arrived: Arrived, day: date) -> DayLedger | Exception:
    """The ledger of ``day``, past those that were computed here as well."""
    while not isinstance(given := arrived.get(), Exception):
        try:
            ledger: DayLedger = pickle.loads(given)
        except Exception as error:  # noqa: BLE001 - whatever it is, the days can be computed here
            return error
        if ledger.day == day:
            return ledger
    return given


def _receive(source: IO[bytes], arrived: Arrived) -> None:
    """Ledgers as they come, up to the error that ends them."""
    while True:
        try:
            arrived.put(read_bytes(source))
        except Exception as error:  # noqa: BLE001 - whatever it is, the days can be computed here
            arrived.put(error)
            return


def _started(settings: Settings, stretches: Sequence[Sequence[date]]) -> subprocess.Popen[bytes]:
    return started("unrung.ahead.worker", (settings, stretches))
