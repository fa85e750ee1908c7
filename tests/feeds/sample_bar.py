"""The sample week as it comes in day by day, with a change at the source from one day on."""

from __future__ import annotations

import csv
import io
import os
import re
import shutil
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from mail.servers import Desk
from sample_venue.read_back import CONFIG, SAMPLES
from service.evenings import MAIL
from service.mails import sent, text
from unrung.catch_up import CaughtUp, catch_up, take_in_all
from unrung.opening import open_venue

DAYS = [date(2026, 10, 27) + timedelta(days=n) for n in range(7)]
ZONE = ZoneInfo("America/New_York")
CHANGED = 3
"""From this day of the week on (30 Oct) the source writes otherwise; not 31 Oct, on whose night the
clocks change in the samples."""
Change = Callable[[bytes], bytes]


def at(day: date, clock: str) -> int:
    """A local time on a calendar day, UTC milliseconds."""
    moment = datetime.fromisoformat(f"{day} {clock}").replace(tzinfo=ZONE)
    return round(moment.timestamp() * 1000)


class SampleBar:
    """The demo's config folder, its mail going to a real server, and no waiting for what is usual."""

    def __init__(self, folder: Path, port: int, desk: Desk, *, made: bool = False) -> None:
        self.folder, self.desk = folder, desk
        self.said: list[str] = []
        if not made:
            self._make(port)

    def _make(self, port: int) -> None:
        folder = self.folder
        shutil.copytree(CONFIG, folder)
        toml = folder / "venue.toml"
        lines = re.sub(r"(?ms)^\[mail\].*?(?=^\[|^# ---)", "", toml.read_text("utf-8"))
        mail = MAIL.format(to='"ann@example.org"', port=port, timeout=5)
        rules = "".join(
            f'[[alert]]\nname = "{per}"\nper = "{per}"\nmin_pct = {pct}\nhold_days = 0\n{more}\n'
            for per, pct, more in (("product_day", 3, "min_volume = 64"), ("venue_day", 2, ""),
                                   ("two_hours", 10, "min_serves = 6"))
        )
        lines = re.sub(r"(?ms)^\[\[alert\]\].*?(?=^\[(?!\[alert)|^# ---|\Z)", "", lines)
        toml.write_text(f"{lines}\n{mail}{rules}", "utf-8")
        for feed in ("till", "meters", "cellar", "sheet"):
            (folder / "exports" / feed).mkdir(parents=True)

    def drop(self, day: date, change: dict[str, Change]) -> None:
        """The exports of one business day, each feed's changed by its ``change``."""
        for feed in ("till", "meters", "cellar", "sheet"):
            stamp = f"{day:%Y%m%d}" if feed == "meters" else day.isoformat()
            for source in sorted(SAMPLES.glob(f"{feed}/{feed}_{stamp}*")):
                if "(copy)" in source.name:
                    continue
                target = self.folder / "exports" / feed / source.name
                target.write_bytes(change.get(feed, bytes)(source.read_bytes()))
                written = at(day + timedelta(days=1), "04:05") / 1000
                if feed == "meters" and "2800" not in source.name:
                    clock = source.stem[-4:]
                    written = at(day, f"{clock[:2]}:{clock[2:]}") / 1000 + 60
                os.utime(target, (written, written))

    def catch_up(self, day: date, clock: str = "06:30") -> CaughtUp:
        """On the morning after ``day``."""
        now_ms = at(day + timedelta(days=1), clock)
        settings, db = open_venue(self.folder, now_ms)
        try:
            return catch_up(db, settings, now_ms, self.said.append, {})
        finally:
            db.close()

    def day(self, nth: int, change: dict[str, Change], clock: str = "06:30") -> list[str]:
        self.desk.taken.clear()
        self.drop(DAYS[nth], change)
        self.catch_up(DAYS[nth], clock)
        return self.mails()

    def mails(self) -> list[str]:
        """Subject and text of each mail that came since the last look."""
        found = [f"{mail['Subject']}\n{text(mail)}" for mail in sent(self.desk)]
        self.desk.taken.clear()
        return found

    def edit(self, old: str, new: str, name: str = "venue.toml") -> None:
        path = self.folder / name
        text = path.read_text("utf-8")
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
        path.write_text(text.replace(old, new), "utf-8")

    def issued(self, nth: int, name: str = "variance") -> str:
        day = DAYS[nth].isoformat()
        path = self.folder / "issued" / "daily" / day / f"{name}-{day}.csv"
        return path.read_text("utf-8-sig")

    def catch_up_after_fix(self) -> None:
        """Two rounds, some hours later: what is read again is issued after a quiet span."""
        self.catch_up(DAYS[CHANGED], "13:00")
        self.catch_up(DAYS[CHANGED], "14:00")

    def day_without(self, feed: str, nth: int, clock: str) -> list[str]:
        self.desk.taken.clear()
        self.drop(DAYS[nth], {})
        for path in (self.folder / "exports" / feed).glob(f"{feed}_*"):
            path.unlink()
        self.catch_up(DAYS[nth], clock)
        return self.mails()

    def drop_as(self, name: str, content: bytes, written: str) -> None:
        """One till export, written at a local time."""
        path = self.folder / "exports" / "till" / name
        path.write_bytes(content)
        stamp = datetime.fromisoformat(written).replace(tzinfo=ZONE).timestamp()
        os.utime(path, (stamp, stamp))

    def intake_at(self, now: str) -> CaughtUp:
        """Only the first step of a catch-up, at a local time."""
        now_ms = round(datetime.fromisoformat(now).replace(tzinfo=ZONE).timestamp() * 1000)
        settings, db = open_venue(self.folder, now_ms)
        try:
            return take_in_all(db, settings, now_ms, self.said.append)
        finally:
            db.close()

    def without_revision(self, nth: int) -> str:
        """The variance of a day, less the column that counts its issues."""
        rows = list(csv.DictReader(io.StringIO(self.issued(nth))))
        return "\n".join(str({**row, "revision": ""}) for row in rows)
