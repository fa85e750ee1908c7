"""Has ledgers computed ahead by a process of its own, and hands them over one by one.

Where that process is behind, this one does not wait: it computes the last days itself, three at a time, from
the end backwards, until the two meet. A ledger is the same wherever it is made.
"""

from __future__ import annotations

import subprocess
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import date
from queue import Empty, Queue
from typing import IO

from unrung.ahead.backwards import Backwards
from unrung.ahead.process import WAITING, ended, processors, started
from unrung.ahead.worker import read_ledger
from unrung.issuing import Ahead
from unrung.ledger.results import DayLedger
from unrung.settings import Settings
from unrung.store.open import Store

FEWEST_DAYS = 8
"""With fewer, starting the process takes longer than it saves."""
APART = 2 * WAITING + 4
"""Days that are left to the process, at least: those that it has made, or is about to."""

Arrived = Queue[DayLedger | Exception]


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
    process = _started(settings, days)
    assert process.stdout is not None
    arrived: Arrived = Queue(WAITING)
    receiver = threading.Thread(target=_receive, args=(process.stdout, arrived), daemon=True)
    receiver.start()
    left, own = list(days), Backwards(db, settings, days)

    def ahead(day: date) -> DayLedger | None:
        if day in own.made:
            return own.taken(day)
        if not left or left[0] != day:
            return None
        while _is_late(arrived) and len(left) - len(own.made) >= APART + own.at_a_time and own.go_on():
            pass
        ledger = arrived.get()
        if isinstance(ledger, Exception):
            left.clear()
            say(f"computing ahead ended ({type(ledger).__name__}); the days go on one by one")
            return None
        del left[0]
        if arrived.qsize() >= len(left) - len(own.made):
            process.kill()  # the two have met
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


def _is_late(arrived: Arrived) -> bool:
    """Whether the next ledger is still to come."""
    return arrived.empty()


def _receive(source: IO[bytes], arrived: Arrived) -> None:
    """Ledgers as they come, up to the error that ends them."""
    while True:
        try:
            arrived.put(read_ledger(source))
        except Exception as error:  # noqa: BLE001 - whatever it is, the days can be computed here
            arrived.put(error)
            return


def _started(settings: Settings, days: Sequence[date]) -> subprocess.Popen[bytes]:
    return started("unrung.ahead.worker", (settings, list(days)))
