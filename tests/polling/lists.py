"""A source's list of rows behind every way of paging."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from urllib.parse import urlencode

from polling.bar import rows_reply
from polling.server import Asked, Reply

Rows = Sequence[dict[str, str]]

PAGINGS = {
    "none": "",
    "link": 'paging = {by = "link"}',
    "next_url": 'paging = {by = "next_url", pointer = "/next"}',
    "cursor": 'paging = {by = "cursor", pointer = "/meta/after", query = "after"}',
    "page": 'paging = {by = "page", query = "p", size_query = "n", size = 3}',
    "offset": 'paging = {by = "offset", query = "skip"}',
    "page until told": 'paging = {by = "page", more = "/more", first = 0}',
    "offset by the array": 'paging = {by = "offset", pointer = "/rows"}',
}


def paged(way: str, rows: Callable[[Asked], Rows], size: int) -> Callable[[Asked], Reply]:
    """A server that pages the rows of a request in one of the ways of ``PAGINGS``."""

    def play(asked: Asked) -> Reply:
        all_rows, query = rows(asked), asked.query
        if way == "none":
            return rows_reply(all_rows)
        first = 0 if way == "page until told" else 1
        at = {
            "cursor": lambda: int(query.get("after", "c0")[1:]),
            "page": lambda: (int(query.get("p", 1)) - 1) * size,
            "page until told": lambda: (int(query["page"]) - first) * size,
            "offset": lambda: int(query["skip"]),
            "offset by the array": lambda: int(query["offset"]),
        }.get(way, lambda: int(query.get("at", 0)))()
        part, more = all_rows[at : at + size], at + size < len(all_rows)
        rest = {key: value for key, value in query.items() if key != "at"}
        # A relative reference (RFC 3986, section 4.2), as RFC 8288 lets a link be.
        target = f"?{urlencode({**rest, 'at': at + size})}"
        match way:
            case "link":
                links = ['</help>; rel="help"; title="next, <or not>"']
                links += [f'<{target}>; rel="last next"'] if more else []
                return rows_reply(part)._replace(headers={"Link": ", ".join(links)})
            case "next_url":
                return rows_reply(part, next=target if more else None)
            case "cursor":
                return rows_reply(part, meta={"after": f"c{at + size}"} if more else {})
            case "page until told":
                return rows_reply(part, more=more)
        return rows_reply(part)

    return play
