"""The small bar of the folder tests with a till that is asked over HTTP."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any

from polling.server import Reply
from unrung.intake.poll import Polled, poll_feed
from unrung.settings import Feed, Settings
from venue_folder import MENU, PRODUCTS, TAPS, VenueFolder, local, ms

VENUE = """\
[venue]
name = "The Test Jug"
timezone = "America/New_York"
volume_unit = "us_fl_oz"

[[feed]]
name = "till"
carries = "rings"
adapter = "{adapter}"
url = "{url}"
export = "{export}"
max_bytes = {max_bytes}
[feed.fields]
{fields}
[feed.formats]
time = "%Y-%m-%d %H:%M:%S"
{formats}
[feed.poll]
connect_seconds = 2
read_seconds = {read_seconds}
total_seconds = {total_seconds}
{poll}
{more}
"""
JSON_FIELDS = """\
id = "/id"
at = "/at"
item = "/item"
outlet = {const = "Bar"}
"""
CSV_FIELDS = """\
id = "Id"
at = "Time"
item = "Item"
units = "Qty"
outlet = {const = "Bar"}
"""


def polled_bar(
    path: Any, url: str, poll: str = "", *, adapter: str = "json", export: str = "overlap", fields: str = "",
    formats: str | None = None, max_bytes: int = 1_000_000, read_seconds: float = 1.0,
    total_seconds: float = 2.0, more: str = "",
) -> VenueFolder:
    """A config folder whose till is asked at ``url``; ``poll``: further lines of ``[feed.poll]``."""
    text = VENUE.format(
        url=url, poll=poll, adapter=adapter, export=export, max_bytes=max_bytes, more=more,
        fields=fields or (JSON_FIELDS if adapter == "json" else CSV_FIELDS),
        formats=('rows = "/rows"' if adapter == "json" else "") if formats is None else formats,
        read_seconds=read_seconds, total_seconds=total_seconds,
    )
    for name, content in (
        ("venue.toml", text), ("products.csv", PRODUCTS), ("menu.csv", MENU), ("taps.csv", TAPS)
    ):
        (path / name).write_text(content, "utf-8")
    return VenueFolder(path)


def sale(id: str, at: str, item: str = "Pint of Amber") -> dict[str, str]:
    """One row of the till."""
    return {"id": id, "at": local(at), "item": item}


def document(rows: Iterable[dict[str, str]], **members: Any) -> bytes:
    return json.dumps({"rows": list(rows), **members}).encode()


def rows_reply(rows: Sequence[dict[str, str]], **members: Any) -> Reply:
    return Reply(document(rows, **members), headers={"Content-Type": "application/json"})


def ask(venue: VenueFolder, now: str = "20:00:00", environ: dict[str, str] | None = None,
        **options: Any) -> Polled:
    """One look at the till at ``now``, local time."""
    with venue.open(now) as (settings, db):
        return poll_feed(db, settings, till(settings), ms(now), environ or {}, **options)


def till(settings: Settings) -> Feed:
    return next(feed for feed in settings.feed if feed.name == "till")


def taken_ids(venue: VenueFolder) -> list[str]:
    """Ids of the current rows in order of id."""
    rows = venue.query("SELECT ref FROM movements WHERE superseded_by IS NULL ORDER BY ref")
    return [row["ref"] for row in rows]


def cursor(venue: VenueFolder) -> dict[str, Any]:
    """The polling row of the till."""
    return venue.query("SELECT * FROM cursors WHERE feed = 'till'")[0]


def covered(venue: VenueFolder) -> list[tuple[int, int]]:
    """The spans that complete polls cover."""
    rows = venue.query("SELECT from_ms, to_ms FROM poll_spans ORDER BY from_ms")
    return [(row["from_ms"], row["to_ms"]) for row in rows]


