"""The sign of life to the outside: an address that is asked for after each day that was issued.

Somebody else's watchman then notices that this machine is silent, which it cannot tell itself. The
plain address says that a day was issued whole, the one with ``/fail`` that it was not. The address
is a secret: it is never logged.
"""

from __future__ import annotations

import json
from typing import NamedTuple
from urllib.parse import urlsplit, urlunsplit

from unrung.daybook import bounds_of
from unrung.intake.pauses import http_date_ms
from unrung.morning import FRESH_MS
from unrung.settings import Settings
from unrung.store.days import day_rows, fact, set_fact
from unrung.store.open import Store, write_tx

TIMEOUT_SECONDS = 10.0
TOLD = "heartbeat"


def untold(db: Store, settings: Settings, now_ms: int) -> list[tuple[str, str]]:
    """(business day, status) of fresh days that were issued and not told yet. A day that was
    incomplete and became whole is told again."""
    told = json.loads(fact(db, TOLD) or "{}")
    return [
        (row.day.isoformat(), row.status) for row in day_rows(db)
        if row.revision and told.get(row.day.isoformat()) != row.status
        and now_ms - bounds_of(settings, row.day)[1] <= FRESH_MS
    ]


def beat(db: Store, settings: Settings, now_ms: int) -> str:
    """Tell the oldest untold day. What went wrong, without the address; empty where nothing did."""
    if not settings.schedule.heartbeat_url:
        return ""
    for day, status in untold(db, settings, now_ms)[:1]:
        wrong, _ = _ask(address(settings.schedule.heartbeat_url, whole=status == "final"))
        if wrong:
            return wrong
        with write_tx(db):
            recent = sorted((json.loads(fact(db, TOLD) or "{}") | {day: status}).items())[-7:]
            set_fact(db, TOLD, json.dumps(dict(recent)))
    return ""


class Asked(NamedTuple):
    """What came of asking the watchman's address."""

    wrong: str = ""
    """What went wrong, without the address."""
    said_ms: int | None = None
    """What time its server has, UTC milliseconds, where it says so."""


def alarm(settings: Settings) -> Asked:
    """Tell the watchman that something is wrong, whatever the days say."""
    url = settings.schedule.heartbeat_url
    return _ask(address(url, whole=False)) if url else Asked()


def address(url: str, *, whole: bool) -> str:
    """The address to ask for.

    >>> address("https://example.org/ping/7?from=bar", whole=False)
    'https://example.org/ping/7/fail?from=bar'
    """
    parts = urlsplit(url)
    return url if whole else urlunsplit(parts._replace(path=parts.path.rstrip("/") + "/fail"))


def _ask(url: str) -> Asked:
    import requests  # loads at first use

    host = urlsplit(url).hostname or ""
    try:
        # The body is never read: a server that trickles it would hold us past the timeout.
        with requests.get(url, timeout=TIMEOUT_SECONDS, stream=True) as answer:
            wrong = "" if answer.ok else f"{host} answered {answer.status_code}"
            return Asked(wrong, http_date_ms(answer.headers.get("Date", "")))
    except (requests.RequestException, ValueError, OSError) as error:
        return Asked(f"{host} could not be asked: {type(error).__name__}")
