"""The ``[feed.poll]`` tables of ``venue.toml``: how an address is asked, and what cannot work."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict, Field


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Paging(_Table):
    """How one answer leads to the next."""

    by: Literal["none", "link", "next_url", "cursor", "page", "offset"] = Field(
        "none",
        description="'link': a Link header (RFC 8288); 'next_url', 'cursor': a member of the JSON "
        "answer; 'page', 'offset': counted in a query parameter until a page holds no rows.",
    )
    pointer: str = Field(
        "",
        description="JSON pointer to the next address or cursor; for 'offset' to the array that is counted.",
    )
    query: str = Field("", description="Query parameter of the cursor, page or offset; empty: that word.")
    more: str = Field("", description="JSON pointer to a member that is false on the last page.")
    size_query: str = Field("", description="Query parameter of the page's size.")
    size: int = Field(100, gt=0, description="Rows asked for per page, where size_query is set.")
    first: int | None = Field(None, ge=0, description="Number of the first page; unset: 1, for 'offset' 0.")
    max_pages: int = Field(100, gt=0, description="Pages read in one go; the rest follows seconds later.")


class Since(_Table):
    """Asks only for rows since the newest one that was taken in."""

    query: str = Field(min_length=1, description="Query parameter of the earliest time asked for.")
    until_query: str = Field("", description="Query parameter of the latest time, where the source has one.")
    format: str = Field(
        "iso", description="'iso' (UTC), 'epoch_s', 'epoch_ms', or a strftime pattern in local time."
    )
    overlap_minutes: float = Field(60, ge=0, description="Asked for again, for rows that come in late.")
    look_back_hours: float = Field(
        48, ge=0,
        description="The first poll of a business day asks this far back, for terminals that were offline.",
    )
    first_days: float = Field(14, gt=0, description="How far back the very first poll asks.")


class Poll(_Table):
    """How an address is asked."""

    every_minutes: float = Field(10, gt=0, description="Pause between two polls.")
    connect_seconds: float = Field(10, gt=0, description="Longest wait for a connection.")
    read_seconds: float = Field(30, gt=0, description="Longest silence within an answer.")
    total_seconds: float = Field(120, gt=0, description="Longest time for one whole answer.")
    auth: Literal["none", "basic", "bearer", "header", "query"] = Field(
        "none", description="How the secret is sent; 'header', 'query': under the name in auth_name."
    )
    auth_name: str = Field("", description="Header or query parameter that carries the secret.")
    user: str = Field("", description="User name for 'basic'.")
    secret_env: str = Field("", description="Environment variable with the secret.")
    secret_file: str = Field("", description="Or a file that only its owner can read.")
    headers: dict[str, str] = Field({}, description="Further headers; no secrets here.")
    ca_file: str = Field("", description="Own certificate authority, PEM.")
    plain_allowed: bool = Field(False, description="Allow a secret over http:// to another machine.")
    paging: Paging = Field(Paging(), description="How one answer leads to the next.")
    since: Since | None = Field(None, description="Asks only for what is new.")


LOOPBACK = ("127.0.0.1", "::1", "localhost")
_SECRET_HEADERS = ("authorization", "cookie", "proxy-authorization", "x-api-key")


def poll_problems(url: str, poll: Poll, *, maps_id: bool, export: str, packed: bool) -> Iterator[str]:
    """What cannot work about a polled feed, as sentences. ``packed``: its answers are compressed
    files, which cannot be looked into for the next page."""
    yield from _address_problems(url, poll)
    yield from _secret_problems(poll)
    yield from _paging_problems(poll.paging, packed)
    if export == "append":
        yield 'a polled source shows rows again; set export = "overlap".'
    if export == "span" and (poll.since or poll.paging.by != "none"):
        yield 'export = "span" needs every answer whole, so neither since nor paging; use "overlap".'
    if maps_id:
        return
    if poll.since and (poll.since.overlap_minutes or poll.since.look_back_hours):
        yield (
            "rows are asked for again (overlap_minutes, look_back_hours) but no field maps their id, so "
            "they would count twice; map id, or set both to 0."
        )
    if poll.paging.by != "none":
        yield "equal rows on two pages cannot be told from one row twice without an id; map id."


def is_web_address(url: str) -> bool:
    """Whether ``url`` can be asked.

    >>> is_web_address("https://watch.example/ping/7"), is_web_address("watch.example/ping/7")
    (True, False)
    """
    try:
        parts = urlsplit(url)
        host, _ = parts.hostname, parts.port
    except ValueError:
        return False
    return parts.scheme in ("http", "https") and bool(host)


def _address_problems(url: str, poll: Poll) -> Iterator[str]:
    try:
        parts = urlsplit(url)
        host, _ = parts.hostname, parts.port
    except ValueError:
        yield "url is not an address; write for example https://till.example/sales."
        return
    if not is_web_address(url):
        yield "url must begin with https:// (or http://) and name a host."
    if parts.username or parts.password:
        yield "url holds a user name or password; use [feed.poll] auth with secret_env or secret_file."
    if poll.auth != "none" and parts.scheme == "http" and host not in LOOPBACK and not poll.plain_allowed:
        yield "the secret would travel readable over http://; use https://, or set plain_allowed = true."


def _secret_problems(poll: Poll) -> Iterator[str]:
    if poll.auth != "none" and not (poll.secret_env or poll.secret_file):
        yield f"auth is {poll.auth!r} but neither secret_env nor secret_file says where the secret is."
    if poll.auth in ("header", "query") and not poll.auth_name:
        yield f"auth is {poll.auth!r}; name the {poll.auth} that carries the secret in auth_name."
    if poll.auth == "basic" and not poll.user:
        yield "auth is 'basic'; set user."
    for name in poll.headers:
        if name.lower() in _SECRET_HEADERS:
            yield f"the header {name!r} carries a secret; use auth with secret_env or secret_file."


def _paging_problems(paging: Paging, packed: bool) -> Iterator[str]:
    if paging.by in ("next_url", "cursor") and not paging.pointer:
        yield f"paging by {paging.by!r} needs pointer: where in the answer the next one is named."
    if paging.by in ("none", "link", "page") and paging.pointer:
        yield f"paging by {paging.by!r} has no use for pointer; take it out, or set by."
    for name in ("pointer", "more"):
        value = getattr(paging, name)
        if value and not value.startswith("/"):
            yield f"paging {name} {value!r} is not a JSON pointer; it begins with /."
        if value and packed:
            yield f"paging {name} cannot look into compressed answers."
