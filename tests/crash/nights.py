"""Nights at the test bar, each with all that the program does: folders, an address that is asked in
pages, days, a month, mails, the sign of life, a backup."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from polling.server import Asked, Reply
from unrung.catch_up import take_in_all
from unrung.closing import close
from unrung.daybook import Cache
from unrung.heartbeat import beat, untold
from unrung.intake.poll import poll_feed
from unrung.issuing import due_days, issue_day
from unrung.month_issuing import issue_due_months
from unrung.sending import send_due
from unrung.settings import Settings
from unrung.store.months import month_row
from unrung.store.open import Store
from unrung.thresholds import judge_today
from unrung.upkeep import nightly
from venue_folder import VenueFolder, make_venue, ms, pour, ring

MORE = """
[[feed]]
name = "wall"
carries = "pours"
adapter = "json"
url = "{address}/pours"
export = "overlap"
[feed.fields]
id = "/id"
tap = "/tap"
start = "/start"
end = "/end"
volume = "/ml"
[feed.formats]
rows = "/rows"
time = "%Y-%m-%d %H:%M:%S"
volume_unit = "ml"
[feed.poll]
every_minutes = 5
read_seconds = 5
[feed.poll.paging]
by = "cursor"
pointer = "/next"

[mail]
sender = "bar@jug.example"
to = ["ann@jug.example", "bob@jug.example"]
host = "127.0.0.1"
port = {port}
security = "none"
timeout_seconds = 5

[schedule]
heartbeat_url = "{address}/alive"

[[alert]]
name = "product_day"
per = "product_day"
min_pct = 3
min_volume = 10
hold_days = 0
"""
NEGATIVE = 'time = "%Y-%m-%d %H:%M:%S"\n\n[[feed]]'


class Wall:
    """The address: pours of tap 2 in pages of two, and the sign of life."""

    def __init__(self) -> None:
        self.pours: list[dict[str, Any]] = []

    def answer(self, asked: Asked) -> Reply:
        if asked.path != "/pours":
            return Reply(b"ok")
        at = int(asked.query.get("cursor", "0"))
        more = str(at + 2) if at + 2 < len(self.pours) else None
        body: dict[str, Any] = {"rows": self.pours[at : at + 2], "next": more}
        return Reply(json.dumps(body).encode(), headers={"Content-Type": "application/json"})


Step = Callable[[Store, Settings, int], object]
"""Does what is due of one kind; the service has a worker for each."""


def take_in(db: Store, settings: Settings, now_ms: int) -> None:
    take_in_all(db, settings, now_ms, lambda text: None)


def poll(db: Store, settings: Settings, now_ms: int) -> None:
    for feed in settings.feed:
        while feed.url and poll_feed(db, settings, feed, now_ms, {}).more:
            pass


def issue(db: Store, settings: Settings, now_ms: int) -> None:
    cache: Cache = {}
    for day in due_days(db, settings, now_ms, quiet=False):
        issue_day(db, settings, day, now_ms, cache)


def post(db: Store, settings: Settings, now_ms: int) -> None:
    send_due(db, settings, now_ms, {})


def tell(db: Store, settings: Settings, now_ms: int) -> None:
    while untold(db, settings, now_ms):
        assert beat(db, settings, now_ms) == ""


def close_june(db: Store, settings: Settings, now_ms: int) -> None:
    row = month_row(db, "2025-06")
    if row is None or row.closed_ms is None:  # a person closes a month until it says that it is closed
        close(db, settings, "2025-06", now_ms, accept=True)


ROUND: dict[str, Step] = {
    "opening": lambda db, settings, now_ms: None, "taking in": take_in, "polling": poll,
    "issuing days": issue, "issuing months": issue_due_months, "judging": judge_today, "mailing": post,
    "telling": tell, "upkeep": nightly,
}


@dataclass(frozen=True)
class Night:
    """What came in since the night before, and what is done then."""

    name: str
    arrives: Callable[[VenueFolder, Wall], None]
    now: str
    least: int
    """Moments at which it is killed; fewer, and the fuse does not reach what it should."""
    more: dict[str, Step] = field(default_factory=dict)

    @property
    def steps(self) -> dict[str, Step]:
        return {**ROUND, **self.more}

    def go(self, venue: VenueFolder, *only: str, enough: Callable[[str], bool] = lambda done: False) -> bool:
        """Start the program, and do the steps named, or every step, until one is ``enough``. Whether none
        was: all of them are done."""
        with venue.open(self.now) as (settings, db):
            for name in only or self.steps:
                self.steps[name](db, settings, ms(self.now))
                if enough(name):
                    return False
        return True


def bar(path: Path, address: str, port: int) -> VenueFolder:
    return make_venue(path, more=MORE.format(address=address, port=port))


def evening(venue: VenueFolder, wall: Wall) -> None:
    """Exports: good ones, one with a bad row, one that is bad as a whole, one that came before."""
    rings = [ring("06-30 20:15:00"), ring("06-30 20:15:00"), ring("06-30 20:20:00", qty="-1")]
    venue.rings("a.csv", rings, "06-30 22:50:00")
    venue.rings("again.csv", rings, "06-30 22:50:00")
    venue.rings("bad.csv", [ring("06-30 25:15:00")], "06-30 22:50:00")
    pours = [pour("p1", "06-30 20:14:00"), pour("p2", "06-30 20:14:30"), pour("p3", "06-30 20:40:00")]
    venue.pours("a.json", pours, "06-30 22:50:00")
    wall.pours = [pour(f"w{hour}", f"06-30 {hour}:14:00", tap="2") for hour in (18, 19, 20)]


def morning(venue: VenueFolder, wall: Wall) -> None:
    """The rest of the last day of a month: a day, a month and a mail are due."""
    venue.rings("b.csv", [ring("06-30 23:15:00", "Pint of Stout")], "07-01 05:00:00")
    venue.pours("b.json", [pour("p4", "06-30 23:14:00", tap="2")], "07-01 05:00:00")


def late(venue: VenueFolder, wall: Wall) -> None:
    """A late ring and a late pour, a file again, and fixes of what waited."""
    wall.pours.insert(1, pour("w9", "06-30 22:14:00", tap="2"))
    venue.edit("venue.toml", NEGATIVE, NEGATIVE.replace("\n\n", '\nnegative_units = "void"\n\n'))
    venue.edit("menu.csv", "Pint of Amber,Amber,16", "Pint of Amber,Amber,14")
    venue.rings("late.csv", [ring("06-30 20:41:00")], "07-01 12:30:00")
    venue.pours("b.json", [pour("p4", "06-30 23:14:00", tap="2")], "07-01 12:30:00")
    bad = venue.path / "set_aside/till/bad.csv"
    venue.drop(bad, bad.read_bytes().replace(b"25:15", b"20:50"), "07-01 12:30:00")


def nothing(venue: VenueFolder, wall: Wall) -> None:
    """Nothing new."""


def too_late(venue: VenueFolder, wall: Wall) -> None:
    """A ring of the month that is closed by now: the next one carries it."""
    venue.rings("lost.csv", [ring("06-30 18:15:00", "Pint of Stout")], "07-02 08:00:00")


NIGHTS = (
    Night("evening", evening, "06-30 23:00:00", 60),
    Night("morning", morning, "07-01 12:00:00", 100),
    Night("late", late, "07-01 13:00:00", 55),
    Night("closing", nothing, "07-01 14:00:00", 20, {"closing": close_june}),
    Night("too late", too_late, "07-02 12:00:00", 70),
)
