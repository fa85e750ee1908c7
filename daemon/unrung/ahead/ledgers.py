"""Starts the process that computes ledgers ahead, and hands them over one by one."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date

from unrung.ahead.process import ended, processors, started
from unrung.ahead.worker import read_ledger
from unrung.issuing import Ahead
from unrung.ledger.results import DayLedger
from unrung.settings import Settings

FEWEST_DAYS = 8
"""With fewer, starting the process takes longer than it saves."""


@contextmanager
def ledgers_ahead(settings: Settings, days: Sequence[date], say: Callable[[str], None]) -> Iterator[Ahead]:
    """Has the ledgers of ``days`` computed ahead, in order, where there are many and more than one processor;
    ask for each in that order. Where that fails, for whatever reason, it is said once, and every day from
    then on is to be computed by who asks, who then sees what is wrong. Nobody else may write movements
    meanwhile."""
    if len(days) < FEWEST_DAYS or processors() < 2:
        yield lambda day: None
        return
    process = _started(settings, days)
    assert process.stdout is not None
    source, left = process.stdout, list(days)

    def ahead(day: date) -> DayLedger | None:
        if not left or left[0] != day:
            return None
        try:
            ledger = read_ledger(source)
        except Exception as error:  # noqa: BLE001 - whatever it is, the day can be computed here
            left.clear()
            say(f"computing ahead ended ({type(error).__name__}); the days go on one by one")
            return None
        del left[0]
        return ledger

    try:
        yield ahead
    finally:
        ended(process)


def _started(settings: Settings, days: Sequence[date]) -> subprocess.Popen[bytes]:
    return started("unrung.ahead.worker", (settings, list(days)))
