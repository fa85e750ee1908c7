"""Thirty days of the real service at speed, with everything going wrong, against thirty calm ones.

    python tests/bench/soak.py [--days 30] [--seed 1] [--shift 0]

``unrung run`` lives under libfaketime (Debian package ``faketime``) on a small memory disk. Exports come
in slowly, twice, overlapping, with bad rows, saved again by a spreadsheet; the polled meters answer late,
with 500, or cut off; the mail server puts off. Meanwhile the service is killed by -9, its disk fills up, a
folder cannot be made, its store is held by another process, its clock jumps to 2099 and falls back to 2001.
At the end rows, ledger and daily files (but for the page on which a row was first received) must equal those
of the same days without any of it, each day must have its mail, and every issued file its recorded hash. Ends
with 0 where they do. Linux, as root.
"""

from __future__ import annotations

import argparse
import csv
import difflib
import hashlib
import io
import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS), str(TESTS.parent / "daemon"), str(TESTS.parent / "adapters")]

from crash.nights import MORE  # noqa: E402
from crash.post import Post, serving  # noqa: E402
from polling.server import Asked, Reply  # noqa: E402
from polling.server import serving as web  # noqa: E402
from service.test_clock import Time  # noqa: E402
from small_disk import small_disk  # noqa: E402
from starter import environment  # noqa: E402
from unrung.catch_up import catch_up  # noqa: E402
from unrung.upkeep import nightly  # noqa: E402
from venue_folder import ZONE, VenueFolder, make_venue  # noqa: E402

FIRST = date(2025, 6, 2)
PATIENCE = 180.0
CLOCK = ("back", "2001", "2099")
FAULTS = ("kill", "disk", "folder", "lock", *CLOCK, "500", "slow", "cut", "post", "none", "none")
SENT = ("SELECT message_id, recipient FROM outbox o JOIN outbox_recipients r ON r.outbox = o.id "
        "WHERE r.state = 'sent'")
LASTING = {
    "rows": "SELECT kind, feed, at_ms, raw, ref FROM movements WHERE superseded_by IS NULL",
    "ledger": "SELECT * FROM leaves", "books": "SELECT * FROM product_days",
    "bad rows": "SELECT DISTINCT field, value, reason FROM rejects",
    "days": "SELECT day, status FROM days WHERE revision > 0",
}
WAY = ("source_file", "source_line", "revision")
"""Columns that tell the way a row came by: where it was received first, on the second page of one poll or on
the first of another. What is polled at another minute is cut into other pages, so it differs with reason."""


def at(day: date, clock: str) -> datetime:
    """Local time of a business day; after midnight it is the next calendar day's."""
    hour, minute = map(int, clock.split(":"))
    midnight = datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(ZONE))
    return midnight + timedelta(hours=hour, minutes=minute)  # on the wall; no clock changes in June


