"""Starts the processes that compute days ahead, and hands their ledgers over one by one."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import date
from math import ceil
from typing import IO

from unrung.ahead.worker import Plan, read_ledger, write_message
from unrung.issuing import Ahead
from unrung.ledger.results import DayLedger
from unrung.settings import Settings

FEWEST_DAYS = 8
"""With fewer, starting the processes takes longer than they save."""
SHARED_DAYS = 32
"""From so many on, two processes take turns at the ledgers."""
TURN_DAYS = 24
"""At most. The first and the last day of a turn need a neighbour that is made ready for it alone."""
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
    started: list[subprocess.Popen[bytes]] = []
    try:
        source = _started(started, settings, days)
        left = list(days)

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

        yield ahead
    finally:
        for process in started:
            process.kill()
        for process in started:
            process.wait()
            for pipe in (process.stdin, process.stdout):
                if pipe is not None:
                    with suppress(OSError):
                        pipe.close()


def processors() -> int:
    """How many this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _started(
    started: list[subprocess.Popen[bytes]], settings: Settings, days: Sequence[date]
) -> IO[bytes]:
    """Start them, each reading what the one before writes; where the last one's ledgers come out."""
    plans = plans_of(days)
    first = _process(subprocess.PIPE)
    started.append(first)
    for _ in plans[1:]:
        before = started[-1].stdout
        assert before is not None
        started.append(_process(before))
        before.close()  # the next one's alone now: with it goes the one before
    assert first.stdin is not None
    with suppress(BrokenPipeError):
        write_message(first.stdin, settings)
        write_message(first.stdin, plans)
    source = started[-1].stdout
    assert source is not None
    return source


def plans_of(days: Sequence[date]) -> list[Plan]:
    """What each process at the ledgers computes and hands on: all days, or every other turn of them, so that
    both are busy all the time and end together."""
    if len(days) < SHARED_DAYS:
        return [(days, days)]
    length = ceil(len(days) / (2 * ceil(len(days) / (2 * TURN_DAYS))))
    first, second = (
        [day for nth, day in enumerate(days) if nth // length % 2 == which] for which in (0, 1))
    return [(first, first), (days, second)]


def _process(given: int | IO[bytes]) -> subprocess.Popen[bytes]:
    found_here = os.pathsep.join(path for path in sys.path if path)
    windows = ("CREATE_NO_WINDOW", "BELOW_NORMAL_PRIORITY_CLASS")
    return subprocess.Popen(
        [sys.executable, "-P", "-m", "unrung.ahead.worker"],
        env={**KEPT, **os.environ, "PYTHONPATH": found_here}, stdin=given, stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL, creationflags=sum(getattr(subprocess, name, 0) for name in windows),
    )
