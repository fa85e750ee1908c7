"""Starts the process that computes ledgers ahead, and hands them over one by one."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import date

from unrung.ahead.worker import read_ledger, write_message
from unrung.issuing import Ahead
from unrung.ledger.results import DayLedger
from unrung.settings import Settings

FEWEST_DAYS = 8
"""With fewer, starting the process takes longer than it saves."""
KEPT = {"MALLOC_MMAP_THRESHOLD_": "33554432", "MALLOC_TRIM_THRESHOLD_": "33554432"}
"""Bytes that the C library (glibc) keeps for the next array, instead of asking the system for them anew a
hundred times a day: a tenth of the processor's time."""


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
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                with suppress(OSError):
                    pipe.close()


def processors() -> int:
    """How many this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _started(settings: Settings, days: Sequence[date]) -> subprocess.Popen[bytes]:
    found_here = os.pathsep.join(path for path in sys.path if path)
    windows = ("CREATE_NO_WINDOW", "BELOW_NORMAL_PRIORITY_CLASS")
    process = subprocess.Popen(
        [sys.executable, "-P", "-m", "unrung.ahead.worker"],
        env={**KEPT, **os.environ, "PYTHONPATH": found_here}, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL, creationflags=sum(getattr(subprocess, name, 0) for name in windows),
    )
    assert process.stdin is not None
    with suppress(BrokenPipeError):
        write_message(process.stdin, (settings, list(days)))
    return process