class Bar:
    """The venue, the hands of its clock, and what its till and meters say by then."""

    def __init__(self, path: Path, address: str, port: int, seed: int) -> None:
        more = MORE.format(address=address, port=port).replace("read_seconds = 5", "read_seconds = 1")
        more = more.replace("[schedule]", "[schedule]\nquiet_minutes = 5\nrescan_seconds = 1")
        quick = "settle_seconds = 0.6\npolling = true\n"
        self.venue = make_venue(path, more=more, till=quick, meter=quick, export="overlap")
        self.seed, self.trouble = seed, ""
        self.now = at(FIRST, "12:00")

    def evening(self, day: date) -> list[dict[str, Any]]:
        """Pours of a day, most of them rung: invented, the same each time."""
        if day < FIRST:
            return []
        dice = random.Random(f"{self.seed} {day}")
        times = sorted(dice.sample(range(18 * 60, 25 * 60), 24))
        return [{"at": at(day, f"{one // 60}:{one % 60}"), "tap": str(dice.choice((1, 2))),
                 "rung": dice.random() < 0.9, "ml": round(dice.gauss(473, 9), 1)} for one in times]

    def till(self, day: date, until: datetime, *, bad: bool = False, resaved: bool = False) -> bytes:
        """The last hours of the day before, and the day as far as it went."""
        rows = [one for n in (-1, 0) for one in self.evening(day + timedelta(n))
                if one["rung"] and one["at"] <= until]
        text = io.StringIO()
        out = csv.writer(text, quoting=csv.QUOTE_ALL if resaved else csv.QUOTE_MINIMAL)
        out.writerow(("Id", "Time", "Item", "Qty", "Total", "Check"))
        for one in rows:
            item = "Pint of Amber" if one["tap"] == "1" else "Pint of Stout"
            rung = one["at"] + timedelta(seconds=25)
            out.writerow(("", f"{rung:%Y-%m-%d %H:%M:%S}", item, "1", "7.00", ""))
        if bad:
            out.writerow(("", f"{day} 26:61:00", "Pint of Amber", "1", "7.00", ""))
        return (b"\xef\xbb\xbf" if resaved else b"") + text.getvalue().encode()

    def pours(self, day: date, tap: str, until: datetime) -> list[dict[str, Any]]:
        shape = "%Y-%m-%d %H:%M:%S"
        return [{"id": f"{tap}/{day}/{n}", "tap": tap, "end": one["at"].strftime(shape), "ml": one["ml"],
                 "start": (one["at"] - timedelta(seconds=8)).strftime(shape)}
                for n, one in enumerate(self.evening(day)) if one["tap"] == tap and one["at"] <= until]

    def answer(self, asked: Asked) -> Reply:
        """The meters of tap 2, in pages, with today's fault; and the sign of life."""
        if asked.path != "/pours":
            return Reply(b"ok")
        today = self.now.date()
        rows = [row for n in (-2, -1, 0) for row in self.pours(today + timedelta(n), "2", self.now)]
        start = int(asked.query.get("cursor", "0"))
        more = str(start + 9) if start + 9 < len(rows) else None
        body = json.dumps({"rows": rows[start : start + 9], "next": more}).encode()
        if self.trouble == "500":
            return Reply(b"busy", 500)
        if self.trouble == "slow":
            return Reply(body, pause=2.0)
        return Reply(body, promised=500 if self.trouble == "cut" else 0)

    def drop(self, path: Path, content: bytes, written: datetime, slowly: bool) -> None:
        """A file that is written bit by bit, as a till does it."""
        with path.open("wb") as file:
            for part in range(0, len(content), 300 if slowly else 10**9):
                file.write(content[part : part + (300 if slowly else 10**9)])
                file.flush()
                time.sleep(0.03 if slowly else 0)
            os.utime(file.fileno(), (written.timestamp(),) * 2)  # wherever it may lie by now

    def exports(self, day: date, clock: str, slowly: bool) -> None:
        """What lies in the folders at that time of that day."""
        when, number = at(day, clock), (day - FIRST).days
        name, resaved = f"{day}-{clock.replace(':', '')}", number % 5 == 3
        content = self.till(day, when, bad=number % 7 == 2, resaved=resaved and clock != "21:00")
        self.drop(self.venue.till / f"sales-{name}.csv", content, when, slowly)
        if number % 4 == 1:
            self.drop(self.venue.till / f"copy of sales-{name}.csv", content, when, False)
        meters = json.dumps(self.pours(day, "1", when)).encode()
        self.drop(self.venue.meter / f"pours-{name}.json", meters, when, slowly)


def store(bar: Bar, sql: str) -> list[tuple[Any, ...]]:
    try:
        with closing(sqlite3.connect(f"file:{bar.venue.path}/unrung.sqlite?mode=ro", uri=True)) as db:
            return db.execute(sql).fetchall()
    except sqlite3.OperationalError:
        return []


