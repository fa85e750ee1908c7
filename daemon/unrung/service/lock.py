"""One instance per config folder: a lock of the operating system, freed on any kind of end."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from unrung.errors import AlreadyRunning, ConfigError

NAME = ".unrung.lock"
PID = ".unrung.pid"
GLANCE_SECONDS = 0.3
"""A glance of ``status`` at the lock takes far less."""


@contextmanager
def one_instance(folder: Path) -> Iterator[None]:
    """Hold the folder's lock. Raises AlreadyRunning, with the holder's process id where known, and
    ConfigError where there is no such folder.

    The file stays behind when the lock is freed: what counts is the lock, never the file.
    """
    if not folder.is_dir():
        raise ConfigError([f"{folder} is not a folder; name the one that holds venue.toml."])
    lock = FileLock(folder / NAME, timeout=GLANCE_SECONDS, mode=0o600)
    try:
        lock.acquire()
    except Timeout:
        pid = _pid(folder)
        who = f" (process {pid})" if pid else ""
        raise AlreadyRunning(f"another copy works on {folder}{who}; stop it first") from None
    try:
        (folder / PID).write_text(str(os.getpid()))
        yield
    finally:
        (folder / PID).unlink(missing_ok=True)
        lock.release()


def is_held(folder: Path) -> tuple[bool, int | None]:
    """Whether somebody holds the folder's lock, and its process id where known.

    Looks by taking the lock for a moment, which is why ``one_instance`` waits a moment for it.
    """
    if not (folder / NAME).exists():
        return False, None
    lock = FileLock(folder / NAME, timeout=0, mode=0o600)
    try:
        lock.acquire()
    except Timeout:
        return True, _pid(folder)
    except OSError:  # somebody else's folder: we may not write there
        pid = _pid(folder)
        return pid is not None, pid
    lock.release()
    return False, None


def _pid(folder: Path) -> int | None:
    try:
        return int((folder / PID).read_text())
    except (OSError, ValueError):
        return None
