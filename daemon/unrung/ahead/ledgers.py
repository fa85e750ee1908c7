"""Starts the two processes that compute days ahead, and hands their ledgers over one by one."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import date
from typing import IO

from unrung.ahead.worker import read_ledger, write_message
from unrung.issuing import Ahead
from unrung.ledger.results import DayLedger
from unrung.settings import Settings

FEWEST_DAYS = 8
"""With fewer, starting the processes takes longer than they save."""


@contextmanager
def ledgers_ahead(settings: Settings, days: Sequence[date], say: Callable[[str], None]) -> Iterator[Ahead]:
    """Has ``days`` computed ahead, in order, where there are many and more than one processor; ask for each
    in that order. Where that fails, for whatever reason, it is said once, and every day from then on is to
    be computed by who asks, who then sees what is wrong. Nobody else may write movements meanwhile."""
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
    """Start both; where the second one's ledgers come out."""
    started.append(_process("ledgers", subprocess.PIPE))
    first = started[0]
    assert first.stdin is not None and first.stdout is not None
    started.append(_process("findings", first.stdout))
    first.stdout.close()  # the second one's alone now: with it goes the first
    with suppress(BrokenPipeError):
        write_message(first.stdin, settings)
        write_message(first.stdin, list(days))
    source = started[1].stdout
    assert source is not None
    return source


def _process(step: str, given: int | IO[bytes]) -> subprocess.Popen[bytes]:
    found_here = os.pathsep.join(path for path in sys.path if path)
    windows = ("CREATE_NO_WINDOW", "BELOW_NORMAL_PRIORITY_CLASS")
    return subprocess.Popen(
        [sys.executable, "-P", "-m", "unrung.ahead.worker", step],
        env={**os.environ, "PYTHONPATH": found_here}, stdin=given, stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL, creationflags=sum(getattr(subprocess, name, 0) for name in windows),
    )
