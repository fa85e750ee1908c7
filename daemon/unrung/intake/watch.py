"""Which files of a folder are there and have settled. The listing is the truth; events only hint."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fnmatch import fnmatch
from pathlib import Path

from unrung.errors import SourceError

IGNORED = (
    ".*", "~$*", "*.tmp", "*.part", "*.partial", "*.crdownload", "*.swp", "*~", "thumbs.db",
    "desktop.ini", "*.reasons.csv",
)
"""Half-written, hidden and lock files that other programs leave; compared in lower case."""


@dataclass(frozen=True, slots=True)
class Found:
    """A regular file as listed."""

    path: Path
    size: int
    mtime_ns: int

    @property
    def mtime_ms(self) -> int:
        return self.mtime_ns // 1_000_000


@dataclass(frozen=True, slots=True)
class Listing:
    """One look at a folder."""

    files: list[Found]
    odd: list[str]
    """Sentences on things that bear an export's name and are no plain file."""


Tracker = dict[str, tuple[int, int, float]]
"""Path to (size, mtime in ns, since when it stands still by a monotonic clock in seconds)."""


def list_folder(folder: Path, pattern: str) -> Listing:
    """The files in ``folder`` whose names fit ``pattern``, oldest first, then by name.

    Raises SourceError where the folder is not there: that is not the same as empty.
    """
    files: list[Found] = []
    odd: list[str] = []
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                if _wanted(entry.name, pattern):
                    _sort(entry, files, odd)
    except OSError as error:
        raise SourceError(
            f"the folder {folder} cannot be listed ({error.strerror}); is the share connected, "
            "and may this account read it?"
        ) from error
    files.sort(key=lambda found: (found.mtime_ns, os.fsencode(found.path.name)))
    return Listing(files, sorted(odd))


def passed_over(folder: Path, patterns: Sequence[str]) -> list[str]:
    """Names of the plain files in ``folder`` that fit none of ``patterns``, the newest first: an export that
    was renamed at the source looks like none at all."""
    files: list[Found] = []
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                if _wanted(entry.name, "*") and not any(_wanted(entry.name, one) for one in patterns):
                    _sort(entry, files, [])
    except OSError:
        return []
    return [found.path.name for found in sorted(files, key=lambda found: (-found.mtime_ns, found.path.name))]


def settled(
    files: Iterable[Found], tracker: Tracker, settle_seconds: float, now: float
) -> list[Found]:
    """Those whose size and time stood still for ``settle_seconds``; ``tracker`` is brought up to
    date. ``now`` is a monotonic clock in seconds."""
    ready: list[Found] = []
    seen: Tracker = {}
    for found in files:
        key = os.fspath(found.path)
        size, mtime, since = tracker.get(key, (-1, -1, now))
        if (size, mtime) != (found.size, found.mtime_ns):
            since = now
        seen[key] = (found.size, found.mtime_ns, since)
        if now - since >= settle_seconds:
            ready.append(found)
    tracker.clear()
    tracker.update(seen)
    return ready


def read_whole(found: Found) -> bytes | None:
    """The file's bytes, or None where it changed or vanished while being read."""
    flags = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0)
    try:
        with os.fdopen(os.open(found.path, flags), "rb") as file:
            content = file.read()
            after = os.fstat(file.fileno())
    except FileNotFoundError:
        return None
    same = (after.st_size, after.st_mtime_ns) == (found.size, found.mtime_ns)
    return content if same and len(content) == found.size else None


def _wanted(name: str, pattern: str) -> bool:
    low = name.lower()
    return fnmatch(low, pattern.lower()) and not any(fnmatch(low, skip) for skip in IGNORED)


def _sort(entry: os.DirEntry[str], files: list[Found], odd: list[str]) -> None:
    try:
        status = entry.stat(follow_symlinks=False)
    except FileNotFoundError:
        return
    if stat.S_ISREG(status.st_mode):
        files.append(Found(Path(entry.path), status.st_size, status.st_mtime_ns))
    else:
        kind = "folder" if stat.S_ISDIR(status.st_mode) else "link" if stat.S_ISLNK(
            status.st_mode) else "device or pipe"
        odd.append(f"{entry.path} bears an export's name but is a {kind}; it is left alone")
