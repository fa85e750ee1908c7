"""``unrung run`` itself, killed with -9 ten times while exports come in, a day is issued and mailed.

The clock is the real one, so the venue lies where it is seven in the morning: yesterday's day is due once
its feeds cover it. Some exports are as old as yesterday evening and cover no more than that; the last ones
are of this morning.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sqlite3
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from crash.everything import hashes
from crash.nights import MORE, Wall
from crash.post import Post, serving
from polling.server import serving as web
from service.real import until
from starter import environment, start
from venue_folder import VenueFolder, make_venue, till_csv

pytestmark = pytest.mark.skipif(os.name != "posix", reason="needs kill -9")
SEED = 20_250_610
QUICK = "settle_seconds = 0.1\n"


def morning_zone() -> str:
    """A zone where it is past seven now (POSIX counts them the other way round)."""
    ahead = (7 - datetime.now(UTC).hour) % 24
    ahead -= 24 if ahead > 14 else 0
    return f"Etc/GMT{-ahead:+d}" if ahead else "Etc/GMT"


class Bar:
    """The venue of one run, and what is dropped there."""

    def __init__(self, path: Path, zone: str, address: str, port: int) -> None:
        more = MORE.format(address=address, port=port).replace("every_minutes = 5", "every_minutes = 0.01")
        more = more.replace("[schedule]", "[schedule]\nquiet_minutes = 0.02\nrescan_seconds = 1")
        self.venue = make_venue(path, more=more, till=QUICK, meter=QUICK)
        self.venue.edit("venue.toml", "America/New_York", zone)
        now = datetime.now(ZoneInfo(zone))
        self.day = (now - timedelta(days=1)).date()
        # None of the first files reaches the last rows of the evening: the day waits for those of the
        # morning, however long a stage takes.
        self.evening = datetime(self.day.year, self.day.month, self.day.day, 20, 0, tzinfo=ZoneInfo(zone))
        self.morning = self.evening + timedelta(hours=10)

    def rings(self, name: str, *minutes: int, written: str = "evening", bad: bool = False) -> None:
        rows = [{"Time": f"{self.day} 20:{at:02}:20", "Item": "Pint of Amber", "Qty": "1", "Total": "7.00"}
                for at in minutes]
        rows += [{"Time": f"{self.day} 25:00:00", "Item": "Pint of Amber", "Qty": "1"}] if bad else []
        self._drop(self.venue.till / name, till_csv(rows), written)

    def pours(self, name: str, *minutes: int, written: str = "evening") -> None:
        content = json.dumps([self.pour(at, "1") for at in minutes]).encode()
        self._drop(self.venue.meter / name, content, written)

    def pour(self, at: int, tap: str) -> dict[str, object]:
        times = {"start": f"{self.day} 20:{at:02}:00", "end": f"{self.day} 20:{at:02}:08"}
        return {"id": f"{tap}/{at}", "tap": tap, **times, "ml": 473.176}

    def _drop(self, path: Path, content: bytes, written: str) -> None:
        stamp = getattr(self, written).timestamp()
        aside = path.with_name(f".{path.name}")
        aside.write_bytes(content)
        os.utime(aside, (stamp, stamp))
        os.replace(aside, path)


def stages(bar: Bar, wall: Wall) -> Iterator[Callable[[], bool] | None]:
    """What comes in, bit by bit; a condition is waited for before the next."""
    bar.rings("a.csv", 1, 5, 9)
    wall.pours = [bar.pour(at, "2") for at in (3, 13, 23)]
    yield None
    bar.pours("a.json", 1, 5)
    bar.rings("b.csv", 14, 18, bad=True)
    yield None
    bar.rings("again.csv", 1, 5, 9)
    bar.rings("bad.csv", bad=True)
    wall.pours += [bar.pour(at, "2") for at in (33, 43)]
    yield None
    bar.pours("b.json", 9, 14, 18, 30)
    yield None
    wall.pours += [bar.pour(53, "2")]
    yield lambda: count(bar, "SELECT count(*) FROM movements WHERE kind = 'pour'") == 12
    bar.rings("c.csv", 22, written="morning")
    bar.pours("c.json", 22, 40, written="morning")
    yield None
    yield lambda: stands(bar, 1)
    bar.rings("late.csv", 40, written="morning")
    yield None
    yield lambda: stands(bar, 2)
    yield lambda: count(bar, "SELECT count(*) FROM outbox WHERE state = 'sent'") == 1


def stands(bar: Bar, revision: int) -> bool:
    """Whether the day is issued so, and with it the month, where it is the last of one."""
    return (
        count(bar, "SELECT revision FROM days WHERE status <> ''") == revision
        and not count(bar, f"SELECT count(*) FROM months WHERE dirty AND last_day <= '{bar.day}'")
    )


def count(bar: Bar, sql: str) -> int | None:
    try:
        with closing(sqlite3.connect(f"file:{bar.venue.path}/unrung.sqlite?mode=ro", uri=True)) as db:
            row = db.execute(sql).fetchone()
            return row[0] if row else None
    except sqlite3.OperationalError:
        return None


class Life:
    """The service, from a start to its end."""

    def __init__(self, bar: Bar) -> None:
        self._bar = bar
        self._earlier = self._starts()
        self.process = start(["run", str(bar.venue.path)], environment())

    def _starts(self) -> int:
        log = self._bar.venue.path / "unrung.log"
        return log.read_text("utf-8").count(" started on ") if log.exists() else 0

    def began(self) -> None:
        until(lambda: self.process.poll() is not None or self._starts() > self._earlier, "a start")
        assert self.process.poll() is None, "it ended by itself"

    def end(self, how: int) -> int:
        assert self.process.poll() is None, "it ended by itself"
        self.process.send_signal(how)
        return self.process.wait(30)


def live(
    bar: Bar, wall: Wall, post: Post, dice: random.Random | None
) -> tuple[int, Counter[tuple[str, str]]]:
    """Live through the stages; with ``dice``, a life for each, ended by -9 at a moment of theirs. How
    often it was killed, and the mails that may have come once more."""
    kills, twice = 0, Counter[tuple[str, str]]()
    life = Life(bar)
    try:
        for condition in stages(bar, wall):
            if dice is not None:
                if kills % 4:  # one in four may be killed while it starts
                    life.began()
                time.sleep(dice.uniform(0.0, 0.9))
                assert life.end(signal.SIGKILL) == -signal.SIGKILL
                kills += 1
                post.rest()
                twice |= post.copies() - known(bar)
                life = Life(bar)
            if condition is not None:
                until(condition, "what the stage waits for")
        life.began()
        assert life.end(signal.SIGTERM) == 0
    finally:
        life.process.kill()
        life.process.wait()
    return kills, twice


def known(bar: Bar) -> Counter[tuple[str, str]]:
    """What stands in the store as sent."""
    try:
        with closing(sqlite3.connect(f"file:{bar.venue.path}/unrung.sqlite?mode=rw", uri=True)) as db:
            assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            return Counter(dict.fromkeys(db.execute(
                "SELECT message_id, recipient FROM outbox o JOIN outbox_recipients r ON r.outbox = o.id "
                "WHERE r.state = 'sent'").fetchall(), 1))
    except sqlite3.OperationalError:  # killed before the store was there
        return Counter()


LASTING = {
    "movements": "SELECT kind, feed, at_ms, raw, ref, hex(ident), superseded_by IS NULL FROM movements",
    "sources": "SELECT feed, sha256, state FROM sources WHERE via = 'folder'",
    "rejects": "SELECT line, field, value, reason, state FROM rejects",
    "leaves": "SELECT * FROM leaves", "books": "SELECT * FROM product_days",
    "days": "SELECT day, dirty, revision, status, digest FROM days WHERE revision > 0",
    "issued": "SELECT day, revision, name, sha256 FROM issued",
    "mails": "SELECT key, subject, state FROM outbox", "alerts": "SELECT * FROM alerts",
}


def lasting(venue: VenueFolder) -> dict[str, object]:
    """What no clock tells: rows, ledger, files, mails."""
    with closing(sqlite3.connect(venue.path / "unrung.sqlite")) as db:
        found: dict[str, object] = {name: sorted(db.execute(sql), key=repr) for name, sql in LASTING.items()}
    places = ("exports", "archive", "set_aside")
    return found | {"files": venue.files(), "exports": {place: hashes(venue, (place,)) for place in places}}


@pytest.mark.timeout(300)  # half a minute on a machine that is not busy
def test_ten_kills_of_the_real_service_lose_nothing_and_double_nothing(tmp_path: Path) -> None:
    zone, wall = morning_zone(), Wall()
    with web(wall.answer) as served, serving() as post:
        calm = Bar(tmp_path / "calm", zone, served.url, post.port)
        assert live(calm, wall, post, None) == (0, Counter())
        mails = post.copies()
        assert set(mails.values()) == {1} and len(mails) == 2
        post.taken.clear()
        wall.pours = []
        killed = Bar(tmp_path / "killed", zone, served.url, post.port)
        kills, twice = live(killed, wall, post, random.Random(SEED))
    assert kills >= 10
    assert lasting(killed.venue) == lasting(calm.venue)
    assert post.copies() == mails + twice
    until(lambda: not list((tmp_path / "killed" / "exports" / "till").iterdir()), "an empty folder", 1)
