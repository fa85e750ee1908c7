"""A Python process that computes beside this one, and how the two talk: messages (pickle) over its pipes.

It reads one message from its standard input and writes others to its standard output. A pipe that breaks
ends it: it does not live on without who started it.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from queue import Queue
from typing import IO

from unrung.own_pipes import own_pipe

KEPT = {"MALLOC_MMAP_THRESHOLD_": "33554432", "MALLOC_TRIM_THRESHOLD_": "33554432"}
"""Bytes that the C library (glibc) keeps for the next array, instead of asking the system for them anew a
hundred times a day: a tenth of the processor's time."""

Give = Callable[[object], None]
WAITING = 4
"""Messages that wait to be read, at most: days, or exports, are not all equally long."""
_LAST = object()
_LENGTH = 8
"""Bytes before each message that say how long it is."""


def processors() -> int:
    """How many this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def started(module: str, message: object) -> subprocess.Popen[bytes]:
    """Runs ``module`` as a program that finds what this one finds, and gives it ``message``."""
    found_here = os.pathsep.join(path for path in sys.path if path)
    windows = ("CREATE_NO_WINDOW", "BELOW_NORMAL_PRIORITY_CLASS")
    process = subprocess.Popen(
        [sys.executable, "-P", "-m", module],
        env={**KEPT, **os.environ, "PYTHONPATH": found_here}, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL, creationflags=sum(getattr(subprocess, name, 0) for name in windows),
    )
    assert process.stdin is not None
    with suppress(BrokenPipeError):
        write_message(process.stdin, message)
    return process


def own_pipes() -> tuple[IO[bytes], IO[bytes]]:
    """In such a process: what it is told, and where it writes to."""
    return open(own_pipe(0), "rb"), open(own_pipe(1), "wb")


def ended(process: subprocess.Popen[bytes]) -> None:
    """Ends it, wherever it is."""
    process.kill()
    process.wait()
    for pipe in (process.stdin, process.stdout):
        if pipe is not None:
            with suppress(OSError):
                pipe.close()


def write_message(to: IO[bytes], message: object) -> None:
    content = pickle.dumps(message, pickle.HIGHEST_PROTOCOL)
    to.write(len(content).to_bytes(_LENGTH, "little"))
    to.write(content)
    to.flush()


def read_message(given: IO[bytes]) -> object:
    """The next one that was written. Raises EOFError, or another error, where none came whole."""
    message: object = pickle.loads(read_bytes(given))
    return message


def read_bytes(given: IO[bytes]) -> bytes:
    """The next message as it was written (pickle). Raises EOFError where none came whole."""
    length = given.read(_LENGTH)
    content = given.read(int.from_bytes(length, "little"))
    if len(length) < _LENGTH or len(content) < int.from_bytes(length, "little"):
        raise EOFError
    return content


@contextmanager
def written_behind(to: IO[bytes]) -> Iterator[Give]:
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
