"""The process that reads exports ahead; ``python -m unrung.ahead.reader``.

It is told the settings, the time and the exports, and gives the rows of each, with the hash of the bytes that
it saw; None for one that cannot be read, or is large: who asks reads it, and sees why.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import cast

from unrung.ahead.process import Give, own_pipes, read_message, written_behind
from unrung.collecting import seldom_collected
from unrung.errors import UnrungError
from unrung.intake.adapter import read_rows
from unrung.intake.archive import printable
from unrung.intake.identity import Read, identified_by_ids
from unrung.intake.watch import Found, read_whole
from unrung.records import Export
from unrung.settings import Feed, Settings

LARGEST = 4_000_000
"""Bytes of an export; several wait at a time."""

Waiting = tuple[str, Found]
"""An export by its feed's name."""
ReadOf = tuple[str, Read]
"""SHA-256 of the bytes that were read, and what was read."""


def give_rows(settings: Settings, exports: Sequence[Waiting], now_ms: int, give: Give) -> None:
    """What was read of every export, in order."""
    feeds = {feed.name: feed for feed in settings.feed}
    for name, found in exports:
        give(_read(settings, feeds[name], found, now_ms))


def _read(settings: Settings, feed: Feed, found: Found, now_ms: int) -> ReadOf | None:
    if found.size > LARGEST:
        return None
    try:
        content = read_whole(found)
        if content is None:
            return None
        export = Export(printable(found.path.name), content, now_ms)
        rows, rejects, notes = read_rows(feed, settings, export, finished=False)
        read = Read(rows, rejects, notes, identified_by_ids(feed, rows))
        return hashlib.sha256(content).hexdigest(), read
    except (OSError, UnrungError):
        return None


@seldom_collected()
def main() -> None:
    given, to = own_pipes()
    settings, exports, now_ms = cast(tuple[Settings, list[Waiting], int], read_message(given))
    with written_behind(to) as give:
        give_rows(settings, exports, now_ms, give)


if __name__ == "__main__":
    main()
