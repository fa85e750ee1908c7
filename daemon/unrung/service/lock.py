"""One instance per config folder: a lock of the operating system, freed on any kind of end."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from unrung.errors import AlreadyRunning

NAME = ".unrung.lock"
PID = ".unrung.pid"


@contextmanager
def one_instance(folder: Path) -> Iterator[None]:
    """Hold the folder's lock. Raises AlreadyRunning, with the holder's process id where known.

    The file stays behind when the lock is freed: what counts is the lock, never the file.
    """
    lock = FileLock(folder / NAME, timeout=0)
    try:
        lock.acquire()
    except Timeout:
        raise AlreadyRunning(
            f"another copy works on {folder}{_holder(folder)}; stop it first"
        ) from None
    try:
        (folder / PID).write_text(str(os.getpid()))
        yield
    finally:
        (folder / PID).unlink(missing_ok=True)
        lock.release()


def _holder(folder: Path) -> str:
    try:
        return f" (process {int((folder / PID).read_text())})"
    except (OSError, ValueError):
        return ""
