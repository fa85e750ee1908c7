"""One of the two processes; ``python -m unrung.ahead.worker ledgers`` or ``findings``.

Both read messages (pickle) from their standard input and write them to their standard output, the settings
and the days first. A pipe that breaks ends them: neither lives on without who started them.
"""

from __future__ import annotations

import os
import pickle
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import replace
from datetime import date
from pathlib import Path
from queue import Queue
from typing import IO

from unrung.collecting import seldom_collected
from unrung.daybook import Cache, ledger_of
from unrung.findings.apply import with_findings
from unrung.findings.fix_cases import first_needed
from unrung.ledger.facts import DayFacts
from unrung.ledger.results import DayLedger
from unrung.settings import Settings
from unrung.store.facts import facts_between
from unrung.store.open import Store, look_at_store

POLITE = 10
"""What is computed ahead steps back behind all else on this machine (POSIX; on Windows who starts it says
so)."""


TOGETHER = 3
"""Days made ready for matching together with one: with more of them, little time is saved and more
memory is held."""


Give = Callable[[object], None]
WAITING = 4
"""Messages that wait to be read, at most: days are not all equally long."""
_LAST = object()


def write_message(to: IO[bytes], message: object) -> None:
    pickle.dump(message, to, pickle.HIGHEST_PROTOCOL)
    to.flush()


def ledgers(db: Store, settings: Settings, given: IO[bytes], give: Give) -> None:
    """The ledger of every day, without findings, as bytes that the next one hands on as they are."""
    days: list[date] = pickle.load(given)
    give(settings)
    cache: Cache = {}
    for number, day in enumerate(days):
        ledger = ledger_of(db, settings, day, cache, days[number + 1 : number + 1 + TOGETHER])
        give(pickle.dumps(ledger, pickle.HIGHEST_PROTOCOL))


def findings(db: Store, settings: Settings, given: IO[bytes], give: Give) -> None:
    """The ledgers and what explains them. Facts of a day that passed through here are not yet in the store,
    or stand there as they were before."""
    made: dict[date, DayFacts] = {}
    for content in _messages(given):
        ledger: DayLedger = pickle.loads(content)
        first = first_needed(ledger.day, settings)
        for day in [day for day in made if (first - day).days > 1]:  # a fix may need one day more
            del made[day]
        told = with_findings(ledger, facts_between(db, first, ledger.day, made), settings)
        if told.facts is not None:
            made[told.day] = told.facts
        give((content, {"lone": told.lone, "findings": told.findings, "fixes": told.fixes}))


def read_ledger(given: IO[bytes]) -> DayLedger:
    """The next one that ``findings`` wrote. Raises EOFError, or another error, where none came whole."""
    content, told = pickle.load(given)
    ledger: DayLedger = pickle.loads(content)
    return replace(ledger, **told)


def _messages(given: IO[bytes]) -> Iterator[bytes]:
    with suppress(EOFError):
        while True:
            yield pickle.load(given)


STEPS: dict[str, Callable[[Store, Settings, IO[bytes], Give], None]] = {
    "ledgers": ledgers, "findings": findings,
}


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
    given = sys.stdin.buffer
    if hasattr(os, "nice"):
        os.nice(POLITE)
    settings: Settings = pickle.load(given)
    with (closing(look_at_store(Path(settings.folder) / settings.files.store)) as db,
          _written_behind(sys.stdout.buffer) as give):
        STEPS[sys.argv[1]](db, settings, given, give)


if __name__ == "__main__":
    main()
