"""Starts the process that reads exports ahead, and hands over what it read, one by one."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import cast

from unrung.ahead.process import ended, processors, read_message, started
from unrung.ahead.reader import ReadOf, Waiting
from unrung.errors import SourceError
from unrung.intake.identity import Read
from unrung.intake.keeping import folder_of
from unrung.intake.scan import Reading
from unrung.intake.watch import Found, list_folder
from unrung.settings import Feed, Settings

FEWEST_EXPORTS = 32
"""With fewer, starting the process takes longer than it saves."""


@contextmanager
def exports_ahead(settings: Settings, now_ms: int) -> Iterator[Reading]:
    """Has the exports that wait in the folders read ahead, where there are many and more than one processor;
    ask for each, in any order but with time to lose. What comes of one that changed meanwhile, or of all once
    the process failed, is None: it is to be read by who asks."""
    waiting = _waiting(settings)
    if len(waiting) < FEWEST_EXPORTS or processors() < 2:
        yield lambda feed, found, sha256: None
        return
    process = _started(settings, waiting, now_ms)
    assert process.stdout is not None
    source, left = process.stdout, waiting

    def reading(feed: Feed, found: Found, sha256: str) -> Read | None:
        if (feed.name, found) not in left:
            return None
        read = None
        try:
            for one in left[: left.index((feed.name, found)) + 1]:
                read = cast(ReadOf | None, read_message(source))
                left.remove(one)
        except Exception:  # noqa: BLE001 - whatever it is, the exports can be read here
            left.clear()
            return None
        return read[1] if read and read[0] == sha256 else None

    try:
        yield reading
    finally:
        ended(process)


def _waiting(settings: Settings) -> list[Waiting]:
    """In the order in which they are taken in. Exports that stay where they are were mostly read before."""
    found: list[Waiting] = []
    for feed in settings.feed:
        if feed.folder and not feed.leave:
            try:
                files = list_folder(folder_of(feed, settings), feed.pattern).files
            except SourceError:
                continue  # who looks there for exports says so
            found += [(feed.name, file) for file in files]
    return found


def _started(settings: Settings, exports: Sequence[Waiting], now_ms: int) -> subprocess.Popen[bytes]:
    return started("unrung.ahead.reader", (settings, list(exports), now_ms))
