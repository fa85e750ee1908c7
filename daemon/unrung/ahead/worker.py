"""The process that computes ledgers ahead; ``python -m unrung.ahead.worker``.

It reads one message (pickle) from its standard input, the settings and the days, and writes the days' ledgers
to its standard output. A pipe that breaks ends it: it does not live on without who started it.
"""

from __future__ import annotations

import os
import pickle
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from datetime import date
from pathlib import Path
from queue import Queue
from typing import IO, TYPE_CHECKING

from unrung.collecting import seldom_collected
from unrung.ledger.results import DayLedger
from unrung.settings import Settings
from unrung.store.open import Store, look_at_store

if TYPE_CHECKING:
    from unrung.daybook import Cache

POLITE = 10
"""What is computed ahead steps back behind all else on this machine (POSIX; on Windows who starts it says
so)."""


TOGETHER = 2
"""Days made ready for matching together with one: with more of them, little time is saved and more
memory is held."""


Give = Callable[[object], None]
WAITING = 4
"""Ledgers that wait to be read, at most: days are not all equally long."""
_LAST = object()


def write_message(to: IO[bytes], message: object) -> None:
    pickle.dump(message, to, pickle.HIGHEST_PROTOCOL)
    to.flush()


def read_ledger(given: IO[bytes]) -> DayLedger:
    """The next one that was written. Raises EOFError, or another error, where none came whole."""
    ledger: DayLedger = pickle.load(given)
    return ledger


def give_ledgers(db: Store, settings: Settings, days: Sequence[date], give: Give) -> None:
    """The ledger of every day, without findings."""
    from unrung.daybook import ledger_of  # who starts the process needs none of it

    cache: Cache = {}
    for number, day in enumerate(days):
        give(ledger_of(db, settings, day, cache, days[number + 1 : number + 1 + TOGETHER]))


@contextmanager
def _written_behind(to: IO[bytes]) -> Iterator[Give]:
    """Messages are written while the next one is made: a pipe alone does not hold one whole. A pipe that
    nobody reads any more ends the process."""
    waiting: Queue[object] = Queue(WAITING)

    def write() -> None:
        try:
            while (message := waiting.get()) is not _LAST:
                write_message(to, message)
        except OSError:
            os._exit(1)

    writer = threading.Thread(target=write, daemon=True)
    writer.start()
    yield waiting.put
    waiting.put(_LAST)
    writer.join()


@seldom_collected()
def main() -> None:
    if hasattr(os, "nice"):
        os.nice(POLITE)
    settings: Settings
    settings, days = pickle.load(sys.stdin.buffer)
    with (closing(look_at_store(Path(settings.folder) / settings.files.store)) as db,
          _written_behind(sys.stdout.buffer) as give):
        give_ledgers(db, settings, days, give)


if __name__ == "__main__":
    main()