class Service:
    """The real service, which somebody starts again when it is dead, as a service manager does."""

    def __init__(self, bar: Bar, clock: Time) -> None:
        self.bar, self.clock, self.starts = bar, clock, 0
        self.process: subprocess.Popen[bytes] | None = None
        self.show(bar.now)

    def show(self, now: datetime) -> None:
        self.bar.now = now
        self.clock.shows(round(now.timestamp() * 1000))

    def alive(self) -> None:
        if self.process is None or self.process.poll() is not None:
            self.starts += 1
            self.process = subprocess.Popen(
                [sys.executable, "-m", "unrung", "run", str(self.bar.venue.path)],
                env=environment(self.clock.environment), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait()

    def until(self, so: Callable[[], object], what: str) -> None:
        """Live on, two minutes at a time, until something is so."""
        end = time.monotonic() + PATIENCE
        while not so():
            if time.monotonic() >= end:
                log = (self.bar.venue.path / "unrung.log").read_text("utf-8").splitlines()
                raise AssertionError("\n".join([*log[-25:], f"{self.bar.now:%m-%d %H:%M}: not {what}"]))
            self.alive()
            time.sleep(0.4)
            self.show(self.bar.now + timedelta(minutes=2))


@contextmanager
def fault(kind: str, bar: Bar, service: Service, day: date, post: Post) -> Iterator[None]:
    """Something is wrong inside the block, and mended after it."""
    bar.trouble = kind if kind in ("500", "slow", "cut") else ""
    ballast, blocked = bar.venue.path / "ballast", bar.venue.path / f"issued/daily/{day}"
    right, holder = bar.now, None
    if kind == "disk":
        with suppress(OSError), ballast.open("wb", buffering=0) as file:
            while file.write(b"x" * 4096):
                pass
    if kind == "folder" and not blocked.exists():
        blocked.parent.mkdir(parents=True, exist_ok=True)
        blocked.write_bytes(b"in the way")
    if kind == "lock":
        code = "import sqlite3,sys,time; db=sqlite3.connect(sys.argv[1]); db.execute('BEGIN IMMEDIATE'); " \
               "time.sleep(4)"
        holder = subprocess.Popen([sys.executable, "-c", code, str(bar.venue.path / "unrung.sqlite")])
    if kind == "back":
        service.show(right - timedelta(hours=3))
    if kind == "2001":
        service.show(datetime(2001, 1, 1, 0, 5, tzinfo=UTC))
    if kind == "2099":  # its clock alone: till and meters live on
        service.clock.shows(round(datetime(2099, 1, 1, 0, 5, tzinfo=UTC).timestamp() * 1000))
    post.data = "451 later" if kind == "post" else "250 taken"
    try:
        yield
    finally:
        if kind in CLOCK:
            service.show(right + timedelta(minutes=1))
        ballast.unlink(missing_ok=True)
        if blocked.is_file():
            blocked.unlink()
        if holder is not None:
            holder.wait()
        bar.trouble, post.data = "", "250 taken"


def disturbed(service: Service, days: int, post: Post, seed: int, shift: int) -> None:
    dice, bar = random.Random(seed), service.bar
    for number in range(days):
        day = FIRST + timedelta(number)
        kinds = [FAULTS[(2 * (number + shift) + n) % len(FAULTS)] for n in (0, 1)]
        for clock_time, kind in (("21:00", kinds[0]), ("29:30", kinds[1])):
            service.show(max(at(day, clock_time), bar.now))
            service.alive()
            time.sleep(dice.uniform(0.0, 0.8))
            with fault(kind, bar, service, day, post):
                with suppress(OSError):  # a full disk takes no export either; the till writes it again
                    bar.exports(day, clock_time, slowly=True)
                if clock_time == "29:30" and kind not in CLOCK:
                    service.show(max(at(day, "30:10"), bar.now))
                time.sleep(dice.uniform(0.3, 2.0))
                if kind == "kill":
                    service.kill()
            if kind == "disk":
                bar.exports(day, clock_time, slowly=False)
        service.show(max(at(day, "30:20"), bar.now))
        service.until(lambda day=day: store(
            bar, f"SELECT 1 FROM days WHERE day = '{day}' AND status = 'final'"), f"{day} issued")
        print(f"{day} {'/'.join(kinds)}, started {service.starts} times, {len(post.taken)} mails", flush=True)
    settled = "SELECT 1 WHERE NOT EXISTS (SELECT 1 FROM days WHERE dirty AND revision) AND NOT EXISTS (" \
              "SELECT 1 FROM outbox WHERE state = 'waiting')"
    service.until(lambda: store(bar, settled), "all settled")
    assert service.process is not None
    service.process.send_signal(signal.SIGTERM)
    service.process.wait(60)


def calm(bar: Bar, days: int) -> None:
    """The same exports by the same clock, taken in by plain catch-ups."""
    for number in range(days):
        day = FIRST + timedelta(number)
        for clock_time in ("21:00", "29:30"):
            bar.exports(day, clock_time, slowly=False)
            bar.now = at(day, clock_time if clock_time == "21:00" else "30:20")
            moment = round(bar.now.timestamp() * 1000)
            with bar.venue.open_at(moment) as (settings, db):
                done = catch_up(db, settings, moment, lambda text: None, {})
                assert not done.problems and not nightly(db, settings, moment), done.problems


def lasting(venue: VenueFolder) -> dict[str, list[Any]]:
    with closing(sqlite3.connect(venue.path / "unrung.sqlite")) as db:
        assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        return {name: sorted(db.execute(sql).fetchall(), key=repr) for name, sql in LASTING.items()}


def wrong_files(bar: Bar) -> list[str]:
    """Issued files that do not hold what is recorded of their newest revision."""
    sql = ("SELECT i.day, i.name, i.sha256 FROM issued i JOIN days d "
           "ON d.day = i.day AND d.revision = i.revision")
    folder = bar.venue.path / "issued" / "daily"
    return [f"{day}/{name}" for day, name, sha256 in store(bar, sql) if not (folder / day / name).exists()
            or hashlib.sha256((folder / day / name).read_bytes()).hexdigest() != sha256]


def told(data: bytes) -> list[str]:
    """What a daily file says, without the way it came by it."""
    rows = csv.DictReader(data.decode("utf-8-sig").splitlines())
    return sorted(str({name: text for name, text in row.items() if name not in WAY}) for row in rows)


def unlike(calm_bar: Bar, bar: Bar) -> list[str]:
    """Lines in which the daily files of the two differ."""
    found = []
    one, two = (each.venue.files("issued/daily") for each in (calm_bar, bar))
    for name in sorted(one.keys() | two.keys()):
        if name.endswith(".csv") and one.get(name) != two.get(name):
            before, after = (told(data.get(name, b"")) for data in (one, two))
            found += [f"{name} {line}" for line in difflib.unified_diff(before, after, "calm", "soaked", n=0)]
            found += [f"{name} is only there once"] if not (name in one and name in two) else []
    return found


def main() -> int:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--days", type=int, default=30)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--shift", type=int, default=0, help="Days by which the order of faults is moved.")
    args = ask.parse_args()
    start, bars = time.monotonic(), list[Bar]()
    with tempfile.TemporaryDirectory() as name, small_disk(Path(name) / "disk", 60_000) as disk, \
            serving() as post, web(lambda asked: bars[-1].answer(asked)) as served:
        bars.append(Bar(Path(name) / "calm", served.url, post.port, args.seed))
        calm(bars[0], args.days)
        post.taken.clear()
        print(f"calm: {time.monotonic() - start:.0f} s", flush=True)
        bars.append(Bar(disk / "bar", served.url, post.port, args.seed))
        service = Service(bars[1], Time(Path(name)))
        try:
            disturbed(service, args.days, post, args.seed, args.shift)
        finally:
            service.kill()
        expected, found = lasting(bars[0].venue), lasting(bars[1].venue)
        differing = [key for key in LASTING if expected[key] != found[key]]
        for key in differing:
            missing, more = (list((Counter(map(repr, a)) - Counter(map(repr, b))).elements())
                             for a, b in ((expected[key], found[key]), (found[key], expected[key])))
            print(f"{key}: {len(missing)} missing, {len(more)} more", *missing[:3], *more[:3], sep="\n  ")
        other = unlike(*bars)
        wrong = wrong_files(bars[1])
        mornings = {row[0] for row in store(bars[1], "SELECT day FROM outbox WHERE kind = 'morning'")}
        lived = [str(FIRST + timedelta(n)) for n in range(args.days)]
        unmailed = [day for day in lived if day not in mornings]
        copies = post.copies()
        again = sum(count - 1 for count in copies.values())
        lost = [row for row in store(bars[1], SENT) if row not in copies]
        revisions = store(bars[1], "SELECT sum(revision), count(*) FROM days WHERE revision > 0")[0]
    print(f"{args.days} days in {time.monotonic() - start:.0f} s, {service.starts} starts, "
          f"{len(found['rows'])} rows, {len(found['ledger'])} leaves, {revisions[0]} revisions of "
          f"{revisions[1]} days, {sum(copies.values())} mails of which {again} came twice")
    print(*other[:40], sep="\n")
    print(f"different: {differing}, {len(other)} lines of daily files; files that are not what was "
          f"recorded: {wrong}; days without a mail: {unmailed}; mails that never came: {lost}")
    return 1 if differing or other or wrong or unmailed or lost else 0


if __name__ == "__main__":
    sys.exit(main())
