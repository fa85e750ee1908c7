"""The sample week lived through by the service's own steps, hour by hour, on a simulated clock."""

from __future__ import annotations

import json
import os
import re
import shutil
from datetime import UTC, date, datetime, time, timedelta
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from mail.servers import Desk, serving
from service.mails import sent
from unrung.catch_up import catch_up
from unrung.ledger.results import COMPONENTS
from unrung.opening import open_venue
from unrung.service.clock import Clock
from unrung.service.issuer import Issuer, issue_and_judge
from unrung.service.steps import Intake, Post
from unrung.service.venue import Venue, stamp_of
from unrung.settings import Settings

ROOT = Path(__file__).resolve().parents[2]
TRUTH = json.loads((ROOT / "sample_exports" / "truth.json").read_text("utf-8"))
DAYS = sorted({row["day"] for row in TRUTH["days"]})
ZONE = ZoneInfo("America/New_York")
KEYS = ("day", "outlet", "product")
STEP = timedelta(minutes=30)


def arrival(path: Path) -> datetime:
    """When a sample's export is there: the meters' by the time in its name, the others next morning."""
    found = re.search(r"(\d{4})-?(\d\d)-?(\d\d)(?:_(\d\d)(\d\d))?", path.name)
    assert found, path
    year, month, day, hour, minute = (int(part) if part else None for part in found.groups())
    start = datetime.combine(date(year or 0, month or 0, day or 0), time(0), ZONE)
    later = timedelta(hours=hour, minutes=minute or 0) if hour else timedelta(days=1, hours=5, minutes=30)
    return (start + later).astimezone(UTC)


def lay_out(folder: Path, port: int) -> list[tuple[datetime, Path, Path]]:
    """The sample's config with a mail server, and what arrives when: (time, sample, where to)."""
    shutil.copytree(ROOT / "config", folder)
    toml = folder / "venue.toml"
    mail = f'[mail]\nhost = "127.0.0.1"\nport = {port}\nsecurity = "none"\n'
    text = toml.read_text("utf-8").replace("[mail]\n", mail, 1)
    # Each meter export makes the day before dirty; the many looks in vain would only take time here.
    toml.write_text(text.replace("[schedule]\n", "[schedule]\nquiet_minutes = 720\n", 1), "utf-8")
    coming = []
    for path in (ROOT / "sample_exports").glob("*/*"):
        (folder / "exports" / path.parent.name).mkdir(parents=True, exist_ok=True)
        coming.append((arrival(path), path, folder / "exports" / path.parent.name / path.name))
    return sorted(coming)


def deliver(coming: list[tuple[datetime, Path, Path]], now: datetime) -> None:
    while coming and coming[0][0] <= now:
        at, sample, target = coming.pop(0)
        shutil.copy(sample, target)
        os.utime(target, (at.timestamp(), at.timestamp()))


class Life:
    """The service without threads: every step in turn, half an hour apart."""

    def __init__(self, folder: Path, start: datetime) -> None:
        self.now, self._start = start, start
        clock = Clock(self._wall_ms, lambda: (self.now - self._start).total_seconds())
        stamp = stamp_of(folder)
        settings, db = open_venue(folder, self._wall_ms())
        self.venue = Venue(folder, settings, clock, stamp)
        self.db = db
        intake = Intake(self.venue, lambda: None)
        issuer = Issuer(self.venue, intake.settling, self._work, lambda: None)
        self._steps = [intake.step, issuer.step, Post(self.venue).step]

    def _wall_ms(self) -> int:
        return round(self.now.timestamp() * 1000)

    def _work(self, settings: Settings, now_ms: int) -> None:
        issue_and_judge(self.db, settings, now_ms)

    def step(self) -> None:
        for step in self._steps:
            step()
        self.now += STEP


def ledger(db: Any) -> list[dict[str, Any]]:
    return list(db.query("SELECT * FROM leaves ORDER BY day, outlet, product, window_start_ms"))


def sums(db: Any) -> list[list[Any]]:
    """Each outlet's and product's day as its leaves sum up, in the order of the truth."""
    columns = ", ".join(f"sum({name}) AS {name}" for name in COMPONENTS)
    rows = db.query(f"SELECT {', '.join(KEYS)}, {columns} FROM leaves GROUP BY day, outlet, product")
    order = {tuple(row[name] for name in KEYS): n for n, row in enumerate(TRUTH["days"])}
    found = [list(row.values()) for row in rows]
    return sorted(found, key=lambda row: order.get(tuple(row[:3]), len(order)))


def test_a_week_of_the_service_ends_in_the_rows_of_a_catch_up_and_of_the_truth(tmp_path: Path) -> None:
    first, last = date.fromisoformat(DAYS[0]), date.fromisoformat(DAYS[-1])
    start = datetime.combine(first, time(4), ZONE).astimezone(UTC)
    end = datetime.combine(last + timedelta(days=1), time(12), ZONE).astimezone(UTC)
    desk = Desk()
    with serving(desk) as port:
        coming = lay_out(tmp_path / "bar", port)
        life = Life(tmp_path / "bar", start)
        while life.now < end:
            deliver(coming, life.now)
            life.step()
        mails = sent(desk)

        every = lay_out(tmp_path / "other", port)
        deliver(every, end)
        now_ms = round(end.timestamp() * 1000)
        settings, other = open_venue(tmp_path / "other", now_ms)
        catch_up(other, settings, now_ms, lambda _: None, {})

    assert sums(life.db) == [[row[name] for name in KEYS + COMPONENTS] for row in TRUTH["days"]]
    assert ledger(life.db) == ledger(other) and len(ledger(other)) > 100
    assert life.venue.problems == {}
    issued = [(row["day"], row["revision"]) for row in life.db.query("SELECT * FROM days WHERE revision")]
    assert issued == [(day, 1) for day in DAYS]
    # Each morning's mail on that morning: at six by the wall, also after the night the clocks went back.
    mornings = [mail for mail in mails if "variance" in str(mail.as_bytes())]
    sent_at = [parsedate_to_datetime(mail["Date"]).astimezone(ZONE) for mail in mornings]
    assert [f"{at:%m-%d %H:%M}" for at in sent_at] == [
        f"{date.fromisoformat(day) + timedelta(days=1):%m-%d} 06:00" for day in DAYS]
    assert len(mails) == len(mornings) == 7
