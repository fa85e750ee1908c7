"""One look at a polled address that changes nothing: for ``unrung check``."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import closing

from unrung.errors import SourceError
from unrung.intake.asking import asker_of, new_run, page_export, run_url
from unrung.intake.deadline import new_session
from unrung.intake.paging import step
from unrung.records import Export
from unrung.settings import Feed, Settings
from unrung.store.cursors import Cursor

DAY_MS = 86_400_000


def first_page(
    settings: Settings, feed: Feed, now_ms: int, environ: Mapping[str, str]
) -> tuple[Export, int | None]:
    """The first page of the feed's last day, or of what it gives; and what time its server has, UTC
    milliseconds, where it says so.

    Raises SourceError where there is no answer or its next page cannot be told, ConfigError where
    the secret is not to be had.
    """
    with closing(new_session()) as session:
        run = new_run(feed, Cursor(feed.name, since_ms=now_ms - DAY_MS), now_ms, looks_back=False)
        url = run_url(feed, settings, run)
        answer = asker_of(settings, feed, session, environ).fetch(url, {})
    found = step(feed.poll.paging, "", answer, feed.formats.encoding, feed.url)
    if found.trouble:
        raise SourceError(f"{found.trouble}.")
    return page_export(feed, url, answer, now_ms), answer.said_ms
