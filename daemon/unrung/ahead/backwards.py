"""Ledgers of the last days of a stretch, three at a time, from the end backwards."""

from __future__ import annotations

import os
import pickle
import tempfile
from collections.abc import Sequence
from datetime import date, timedelta
from typing import IO, TYPE_CHECKING

from unrung.ahead.worker import TOGETHER
from unrung.ledger.results import DayLedger
from unrung.settings import Settings
from unrung.store.open import Store

if TYPE_CHECKING:
    from unrung.daybook import Cache


class Backwards:
    """What was computed so far waits in a temporary file: of a year it would fill the memory."""

    at_a_time = 1 + TOGETHER

    def __init__(self, db: Store, settings: Settings, days: Sequence[date]) -> None:
        self.made: dict[date, int] = {}
        """Where in the file each day's ledger begins."""
        self.left = list(days)
        """Days that were not made here."""
        self._file: IO[bytes] | None = None
        self._db, self._settings = db, settings
        self._edge: Cache = {}
        """Materials of the earliest day made, and of the day before it, which the next ones need."""
        self._failed = False

    def close(self) -> None:
        """What is not taken yet is gone."""
        self.stop()
        if self._file is not None:
            self._file.close()

    def stop(self) -> None:
        """No more days are to be made here."""
        self._edge = {}

    def go_on(self) -> bool:
        """Compute the days before those that are made. False where that failed: they are to be computed in
        their turn, by who then sees what is wrong."""
        from unrung.daybook import ledger_of  # numpy and scipy load at first use

        if self._failed:
            return False
        # The first one needs as much made ready by itself as later three do.
        days, cache = self.left[-self.at_a_time if self._edge else -1 :], dict(self._edge)
        made: dict[date, int] = {}
        try:
            self._file = self._file or tempfile.TemporaryFile()
            self._file.seek(0, os.SEEK_END)
            for number, day in enumerate(days):
                ledger = ledger_of(self._db, self._settings, day, cache, days[number + 1 :])
                made[day] = self._file.tell()
                pickle.dump(ledger, self._file, pickle.HIGHEST_PROTOCOL)
                if not number:
                    beside = (day - timedelta(days=1), day)
                    self._edge = {one: cache[one] for one in beside if one in cache}
        except Exception:  # noqa: BLE001 - whatever it is, it comes again in its turn
            self._failed = True
            return False
        self.made |= made
        del self.left[-len(days) :]
        return True

    def taken(self, day: date) -> DayLedger:
        """The ledger of a day that is made; it is not kept any longer."""
        assert self._file is not None
        self._file.seek(self.made.pop(day))
        ledger: DayLedger = pickle.load(self._file)
        return ledger
