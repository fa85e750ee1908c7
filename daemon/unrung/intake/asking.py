"""From a feed's settings to its next request: which span, which page, with which login."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

import requests

from unrung.intake.adapter import mapping_digest
from unrung.intake.asked_time import asked_time
from unrung.intake.fetch import Answer, Asker, with_query
from unrung.intake.login import login_of
from unrung.intake.paging import page_url
from unrung.intake.redact import shown_url
from unrung.records import Export
from unrung.settings import Feed, Settings
from unrung.store.cursors import Cursor, Run


def asker_of(
    settings: Settings, feed: Feed, session: requests.Session, environ: Mapping[str, str]
) -> Asker:
    """How the feed is asked. Raises ConfigError where its secret is not to be had."""
    login = login_of(feed.poll, environ, settings.folder)
    return Asker(session, feed.url, feed.poll, login, feed.max_bytes, settings.folder)


def asking_digest(feed: Feed, settings: Settings) -> str:
    """Changes when the address, the way it is asked, or the way answers are read changes."""
    text = "\0".join((feed.url, feed.poll.model_dump_json(), mapping_digest(feed, settings)))
    return hashlib.sha256(text.encode()).hexdigest()


def new_run(feed: Feed, cursor: Cursor, now_ms: int, looks_back: bool) -> Run:
    """The span of a run that begins now. ``looks_back``: ask further back than usual."""
    since = feed.poll.since
    if since is None:
        return Run(None, now_ms, looks_back)
    if cursor.since_ms is None:
        return Run(max(0, now_ms - round(since.first_days * 86_400_000)), now_ms, looks_back)
    start = cursor.since_ms - round(since.overlap_minutes * 60_000)
    if looks_back:
        start = min(start, now_ms - round(since.look_back_hours * 3_600_000))
    return Run(max(0, start), now_ms, looks_back)


def run_url(feed: Feed, settings: Settings, run: Run) -> str:
    """The address of the run's next page, without the secret."""
    since, zone = feed.poll.since, feed.formats.zone or settings.venue.timezone
    query = {}
    if since is not None and run.from_ms is not None:
        query[since.query] = asked_time(run.from_ms, since.format, zone)
        if since.until_query:
            query[since.until_query] = asked_time(run.until_ms, since.format, zone, latest=True)
    return page_url(feed.poll.paging, with_query(feed.url, query), run.position)


def request_key(url: str, digest: str) -> str:
    """What the validators of an answer belong to: its address and the way it is read."""
    return hashlib.sha256(f"{url}\0{digest}".encode()).hexdigest()


def conditions(validators: tuple[str, str, str], key: str) -> dict[str, str]:
    """The headers that ask for an answer only if it changed (RFC 9110, section 13.1)."""
    known, etag, modified = validators
    if known != key:
        return {}
    headers = {"If-None-Match": etag, "If-Modified-Since": modified}
    return {name: value for name, value in headers.items() if value}


def page_export(feed: Feed, url: str, answer: Answer, now_ms: int) -> Export:
    """An answer as an adapter takes it: its bytes, which the feed's own encoding makes text of.

    Its name shows the page but not the times asked for, so that it stays the same from poll to poll.
    """
    paging = feed.poll.paging
    plain = {paging.size_query} | ({paging.query or paging.by} if paging.by in ("page", "offset") else set())
    return Export(shown_url(url, plain - {""}), answer.content, now_ms)
