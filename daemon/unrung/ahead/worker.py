"""The process that computes ledgers ahead; ``python -m unrung.ahead.worker``.

It is told the settings and the days, then which of them are computed elsewhere, and gives the others'
ledgers.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Sequence
from contextlib import closing, suppress
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import IO, TYPE_CHECKING, cast

from unrung.ahead.process import Give, own_pipes, read_message, written_behind
from unrung.collecting import seldom_collected
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


def give_ledgers(
    db: Store, settings: Settings, stretches: Sequence[Sequence[date]], ends: Sequence[int], give: Give
) -> None:
    """The ledger of every day, without findings; of each stretch as many days as ``ends`` says, which may
    become fewer meanwhile."""
    from unrung.daybook import ledger_of  # who starts the process needs none of these
    from unrung.store.facts import in_bytes

    cache: Cache = {}
    for number, days in enumerate(stretches):
        at = 0
        if days[0] not in cache:
            cache.clear()
        while at < ends[number]:
            # The first one needs as much made ready by itself as later three do.
            following = days[at + 1 : min(at + 1 + TOGETHER, ends[number])] if cache else ()
            ledger = ledger_of(db, settings, days[at], cache, following)
            give(replace(ledger, facts=in_bytes(ledger.facts)) if ledger.facts else ledger)
            at += 1


def _hear(source: IO[bytes], ends: list[int]) -> None:
    """Who started this one computes the last days of stretches itself, and says so."""
    with suppress(Exception):  # it ended, and so does this one as soon as it writes
        while True:
            number, end = cast(tuple[int, int], read_message(source))
            ends[number] = end


@seldom_collected()
def main() -> None:
    if hasattr(os, "nice"):
        os.nice(POLITE)
    given, to = own_pipes()
    settings, stretches = cast(tuple[Settings, list[list[date]]], read_message(given))
    ends = [len(days) for days in stretches]
    threading.Thread(target=_hear, args=(given, ends), daemon=True).start()
    with (closing(look_at_store(Path(settings.folder) / settings.files.store)) as db,
          written_behind(to) as give):
        give_ledgers(db, settings, stretches, ends, give)
    os._exit(0)  # Python would wait for the pipe that is listened to


if __name__ == "__main__":
    main()
