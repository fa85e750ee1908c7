"""The process that computes ledgers ahead; ``python -m unrung.ahead.worker``.

It is told the settings and the days, and gives the days' ledgers.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import IO, TYPE_CHECKING, cast

from unrung.ahead.process import Give, read_message, written_behind
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


def read_ledger(given: IO[bytes]) -> DayLedger:
    """The next one that was written. Raises EOFError, or another error, where none came whole."""
    return cast(DayLedger, read_message(given))


def give_ledgers(db: Store, settings: Settings, days: Sequence[date], give: Give) -> None:
    """The ledger of every day, without findings."""
    from unrung.daybook import ledger_of  # who starts the process needs none of these
    from unrung.store.facts import in_bytes

    cache: Cache = {}
    for number, day in enumerate(days):
        ledger = ledger_of(db, settings, day, cache, days[number + 1 : number + 1 + TOGETHER])
        give(replace(ledger, facts=in_bytes(ledger.facts)) if ledger.facts else ledger)


@seldom_collected()
def main() -> None:
    if hasattr(os, "nice"):
        os.nice(POLITE)
    settings, days = cast(tuple[Settings, list[date]], read_message(sys.stdin.buffer))
    with (closing(look_at_store(Path(settings.folder) / settings.files.store)) as db,
          written_behind(sys.stdout.buffer) as give):
        give_ledgers(db, settings, days, give)


if __name__ == "__main__":
    main()
