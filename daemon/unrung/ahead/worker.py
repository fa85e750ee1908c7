"""One of the processes; ``python -m unrung.ahead.worker``.

It reads messages (pickle) from its standard input, the settings first, and writes them to its standard
output. A pipe that breaks ends it: it does not live on without who started it.
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
WAITING = 48
"""Messages that wait to be read, at most, about 0.2 MB each: days are not all equally long, and who takes
turns at the ledgers is two turns ahead."""
_LAST, _PASS_ON = object(), object()

Plan = tuple[Sequence[date], Sequence[date]]
"""The days whose ledgers a process hands on, in order, and those of them that it computes. The others come
in by its standard input."""


def write_message(to: IO[bytes], message: object) -> None:
    pickle.dump(message, to, pickle.HIGHEST_PROTOCOL)
    to.flush()


def ledgers(db: Store, settings: Settings, given: IO[bytes], give: Give) -> None:
    """The ledger of every day, without findings, as bytes that the next one hands on as they are."""
    from unrung.daybook import ledger_of  # who starts it needs none of it

    plans: list[Plan] = pickle.load(given)
    (days, mine), *others = plans
    if others:
        give(settings)
        give(others)
    left = list(mine)
    cache: Cache = {}
    for day in days:
        if left[:1] == [day]:
            del left[0]
            give(pickle.dumps(ledger_of(db, settings, day, cache, left[:TOGETHER]), pickle.HIGHEST_PROTOCOL))
        else:
            give(_PASS_ON)


def read_ledger(given: IO[bytes]) -> DayLedger:
    """The next one that ``ledgers`` wrote. Raises EOFError, or another error, where none came whole."""
    ledger: DayLedger = pickle.loads(pickle.load(given))
    return ledger


@contextmanager
def _written_behind(to: IO[bytes], given: IO[bytes]) -> Iterator[Give]:
    """Messages are written while the next one is made: a pipe alone does not hold one whole. What is passed
    on is the next one of those ``given``. A pipe that nobody reads any more, or whose writer has ended, ends
    the process."""
    waiting: Queue[object] = Queue(WAITING)

    def write() -> None:
        try:
            while (message := waiting.get()) is not _LAST:
                write_message(to, pickle.load(given) if message is _PASS_ON else message)
        except (OSError, EOFError, pickle.UnpicklingError):
            os._exit(1)

    writer = threading.Thread(target=write, daemon=True)
    writer.start()
    yield waiting.put
    waiting.put(_LAST)
    writer.join()


@seldom_collected()
def main() -> None:
    given = sys.stdin.buffer
    if hasattr(os, "nice"):
        os.nice(POLITE)
    settings: Settings = pickle.load(given)
    with (closing(look_at_store(Path(settings.folder) / settings.files.store)) as db,
          _written_behind(sys.stdout.buffer, given) as give):
        ledgers(db, settings, given, give)


if __name__ == "__main__":
    main()
