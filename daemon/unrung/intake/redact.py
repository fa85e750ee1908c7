"""Addresses and messages without what they must not tell."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from urllib.parse import parse_qsl, urlsplit

HIDDEN = "…"


def shown_url(url: str, plain: Collection[str] = ()) -> str:
    """``url`` as it may stand in a message: no user, no fragment, and of the query only the names,
    but for the parameters in ``plain``.

    >>> shown_url("https://u:p@till.example/sales?key=abc&page=2#top", {"page"})
    'https://till.example/sales?key=…&page=2'
    """
    try:
        parts = urlsplit(url)
        host, port = parts.hostname or "", parts.port
    except ValueError:
        return HIDDEN
    host = f"[{host}]" if ":" in host else host
    query = "&".join(
        f"{name}={value if name in plain else HIDDEN}"
        for name, value in parse_qsl(parts.query, keep_blank_values=True)
    )
    place = f"{parts.scheme}://{host}{f':{port}' if port else ''}{parts.path}"
    return f"{place}?{query}" if query else place


def without(text: str, secrets: Sequence[str]) -> str:
    """``text`` with every occurrence of a secret taken out.

    >>> without("token s3cret was refused", ["s3cret"])
    'token … was refused'
    """
    for secret in sorted(secrets, key=len, reverse=True):
        if secret:
            text = text.replace(secret, HIDDEN)
    return text
