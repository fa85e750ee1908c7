"""How one answer leads to the next: pure, so that every way of paging can be looked at by itself.

A *position* is the text that says where a page is: "" for the first, a full address ("link",
"next_url"), a cursor, or a number. It is kept in the store, so that a long run can go on later.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import urljoin

from jsonpointer import JsonPointerException, resolve_pointer

from unrung.intake.fetch import Answer, same_origin, with_query, without_query
from unrung.intake.login import Login
from unrung.intake.redact import shown_url
from unrung.poll_settings import Paging

_NAME, _TEXT, _WORD = r"[\w!#$&+.^`|~*-]+", r'"(?:[^"\\]|\\.)*"', r'[^\s",;]+'
_LINK = re.compile(rf"[\s,]*<([^>]*)>((?:\s*;\s*{_NAME}(?:\s*=\s*(?:{_TEXT}|{_WORD}))?)*)\s*(?=,|$)")
_PARAMETER = re.compile(rf";\s*({_NAME})(?:\s*=\s*({_TEXT}|{_WORD}))?")
_ABSENT = object()


@dataclass(frozen=True, slots=True)
class Step:
    """Where an answer leads. ``position`` None: it is the last one; ``trouble``: nobody can tell."""

    position: str | None
    trouble: str = ""


def page_url(paging: Paging, url: str, position: str) -> str:
    """The address of the page at ``position``; ``url`` is that of the first."""
    if position and paging.by in ("link", "next_url"):
        return position
    query = {paging.size_query: str(paging.size)} if paging.size_query else {}
    if paging.by in ("page", "offset"):
        query[paging.query or paging.by] = position or str(_first(paging))
    elif position:
        query[paging.query or paging.by] = position
    return with_query(url, query)


def step(paging: Paging, position: str, answer: Answer, encoding: str, own_url: str) -> Step:
    """Where the answer at ``position`` leads, its number of rows aside (see ``counted``).

    ``own_url`` is the feed's address: a next page stands at the same origin or is refused.
    """
    if paging.by == "none" or not answer.content:
        return Step(None)
    if paging.by == "link":
        return _address(next_link(answer.link), answer, own_url)
    try:
        document = _document(answer.content, encoding) if paging.pointer or paging.more else None
        if paging.more and not _truthy(_at(document, paging.more)):
            return Step(None)
        if paging.by == "page":
            return Step(str(int(position or _first(paging)) + 1))
        if paging.by == "offset":
            return _offset(paging, position, document)
        found = _at(document, paging.pointer)
    except (ValueError, RecursionError):
        return Step(None, "the answer cannot be looked into for the next page; is it JSON?")
    if not _truthy(found):
        return Step(None)
    if not isinstance(found, str):
        return Step(None, f"what stands at pointer = {paging.pointer!r} is neither a text nor a number")
    return _address(found, answer, own_url) if paging.by == "next_url" else Step(found)


def counted(paging: Paging, position: str, found: Step, rows: int) -> Step:
    """``found``, now that the page is known to have held ``rows`` rows, bad ones included."""
    if paging.by not in ("page", "offset") or found.position is None:
        return found
    if paging.by == "offset" and not paging.pointer:
        found = Step(str(int(position or _first(paging)) + rows))
    return found if rows else Step(None)


def safe_to_keep(found: Step, login: Login) -> Step:
    """``found`` without the secret, which some sources write into the address of the next page: the
    position is kept in the store, and the secret is added anew when it is asked for."""
    if found.position is None or not login.secrets:
        return found
    position = without_query(found.position, {name for name, _ in login.query})
    if any(secret in position for secret in login.secrets):
        return Step(None, "the address of the next page holds the secret, and would have to be kept")
    return Step(position)


def next_link(header: str) -> str:
    """The target of the first link with the relation "next" (RFC 8288), "" where there is none.

    >>> next_link('</p?a=1,2>; rel="prev", <?page=3>; rel="last next"; title="x, y"')
    '?page=3'
    """
    for target, parameters in _links(header):
        if "anchor" not in parameters and "next" in parameters.get("rel", "").lower().split():
            return target
    return ""


def _links(header: str) -> Iterator[tuple[str, dict[str, str]]]:
    """Targets with their parameters, up to the first that is malformed."""
    found = _LINK.match(header)
    while found is not None:
        parameters: dict[str, str] = {}
        for name, value in _PARAMETER.findall(found[2]):
            parameters.setdefault(name.lower(), re.sub(r"\\(.)", r"\1", value.strip('"')))
        yield found[1], parameters
        found = _LINK.match(header, found.end())


def _first(paging: Paging) -> int:
    if paging.first is not None:
        return paging.first
    return 1 if paging.by == "page" else 0


def _address(target: str, answer: Answer, own_url: str) -> Step:
    if not target:
        return Step(None)
    there = urljoin(answer.url, target)
    if not same_origin(there, own_url):
        return Step(None, f"the next page is said to be at {shown_url(there)}, another place than the feed's")
    return Step(there)


def _offset(paging: Paging, position: str, document: Any) -> Step:
    if not paging.pointer:
        return Step(position or str(_first(paging)))
    items = _at(document, paging.pointer)
    if not isinstance(items, list):
        return Step(None, f"there is no array at pointer = {paging.pointer!r} to count")
    return Step(str(int(position or _first(paging)) + len(items)) if items else None)


def _document(content: bytes, encoding: str) -> Any:
    # Numbers stay texts: a cursor of 20 digits must come back as it was.
    return json.loads(content.decode(encoding).removeprefix("\ufeff"), parse_int=str, parse_float=str)


def _at(document: Any, pointer: str) -> Any:
    try:
        return resolve_pointer(document, pointer, _ABSENT)
    except JsonPointerException:
        return _ABSENT


def _truthy(value: Any) -> bool:
    return value is not _ABSENT and value not in (None, False, "")
